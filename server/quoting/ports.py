"""What quoting asks of the outside: a place to keep quotes and to number them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Protocol

from server.quoting.quote import Quote


@dataclass(frozen=True)
class QuoteHeading:
    """A line in the list of quotes."""

    number: str
    created_at: datetime
    customer: str
    title: str
    currency: str
    total: Decimal


class QuoteStore(Protocol):
    """Keeps issued quotes; they never change."""

    def issue(self, draft: Quote) -> Quote:
        """Keep a draft under the next number of its year and return the issued quote.

        Numbers of a year have no gaps: number and quote are kept together or not at all.
        """
        ...

    def get(self, number: str) -> Quote:
        """Return the quote of a number; raises ``NotFound``."""
        ...

    def recent(self, count: int) -> tuple[QuoteHeading, ...]:
        """Return the newest headings, newest first."""
        ...


def heading_of(quote: Quote) -> QuoteHeading:
    """Return the line of a quote in a list."""
    return QuoteHeading(
        quote.number,
        quote.created_at,
        quote.customer.name,
        quote.title,
        quote.currency,
        quote.total,
    )
