"""Events for the outside in the database: kept in the transaction of what they tell of."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable
from datetime import datetime

from sqlalchemy import event, func
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, desc, select

from server.errors import NotFound
from server.quoting.desk.delivery import LEASE, Delivery, DeliveryCounts, DeliveryState
from server.quoting.desk.outbox import OutboxMessage
from server.store.engine import Database
from server.store.mapping import delivery_of
from server.store.tables import OutboxRow


def keep_messages(session: Session, messages: Iterable[OutboxMessage]) -> None:
    """Keep events with whatever else a writing session keeps: all of it or nothing.

    Parameters
    ----------
    session : Session
        A writing session of `Database`.
    messages : iterable of OutboxMessage
        In the order in which they happened.
    """
    rows = [
        OutboxRow(
            key=uuid.uuid4().hex,
            kind=message.kind,
            subject=message.subject,
            at=message.at,
            body=message.body,
            state=DeliveryState.WAITING,
            attempts=0,
            due_at=message.at,
        )
        for message in messages
    ]
    for row in rows:
        session.add(row)
        session.flush()  # one after the other: their positions are their order
    if rows:
        event.listen(session, "after_commit", _ring, once=True)


def _ring(session: Session) -> None:
    for ring in session.info["on_news"]:
        ring()


class SqlOutbox:
    """Satisfies ``quoting.desk.delivery.Outbox``."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def claim(self, now: datetime) -> Delivery | None:
        """Take the oldest event that is due, for the time of a lease."""
        earlier = aliased(OutboxRow)
        held_back = (
            select(earlier.position)
            .where(col(earlier.subject) == col(OutboxRow.subject))
            .where(col(earlier.state) == DeliveryState.WAITING)
            .where(col(earlier.position) < col(OutboxRow.position))
            .exists()
        )
        query = (
            select(OutboxRow)
            .where(col(OutboxRow.state) == DeliveryState.WAITING)
            .where(col(OutboxRow.due_at) <= now)
            .where(~held_back)
            .order_by(col(OutboxRow.position))
            .limit(1)
        )
        with self._database.writing() as session:
            row = session.exec(query).first()
            if row is None:
                return None
            row.attempts += 1
            row.first_tried_at = row.first_tried_at or now
            row.due_at = now + LEASE
            session.add(row)
            session.flush()
            return delivery_of(row)

    def delivered(self, key: str, now: datetime) -> None:
        """Mark an event as delivered."""
        with self._database.writing() as session:
            row = _row(session, key)
            row.state, row.done_at, row.last_error = DeliveryState.DELIVERED, now, ""
            session.add(row)

    def failed(self, key: str, error: str, again_at: datetime | None) -> None:
        """Note a failed attempt."""
        with self._database.writing() as session:
            row = _row(session, key)
            row.last_error = error
            if again_at is None:
                row.state = DeliveryState.STUCK
            else:
                row.due_at = again_at
            session.add(row)

    def next_due(self) -> datetime | None:
        """Return when the next event is due."""
        waiting = col(OutboxRow.state) == DeliveryState.WAITING
        query = select(OutboxRow.due_at).where(waiting).order_by(col(OutboxRow.due_at)).limit(1)
        with self._database.reading() as session:
            return session.exec(query).first()

    def retry(self, key: str, now: datetime) -> None:
        """Let a stuck event wait again."""
        with self._database.writing() as session:
            row = _row(session, key)
            if row.state != DeliveryState.STUCK:
                raise NotFound("This event is not stuck.")
            row.state, row.due_at, row.first_tried_at = DeliveryState.WAITING, now, None
            session.add(row)
            event.listen(session, "after_commit", _ring, once=True)

    def recent(self, count: int) -> tuple[Delivery, ...]:
        """Return stuck events first, then the newest."""
        stuck = col(OutboxRow.state) == DeliveryState.STUCK
        query = select(OutboxRow).order_by(desc(stuck), desc(col(OutboxRow.position))).limit(count)
        with self._database.reading() as session:
            return tuple(delivery_of(row) for row in session.exec(query))

    def counts(self) -> DeliveryCounts:
        """Return how many events stand where."""
        query = select(OutboxRow.state, func.count()).group_by(OutboxRow.state)
        with self._database.reading() as session:
            return DeliveryCounts(**dict(session.exec(query).all()))

    def on_news(self, ring: Callable[[], None]) -> None:
        """Have a bell rung after each commit that kept events."""
        self._database.on_news.append(ring)


def _row(session: Session, key: str) -> OutboxRow:
    row = session.exec(select(OutboxRow).where(OutboxRow.key == key)).first()
    if row is None:
        raise NotFound("There is no such event.")
    return row
