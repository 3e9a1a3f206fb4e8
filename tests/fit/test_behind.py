"""What stands behind a turbomolecular pump: the backing pump's rest is air, not the load's gas."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.items import Trap, TrapKind, TurboPump
from server.fit.advice import check
from server.fit.behind import parts_behind
from server.fit.choice import StackChoice
from server.fit.cold_walls import over_trap_pa
from server.fit.inquiry import read_inquiry
from server.fit.results import MarginKey
from tests.fit.engine_cases import demo_catalog

BAKED: dict[str, Any] = {
    "application": "surface_science",
    "chamber": {
        "volume": "60 L",
        "port": "CF 160",
        "surfaces": [{"material": "stainless_steel", "area": "2 m2", "condition": "baked"}],
        "leak_rate": "1e-11 mbar*L/s",
    },
    "target_pressure": "5e-9 mbar",
    "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "230 V"},
}


@pytest.mark.parametrize("backing", ["SCROLL-0120", "DIAPHRAGM-0011"])
def test_a_baked_chamber_is_not_filled_with_hydrogen_by_a_dry_backing_pump(backing: str) -> None:
    """p = p_ult + Q/S_H2 + Q/(S_b·K₀) by hand (Jousten 2016: a turbo's ultimate for hydrogen).

    In practice a CF turbo behind a dry pump takes a baked 60 L chamber below 1e-9 mbar (common
    practice, no source).
    """
    choice = StackChoice(high_vacuum_pump="TURBO-650-CF", backing_pump=backing)
    catalog = demo_catalog()
    stack = check(read_inquiry(BAKED), catalog, choice)
    pump = catalog.get("TURBO-650-CF", TurboPump)
    flow = 2.0 * 2.7e-9  # 304 steel, baked at 250 °C (Young 1969)
    hydrogen = next(curve for curve in pump.curves if curve.gas == "hydrogen")
    base = stack.states["base"]
    assert base is not None
    at_most = pump.ultimate_pa + flow / (0.5 * hydrogen.speed_m3_s[0])
    back = flow / (1e-4 * pump.compression["hydrogen"])  # the smaller pump moves 0.3 L/s
    at_least = pump.ultimate_pa + flow / max(hydrogen.speed_m3_s)
    assert at_least < base.chamber_pressure_pa < at_most + back
    # the speed is that for hydrogen, however close the pressure is to the pump's own ultimate
    assert 0.8 * hydrogen.speed_m3_s[0] < base.effective_speed_m3_s <= max(hydrogen.speed_m3_s)
    lines = {line.key: line for line in stack.workings}
    behind = float(lines["base-back-hydrogen"].inputs["p_f,i [Pa]"])
    speed = {"SCROLL-0120": 12.0 / 3600.0, "DIAPHRAGM-0011": 1.1 / 3600.0}[backing]
    # 16 nodes a decade place the rest up to 15 % above the ultimate pressure: within 2 times
    assert flow / speed < behind * 1.1
    assert behind < 2.5 * flow / speed


@given(
    st.floats(1e-12, 1e2), st.floats(1e-12, 1e2), st.floats(0.0, 1e2), st.floats(0.0, 1.0)
)  # fmt: skip
def test_shares_add_up_and_light_gas_never_gains(
    air: float, hydrogen: float, rest: float, part: float
) -> None:
    parts = {"air": np.array([air]), "hydrogen": np.array([hydrogen])}
    resting = np.array([min(rest, part * (air + hydrogen))])
    shares = parts_behind(parts, resting)
    assert float(sum(shares.values())[0]) == pytest.approx(1.0, rel=1e-12)  # type: ignore[index]
    assert 0.0 <= shares["hydrogen"][0] <= hydrogen / (air + hydrogen) * (1.0 + 1e-12)
    # what leaks back through the pump belongs to air: nothing else is there at rest
    at_rest = parts_behind(parts, np.array([air + hydrogen]))
    assert at_rest["hydrogen"][0] == 0.0
    assert at_rest["air"][0] == pytest.approx(1.0)


def test_roughing_with_a_turbo_comes_to_rest_at_what_the_turbo_reaches() -> None:
    """The chamber cannot get below the roughing pump's own ultimate pressure (definition)."""
    catalog = demo_catalog()
    for sku in ("TURBO-033-KF", "TURBO-065-CF"):
        choice = StackChoice("IONPUMP-120-CF100", sku, "DIAPHRAGM-0020")
        stack = check(read_inquiry(BAKED), catalog, choice)
        margin = next(one for one in stack.margins if one.key is MarginKey.CROSSOVER)
        assert margin.required >= catalog.get(sku, TurboPump).ultimate_pa


def test_a_jet_whose_foreline_carries_nothing_is_judged_not_refused() -> None:
    """2.5 mbar of a diaphragm pump is far above what a jet stands: it fails, and says so."""
    asked: dict[str, Any] = {
        "chamber": {"volume": "3000 L"},
        "target_pressure": "1e-5 mbar",
        "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "400 V"},
    }
    choice = StackChoice(high_vacuum_pump="VAPOURJET-160-W", backing_pump="DIAPHRAGM-0020")
    stack = check(read_inquiry(asked), demo_catalog(), choice)
    foreline = next(one for one in stack.margins if one.key is MarginKey.FORELINE)
    assert foreline.ratio < 1.0
    assert stack.pump_down is not None
    assert stack.pump_down.time_s == float("inf")


def test_a_diaphragm_pump_roughs_for_a_turbo_above_its_own_ultimate_pressure() -> None:
    """V/S·ln(p₁/p₂) down to a pressure above the 8 mbar where it rests (textbooks)."""
    catalog = demo_catalog()
    choice = StackChoice(high_vacuum_pump="TURBO-065-CF", backing_pump="DIAPHRAGM-0009")
    stack = check(read_inquiry(BAKED), catalog, choice)
    turbo = catalog.get("TURBO-065-CF", TurboPump)
    assert stack.pump_down is not None
    rough = next(span for span in stack.pump_down.phases if span.name == "Roughing")
    nominal_m3_s = 0.9 / 3600.0
    at_least = 0.06 / nominal_m3_s * math.log(101_325.0 / turbo.start_pressure_pa)
    assert at_least < rough.end_s < 3.0 * at_least
    assert stack.pump_down.time_s < 2.5 * rough.end_s
    assert stack.pump_down.p10_s < stack.pump_down.time_s < stack.pump_down.p90_s


def test_roughing_that_never_gets_there_is_told_so() -> None:
    """A single-stage pump rests at 0.5 mbar, above this turbo's start pressure: it never starts."""
    asked: dict[str, Any] = {
        "application": "distillation",
        "chamber": {"volume": "3 L"},
        "target_pressure": "7e-5 mbar",
        "process": {"vapour": [{"substance": "carbon_dioxide", "rate": "1 g/h"}]},
        "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "230 V"},
    }
    choice = StackChoice(high_vacuum_pump="TURBO-3000-PURE", backing_pump="VANE1-0200")
    stack = check(read_inquiry(asked), demo_catalog(), choice)
    crossover = next(one for one in stack.margins if one.key is MarginKey.CROSSOVER)
    assert crossover.ratio < 1.0
    assert stack.pump_down is not None
    assert stack.pump_down.time_s == math.inf
    # the curve ends where roughing rests, half a millibar by the pump's data
    assert stack.pump_down.curve[-1][1] == pytest.approx(50.0, rel=0.2)


def test_carbon_dioxide_does_not_stay_on_a_warm_condenser() -> None:
    """Its triple point lies at 5.2 bar: at room temperature it has no liquid in vacuum."""
    catalog = demo_catalog()
    warm = [trap for trap in catalog.of_type(Trap) if trap.surface_k > 288.15]
    assert warm
    for trap in warm:
        assert math.isinf(over_trap_pa("carbon_dioxide", replace(trap, kind=TrapKind.CONDENSER)))


def test_no_remedy_asks_for_more_than_the_atmosphere() -> None:
    """14 mbar relaxed a hundredfold would be above the atmosphere."""
    asked: dict[str, Any] = {
        "chamber": {"volume": "10 m3"},
        "target_pressure": "14 mbar",
        "pump_down_time": "20 s",
        "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "230 V"},
    }
    stack = check(read_inquiry(asked), demo_catalog(), StackChoice(backing_pump="MULTIROOTS-035"))
    assert any(one.margin is MarginKey.PUMP_DOWN for one in stack.remedies)
    for one in stack.remedies:
        if one.change in {"target_pressure", "process.pressure"}:
            assert one.to_value <= 101_325.0
