"""Costs of every combination: sums of small tables equal the bill of the single stack."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.items import Catalog, PumpKind, RootsBooster, TurboPump
from server.fit.candidates import Back, Field, Front, fields_of
from server.fit.cost_table import CostTable
from server.fit.costs import Purse
from server.fit.upkeep import upkeep_lines
from tests.fit.engine_cases import BENCH, COATER, a_bench, a_jet, a_rougher, demo_catalog, inquiry
from tests.fit.stock import a_fluid

CENT = Decimal("0.01")


@pytest.fixture(scope="module")
def demo() -> Catalog:
    return demo_catalog()


def bill(purse: Purse, front: Front | None, back: Back) -> tuple[Decimal, Decimal]:
    """Purchase, and consumables over the horizon, of one stack added up item by item."""
    parts = purse.stack_assembly(front, back)
    pumps: list[Any] = [back.backing, *([back.booster] if back.booster else [])]
    grades = {back.backing.sku: back.oil.grade if back.oil else None}
    if front is not None:
        pumps.append(front.pump)
        grades[front.pump.sku] = front.fluid.grade if front.fluid else None
    purchase = sum((part.item.price * part.quantity for part in parts.parts), Decimal(0))
    consumables = Decimal(0)
    for pump in pumps:
        purchase += pump.price
        lines = upkeep_lines(
            pump,
            (purse if front and pump is front.pump else purse.behind(front)).use,
            purse.catalog,
            fluid_grade=grades.get(pump.sku),
            fitted=purse.fitted(pump, front, back),
        )
        for line in lines:
            first = line.unit_price * line.of_which_first
            purchase += first
            consumables += line.unit_price * line.pieces - first
    return purchase, consumables


def places(field: Field, table: CostTable) -> list[tuple[int, int]]:
    """About ten combinations all over a field."""
    rows = np.linspace(0, len(field.fronts) - 1, 5).astype(int)
    columns = np.linspace(0, len(field.backs) - 1, 7).astype(int)
    assert table.purchase.shape == (len(field.fronts), len(field.backs))
    return [
        (int(row), int(columns[(index * 3 + step) % 7]))
        for index, row in enumerate(rows)
        for step in (0, 3)
    ]


@pytest.mark.parametrize("changes", [{}, {"cleanliness": "low_oil"}], ids=["plain", "low oil"])
def test_the_table_holds_the_bill_of_every_single_stack(
    demo: Catalog, changes: dict[str, Any]
) -> None:
    requirements = inquiry(COATER, **changes)
    purse = Purse(requirements, demo)
    for field in fields_of(requirements, demo):
        table = purse.table(field)
        for row, column in places(field, table):
            front, back = field.fronts[row], field.backs[column]
            purchase, consumables = bill(purse, front, back)
            shape = (len(field.fronts), len(field.backs))
            found = int(np.broadcast_to(table.consumables, shape)[row, column])
            assert table.purchase[row, column] == int(purchase / CENT), (front, back)
            assert found == int(consumables / CENT), (front, back)


def test_energy_is_paid_by_running_hours_and_price() -> None:
    # by hand: 6 × 45 min needed, the 9 h shift counts; × 220 days = 1980 h a year. Jet 500 W,
    # its warm-up within the shift, backing pump 400 W: at 0.24 a kWh
    duty = {"cycles_per_day": 6, "time_at_pressure": "45 min", "days_per_year": 220, "shift": "9 h"}
    commercial = {"energy_price_per_kwh": "0.24", "horizon_years": 3}
    requirements = inquiry(BENCH, duty=duty, commercial=commercial)
    catalog = a_bench(a_jet(), a_rougher(), a_fluid("FLUID", "90.00", 65e-6))
    high = fields_of(requirements, catalog)[0]
    table = Purse(requirements, catalog).table(high)
    jet = round(0.5 * 1980 * 0.24, 2)
    backing = round(0.4 * 1980 * 0.24, 2)
    assert table.energy_per_year[0, 0] == round((jet + backing) * 100)


def test_a_dearer_pump_costs_what_it_costs_more() -> None:
    requirements = inquiry(BENCH)
    fluid = a_fluid("FLUID", "90.00", 65e-6)
    dear = replace(a_jet(), sku="DEAR", price=Decimal("2900.01"))
    catalog = a_bench(a_jet(), dear, a_rougher(), fluid)
    high = fields_of(requirements, catalog)[0]
    purchase = Purse(requirements, catalog).table(high).purchase[:, 0]
    price = {
        front.pump.sku: int(amount)
        for front, amount in zip(high.fronts, purchase, strict=True)
        if front is not None
    }
    assert price["DEAR"] - price["JET"] == 100_001


def test_filters_of_the_backing_pump_are_not_counted_again_with_its_booster(demo: Catalog) -> None:
    requirements = inquiry(COATER, hazards=["particulates"])
    purse = Purse(requirements, demo)
    boosted = [
        back
        for field in fields_of(requirements, demo)
        for back in field.backs
        if isinstance(back.booster, RootsBooster | TurboPump)
        and back.backing.kind is PumpKind.VANE_TWO_STAGE
    ]
    assert boosted
    for back in boosted[:: max(1, len(boosted) // 10)]:
        assert back.booster is not None
        assert purse.fitted(back.backing, None, back)
        assert purse.fitted(back.booster, None, back) == ()


amounts = st.integers(0, 10**9)


@given(purchase=amounts, energy=amounts, consumables=amounts, years=st.floats(0.1, 30.0))
def test_the_total_is_purchase_energy_and_consumables(
    purchase: int, energy: int, consumables: int, years: float
) -> None:
    bought, paid, used = (np.array([[amount]]) for amount in (purchase, energy, consumables))
    table = CostTable(bought, paid, used, np.zeros((1, 1), dtype=np.bool_))
    exact = Decimal(purchase) + Decimal(energy) * Decimal(years) + Decimal(consumables)
    assert abs(int(table.total(years)[0, 0]) - exact) <= Decimal("0.5001")


def test_money_comes_back_from_minor_units_exactly() -> None:
    purse = Purse(inquiry(BENCH), a_bench(a_rougher()))
    assert purse.money(123_456) == Decimal("1234.56")
