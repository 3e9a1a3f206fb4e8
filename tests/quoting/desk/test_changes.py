"""What people type into a draft: read, or refused beside the cell; nothing cut or bent silently."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import InvalidInquiry
from server.quoting.desk.changes import (
    LARGEST_QUANTITY,
    MOST_LINES,
    changed,
    read_change,
)
from server.quoting.desk.lines import LineChoice
from server.quoting.desk.queries import read_query
from server.quoting.drafting import draft_quote
from server.quoting.quote import LineGroup, Quote
from tests.quoting.stacks import order, requirements, stock, vapour_stack

STOCK = stock()
DRAFT: Quote = draft_quote(vapour_stack(), requirements(), STOCK, order())
VANE = {"sku": "VANE", "quantity": "1"}


def faults(typed: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(InvalidInquiry) as caught:
        read_change(typed, DRAFT)
    return {fault.field: fault.message for fault in caught.value.faults}


def line(**cells: object) -> dict[str, Any]:
    return {"lines": [VANE, {**VANE, **cells}]}


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        (line(quantity=0), "lines.1.quantity"),
        (line(quantity=-1), "lines.1.quantity"),
        (line(quantity=10**9), "lines.1.quantity"),
        (line(quantity=1e9), "lines.1.quantity"),
        (line(quantity=LARGEST_QUANTITY + 1), "lines.1.quantity"),
        (line(quantity="1.5"), "lines.1.quantity"),
        (line(quantity="two"), "lines.1.quantity"),
        (line(discount="100.01"), "lines.1.discount"),
        (line(discount="-0.01"), "lines.1.discount"),
        (line(discount="5.0001"), "lines.1.discount"),
        (line(discount="NaN"), "lines.1.discount"),
        (line(choice="perhaps"), "lines.1.choice"),
        (line(group="supplied with the pumps"), "lines.1.group"),
        (line(tax_rate="51"), "lines.1.tax_rate"),
        (line(note="x" * 5001), "lines.1.note"),
        (line(colour="red"), "lines.1.colour"),
        ({"lines": [{"quantity": 1}]}, "lines.0.name"),
        ({"lines": [{"name": "x" * 201, "quantity": 1}]}, "lines.0.name"),
        ({"lines": [{"name": "x", "unit_price": "1.005"}]}, "lines.0.unit_price"),
        ({"lines": [{"name": "x", "unit_price": "1e10"}]}, "lines.0.unit_price"),
        ({"lines": ["VANE"]}, "lines.0"),
        ({"lines": []}, "lines"),
        ({"lines": "VANE"}, "lines"),
        ({"lines": [VANE] * (MOST_LINES + 1)}, "lines"),
        ({"discount": "100.01"}, "discount"),
        ({"freight": "-1"}, "freight"),
        ({"freight": "1e999999999"}, "freight"),
        ({"freight": "0.001"}, "freight"),
        ({"customer": ""}, "customer"),
        ({"customer": "x" * 10_000}, "customer"),
        ({"email": "nobody"}, "email"),
        ({"validity_days": 366}, "validity_days"),
        ({"payment": "x" * 5001}, "payment"),
        ({"unheard": 1}, "unheard"),
    ],
)
def test_what_cannot_be_used_is_named_by_its_cell(typed: dict[str, Any], field: str) -> None:
    assert set(faults(typed)) == {field}


def test_every_fault_of_a_form_is_told_at_once() -> None:
    typed = {"discount": "lots", "freight": "x", "lines": [{"sku": "VANE", "quantity": 0}, {}]}
    assert set(faults(typed)) == {"discount", "freight", "lines.0.quantity", "lines.1.name"}


def test_the_limits_themselves_can_be_used() -> None:
    typed = {
        "discount": "100 %",
        "customer": "x" * 200,
        "notes": "x" * 5000,
        "validity_days": "365",
        "lines": [{**VANE, "quantity": LARGEST_QUANTITY, "discount": 100}] * MOST_LINES,
    }
    quote = changed(DRAFT, read_change(typed, DRAFT), STOCK)
    assert len(quote.lines) == MOST_LINES
    assert quote.total == 0
    assert (quote.validity_days, len(quote.notes)) == (365, 5000)


def test_five_hundred_lines_add_up() -> None:
    lines = [{"name": f"Item {n}", "quantity": n + 1, "unit_price": "0.37"} for n in range(500)]
    quote = changed(DRAFT, read_change({"lines": lines, "tax_rate": 0}, DRAFT), STOCK)
    assert quote.total == Decimal("0.37") * (500 * 501 // 2)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("<script>alert(1)</script>", "<script>alert(1)</script>"),  # text; pages escape it
        ("مختبر الفراغ", "مختبر الفراغ"),
        ("Lab \U0001f9ea 真空", "Lab \U0001f9ea 真空"),
        ("a\x00b\x1b[31mc\x7f", "ab[31mc"),
        ("price \u202e001 EUR\u202c", "price 001 EUR"),
        ("two\r\nlines\tand more", "two linesand more"),
        ("\ud800x", "x"),
    ],
)
def test_a_name_is_kept_without_what_cannot_be_printed(typed: str, kept: str) -> None:
    change = read_change({"customer": typed}, DRAFT)
    assert change.customer is not None
    assert change.customer.name == kept
    assert change.customer.address == DRAFT.customer.address


@given(st.text(max_size=200))
def test_any_text_is_kept_or_refused_and_never_cut(text: str) -> None:
    change = read_change({"notes": text}, DRAFT)
    assert change.notes is not None
    assert set(change.notes) <= set(text) | {"\n"}
    again = read_change({"notes": change.notes}, DRAFT)
    assert again.notes == change.notes


def test_what_is_not_sent_stays() -> None:
    change = read_change({}, DRAFT)
    assert changed(DRAFT, change, STOCK) == DRAFT


def test_a_line_with_everything() -> None:
    cells = {
        "sku": "VANE", "quantity": "2", "discount": "12.5 %", "choice": "alternative",
        "tax_rate": "7", "note": "instead of the dry one", "group": "valves",
    }  # fmt: skip
    change = read_change({"lines": [VANE, cells]}, DRAFT)
    quote = changed(DRAFT, change, STOCK)
    (found,) = quote.lines_of(LineGroup.VALVES)
    assert (found.choice, found.total) == (LineChoice.ALTERNATIVE, Decimal("2100.00"))
    assert found.tax_rate_percent == 7
    assert quote.net == Decimal("1200.00")


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"state": "lost"}, "state"),
        ({"state": ["draft", "lost"]}, "state"),
        ({"since": "2026-02-30"}, "since"),
        ({"until": "yesterday"}, "until"),
        ({"least": "-1"}, "least"),
        ({"largest": "NaN"}, "largest"),
        ({"currency": "XXX"}, "currency"),
        ({"page": 0}, "page"),
        ({"page_size": 10_000}, "page_size"),
        ({"text": "x" * 201}, "text"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_a_search_names_the_cell_at_fault(typed: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInquiry) as caught:
        read_query(typed)
    assert {fault.field for fault in caught.value.faults} == {field}


def test_an_empty_search_finds_everything() -> None:
    cells = ("text", "customer", "state", "since", "until", "least", "largest", "currency", "page")
    assert read_query(dict.fromkeys(cells, "")) == read_query({})
