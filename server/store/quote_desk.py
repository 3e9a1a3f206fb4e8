"""Quotes over their life in the database: numbered without gaps, nothing overwritten."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

from sqlalchemy import BigInteger, ColumnElement, and_, desc, func, or_, select, type_coerce
from sqlmodel import Session, col

from server.errors import Conflict, NotFound
from server.quoting.desk.case import QuoteCase
from server.quoting.desk.outbox import OutboxMessage
from server.quoting.desk.ports import QuotePage, QuoteQuery
from server.quoting.desk.states import FROZEN, QuoteState
from server.quoting.desk.use_cases import stale
from server.quoting.quote import quote_number
from server.store.columns import STEPS
from server.store.engine import Database
from server.store.mapping import case_of, case_row, quote_heading, record_row, revision_row
from server.store.numbers import next_number
from server.store.outbox import keep_messages
from server.store.tables import QuoteCaseRow, QuoteRecordRow, QuoteRevisionRow


class SqlQuoteDesk:
    """Satisfies ``quoting.desk.ports.QuoteDesk``."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def open_case(self, case: QuoteCase, messages: Sequence[OutboxMessage] = ()) -> QuoteCase:
        """Keep a new quote under the next number of its year and return it with number."""
        year = case.created_at.year
        with self._database.writing() as session:
            opened = case.numbered(quote_number(year, next_number(session, "quote", year)))
            session.add(case_row(opened))
            session.flush()  # the revisions point at it
            session.add(record_row(opened))
            for revision, state in zip(opened.revisions, opened.standings, strict=True):
                session.add(revision_row(revision, state))
            keep_messages(session, messages)
        return opened

    def get(self, number: str) -> QuoteCase:
        """Return the quote of a number.

        Raises
        ------
        NotFound
            When no quote has it.
        """
        with self._database.reading() as session:
            return case_of(*_rows(session, number))

    def save(
        self, case: QuoteCase, seen_version: int, messages: Sequence[OutboxMessage] = ()
    ) -> QuoteCase:
        """Keep a changed quote, with the events for the outside, and return it as kept.

        Raises
        ------
        NotFound
            When there is no such quote.
        Conflict
            When somebody changed it since ``seen_version``; nothing is kept.
        """
        saved = case.saved_after(seen_version)
        row, record = case_row(saved), record_row(saved)  # the long part, before the lock is taken
        revisions = [
            revision_row(*pair) for pair in zip(saved.revisions, saved.standings, strict=True)
        ]
        with self._database.writing() as session:
            kept, kept_record, kept_revisions = _rows(session, case.number)
            if kept.version != seen_version:
                raise Conflict(stale(case_of(kept, kept_record, kept_revisions)))
            _overwrite(kept, row)
            kept_record.record = record.record
            _keep_revisions(session, revisions, kept_revisions)
            keep_messages(session, messages)
        return saved

    def search(self, query: QuoteQuery, today: date) -> QuotePage:
        """Return one page of what is looked for, newest first."""
        wanted = _wanted(query, today)
        with self._database.reading() as session:
            found, sums = _count_and_sum(session, wanted)
            order = (desc(col(QuoteCaseRow.created_at)), desc(col(QuoteCaseRow.number)))
            rows = (
                select(QuoteCaseRow)
                .where(*wanted)
                .order_by(*order)
                .limit(query.page_size)
                .offset((query.page - 1) * query.page_size)
            )
            headings = tuple(quote_heading(row, today) for row in session.scalars(rows))
        return QuotePage(headings, found, query.page, query.page_size, sums)


def _rows(
    session: Session, number: str
) -> tuple[QuoteCaseRow, QuoteRecordRow, Sequence[QuoteRevisionRow]]:
    row, record = session.get(QuoteCaseRow, number), session.get(QuoteRecordRow, number)
    if row is None or record is None:
        raise NotFound(f"There is no quote “{number[:40]}”.")
    revisions = (
        select(QuoteRevisionRow)
        .where(col(QuoteRevisionRow.number) == number)
        .order_by(col(QuoteRevisionRow.revision))
    )
    return row, record, session.scalars(revisions).all()


def _overwrite(kept: QuoteCaseRow, new: QuoteCaseRow) -> None:
    for name in QuoteCaseRow.model_fields:
        if name not in {"number", "created_at"}:
            setattr(kept, name, getattr(new, name))


def _keep_revisions(
    session: Session, new: Sequence[QuoteRevisionRow], kept: Sequence[QuoteRevisionRow]
) -> None:
    """Write what may be written: a frozen revision's state, a draft's everything, a new one."""
    for row, old in zip(new, kept, strict=False):
        if old.state not in FROZEN:
            old.record = row.record
        old.state = row.state
    session.add_all(new[len(kept) :])


def _wanted(query: QuoteQuery, today: date) -> list[ColumnElement[bool]]:
    """Return the conditions of a query."""
    total, created = col(QuoteCaseRow.total), col(QuoteCaseRow.created_at)
    wanted = [
        func.instr(col(QuoteCaseRow.words), word) > 0 for word in query.text.casefold().split()
    ]
    if query.customer:
        wanted.append(func.instr(col(QuoteCaseRow.customer_key), query.customer.casefold()) > 0)
    if query.states:
        wanted.append(or_(*(_stands(state, today) for state in sorted(query.states))))
    if query.since is not None:
        wanted.append(created >= _midnight(query.since))
    if query.until is not None and query.until < date.max:
        wanted.append(created < _midnight(query.until + timedelta(days=1)))
    if query.least is not None:
        wanted.append(total >= query.least)
    if query.largest is not None:
        wanted.append(total <= query.largest)
    if query.currency:
        wanted.append(col(QuoteCaseRow.currency) == query.currency)
    return wanted


def _stands(state: QuoteState, today: date) -> ColumnElement[bool]:
    """Return the condition for a state on a day; see ``states.state_on``."""
    kept, until = col(QuoteCaseRow.state), col(QuoteCaseRow.valid_until)
    if state is QuoteState.EXPIRED:
        return and_(kept == QuoteState.SENT, until < today)
    if state is QuoteState.SENT:
        return and_(kept == QuoteState.SENT, until >= today)
    return kept == state


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time.min, UTC)


_PART = 10**9


def _count_and_sum(
    session: Session, wanted: Sequence[ColumnElement[bool]]
) -> tuple[int, dict[str, Decimal]]:
    """Count what is wanted and add it up by currency, exactly.

    The database adds whole numbers of 64 bits: high and low parts are added apart, so that no sum
    of totals can overflow.
    """
    steps = type_coerce(col(QuoteCaseRow.total), BigInteger)
    counted = (
        select(
            col(QuoteCaseRow.currency),
            func.count(),
            func.sum(steps // _PART),
            func.sum(steps % _PART),
        )
        .where(*wanted)
        .group_by(col(QuoteCaseRow.currency))
    )
    rows = session.execute(counted).all()
    sums = {row[0]: Decimal(row[2] * _PART + row[3]) / STEPS for row in rows}
    return sum(row[1] for row in rows), sums
