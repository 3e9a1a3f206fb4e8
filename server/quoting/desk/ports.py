"""What the desk asks of the outside: a place that keeps quotes over their life."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Protocol

from server.quoting.desk.case import QuoteCase
from server.quoting.desk.outbox import OutboxMessage
from server.quoting.desk.states import QuoteState

PAGE_SIZE = 50


@dataclass(frozen=True)
class QuoteHeading:
    """A quote's line in a list."""

    number: str
    revision: int
    state: QuoteState
    """On the day of the search."""
    customer: str
    title: str
    reference: str
    currency: str
    total: Decimal
    created_at: datetime
    changed_at: datetime
    valid_until: date


@dataclass(frozen=True)
class QuoteQuery:
    """Which quotes are looked for; what is left empty excludes none."""

    text: str = ""
    """Words, all of which stand in number, customer, contact, title, stack or reference."""
    customer: str = ""
    """Part of the customer's name."""
    states: frozenset[QuoteState] = frozenset()
    since: date | None = None
    """First day of creation, counted in."""
    until: date | None = None
    """Last day of creation, counted in."""
    least: Decimal | None = None
    """Smallest total."""
    largest: Decimal | None = None
    currency: str = ""
    page: int = 1
    page_size: int = PAGE_SIZE


@dataclass(frozen=True)
class QuotePage:
    """One page of what was found, newest first."""

    headings: tuple[QuoteHeading, ...]
    found: int
    """On all pages."""
    page: int
    page_size: int
    sums: Mapping[str, Decimal]
    """Currency → sum of the totals, on all pages."""

    @property
    def pages(self) -> int:
        """Number of pages, at least one."""
        return max(1, -(-self.found // self.page_size))


class QuoteDesk(Protocol):
    """Keeps quotes; nothing is deleted, a sent revision never changes."""

    def open_case(self, case: QuoteCase, messages: Sequence[OutboxMessage] = ()) -> QuoteCase:
        """Keep a new quote under the next number of its year and return it with number.

        Numbers of a year have no gaps: number and quote are kept together or not at all.
        """
        ...

    def get(self, number: str) -> QuoteCase:
        """Return the quote of a number; raises ``NotFound``."""
        ...

    def save(
        self, case: QuoteCase, seen_version: int, messages: Sequence[OutboxMessage] = ()
    ) -> QuoteCase:
        """Keep a changed quote, with the events for the outside, and return it as kept.

        Raises
        ------
        NotFound
            When there is no such quote.
        Conflict
            When somebody changed it since ``seen_version``; nothing is kept, and the message names
            who and when.
        """
        ...

    def search(self, query: QuoteQuery, today: date) -> QuotePage:
        """Return one page of what is looked for, newest first."""
        ...
