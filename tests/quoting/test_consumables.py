"""Bills of consumables for stacks and for pumps that customers name."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from server.errors import OutOfRange, UnknownName
from server.fit.requirements import Duty
from server.fit.upkeep import UpkeepGroup, Use
from server.quoting.consumables import (
    PumpToKeep,
    consumables_bill,
    later_lines,
    merged,
    stack_consumables,
)
from tests.fit.stock import CM3, a_catalog, a_fluid
from tests.quoting.stacks import requirements, stock, vapour_stack

STOCK = stock()
DUTY = Duty(0.0, 0.0, 250.0, 8 * 3600.0)  # 2000 h a year


def test_a_named_pump_gets_its_bill() -> None:
    bill = consumables_bill([PumpToKeep("VANE", 2, "OIL-1L", ("MIST",))], Use(DUTY, 4), STOCK)
    # 8000 h: 2 pumps × (first charge + 2 changes) × 0.5 L = 3 L; a kit after 6000 h each; filter
    # elements after 3000 h and 6000 h each.
    assert {line.sku: line.pieces for line in bill.lines} == {
        "OIL-1L": 3,
        "VANE-KIT": 2,
        "MIST-ELEMENT": 4,
    }
    assert bill.total == Decimal(3 * 19 + 2 * 85 + 4 * 85)
    assert bill.total == sum(line.total for line in bill.lines)


def test_a_bottle_of_65_cm3_fills_a_pump_of_30_cm3_twice() -> None:
    # Common practice, no source.
    bottle = replace(a_fluid("B65", "90.00", 65 * CM3, grade="bottle"), life_hours=2000.0)
    shop = a_catalog([*STOCK.items.values(), bottle])
    bill = consumables_bill([PumpToKeep("VJ", 1, "B65")], Use(DUTY, 2), shop)
    (fluid,) = bill.lines_of(UpkeepGroup.FLUIDS)
    assert fluid.pieces == 1
    assert "first charge 30 cm³ + 1 change × 30 cm³" in fluid.reason


def test_an_installed_pump_gets_no_first_charge() -> None:
    bill = consumables_bill([PumpToKeep("VANE")], Use(DUTY, 1, installed=True), STOCK)
    assert all(line.of_which_first == 0 for line in bill.lines)


def test_a_fluid_that_does_not_suit_is_refused_with_the_reason() -> None:
    with pytest.raises(OutOfRange, match="fluid for vapour pumps"):
        consumables_bill([PumpToKeep("VANE", 1, "FLUID-65")], Use(DUTY, 1), STOCK)
    with pytest.raises(OutOfRange, match="not filled with any fluid"):
        consumables_bill([PumpToKeep("TURBO", 1, "OIL-1L")], Use(DUTY, 1), STOCK)


@pytest.mark.parametrize(
    "wanted",
    [PumpToKeep("BAFFLE"), PumpToKeep("VJ", 1, "MIST"), PumpToKeep("VANE", 1, None, ("VJ",))],
)
def test_a_name_of_the_wrong_class_is_refused(wanted: PumpToKeep) -> None:
    with pytest.raises(UnknownName):
        consumables_bill([wanted], Use(DUTY, 1), STOCK)


def test_no_pump_is_no_bill() -> None:
    with pytest.raises(OutOfRange, match="At least one pump"):
        consumables_bill([], Use(DUTY, 1), STOCK)


def test_a_stack_is_the_sum_of_its_pumps() -> None:
    lines = stack_consumables(vapour_stack().parts, requirements(), STOCK, 4.0)
    skus = {line.sku for line in lines}
    assert {"FLUID-65", "VJ-HEATER", "OIL-1L", "VANE-KIT", "MIST-ELEMENT"} <= skus
    groups = list(UpkeepGroup)
    order = [groups.index(line.group) for line in lines]
    assert order == sorted(order)


def test_what_is_bought_with_the_pumps_can_be_left_out() -> None:
    lines = stack_consumables(vapour_stack().parts, requirements(), STOCK, 4.0)
    later = {line.sku: line for line in later_lines(lines)}
    assert "FLUID-65" not in later
    oil = next(line for line in lines if line.sku == "OIL-1L")
    assert later["OIL-1L"].pieces == oil.pieces - 1
    assert later["OIL-1L"].reason.endswith("(of which 1 with the pump)")
    assert all(line.total == line.unit_price * line.pieces for line in later.values())


def test_equal_lines_of_several_pumps_become_one() -> None:
    one = consumables_bill([PumpToKeep("VANE")], Use(DUTY, 4), STOCK)
    two = consumables_bill([PumpToKeep("VANE"), PumpToKeep("VANE")], Use(DUTY, 4), STOCK)
    assert two.lines == merged((*one.lines, *one.lines))
    assert two.total == 2 * one.total
