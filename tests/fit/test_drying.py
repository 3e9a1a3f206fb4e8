"""Wet goods on real stacks: supply or equilibrium, and the time by hand."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from server.fit.drying import (
    Drawing,
    GoodsSource,
    drawn_ratio,
    goods_sources,
    held_back,
    rates_kg_s,
)
from server.fit.drying_shown import drying_of
from server.fit.explain import Spot, margins_of
from server.fit.requirements import VapourLoad, WetGoods
from server.fit.results import MarginKey
from server.fit.vapour_results import Drying
from server.physics.speedtable import LogGrid, SpeedTable
from server.physics.steady import steady_state
from tests.fit.benches import judged_bench
from tests.fit.engine_cases import a_jet, a_rougher, demo_catalog, inquiry, judge_all
from tests.fit.stock import a_fluid

OVEN: dict[str, Any] = {
    "chamber": {
        "volume": "200 L",
        "surfaces": [{"material": "stainless_steel", "area": "1 m2", "condition": "unbaked"}],
        "leak_rate": "1e-4 Pa*m3/s",
    },
    "rough_line": {"length": "0 m"},
    "target_pressure": "1 mbar",
    "duty": {"time_at_pressure": "6 h"},
    "utilities": {"cooling_water": True, "three_phase": True},
}


@cache
def spots(temperature: str, mass: str) -> list[Spot]:
    """Rough stacks without trap that face wet goods, whatever their verdict."""
    goods = [{"substance": "water", "mass": mass, "temperature": temperature}]
    judged = judge_all(inquiry(OVEN, process__wet_goods=goods), demo_catalog()).judged
    return [
        Spot(field, 0, column)
        for field in judged
        if field.case.states.inlet is None
        for column, back in enumerate(field.case.backs)
        if back.trap is None and back.booster is None
    ]


def dried(temperature: str, mass: str) -> list[tuple[Spot, Drying]]:
    return [(spot, drying_of(spot)[0]) for spot in spots(temperature, mass)]


def test_a_large_pump_dries_as_fast_as_heat_is_supplied() -> None:
    """2 kg in 6 h are 333.3 g/h, and 2 kg·2 382 kJ/kg over 6 h are 220.6 W (steam tables, 50 °C).

    The enthalpy of evaporation at 50 °C is that of the IAPWS tables, from memory.
    """
    by_supply = [row for _, row in dried("50 degC", "2 kg") if row.limited_by == "supply"]
    assert by_supply
    for row in by_supply:
        assert row.drying_time_s == pytest.approx(6 * 3600.0)
        assert row.rate_kg_s == pytest.approx(2.0 / 21_600.0)
        assert row.heat_w == pytest.approx(2.0 * 2.382e6 / 21_600.0, rel=0.01)
        assert row.partial_pressure_pa <= row.saturation_pa


def test_a_small_pump_draws_no_more_than_its_speed_at_saturation_carries() -> None:
    """Q = S·p_sat with p_sat(0.01 °C) = 611.66 Pa (IAPWS), and t = m·R·T/(M·S·p_sat)."""
    limited = [
        (spot, row)
        for spot, row in dried("0.01 degC", "20 kg")
        if row.limited_by == "pumping" and row.rate_kg_s > 0.0
    ]
    assert len(limited) > 5
    for spot, row in limited:
        assert row.partial_pressure_pa == pytest.approx(611.66, rel=1e-3)
        assert row.chamber_pressure_pa >= row.partial_pressure_pa
        table = spot.judged.case.states.backs_at_work.chamber.each["water"]
        nodes = table.grid.pressure_pa
        speed = np.interp(
            np.log(row.chamber_pressure_pa), np.log(nodes), table.speed_m3_s[spot.back_row]
        )
        by_hand_s = 20.0 * 8.314462 * 293.15 / (18.01528e-3 * speed * 611.66)
        # the walls of 1 m² give off 1e-5 of this
        assert row.drying_time_s == pytest.approx(by_hand_s, rel=5e-3)
        assert "The stack sets the pace" in row.text


def test_goods_stand_in_the_chamber_beside_what_else_is_there() -> None:
    """By hand: 611.66 Pa of water at 0.01 °C (IAPWS) and 0.1 Pa·m³/s of nitrogen ÷ 2.5 L/s."""
    judged = judged_bench(
        a_rougher(), target_pressure="300 Pa", **beside("20 kg", "0.01 degC", 0.1)
    )
    (row,) = drying_of(Spot(judged, 0, 0))
    assert row.limited_by == "pumping"
    assert row.partial_pressure_pa == pytest.approx(611.66, rel=1e-3)
    assert row.chamber_pressure_pa == pytest.approx(611.66 + 40.0, rel=3e-3)
    # S·p_sat of the 20 kg in 6 h
    asked = 20.0 / 21_600.0 * 8.314462 * 293.15 / 18.01528e-3
    ratio = drawn_ratio(judged.case)
    assert ratio is not None
    assert ratio[0, 0] == pytest.approx(2.5e-3 * 611.66 / asked, rel=0.01)


def test_what_a_pump_itself_leaves_in_the_chamber_is_there_beside_frozen_goods() -> None:
    """By hand: nitrogen 1e-4 ÷ 65 L/s, and the fluid's 10^(12 − 4500/298.15) = 8.1e-4 Pa."""
    fluid = replace(
        a_fluid("FLUID", "90.00", 65e-6), vapour_pressure_a=12.0, vapour_pressure_b_k=4500.0
    )
    judged = judged_bench(a_jet(), a_rougher(), fluid, **beside("1 g", "-98 degC", 1e-4))
    (row,) = drying_of(Spot(judged, 0, 0))
    assert row.limited_by == "pumping"
    others = row.chamber_pressure_pa - row.partial_pressure_pa
    assert others == pytest.approx(1e-4 / 0.065 + 10 ** (12.0 - 4500.0 / 298.15), rel=0.01)
    assert 0.3 < row.partial_pressure_pa / others < 3.0


def beside(mass: str, temperature: str, nitrogen_pa_m3_s: float) -> dict[str, Any]:
    """Wet goods with nitrogen let in beside them, dried in 6 h."""
    goods = [{"substance": "water", "mass": mass, "temperature": temperature}]
    gas = [{"species": "nitrogen", "flow": f"{nitrogen_pa_m3_s} Pa*m3/s"}]
    return {"process": {"gas": gas, "wet_goods": goods}, "duty": {"time_at_pressure": "6 h"}}


def test_what_could_be_drawn_is_what_is_drawn_where_the_pump_sets_the_pace() -> None:
    for spot, row in dried("0.01 degC", "20 kg"):
        if row.limited_by == "pumping":
            ratio = drawn_ratio(spot.judged.case)
            assert ratio is not None
            drawn = row.rate_kg_s / (20.0 / 21_600.0)
            assert ratio[0, spot.back_row] == pytest.approx(drawn, rel=0.01)


def test_no_margin_of_vapour_promises_more_than_is_drawn_from_the_goods() -> None:
    seen = 0
    for spot, row in dried("0.01 degC", "20 kg"):
        if row.limited_by == "pumping":
            ratio = spot.at(spot.judged.ledgers[MarginKey.VAPOUR].ratio)
            drawn = row.rate_kg_s / (20.0 / 21_600.0)
            assert ratio <= drawn * 1.01 + 1e-6
            seen += 1
    assert seen > 5


def test_the_target_is_said_to_come_after_drying() -> None:
    texts = [row.text for _, row in dried("0.01 degC", "20 kg") if row.rate_kg_s > 0.0]
    assert all("comes only when they are dry" in text for text in texts)


GRID = LogGrid(1e-2, 1e5, 281)


def a_source(saturation_pa: float, supply: float, evaporation: float) -> GoodsSource:
    goods = WetGoods(1.0, 293.15, None, 3600.0)
    load = VapourLoad("water", 1.0, goods)
    return GoodsSource(load, goods, saturation_pa, supply, supply, 2.5e6, evaporation)


positive = st.floats(1e-3, 1e3)


@given(saturation=st.floats(1.0, 1e4), supply=positive, evaporation=positive, speed=positive)
def test_goods_settle_where_pump_and_surface_agree(
    saturation: float, supply: float, evaporation: float, speed: float
) -> None:
    """By hand for a constant speed: p = min(Q/S, C·p_sat/(S + C))."""
    source = a_source(saturation, supply, evaporation)
    table = SpeedTable(GRID, np.full((1, GRID.count), speed))
    held = held_back(Drawing(table, table, np.zeros(1)), supply, [source])
    partial = supply / held.speed_m3_s[0, 0]
    by_hand = min(supply / speed, evaporation * saturation / (speed + evaporation))
    assert partial == pytest.approx(by_hand, rel=1e-6)
    rate = rates_kg_s(speed * partial, partial, supply, [source])[0]
    assert rate * supply == pytest.approx(speed * partial, rel=1e-6)


@given(saturation=st.floats(10.0, 1e4), supply=positive, others=positive, speed=positive)
def test_a_large_wet_surface_holds_its_saturation_until_the_pump_outruns_it(
    saturation: float, supply: float, others: float, speed: float
) -> None:
    assume(abs(others / speed / saturation - 1.0) > 0.01)
    source = a_source(saturation, supply, np.inf)
    table = SpeedTable(GRID, np.full((1, GRID.count), speed))
    whole = supply + others
    held = held_back(Drawing(table, table, np.zeros(1)), whole, [source])
    found = steady_state({"water": whole}, {"water": held}, [0]).partial_pa["water"][0]
    if not np.isfinite(found):
        return
    by_hand = max(min(whole / speed, saturation), others / speed)
    assert found == pytest.approx(by_hand, rel=1e-6)
    rate = rates_kg_s(speed * float(found), float(found), whole, [source])[0]
    given_off = min(supply, max(saturation * speed - others, 0.0))
    assert rate * supply == pytest.approx(given_off, rel=1e-4, abs=1e-6 * whole)


@given(saturation=st.floats(10.0, 1e4), over=st.floats(0.01, 100.0), supply=positive, past=positive)
def test_a_cold_wall_draws_what_stands_above_its_own_pressure(
    saturation: float, over: float, supply: float, past: float
) -> None:
    """By hand, constant speeds, the wall twice as fast: whichever draws more, pump or wall.

    Q = max(S·p, 2S·(p − p_w)), up to the supply; the goods' own pressure is the highest p.
    """
    source = a_source(saturation, supply, np.inf)
    slow, fast = (SpeedTable(GRID, np.full((1, GRID.count), s)) for s in (past, 2.0 * past))
    stack = Drawing(slow, fast, np.array([over]))
    partial = supply / held_back(stack, supply, [source]).speed_m3_s[0, 0]
    by_hand = min(supply / past, over + supply / (2.0 * past), saturation)
    assert partial == pytest.approx(by_hand, rel=1e-6)
    at = np.array([partial])
    drawn = float(stack.drawn_pa_m3_s(np.array([0]), at, at)[0])
    assert drawn == pytest.approx(max(past * partial, 2.0 * past * (partial - over)), rel=1e-9)
    rate = rates_kg_s(drawn, partial, supply, [source])[0]
    assert rate * supply == pytest.approx(min(drawn, supply), rel=1e-4)


def test_of_two_goods_the_warmer_dry_first() -> None:
    warm, cold = a_source(4000.0, 5.0, np.inf), a_source(2000.0, 5.0, np.inf)
    # S·p = 7 at the saturation of the cold ones: 5 from the warm ones, 2 from the cold ones
    assert rates_kg_s(7.0, 2000.0, 10.0, [cold, warm]) == pytest.approx([0.4, 1.0])


def test_equal_goods_share_what_is_drawn() -> None:
    one = a_source(2000.0, 5.0, np.inf)
    other = replace(one, supply_pa_m3_s=15.0)
    rates = rates_kg_s(10.0, 2000.0, 20.0, [one, other])
    assert rates == pytest.approx([0.5, 0.5])


def test_only_loads_with_goods_are_sources() -> None:
    steady = VapourLoad("water", 1e-4)
    wet = VapourLoad("water", 1e-4, WetGoods(1.0, 293.15, 0.1, 1e4))
    (found,) = goods_sources((steady, wet))
    assert found.load is wet
    # IAPWS: 2 339.2 Pa at 20 °C
    assert found.saturation_pa == pytest.approx(2339.2, rel=1e-4)
    # 0.1 m² of a free surface: A·√(R·T/2πM) = 14.67 m³/s, v̄/4 per area of water at 20 °C
    assert found.evaporation_m3_s == pytest.approx(0.1 * 146.7, rel=2e-3)


def test_the_margin_of_vapour_says_up_to_which_pressure_goods_hold_the_chamber() -> None:
    """611.66 Pa at the triple point: 6.12 mbar."""
    said = [
        margin.explanation
        for spot in spots("0.01 degC", "20 kg")
        for margin in margins_of(spot)
        if margin.key is MarginKey.VAPOUR
    ]
    assert said
    assert all("up to a partial pressure of 6.12 mbar" in text for text in said)
