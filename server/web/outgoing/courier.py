"""The thread that delivers events: woken by new ones, patient with a receiver that fails."""

from __future__ import annotations

import logging
import random
import threading
from collections.abc import Callable
from datetime import UTC, datetime

from server.quoting.desk.delivery import Delivery, Outbox, again_at
from server.web.outgoing.addresses import NotReached

log = logging.getLogger(__name__)

LOOK_AGAIN_S = 30.0
"""Another process may have kept an event without ringing our bell."""
AFTER_A_DEFECT_S = 5.0
PATIENCE_AT_THE_END_S = 15.0

Send = Callable[[Delivery, datetime], None]
"""Delivers an event or raises ``NotReached``."""


def utc_now() -> datetime:
    """Return the time, UTC."""
    return datetime.now(UTC)


class Courier:
    """Delivers what is in an outbox, one event after the other.

    Parameters
    ----------
    outbox : Outbox
        Where events wait.
    send : callable
        Delivers one.
    clock : callable
        The time, UTC.
    """

    def __init__(self, outbox: Outbox, send: Send, clock: Callable[[], datetime] = utc_now) -> None:
        self._outbox = outbox
        self._send = send
        self._clock = clock
        self._bell = threading.Event()
        self._ending = False
        self._thread = threading.Thread(target=self._run, name="courier", daemon=True)
        outbox.on_news(self._bell.set)

    def start(self) -> None:
        """Begin to deliver; what was left over from an earlier run goes first."""
        self._thread.start()

    def stop(self) -> None:
        """End after the attempt that is under way; what is left waits for the next start."""
        self._ending = True
        self._bell.set()
        if self._thread.ident is not None:
            self._thread.join(PATIENCE_AT_THE_END_S)

    def deliver_due(self) -> int:
        """Try everything that is due now, once.

        Returns
        -------
        int
            How many attempts were made.
        """
        tried = 0
        while not self._ending and (delivery := self._outbox.claim(self._clock())) is not None:
            tried += 1
            self._try(delivery)
        return tried

    def _try(self, delivery: Delivery) -> None:
        try:
            self._send(delivery, self._clock())
        except NotReached as error:
            now = self._clock()
            again = again_at(delivery, now, random.random())  # noqa: S311 (spreads load, no secret)
            self._outbox.failed(delivery.key, str(error), again)
            log.warning("event %s: %s", delivery.key, error)
        else:
            self._outbox.delivered(delivery.key, self._clock())

    def _run(self) -> None:
        while not self._ending:
            self._bell.clear()  # before looking, so that what comes while we look is not missed
            try:
                self.deliver_due()
                pause = self._until_due()
            except Exception:  # the thread must outlive a defect: events would wait for good
                log.exception("events could not be delivered")
                pause = AFTER_A_DEFECT_S
            self._bell.wait(pause)

    def _until_due(self) -> float:
        due = self._outbox.next_due()
        if due is None:
            return LOOK_AGAIN_S
        return min(LOOK_AGAIN_S, max(0.05, (due - self._clock()).total_seconds()))
