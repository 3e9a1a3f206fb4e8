"""Quotes and bills as files: CSV that is harmless in a spreadsheet, JSON for programs."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal

from pydantic_core import to_json

from server.quoting.consumables import ConsumablesBill
from server.quoting.desk.lines import LineChoice
from server.quoting.quote import Quote

# A cell that begins like this is taken for a formula or a command by spreadsheets.
_ACTIVE_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")

_QUOTE_COLUMNS = (
    "Group",
    "SKU",
    "Description",
    "Quantity",
    "Unit price",
    "Line total",
    "Currency",
    "Lead time, days",
    "Note",
    "Discount, %",
    "Counts in the sums",
)
_BILL_COLUMNS = (
    "Group",
    "SKU",
    "Description",
    "Packs",
    "Of which with the pump",
    "Unit price",
    "Line total",
    "Currency",
    "Reason",
)


def harmless(cell: object) -> str:
    """Return a cell's text such that no spreadsheet runs it: formulas get an apostrophe."""
    text = str(cell)
    return f"'{text}" if starts_a_formula(text) else text


def starts_a_formula(text: str) -> bool:
    """Tell whether a spreadsheet may take a cell's text for a formula or a command."""
    return text.lstrip(" ").startswith(_ACTIVE_STARTS)


def quote_csv(quote: Quote) -> str:
    """Return a quote as CSV (RFC 4180): head lines, the table, the totals."""
    head = [
        ("Quote", quote.number or "draft"),
        ("Date", quote.day.isoformat()),
        ("Valid until", quote.valid_until.isoformat()),
        ("Seller", quote.seller.name),
        ("Customer", quote.customer.name),
        ("Contact", quote.customer.contact),
        ("Reference", quote.reference),
        ("Subject", quote.title),
        ("Stack", quote.stack_title),
        ("Lead time, days", quote.lead_time_days),
    ]
    body = [
        (
            line.group.value,
            line.sku,
            line.name,
            line.quantity,
            line.unit_price,
            line.total,
            quote.currency,
            line.lead_time_days,
            line.note,
            line.discount_percent,
            "yes" if line.choice is LineChoice.INCLUDED else f"no, {line.choice}",
        )
        for line in quote.lines
    ]
    foot = [("", "", label, "", "", amount, quote.currency) for label, amount in _sums(quote)]
    return _csv([*head, (), _QUOTE_COLUMNS, *body, (), *foot])


def _sums(quote: Quote) -> Iterator[tuple[str, Decimal]]:
    """Yield what stands below the lines; a discount without sign, which would start a formula."""
    if quote.discount:
        yield "Sum of the lines that count", quote.lines_total
        yield f"Less discount {quote.discount_percent} %", quote.discount
    yield "Net", quote.net
    if quote.freight:
        yield "Freight", quote.freight
    for each in quote.taxes_by_rate:
        yield f"Tax {each.rate_percent} %", each.tax
    yield "Total", quote.total


def bill_csv(bill: ConsumablesBill) -> str:
    """Return a bill of consumables as CSV (RFC 4180), its total last."""
    body = [
        (
            line.group.value,
            line.sku,
            line.name,
            line.pieces,
            line.of_which_first,
            line.unit_price,
            line.total,
            bill.currency,
            line.reason,
        )
        for line in bill.lines
    ]
    foot = (
        "",
        "",
        f"Total over {bill.horizon_years:g} years",
        "",
        "",
        "",
        bill.total,
        bill.currency,
    )
    return _csv([_BILL_COLUMNS, *body, foot])


def quote_json(quote: Quote) -> str:
    """Return a quote as JSON: money as decimal strings, dates by ISO 8601, no number as null."""
    return to_json(quote, indent=2, inf_nan_mode="null").decode()


def _csv(rows: Iterable[Sequence[object]]) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerows([harmless(cell) for cell in row] for row in rows)
    return out.getvalue()
