"""Files for spreadsheets and programs."""

from __future__ import annotations

import csv
import io
import json
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from server.fit.requirements import Duty
from server.fit.upkeep import Use
from server.quoting.consumables import PumpToKeep, consumables_bill
from server.quoting.documents import bill_csv, harmless, quote_csv, quote_json
from server.quoting.drafting import draft_quote
from server.quoting.order import Party
from server.quoting.quote import Quote
from tests.quoting.papers.samples import a_full_quote
from tests.quoting.stacks import order, requirements, stock, vapour_stack

STOCK = stock()


def a_quote(**changes: object) -> Quote:
    draft = draft_quote(vapour_stack(), requirements(), STOCK, order(**changes))
    return draft.numbered("Q-2026-0001")


def rows(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text)))


def test_the_csv_holds_every_line_and_adds_up() -> None:
    quote = a_quote()
    table = rows(quote_csv(quote))
    start = next(i for i, row in enumerate(table) if row[:2] == ["Group", "SKU"])
    lines = table[start + 1 : start + 1 + len(quote.lines)]
    assert [row[1] for row in lines] == [line.sku for line in quote.lines]
    assert sum(Decimal(row[5]) for row in lines) == quote.net
    assert [row[5] for row in table[-3:]] == [str(quote.net), str(quote.tax), str(quote.total)]


def test_the_csv_says_what_counts_and_how_the_total_comes_about() -> None:
    quote = a_full_quote()
    table = rows(quote_csv(quote))
    start = next(i for i, row in enumerate(table) if row[:2] == ["Group", "SKU"]) + 1
    lines = table[start : start + len(quote.lines)]
    counted = sum(Decimal(row[5]) for row in lines if row[10] == "yes")
    sums = {row[2].partition(" ")[0]: Decimal(row[5]) for row in table[start + len(lines) + 1 :]}
    assert counted == sums["Sum"] == quote.lines_total
    assert sums["Net"] == counted - sums["Less"]
    assert sums["Net"] + sums["Freight"] + sums["Tax"] == sums["Total"] == quote.total


def test_a_formula_typed_as_a_name_does_nothing() -> None:
    # OWASP, "CSV injection": cells starting with = + - @, tab or carriage return.
    quote = a_quote(customer=Party("=HYPERLINK(0)"), reference="@SUM(A1)")
    table = dict(row[:2] for row in rows(quote_csv(quote))[:10])
    assert table["Customer"] == "'=HYPERLINK(0)"
    assert table["Reference"] == "'@SUM(A1)"


@given(st.text())
def test_no_cell_starts_a_formula(text: str) -> None:
    cell = harmless(text)
    assert not cell.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    assert cell in {text, f"'{text}"}


def test_the_json_is_strict_and_keeps_money_exact() -> None:
    def refuse(name: str) -> None:
        raise AssertionError(name)

    read = json.loads(quote_json(a_quote()), parse_constant=refuse)
    assert read["number"] == "Q-2026-0001"
    assert read["total"] == "6668.76"
    assert read["valid_until"] == "2026-04-01"
    assert read["lines"][0]["unit_price"] == "1900.00"
    assert read["margins"][1]["ratio"] is None


def test_the_bill_ends_with_its_total() -> None:
    use = Use(Duty(0.0, 0.0, 250.0, 8 * 3600.0), 4)
    bill = consumables_bill([PumpToKeep("VANE")], use, STOCK)
    table = rows(bill_csv(bill))
    assert len(table) == len(bill.lines) + 2
    assert sum(Decimal(row[6]) for row in table[1:-1]) == bill.total
    assert table[-1][6] == str(bill.total)
