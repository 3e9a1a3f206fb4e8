"""Saved advices in the database."""

from __future__ import annotations

from sqlalchemy import desc
from sqlalchemy.orm import defer
from sqlmodel import col, select

from server.errors import NotFound
from server.fit.ports import AdviceHeading, SavedAdvice
from server.store.engine import Database
from server.store.mapping import advice_row, heading, saved_advice
from server.store.tables import AdviceRow


class SqlAdviceStore:
    """Satisfies ``fit.ports.AdviceStore``."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, saved: SavedAdvice) -> None:
        """Keep an advice."""
        row = advice_row(saved)  # the long part, done before the lock is taken
        with self._database.writing() as session:
            session.add(row)

    def get(self, token: str) -> SavedAdvice:
        """Return the advice of a token.

        Raises
        ------
        NotFound
            When no advice has it.
        """
        with self._database.reading() as session:
            row = session.get(AdviceRow, token)
            if row is None:
                raise NotFound("There is no saved advice under this link.")
            return saved_advice(row)

    def recent(self, count: int) -> tuple[AdviceHeading, ...]:
        """Return the newest headings, newest first."""
        long = (AdviceRow.inquiry, AdviceRow.requirements, AdviceRow.advice)
        query = (
            select(AdviceRow)
            .options(*(defer(col(column)) for column in long))  # type: ignore[arg-type]
            .order_by(desc(col(AdviceRow.created_at)))
            .limit(count)
        )
        with self._database.reading() as session:
            return tuple(heading(row) for row in session.exec(query))
