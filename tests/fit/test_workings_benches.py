"""Workings of stacks without lines and with numbers of our own, followed by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from server.catalog.items import Item, TrapKind
from server.fit.results import Working
from server.fit.workings.course import NEVER, decades_pa
from tests.fit.benches import judged_bench
from tests.fit.engine_cases import a_bench, a_jet, a_rougher
from tests.fit.sheets import lines_of, number, numbers
from tests.fit.stock import a_fluid, a_trap

FLUID = a_fluid("FLUID", "90.00", 65e-6)


def sheet_by_hand(*items: Item, trapped: bool = False, **changes: Any) -> dict[str, Working]:
    """Return the workings, by key, of the one stack of these items with or without its trap."""
    judged = judged_bench(*items, **changes)
    rows = [
        row for row, front in enumerate(judged.case.fronts) if (front.trap is not None) == trapped
    ] or [0]
    return {line.key: line for line in lines_of(judged, rows[0], 0, a_bench(*items))}


def test_every_gas_is_shown_as_pumped_or_as_held_by_the_trap() -> None:
    """Water is held by a trap at 77 K; xenon, which comes after it, is not."""
    trap = replace(a_trap("COLD", "KF 50", TrapKind.NITROGEN_TRAP), surface_k=77.35)
    process = {
        "gas": [{"species": "xenon", "flow": "0.01 Pa*m3/s"}],
        "vapour": [{"substance": "water", "rate": "0.1 g/h"}],
    }
    sheet = sheet_by_hand(a_jet(), a_rougher(), FLUID, trap, trapped=True, process=process)
    inputs = sheet["process-inlet"].inputs
    assert inputs["water"] == "held by the trap"
    assert "Q(xenon) [Pa·m³/s]" in inputs


def test_a_trap_without_a_capacity_of_its_own_holds_nothing_in_the_long_run() -> None:
    """What it takes counts as passed: there is no rate between defrosts, and no defrost."""
    process = {"vapour": [{"substance": "water", "rate": "0.1 g/h"}]}
    for capacity_kg in (0.0, 0.1):
        cold = replace(
            a_trap("COLD", "KF 50", TrapKind.NITROGEN_TRAP),
            surface_k=77.35,
            capacity_kg=capacity_kg,
        )
        sheet = sheet_by_hand(a_jet(), a_rougher(), FLUID, cold, trapped=True, process=process)
        assert "passes-inlet-water" in sheet
        for key in ("held-inlet-water", "trap-inlet-water", "defrost-inlet-water"):
            assert (key in sheet) == (capacity_kg > 0.0)


def test_a_chamber_that_is_never_handed_over_has_no_phase_that_reached_its_target() -> None:
    """Roughing ends at 400 Pa: a leak of 1 Pa·m³/s ÷ 2.5 L/s, far above any crossover."""
    sheet = sheet_by_hand(a_jet(), a_rougher(), FLUID, chamber__leak_rate="1 Pa*m3/s")
    assert sheet["handed-over"].value == NEVER
    assert sheet["time"].value == NEVER
    assert "reached" not in sheet["time"].formula


def test_the_span_of_an_estimate_is_cut_at_whole_powers_of_ten() -> None:
    assert decades_pa(101_325.0, 0.5) == [101_325.0, 1e5, 1e4, 1e3, 1e2, 1e1, 1.0, 0.5]
    assert decades_pa(1e3, 10.0) == [1e3, 1e2, 1e1]
    assert decades_pa(8.0, 2.0) == [8.0, 2.0]


def test_surfaces_let_a_target_be_reached_when_their_gas_has_fallen_to_what_is_pumped() -> None:
    """By hand: 5.7e-6 Pa·m/s at 1 h, falling as 1/t, × 0.01 m² ÷ 65 L/s (Elsey 1975)."""
    at_one_hour = 5.7e-6 * 0.01 / 0.065  # 8.8e-7 Pa
    items = (a_jet(ultimate_pa=1e-9), a_rougher(), FLUID)
    # the fluid's 10^(14.4 − 6500/298.15) = 4e-8 Pa is there at rest
    rest = 10 ** (14.4 - 6500 / 298.15)

    def found(target_pa: float) -> Working:
        return sheet_by_hand(*items, target_pressure=f"{target_pa} Pa")["surfaces"]

    half = found(2 * at_one_hour + rest)
    assert float(half.value) == pytest.approx(1800.0, rel=0.01)
    assert float(found(at_one_hour / 4 + rest).value) == pytest.approx(4 * 3600.0, rel=0.01)
    assert found(1e-3).value == "from the first minute on"
    assert found(rest / 2).value == NEVER


def test_a_leak_is_counted_beside_the_surfaces() -> None:
    """By hand: 6.5e-9 Pa·m³/s ÷ 65 L/s = 1e-7 Pa."""
    items = (a_jet(ultimate_pa=1e-9), a_rougher(), FLUID)
    rest = 10 ** (14.4 - 6500 / 298.15)
    target = 5.7e-6 * 0.01 / 0.065 + rest + 1e-7
    sheet = sheet_by_hand(
        *items, target_pressure=f"{target} Pa", chamber__leak_rate="6.5e-9 Pa*m3/s"
    )
    assert float(sheet["surfaces"].value) == pytest.approx(3600.0, rel=0.01)
    assert math.isclose(float(sheet["leak"].value), 6.5e-9)


def test_the_burst_is_held_back_by_what_the_foreline_cannot_carry() -> None:
    """By hand: 100 L from 27.8 to 2.56 Pa at the 0.1667 Pa·m³/s of the foreline take 15.14 s.

    The pump alone takes 65 L/s × 13.33 Pa down to 13.33 Pa in 1.67 s, and 65 L/s from there in
    2.53 s.
    """
    sheet = sheet_by_hand(a_jet(), a_rougher(), FLUID)
    took_over = sheet["handed-over"]
    held = float(sheet["held"].value)
    assert held == pytest.approx(15.14 - 1.67 - 2.53, rel=0.01)
    assert number(took_over, "t_held") == held
    assert float(took_over.value) == pytest.approx(328.0 + held, rel=0.01)


def test_roughing_ends_where_pump_and_gas_are_in_balance() -> None:
    """By hand: a leak of 0.05 Pa·m³/s ÷ 2.5 L/s = 20 Pa."""
    sheet = sheet_by_hand(a_jet(), a_rougher(), FLUID, chamber__leak_rate="0.05 Pa*m3/s")
    floor = sheet["rough-floor"]
    assert float(floor.value) == pytest.approx(20.0, rel=0.01)
    gases = zip(numbers(floor, "Q("), numbers(floor, "S_rough("), strict=True)
    assert sum(flow / speed for flow, speed in gases) == pytest.approx(20.0, rel=0.01)
    assert number(floor, "Q(air)") == pytest.approx(0.05)


def test_rarefaction_of_a_line_is_that_at_the_mean_pressure() -> None:
    """δ = a·p/(μ·v₀), nitrogen of 17.57 µPa·s and v₀ = 417.2 m/s at 20 °C (CoolProp, by hand)."""
    process = {"gas": [{"species": "nitrogen", "flow": "0.05 Pa*m3/s"}]}
    line = {"length": "1 m", "bends": 0, "bore": "25 mm"}
    found = sheet_by_hand(a_jet(), a_rougher(), FLUID, process=process, line=line)["line-process"]
    mean_pa = (number(found, "p_chamber") + number(found, "p_in")) / 2
    by_hand = 0.0125 * mean_pa / (17.57e-6 * 417.2)
    assert number(found, "p_chamber") > 2 * number(found, "p_in")
    assert number(found, "δ on the narrowest bore") == pytest.approx(by_hand, rel=0.01)


def test_what_comes_through_a_seal_is_shown_gas_by_gas() -> None:
    """Q = K·A·Δp/d."""
    surfaces = [{"material": "fkm", "area": "0.02 m2"}]
    sheet = sheet_by_hand(
        a_jet(), a_rougher(), FLUID, target_pressure="1e-7 mbar", chamber__surfaces=surfaces
    )
    for gas in ("air", "water"):
        seal = sheet[f"seal-1-{gas}"]
        assert seal.section == sheet["leak"].section
        by_hand = number(seal, "K [") * number(seal, "A [") * number(seal, "Δp") / number(seal, "d")
        assert float(seal.value) == pytest.approx(by_hand)
        assert number(seal, "A [") == pytest.approx(0.02)


def test_drying_is_shown_until_the_goods_are_dry() -> None:
    """The heat supplied is that for drying 200 g in the 6 h at pressure."""
    goods = [{"substance": "water", "mass": "0.2 kg", "temperature": "50 degC"}]
    process = {"pressure": "2000 Pa", "wet_goods": goods}
    duty = {"time_at_pressure": "6 h"}
    sheet = sheet_by_hand(a_rougher(), target_pressure="100 Pa", process=process, duty=duty)
    (time,) = (line for key, line in sheet.items() if key.startswith("goods") and "time" in key)
    assert float(time.value) == pytest.approx(6 * 3600.0)
    assert number(time, "m [") == pytest.approx(0.2)
