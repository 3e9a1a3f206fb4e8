"""Events for the outside: kept in the same transaction as the change that they tell of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class OutboxMessage:
    """One event for the next system; delivered at least once."""

    kind: str
    """Such as ``quote.accepted``."""
    subject: str
    """Number of the quote."""
    at: datetime
    body: str
    """JSON text."""
