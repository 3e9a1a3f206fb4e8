"""Spreadsheets read back by another program."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from python_calamine import CalamineWorkbook

from server.errors import OutOfRange
from server.fit.money import LARGEST_AMOUNT, minor_digits
from server.quoting.order import Party
from server.quoting.papers.xlsx import quote_xlsx
from server.quoting.quote import Quote
from tests.quoting.papers.samples import a_full_quote, a_quote, a_view, summed

Cell = object


def rows(quote: Quote, sheet: str = "Quote") -> list[list[Cell]]:
    book = CalamineWorkbook.from_filelike(io.BytesIO(quote_xlsx(a_view(quote))))
    return [list(row) for row in book.get_sheet_by_name(sheet).to_python(skip_empty_area=False)]


def part_of(quote: Quote, name: str) -> str:
    with zipfile.ZipFile(io.BytesIO(quote_xlsx(a_view(quote)))) as archive:
        return archive.read(name).decode()


@pytest.mark.parametrize("lines", [20, 500])
def test_lines_and_sums_come_back_exactly(lines: int) -> None:
    quote = a_full_quote(lines)
    table = rows(quote)
    start = next(i for i, row in enumerate(table) if row[0] == "Position") + 1
    printed = a_view(quote).lines
    for row, expected in zip(table[start:], printed, strict=False):
        line = expected.line
        assert row[0] == expected.position
        assert row[2] == line.sku
        assert row[3] == line.name
        assert row[4] == line.quantity
        if expected.has_price:
            assert Decimal(repr(row[7])) == line.total
    amounts = {row[3]: Decimal(repr(row[7])) for row in table[start + len(printed) + 1 :] if row[3]}
    assert amounts["Total"] == quote.total
    assert amounts["Net"] == quote.net + quote.freight


@given(st.decimals(min_value=0, max_value=LARGEST_AMOUNT - 1, places=3), st.sampled_from(
    ("EUR", "JPY", "KWD")))  # fmt: skip
def test_an_amount_survives_the_doubles_of_a_spreadsheet(amount: Decimal, currency: str) -> None:
    rounded = round(amount, minor_digits(currency))
    assert round(Decimal(repr(float(rounded))), minor_digits(currency)) == rounded


@pytest.mark.parametrize(
    "text", ["=HYPERLINK(0)", "+1", "-1", "@SUM(A1)", "\t=1", "https://a.example"]
)
def test_a_formula_typed_as_a_name_stays_text(text: str) -> None:
    # OWASP, "CSV injection"; here each such cell is text, and stays so when somebody edits it.
    quote = a_quote(customer=Party(text), reference=text)
    assert [row[2] for row in rows(quote) if row[0] in {"Customer", "Reference"}] == [text, text]
    sheet = part_of(quote, "xl/worksheets/sheet1.xml")
    assert "<f>" not in sheet
    assert "hyperlink" not in sheet.lower()
    assert ('quotePrefix="1"' in part_of(quote, "xl/styles.xml")) is not text.startswith("https")


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=60))
def test_any_name_comes_back_as_typed(name: str) -> None:
    quote = a_quote(customer=Party(f"x{name}x"))
    assert next(row[2] for row in rows(quote) if row[0] == "Customer") == f"x{name}x"


@pytest.mark.parametrize(
    ("currency", "number_format"), [("EUR", "#,##0.00"), ("JPY", "#,##0"), ("KWD", "#,##0.000")]
)
def test_decimals_follow_the_currency(currency: str, number_format: str) -> None:
    styles = part_of(summed(replace(a_quote(), currency=currency)), "xl/styles.xml")
    numbered = {"#,##0": "3", "#,##0.00": "4"}  # ECMA-376 part 1, 18.8.30: formats without text
    found = f'formatCode="{number_format}"' in styles
    assert found or f'numFmtId="{numbered[number_format]}"' in styles


def test_the_same_data_makes_the_same_bytes() -> None:
    assert quote_xlsx(a_view()) == quote_xlsx(a_view())


def test_terms_and_margins_have_sheets() -> None:
    quote = a_full_quote()
    terms = {row[0]: row[2] for row in rows(quote, "Terms")}
    assert terms["Warranty"] == quote.texts.warranty
    assert "UN 1090" in str(terms["Dangerous goods"])
    assert [row[4] for row in rows(quote, "Margins")[1:]] == [m.explanation for m in quote.margins]


def test_a_text_too_long_for_a_cell_is_refused_not_cut() -> None:
    with pytest.raises(OutOfRange, match="too long"):
        quote_xlsx(a_view(a_quote(notes="x" * 40_000)))
