"""Issued quotes in the database, numbered without gaps."""

from __future__ import annotations

from sqlalchemy import desc
from sqlalchemy.orm import defer
from sqlmodel import col, select

from server.errors import NotFound
from server.quoting.ports import QuoteHeading
from server.quoting.quote import Quote, quote_number
from server.store.engine import Database
from server.store.mapping import quote_heading, quote_of, quote_row
from server.store.numbers import next_number
from server.store.tables import QuoteRow


class SqlQuoteStore:
    """Satisfies ``quoting.ports.QuoteStore``."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def issue(self, draft: Quote) -> Quote:
        """Keep a draft under the next number of its year and return the issued quote."""
        year = draft.created_at.year
        with self._database.writing() as session:
            issued = draft.numbered(quote_number(year, next_number(session, "quote", year)))
            session.add(quote_row(issued))
        return issued

    def get(self, number: str) -> Quote:
        """Return the quote of a number.

        Raises
        ------
        NotFound
            When no quote has it.
        """
        with self._database.reading() as session:
            row = session.get(QuoteRow, number)
            if row is None:
                raise NotFound(f"There is no quote “{number[:40]}”.")
            return quote_of(row)

    def recent(self, count: int) -> tuple[QuoteHeading, ...]:
        """Return the newest headings, newest first."""
        query = (
            select(QuoteRow)
            .options(defer(col(QuoteRow.record)))  # type: ignore[arg-type]
            .order_by(desc(col(QuoteRow.created_at)), desc(col(QuoteRow.number)))
            .limit(count)
        )
        with self._database.reading() as session:
            return tuple(quote_heading(row) for row in session.exec(query))
