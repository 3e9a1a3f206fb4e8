"""Inquiries that customers sent, in the database."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from sqlalchemy import desc
from sqlmodel import Session, col, select

from server.errors import NotFound
from server.quoting.inquiries import ReceivedInquiry
from server.store.engine import Database
from server.store.mapping import packed, unpacked
from server.store.tables import ReceivedInquiryRow

Change = Callable[[ReceivedInquiry], ReceivedInquiry]


class SqlInquiryBox:
    """Satisfies ``quoting.inquiries.InquiryBox``."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, inquiry: ReceivedInquiry) -> None:
        """Keep an inquiry."""
        row = ReceivedInquiryRow(
            token=inquiry.token,
            received_at=inquiry.received_at,
            advice_token=inquiry.advice_token,
            record=packed(inquiry),
        )
        with self._database.writing() as session:
            session.add(row)

    def get(self, token: str) -> ReceivedInquiry:
        """Return an inquiry; raises ``NotFound``."""
        with self._database.reading() as session:
            return _record(_row(session, token))

    def open(self, token: str, who: str, now: datetime) -> ReceivedInquiry:
        """Note that somebody looks after an inquiry."""
        with self._database.writing() as session:
            return _change(session, _row(session, token), lambda was: was.opened(who, now))

    def note_advice(self, token: str, advice_token: str) -> None:
        """Note the advice that was made on an inquiry."""
        with self._database.writing() as session:
            _change(session, _row(session, token), lambda was: was.advised(advice_token))

    def note_quote(self, advice_token: str, number: str) -> None:
        """Note the quote made on an advice, where the advice was made on an inquiry."""
        with self._database.writing() as session:
            if (row := _of_advice(session, advice_token)) is not None:
                _change(session, row, lambda was: was.quoted(number))

    def of_advice(self, advice_token: str) -> ReceivedInquiry | None:
        """Return the inquiry that an advice was made on."""
        with self._database.reading() as session:
            row = _of_advice(session, advice_token)
            return None if row is None else _record(row)

    def recent(self, count: int) -> tuple[ReceivedInquiry, ...]:
        """Return the newest inquiries, newest first."""
        newest = desc(col(ReceivedInquiryRow.received_at))
        query = select(ReceivedInquiryRow).order_by(newest).limit(count)
        with self._database.reading() as session:
            return tuple(_record(row) for row in session.exec(query))


def _record(row: ReceivedInquiryRow) -> ReceivedInquiry:
    return unpacked(ReceivedInquiry, row.record)


def _row(session: Session, token: str) -> ReceivedInquiryRow:
    row = session.get(ReceivedInquiryRow, token)
    if row is None:
        raise NotFound("There is no such inquiry.")
    return row


def _of_advice(session: Session, advice_token: str) -> ReceivedInquiryRow | None:
    if not advice_token:
        return None
    query = select(ReceivedInquiryRow).where(ReceivedInquiryRow.advice_token == advice_token)
    return session.exec(query).first()


def _change(session: Session, row: ReceivedInquiryRow, change: Change) -> ReceivedInquiry:
    changed = change(_record(row))
    row.advice_token, row.record = changed.advice_token, packed(changed)
    session.add(row)
    return changed
