"""How events leave the house: each is tried until it arrives, or a person is told that it is stuck.

At least once: an event is marked as delivered after the receiver said so, and a program that ends
between the two sends it again. Its key stays the same, so that the receiver can drop a repeat.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Protocol

from server.quoting.desk.outbox import OutboxMessage

FIRST_PAUSE_S = 5.0
LONGEST_PAUSE_S = 3600.0
GIVE_UP_AFTER = timedelta(days=7)
LEASE = timedelta(minutes=2)
"""Who takes an event has so long to deliver it; then it is anybody's again, say after a crash."""


class DeliveryState(StrEnum):
    """Where an event stands."""

    WAITING = "waiting"
    DELIVERED = "delivered"
    STUCK = "stuck"
    """Tried for too long; a person must look at it."""


@dataclass(frozen=True)
class Delivery:
    """An event on its way out."""

    key: str
    """Goes with every attempt; unique."""
    message: OutboxMessage
    state: DeliveryState
    attempts: int
    due_at: datetime
    """When it is tried next, UTC."""
    first_tried_at: datetime | None = None
    done_at: datetime | None = None
    last_error: str = ""


@dataclass(frozen=True)
class DeliveryCounts:
    """How many events stand where."""

    waiting: int = 0
    delivered: int = 0
    stuck: int = 0


class Outbox(Protocol):
    """Keeps events until they are delivered; events of one quote leave in their order."""

    def claim(self, now: datetime) -> Delivery | None:
        """Take the oldest event that is due, for the time of a lease; None when none is.

        An event waits while an earlier one of the same quote is waiting.
        """
        ...

    def delivered(self, key: str, now: datetime) -> None:
        """Mark an event as delivered."""
        ...

    def failed(self, key: str, error: str, again_at: datetime | None) -> None:
        """Note why an event could not be delivered and when it is tried again; None: stuck."""
        ...

    def next_due(self) -> datetime | None:
        """Return when the next event is due, None when none is waiting."""
        ...

    def retry(self, key: str, now: datetime) -> None:
        """Let a stuck event wait again, its patience new; raises ``NotFound`` for any other."""
        ...

    def recent(self, count: int) -> tuple[Delivery, ...]:
        """Return stuck events first, then the newest."""
        ...

    def counts(self) -> DeliveryCounts:
        """Return how many events stand where."""
        ...

    def on_news(self, ring: Callable[[], None]) -> None:
        """Have a bell rung whenever new events have been kept."""
        ...


def pause_s(attempts: int, share: float) -> float:
    """Return how long to wait after a failed attempt [s].

    Doubled each time up to an hour, and spread over the upper half, so that many senders that
    failed together do not come back together.

    Parameters
    ----------
    attempts : int
        Attempts made so far, from 1.
    share : float
        Random, from 0 to 1.
    """
    doubled: float = FIRST_PAUSE_S * 2.0 ** min(attempts - 1, 30)
    return min(LONGEST_PAUSE_S, doubled) * (0.5 + 0.5 * share)


def again_at(delivery: Delivery, now: datetime, share: float) -> datetime | None:
    """Return when to try a failed event again, None when it has been tried for too long.

    Parameters
    ----------
    delivery : Delivery
        As it was claimed.
    now : datetime
        UTC.
    share : float
        Random, from 0 to 1.
    """
    if delivery.first_tried_at is not None and now - delivery.first_tried_at >= GIVE_UP_AFTER:
        return None
    return now + timedelta(seconds=pause_s(delivery.attempts, share))
