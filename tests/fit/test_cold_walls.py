"""Vapour traps: what they hold, what passes, what stands over them, against hand calculation."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.items import SpeedCurve, Trap, TrapKind, TrapPlace
from server.fit.backing import BackTables, back_tables
from server.fit.candidates import Back, Front
from server.fit.cold_walls import over_trap_pa
from server.fit.costs import Purse
from server.fit.explain import Spot
from server.fit.inlet import InletTables, inlet_tables
from server.fit.partials import partials_of
from server.fit.vapour_path import vapour_path_of
from server.fit.workings.bench import Bench
from server.physics.gas import mean_speed_m_s
from server.physics.steady import steady_state
from tests.fit.engine_cases import (
    BENCH,
    a_bench,
    a_jet,
    a_rougher,
    demo_catalog,
    inquiry,
    judge_all,
)
from tests.fit.stock import a_fluid, a_trap

JET = a_jet()
FLUID = a_fluid("FLUID", "90.00", 65e-6)
# two halves of 0.6 m³/s of nitrogen each, 80 mm wide
COLD = replace(a_trap("COLD", "KF 50", TrapKind.NITROGEN_TRAP), capacity_kg=1.0)
WET = {"process": {"vapour": [{"substance": "water", "rate": "1 g/h"}]}}
SPECIES_OF_LOAD = ("air", "argon", "water")


@cache
def front_tables(surface_k: float) -> InletTables:
    trap = replace(COLD, surface_k=surface_k)
    front = Front(JET, FLUID, trap, None)
    found = inlet_tables((front,), SPECIES_OF_LOAD, inquiry(BENCH), a_bench(JET, FLUID, trap))
    assert found is not None
    return found


def a_load(water: float, argon: float = 0.0) -> dict[str, float]:
    return {"air": 0.0, "argon": argon, "water": water}


def chamber_pa(tables: InletTables, load: dict[str, float]) -> float:
    under = tables.under(load)
    found = steady_state(load, under.at_chamber, [0], offset_pa=under.over_pa)
    return float(found.pressure_pa[0])


def test_ice_at_minus_100_lets_by_its_pressure_times_the_speed_behind_it() -> None:
    """Molecular flow by hand; log10(p/Pa) = 12.537 − 2663.5 K/T over ice, 1.43e-3 Pa at −100 °C.

    (Marti & Mauersberger, Geophys. Res. Lett. 20 (1993) 363; coefficients from memory; 1.6 % above
    IAPWS R14-08 here.)

    The pump takes 0.065 m³/s of water as of any gas. From the wall half of the trap leads to it,
    0.6 m³/s of nitrogen and √(28.01/18.02) as much of water, the end of which the pump's speed
    counts already: 1/C = 1/C_half − 4/(A·v̄) with the trap's bore, the wider of the two.
    """
    tables = front_tables(173.15)
    over = 10.0 ** (12.537 - 2663.5 / 173.15)
    mean_speed = float(mean_speed_m_s(293.15, 18.01528e-3))
    opening = np.pi / 4 * 0.08**2 * mean_speed / 4
    half = 0.6 * (28.0134 / 18.01528) ** 0.5
    behind = 1.0 / (1.0 / half - 1.0 / opening + 1.0 / 0.065)
    passes = over * behind
    load = a_load(1.2 * passes)
    assert tables.beyond_trap(load)["water"][0] == pytest.approx(passes, rel=0.025)
    # all that comes flows through the first half; p_w stands over the wall
    assert chamber_pa(tables, load) == pytest.approx(over + load["water"] / half, rel=0.02)
    assert tables.under(load).over_pa[0] == pytest.approx(over, rel=0.02)
    # less than the pump draws from the wall is not held at all
    little = a_load(0.9 * passes)
    assert tables.beyond_trap(little)["water"][0] == 0.9 * passes
    assert tables.under(little).over_pa[0] == 0.0
    through = 1.0 / (1.0 / 0.065 + 2.0 / half - 1.0 / opening)
    assert chamber_pa(tables, little) == pytest.approx(0.9 * passes / through, rel=0.02)


@given(kelvin=st.floats(100.0, 195.0), water=st.floats(1e-9, 0.1), argon=st.floats(0.0, 0.02))
def test_what_comes_is_held_or_passes_and_more_never_lowers_either(
    kelvin: float, water: float, argon: float
) -> None:
    tables = front_tables(round(kelvin))
    for flow in (water, 2.0 * water):
        load = a_load(flow, argon)
        passes = float(tables.beyond_trap(load)["water"][0])
        assert 0.0 <= passes <= flow
        held = tables.under(load).at_work.holds
        assert bool(held) is (passes < flow)
        assert float(tables.beyond_trap(load)["argon"][0]) == argon
    one, two = (float(tables.beyond_trap(a_load(f, argon))["water"][0]) for f in (water, 2 * water))
    assert one <= two * (1.0 + 1e-12)
    assert water - one <= (2 * water - two) * (1.0 + 1e-12)


@given(kelvin=st.integers(100, 190), colder=st.integers(1, 30), water=st.floats(1e-7, 0.1))
def test_a_colder_trap_never_lets_more_by(kelvin: int, colder: int, water: float) -> None:
    warm, cold = (
        float(front_tables(float(t)).beyond_trap(a_load(water))["water"][0])
        for t in (kelvin, kelvin - colder)
    )
    assert cold <= warm * (1.0 + 1e-9)


@pytest.mark.parametrize("argon", [0.0, 1e-3])
@pytest.mark.parametrize("kelvin", [140.0, 160.0, 180.0])
def test_the_chamber_pressure_has_no_step_where_holding_begins(kelvin: float, argon: float) -> None:
    tables = front_tables(kelvin)
    low, high = 1e-12, 1.0
    for _ in range(60):
        middle = (low * high) ** 0.5
        held = tables.under(a_load(middle, argon)).at_work.holds
        low, high = (low, middle) if held else (middle, high)
    before, after = (chamber_pa(tables, a_load(flow, argon)) for flow in (low, high))
    assert after == pytest.approx(before, rel=0.005)
    passing = [float(tables.beyond_trap(a_load(flow, argon))["water"][0]) for flow in (low, high)]
    assert passing[1] == pytest.approx(passing[0], rel=1e-9)


@pytest.mark.parametrize(
    ("kind", "surface_k", "gas"),
    [
        (TrapKind.NITROGEN_TRAP, 77.35, "argon"),  # has no saturation curve here: not held
        (TrapKind.WATER_BAFFLE, 289.15, "water"),  # no trap for vapour
        (TrapKind.CONDENSER, 310.0, "carbon_dioxide"),  # above its critical temperature
    ],
)
def test_a_trap_that_cannot_hold_a_gas_sets_no_limit(
    kind: TrapKind, surface_k: float, gas: str
) -> None:
    trap = replace(a_trap("TRAP", "KF 50", kind, TrapPlace.HIGH_VACUUM), surface_k=surface_k)
    assert np.isinf(over_trap_pa(gas, trap))
    assert np.isinf(over_trap_pa(gas, None))


def test_a_warm_trap_holds_nothing() -> None:
    """Water at 15 °C stands at 17 mbar: far more than this pump draws is needed to reach that."""
    tables = front_tables(288.15)
    for water in (1e-6, 1e-3, 0.05):
        assert tables.beyond_trap(a_load(water))["water"][0] == water
        assert not tables.under(a_load(water)).at_work.holds


def condenser_tables(rest_pa: float) -> BackTables:
    """Return the tables of a pump of 9 m³/h behind a condenser at −40 °C, resting at a pressure."""
    curve = SpeedCurve("air", (1e-3, 1.1e5), (2.5e-3, 2.5e-3))
    pump = replace(a_rougher(), sku=f"P{rest_pa:g}", curves=(curve,), ultimate_pa=rest_pa)
    trap = a_trap("CONDENSER", "KF 25", TrapKind.REFRIGERATED_TRAP, TrapPlace.FORELINE)
    trap = replace(trap, surface_k=233.15, equivalent_bore_m=0.2)
    back = Back(pump, None, trap, None, None)
    return back_tables([back], SPECIES_OF_LOAD, inquiry(BENCH, **WET), a_bench(pump, trap))


def test_gas_takes_vapour_past_a_condenser_even_where_the_pump_rests_above_its_pressure() -> None:
    """By hand: ice at −40 °C has 12.84 Pa (CRC Handbook), the pump rests at 500 Pa.

    1 Pa·m³/s of air stands at p − 12.84 Pa with S·(1 − 500/p)·(p − 12.84) = 1, a quadratic in p; as
    much volume of vapour goes with it: 12.84 Pa of S·(1 − 500/p). Alone it would not pass.
    """
    tables = condenser_tables(500.0)
    load = {"air": 1.0, "argon": 0.0, "water": 1.0}
    half = (500.0 + 12.84 + 1.0 / 2.5e-3) / 2.0
    pressure = half + (half**2 - 500.0 * 12.84) ** 0.5
    expected = 12.84 * 2.5e-3 * (1.0 - 500.0 / pressure)
    assert tables.beyond_trap(load)["water"][0] == pytest.approx(expected, rel=0.03)
    alone = {"air": 0.0, "argon": 0.0, "water": 1.0}
    assert tables.beyond_trap(alone)["water"][0] == 0.0


def test_a_condenser_behind_takes_its_part_of_what_passes_the_trap_in_front() -> None:
    """12.84 Pa of ice at −40 °C on 2.5 L/s through half a trap of 0.6 m³/s: 0.0320 Pa·m³/s."""
    tables = condenser_tables(1e-4)
    load = {"air": 0.0, "argon": 0.0, "water": 0.1}
    expected = 12.84 * 2.5e-3
    assert tables.beyond_trap(load)["water"][0] == pytest.approx(expected, rel=0.02)
    assert tables.at_work(load).over_pa[0] == pytest.approx(12.84, rel=0.01)
    assert tables.at_work({**load, "water": 0.03}).over_pa[0] == 0.0


FREEZE_DRYING = {
    "chamber": {"volume": "100 L", "leak_rate": "1e-4 Pa*m3/s"},
    "target_pressure": "1e-2 mbar",
    "process": {
        "pressure": "0.2 mbar",
        "vapour": [{"substance": "water", "rate": "20 g/h"}],
    },
    "duty": {"cycles_per_day": 1, "time_at_pressure": "8 h"},
    "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "400 V"},
}


def test_path_margin_and_parts_of_a_stack_tell_the_same_of_its_trap() -> None:
    """What the path says is held and passes is the share of the load that the states reckon with.

    20 g/h of water are 0.7517 Pa·m³/s at 20 °C: m·R·T/(M·3600 s).
    """
    seen, asked = 0, inquiry(FREEZE_DRYING)
    purse = Purse(asked, demo_catalog())
    for judged in judge_all(asked, demo_catalog()).judged:
        state = judged.case.states.process
        if judged.case.states.inlet is not None or state is None:
            continue
        for column in range(0, len(judged.case.backs), 3):
            spot = Spot(judged, 0, column)
            trap: Trap | None = spot.back.trap
            if trap is None or not np.isfinite(spot.at(state.chamber_pa)):
                continue
            (way,) = vapour_path_of(spot)
            load = state.load_pa_m3_s
            assert load["water"] == pytest.approx(0.7517, rel=0.02)
            passes = judged.case.states.backing.beyond_trap(load)["water"][column]
            held_kg = way.held_by_back_trap_kg_per_day
            assert held_kg == pytest.approx(0.16 * (1.0 - passes / load["water"]), rel=1e-9)
            bench = Bench(spot, purse)
            assert bench.process is not None
            parts = {one.what: one for one in partials_of(bench, bench.process)}
            over = parts.get(f"vapour over {trap.name}")
            pressed = over_trap_pa("water", trap) > 1e-6 * bench.process.chamber_pa
            assert (over is not None) is (held_kg > 0.0 and pressed)
            if over is not None:
                assert over.pressure_pa == pytest.approx(over_trap_pa("water", trap), rel=1e-6)
                assert over.note == "water"
                seen += passes > 1e-3 * load["water"]
    assert seen > 3
