"""Tables of installed pumps: what can be read, row by row, and what is said of the rest."""

from __future__ import annotations

import string
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import InvalidInquiry, OutOfRange
from server.quoting.installed import find_pump, read_date, read_installed
from tests.quoting.stacks import stock

STOCK = stock()


def test_a_table_is_read_with_its_columns_in_any_order() -> None:
    table = read_installed(
        "\ufeffLast service;Pump;Hours a year;Quantity;Label;Oil\r\n"
        "2025-03-01;VANE;1 800,5;2;Room 12;OIL-1L\r\n"
        ";turbo;;;;\r\n",
        STOCK,
    )
    first, second = table.pumps
    assert (first.sku, first.quantity, first.fluid, first.label) == ("VANE", 2, "OIL-1L", "Room 12")
    assert first.last_service == date(2025, 3, 1)
    assert first.hours_per_year == 1800.5
    assert (second.sku, second.quantity, second.last_service) == ("TURBO", 1, None)
    assert table.refused == ()


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("NOPE,1,,,", "pump", "no such pump"),
        (",1,,,", "pump", "wanted"),
        ("VANE,0,,,", "quantity", "whole number"),
        ("VANE,1e9,,,", "quantity", "whole number"),
        ("VANE,-1,,,", "quantity", "whole number"),
        ("VANE,1,water,,", "fluid", "no such fluid"),
        ("VANE,1,,03/04/2025,", "last_service", "different countries"),
        ("VANE,1,,31.2.2025,", "last_service", "no such day"),
        ("VANE,1,,soon,", "last_service", "no date"),
        ("VANE,1,,,9000", "hours_per_year", "8784"),
        ("VANE,1,,,0", "hours_per_year", "8784"),
        ("VANE,1,,,,,what", "row", "more cells"),
    ],
)
def test_a_row_that_cannot_be_read_is_kept_with_its_reason(
    row: str, column: str, words: str
) -> None:
    table = read_installed(
        f"pump,quantity,fluid,last service,hours a year\nVANE,1,,,\n{row}\n", STOCK
    )
    assert len(table.pumps) == 1
    (refused,) = table.refused
    assert refused.number == 3
    assert list(refused.cells) == row.split(",")
    (fault,) = refused.faults
    assert fault.field == column
    assert words in fault.message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("pump\n", "no pumps"),
        ("quantity\n1\n", "no heading"),
        ("pump,colour\nVANE,red\n", "not known"),
        ("pump,sku\nVANE,VANE\n", "Two columns"),
        ("pump\n" + "VANE\n" * 501, "501 pumps"),
        ("x" * 200_001, "too long"),
    ],
)
def test_a_table_that_is_none_is_refused(text: str, words: str) -> None:
    with pytest.raises(InvalidInquiry, match=words):
        read_installed(text, STOCK)


@pytest.mark.parametrize(
    "typed", ["2025-03-01", "1.3.2025", "01.03.2025", "1 March 2025", "March 1, 2025"]
)
def test_dates_that_read_one_way_only(typed: str) -> None:
    assert read_date(typed) == date(2025, 3, 1)


def test_words_of_a_class_name_a_pump_where_one_fits() -> None:
    assert find_pump("sputter ion pump", STOCK).sku == "ION"
    assert find_pump("cryo", STOCK).sku == "CRYO"
    with pytest.raises(OutOfRange, match="Nearest"):
        find_pump("vane pump 900 m3/h", STOCK)


@given(st.text(string.printable + "€;ä", max_size=300))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        table = read_installed("pump,label\nVANE,\n" + text, STOCK)
    except InvalidInquiry:
        return
    assert len(table.rows) == len(table.pumps) + len(table.refused)
