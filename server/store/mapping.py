"""Between records and rows; the only module that knows both."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from typing import Any, TypeVar, cast

from pydantic import TypeAdapter
from pydantic_core import from_json, to_json

from server.fit.ports import AdviceHeading, SavedAdvice
from server.fit.requirements import Requirements
from server.fit.results import Advice
from server.quoting.desk.delivery import Delivery, DeliveryState
from server.quoting.desk.outbox import OutboxMessage
from server.quoting.ports import QuoteHeading, heading_of
from server.quoting.quote import Quote
from server.store.tables import AdviceRow, OutboxRow, QuoteRow

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


def quote_row(quote: Quote) -> QuoteRow:
    """Return the row of an issued quote."""
    line = heading_of(quote)
    return QuoteRow(
        number=line.number,
        created_at=line.created_at,
        customer=line.customer,
        title=line.title,
        currency=line.currency,
        total=line.total,
        record=packed(quote),
    )


def quote_of(row: QuoteRow) -> Quote:
    """Return the quote of a row."""
    return unpacked(Quote, row.record)


def quote_heading(row: QuoteRow) -> QuoteHeading:
    """Return the line of a quote in a list."""
    return QuoteHeading(
        row.number, row.created_at, row.customer, row.title, row.currency, row.total
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


def _plain(value: Any) -> Any:
    """Return what the JSON writer knows for a read-only mapping."""
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} cannot be kept as JSON")
