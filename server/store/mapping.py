"""Between records and rows; the only module that knows both."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any, TypeVar, cast

from pydantic import TypeAdapter
from pydantic_core import from_json, to_json

from server.fit.ports import AdviceHeading, SavedAdvice
from server.fit.requirements import Requirements
from server.fit.results import Advice
from server.quoting.desk.case import CustomerAnswer, Event, QuoteCase, QuoteLink
from server.quoting.desk.delivery import Delivery, DeliveryState
from server.quoting.desk.outbox import OutboxMessage
from server.quoting.desk.ports import QuoteHeading
from server.quoting.desk.revision import Revision
from server.quoting.desk.states import QuoteState, state_on
from server.store.tables import AdviceRow, OutboxRow, QuoteCaseRow, QuoteRecordRow, QuoteRevisionRow

RecordT = TypeVar("RecordT")


def packed(record: object) -> str:
    """Return a frozen record as JSON text; infinities and exact decimals survive."""
    return to_json(record, inf_nan_mode="constants", fallback=_plain).decode()


def unpacked(kind: type[RecordT], text: str) -> RecordT:
    """Return the frozen record of a JSON text that ``packed`` made."""
    read = from_json(text, allow_inf_nan=True)
    record: RecordT = _adapter(cast(Any, kind)).validate_python(read)
    return record


@cache
def _adapter(kind: Any) -> TypeAdapter[Any]:
    """Return the reader of a record; making one takes longer than using it."""
    return TypeAdapter(kind)


def advice_row(saved: SavedAdvice) -> AdviceRow:
    """Return the row of a saved advice."""
    return AdviceRow(
        token=saved.token,
        created_at=saved.created_at,
        title=saved.title,
        fit=saved.advice.counts.fit,
        marginal=saved.advice.counts.marginal,
        catalog_version=saved.catalog_version,
        engine_version=saved.engine_version,
        inquiry=packed(saved.inquiry),
        requirements=packed(saved.requirements),
        advice=packed(saved.advice),
    )


def saved_advice(row: AdviceRow) -> SavedAdvice:
    """Return the saved advice of a row."""
    inquiry: Mapping[str, object] = json.loads(row.inquiry)
    return SavedAdvice(
        token=row.token,
        created_at=row.created_at,
        title=row.title,
        inquiry=inquiry,
        requirements=unpacked(Requirements, row.requirements),
        advice=unpacked(Advice, row.advice),
    )


def heading(row: AdviceRow) -> AdviceHeading:
    """Return the line of a saved advice in a list."""
    return AdviceHeading(row.token, row.created_at, row.title, row.fit, row.marginal)


@dataclass(frozen=True)
class CaseRecord:
    """What is kept of a quote beside its revisions and what it is found by."""

    events: tuple[Event, ...]
    internal_notes: str
    links: tuple[QuoteLink, ...]
    answer: CustomerAnswer | None


def case_row(case: QuoteCase) -> QuoteCaseRow:
    """Return the row by which a quote is found."""
    content = case.current.content
    return QuoteCaseRow(
        number=case.number,
        version=case.version,
        created_at=case.created_at,
        changed_at=case.changed_at,
        state=case.state,
        valid_until=content.valid_until,
        revision=case.current.revision,
        customer=content.customer.name,
        title=content.title,
        reference=content.reference,
        currency=content.currency,
        total=content.total,
        customer_key=content.customer.name.casefold(),
        words=_words(case),
    )


def record_row(case: QuoteCase) -> QuoteRecordRow:
    """Return the row of what happened to a quote."""
    record = CaseRecord(case.events, case.internal_notes, case.links, case.answer)
    return QuoteRecordRow(number=case.number, record=packed(record))


def revision_row(revision: Revision, state: QuoteState) -> QuoteRevisionRow:
    """Return the row of one revision."""
    return QuoteRevisionRow(
        number=revision.number,
        revision=revision.revision,
        state=state,
        record=packed(revision),
    )


def case_of(
    row: QuoteCaseRow, happened: QuoteRecordRow, revisions: Sequence[QuoteRevisionRow]
) -> QuoteCase:
    """Return the quote of its rows, those of its revisions in their order."""
    record = unpacked(CaseRecord, happened.record)
    return QuoteCase(
        number=row.number,
        version=row.version,
        revisions=tuple(unpacked(Revision, each.record) for each in revisions),
        standings=tuple(QuoteState(each.state) for each in revisions),
        events=record.events,
        internal_notes=record.internal_notes,
        links=record.links,
        answer=record.answer,
    )


def quote_heading(row: QuoteCaseRow, today: date) -> QuoteHeading:
    """Return the line of a quote in a list."""
    return QuoteHeading(
        number=row.number,
        revision=row.revision,
        state=state_on(QuoteState(row.state), row.valid_until, today),
        customer=row.customer,
        title=row.title,
        reference=row.reference,
        currency=row.currency,
        total=row.total,
        created_at=row.created_at,
        changed_at=row.changed_at,
        valid_until=row.valid_until,
    )


def delivery_of(row: OutboxRow) -> Delivery:
    """Return the event of a row."""
    return Delivery(
        key=row.key,
        message=OutboxMessage(row.kind, row.subject, row.at, row.body),
        state=DeliveryState(row.state),
        attempts=row.attempts,
        due_at=row.due_at,
        first_tried_at=row.first_tried_at,
        done_at=row.done_at,
        last_error=row.last_error,
    )


def _words(case: QuoteCase) -> str:
    content = case.current.content
    who = content.customer
    texts = (
        case.number, who.name, who.contact, who.email, content.reference, content.title,
        content.stack_title,
    )  # fmt: skip
    return "\n".join(texts).casefold()


def _plain(value: Any) -> Any:
    """Return what the JSON writer knows for a read-only mapping."""
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} cannot be kept as JSON")
