"""A quote leaves nothing out and adds up to the cent."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter
from pydantic_core import to_json

from server.errors import OutOfRange, UnknownName
from server.fit.results import Role
from server.quoting.drafting import draft_quote
from server.quoting.quote import LineGroup, Quote
from tests.fit.stock import a_catalog, a_fluid
from tests.quoting.stacks import a_stack, order, part, requirements, stock, vapour_stack

STOCK = stock()


def a_quote(**changes: object) -> Quote:
    return draft_quote(vapour_stack(), requirements(), STOCK, order(**changes))


def test_every_part_stands_under_its_heading() -> None:
    quote = a_quote()
    assert {group: [line.sku for line in quote.lines_of(group)] for group in quote.groups} == {
        LineGroup.PUMPS: ["VJ", "VANE"],
        LineGroup.FLUIDS: ["FLUID-65", "OIL-1L"],
        LineGroup.LINE: ["CENTRING_RING-KF-25", "CLAMP-KF-25"],
        LineGroup.VALVES: ["GATE-100", "FORE-25", "ROUGH-25"],
        LineGroup.GAUGES: ["PIRANI", "LOCK-AIR"],
        LineGroup.TRAPS: ["BAFFLE", "MIST"],
        LineGroup.SUPPLIED: [""],
    }


def test_sums_by_hand() -> None:
    quote = a_quote()
    # Pumps 1900 + 1200; fluid 90, oil 19; 5 rings at 6 and 5 clamps at 5; 3 valves at 310;
    # 2 gauges at 210, interlock 140; baffle 700, filter 150.
    net = Decimal(1900 + 1200 + 90 + 19 + 30 + 25 + 930 + 420 + 140 + 700 + 150)
    assert quote.net == net == Decimal("5604.00")
    assert quote.tax == Decimal("1064.76")
    assert quote.total == Decimal("6668.76")


def test_equal_parts_become_one_line_with_both_reasons() -> None:
    pirani = next(line for line in a_quote().lines if line.sku == "PIRANI")
    assert (pirani.quantity, pirani.total) == (2, Decimal("420.00"))
    assert pirani.note == "chamber; foreline"


def test_supplied_parts_are_shown_at_nothing_and_to_be_kept() -> None:
    (line,) = a_quote().lines_of(LineGroup.SUPPLIED)
    assert line.name == "Special centring ring, ISO-K 100"
    assert line.total == 0
    assert line.note.startswith("supplied with the pump: keep it")


def test_lead_time_is_the_longest_of_what_is_not_in_stock() -> None:
    quote = a_quote()
    days = {line.sku: line.lead_time_days for line in quote.lines}
    assert (days["VANE"], days["VJ"], days["BAFFLE"]) == (0, 30, 45)
    assert quote.lead_time_days == 45


def test_stock_must_cover_all_pieces_asked_for() -> None:
    few = a_stack(part(Role.LINE, "CLAMP-KF-25", 5))
    many = a_stack(part(Role.LINE, "CLAMP-KF-25", 4), part(Role.LINE, "CLAMP-KF-25", 2))
    assert draft_quote(few, requirements(), STOCK, order()).lead_time_days == 0
    assert draft_quote(many, requirements(), STOCK, order()).lead_time_days == 10


def test_consumables_can_be_offered_along() -> None:
    quote = a_quote(consumables_years=7.0)
    skus = {line.sku for line in quote.lines_of(LineGroup.FIRST_CONSUMABLES)}
    assert {"VANE-KIT", "MIST-ELEMENT", "OIL-1L"} <= skus
    without = a_quote()
    assert quote.net == without.net + sum(
        line.total for line in quote.lines_of(LineGroup.FIRST_CONSUMABLES)
    )


def test_validity_counts_from_the_day_of_the_offer() -> None:
    quote = a_quote(validity_days=30)
    assert (quote.day, quote.valid_until) == (date(2026, 3, 2), date(2026, 4, 1))


def test_the_quote_carries_margins_cautions_and_assumptions() -> None:
    quote = a_quote()
    assert quote.margins == vapour_stack().margins
    assert quote.assumptions == requirements().assumptions
    assert quote.flags == vapour_stack().flags
    assert quote.cautions[-1].about == "Codes and trained people"


def test_a_part_that_is_sold_no_more_is_named() -> None:
    poor = a_catalog(item for item in STOCK.items.values() if item.sku != "BAFFLE")
    with pytest.raises(UnknownName, match="BAFFLE"):
        draft_quote(vapour_stack(), requirements(), poor, order())


prices = st.decimals("0.01", "99999.99", places=2)


@given(
    st.lists(st.tuples(prices, st.integers(1, 40)), min_size=1, max_size=20),
    st.decimals("0", "50", places=2),
)
def test_sums_add_up_to_the_cent(rows: list[tuple[Decimal, int]], rate: Decimal) -> None:
    items = [replace(a_fluid(f"F{i}", "1", 1e-4), price=price) for i, (price, _) in enumerate(rows)]
    parts = [part(Role.FLUID, f"F{i}", count) for i, (_, count) in enumerate(rows)]
    quote = draft_quote(
        a_stack(*parts), requirements(), a_catalog(items), order(tax_rate_percent=rate)
    )
    cents = sum(int(price * 100) * count for price, count in rows)
    assert int(quote.net * 100) == cents
    assert quote.net == sum(line.total for line in quote.lines)
    in_groups = [line for group in quote.groups for line in quote.lines_of(group)]
    assert sorted(in_groups, key=id) == sorted(quote.lines, key=id)
    assert quote.total == quote.net + quote.tax
    assert abs(quote.tax - quote.net * rate / 100) <= Decimal("0.005")


def test_a_quote_survives_being_written_and_read() -> None:
    quote = a_quote(consumables_years=2.0).numbered("Q-2026-0001")
    text = to_json(quote, inf_nan_mode="constants")
    read = TypeAdapter(Quote).validate_json(text)
    assert read == quote


def test_an_issued_quote_is_not_numbered_again() -> None:
    with pytest.raises(OutOfRange, match="issued already"):
        a_quote().numbered("Q-2026-0001").numbered("Q-2026-0002")
