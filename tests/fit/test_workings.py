"""Every kind of stack followed by hand: each value again from its formula and the inputs shown.

The equations are written out here a second time, from the sources that the lines name, with
constants of their own; only the tables of the engine (curves, conductances) are taken as shown.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pytest

from server.catalog.items import CapturePump, PumpKind, RootsBooster, TrapKind
from server.catalog.items import VapourPump as Jet
from server.fit.candidates import fields_of
from server.fit.costs import Purse
from server.fit.evaluation import How, judge, without_refused
from server.fit.loads import loads_of
from server.fit.results import MarginKey, Working
from server.fit.uncertainty import as_stated, follow
from server.fit.workings import workings_of
from tests.fit.engine_cases import (
    BENCH,
    COATER,
    Stack,
    a_bench,
    a_jet,
    a_rougher,
    demo_catalog,
    inquiry,
    judged_demo,
    stack_of,
)
from tests.fit.stock import a_fluid

R = 8.314462618  # CODATA 2018
ROOM_K = 293.15
ATM_PA = 101_325.0

SURFACE_SCIENCE: dict[str, Any] = {
    "title": "Baked chamber",
    "chamber": {
        "volume": "60 L",
        "port": "CF 160",
        "surfaces": [{"material": "stainless_steel", "area": "1.5 m2", "condition": "baked"}],
        "leak_rate": "1e-9 mbar*L/s",
    },
    "line": {"length": "0.2 m", "bends": 0},
    "target_pressure": "1e-7 mbar",
    "pump_down_time": "20 h",
    "duty": {
        "cycles_per_day": 0.1,
        "time_at_pressure": "24 h",
        "days_per_year": 300,
        "shift": "24 h",
    },
    "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "400 V"},
}
OVEN: dict[str, Any] = {
    "title": "Drying oven",
    "chamber": {
        "volume": "300 L",
        "temperature": "60 degC",
        "surfaces": [{"material": "mild_steel", "area": "4 m2", "condition": "unbaked"}],
    },
    "target_pressure": "30 Pa",
    "pump_down_time": "40 min",
    "process": {
        "pressure": "300 Pa",
        "gas": [{"species": "nitrogen", "flow": "50 sccm"}],
        "vapour": [{"substance": "water", "rate": "60 g/h"}],
    },
    "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "400 V"},
}


def is_jet(stack: Stack) -> bool:
    return stack.front is not None and isinstance(stack.front.pump, Jet)


def has_trap(stack: Stack) -> bool:
    return stack.front is not None and stack.front.trap is not None


def is_cold_trapped(stack: Stack) -> bool:
    trap = stack.front.trap if stack.front else None
    return trap is not None and trap.kind is TrapKind.NITROGEN_TRAP


def has_kind(stack: Stack, kind: PumpKind) -> bool:
    return stack.front is not None and stack.front.pump.kind is kind


def is_rough(stack: Stack) -> bool:
    return stack.front is None and stack.back.booster is None and stack.back.trap is None


KINDS: dict[str, tuple[dict[str, Any], Callable[[Stack], bool]]] = {
    "vapour-jet": (COATER, lambda s: is_jet(s) and not has_trap(s) and not s.back.booster),
    "vapour-jet with cold trap": (COATER, lambda s: is_jet(s) and is_cold_trapped(s)),
    "vapour-jet with booster": (
        COATER,
        lambda s: is_jet(s) and isinstance(s.back.booster, RootsBooster),
    ),
    "turbomolecular": (
        COATER,
        lambda s: (
            has_kind(s, PumpKind.TURBOMOLECULAR_DRAG) and not has_trap(s) and not s.back.booster
        ),
    ),
    "cryo": (COATER, lambda s: has_kind(s, PumpKind.CRYO)),
    "sputter-ion": (SURFACE_SCIENCE, lambda s: has_kind(s, PumpKind.SPUTTER_ION)),
    "rough": (OVEN, is_rough),
    "rough with booster": (
        OVEN,
        lambda s: s.front is None and isinstance(s.back.booster, RootsBooster),
    ),
    "rough with condenser": (OVEN, lambda s: s.front is None and s.back.trap is not None),
}


@dataclass(frozen=True)
class Sheet:
    """The workings of one stack, by key."""

    stack: Stack
    lines: tuple[Working, ...]

    def __getitem__(self, key: str) -> Working:
        return next(line for line in self.lines if line.key == key)

    def value(self, key: str) -> float:
        """Return a value that is a number."""
        value = self[key].value
        assert isinstance(value, float)
        return value

    def starting(self, *starts: str) -> list[Working]:
        """Return the lines whose key starts with one of these."""
        return [line for line in self.lines if line.key.startswith(starts)]

    @property
    def states(self) -> list[str]:
        """Keys of the states that exist."""
        return [key for key in ("base", "process") if self.starting(f"{key}-balance")]


def number(line: Working, name: str) -> float:
    """Return the input whose name starts with this."""
    found = [value for label, value in line.inputs.items() if label.startswith(name)]
    assert len(found) == 1, (line.key, name, list(line.inputs))
    assert isinstance(found[0], float | int)
    return float(found[0])


def numbers(line: Working, name: str) -> list[float]:
    """Return all inputs whose names start with this."""
    found = [value for label, value in line.inputs.items() if label.startswith(name)]
    assert all(isinstance(value, float | int) for value in found)
    return [float(value) for value in found]


def sheet_of(stack: Stack) -> Sheet:
    return Sheet(stack, workings_of(stack.judged, stack.row, stack.column, demo_catalog()))


@cache
def returned(title: str) -> list[Stack]:
    """Return the stacks of one inquiry that no margin fails; only one field of the smaller two."""
    base = next(base for base, _ in KINDS.values() if base["title"] == title)
    if base is COATER:
        return judged_demo(COATER).returned()
    requirements, catalog = inquiry(base), demo_catalog()
    wanted = None if base is OVEN else PumpKind.SPUTTER_ION
    field = next(
        field
        for field in fields_of(requirements, catalog)
        for front in field.fronts[:1]
        if (None if front is None else front.pump.kind) is wanted
    )
    judged = judge(
        without_refused(field)[0], loads_of(requirements), requirements, catalog,
        Purse(requirements, catalog),
    )  # fmt: skip
    return [stack_of(judged, int(f), int(b)) for f, b in np.argwhere(~judged.fails)]


@cache
def sheet_named(name: str) -> Sheet:
    base, wanted = KINDS[name]
    return sheet_of(next(stack for stack in returned(base["title"]) if wanted(stack)))


@pytest.fixture(params=list(KINDS))
def sheet(request: pytest.FixtureRequest) -> Sheet:
    return sheet_named(request.param)


def close(one: float, other: float, relative: float = 1e-9) -> bool:
    return math.isclose(one, other, rel_tol=relative, abs_tol=1e-300)


# --- form -----------------------------------------------------------------------------------------


def test_lines_have_keys_of_their_own_sources_and_finite_numbers(sheet: Sheet) -> None:
    assert len({line.key for line in sheet.lines}) == len(sheet.lines)
    for line in sheet.lines:
        assert line.name, line.key
        assert line.symbol, line.key
        assert line.formula, line.key
        assert line.source, line.key
        for value in (line.value, *line.inputs.values()):
            assert isinstance(value, str) or math.isfinite(value), line.key


def test_sections_come_in_the_order_of_the_calculation(sheet: Sheet) -> None:
    order = [
        "Chamber and gas loads", "Line to the chamber", "Pump speed", "Base pressure",
        "Process state", "Foreline", "Crossover", "Pump-down", "Vapour", "Costs", "Margins",
    ]  # fmt: skip
    seen = list(dict.fromkeys(line.section for line in sheet.lines))
    assert seen == [section for section in order if section in seen]
    front = sheet.stack.front
    assert ("Foreline" in seen) == (front is not None and front.pump.outlet is not None)
    assert ("Crossover" in seen) == (front is not None)


def test_rejected_stacks_have_workings_too() -> None:
    """A customer's own choice is shown whether or not it works, and whether or not it settles."""
    judged = judged_demo(COATER).judged[0]
    places = np.argwhere(judged.fails)[::701]
    process = judged.case.states.process
    assert process is not None
    unsettled = np.isnan(np.broadcast_to(process.chamber_pa, judged.fails.shape))
    assert unsettled.any()
    for row, column in [*places, *np.argwhere(unsettled)[:3]]:
        lines = workings_of(judged, int(row), int(column), demo_catalog())
        values = [value for line in lines for value in (line.value, *line.inputs.values())]
        assert all(isinstance(value, str) or math.isfinite(value) for value in values)
        assert "Margins" in {line.section for line in lines}


# --- loads ----------------------------------------------------------------------------------------


def test_volume_is_that_of_the_gas_at_pump_temperature(sheet: Sheet) -> None:
    line = sheet["volume"]
    assert close(sheet.value("volume"), number(line, "V_cha") * ROOM_K / number(line, "T_cha"))


def test_surfaces_decay_as_a_power_of_time(sheet: Sheet) -> None:
    hours = sheet.starting("surface-1-1h")
    assert hours
    first = number(hours[0], "A [") * number(hours[0], "q₁")
    assert close(sheet.value("surface-1-1h"), first)
    for state in sheet.states:
        line = sheet[f"surface-1-{state}"]
        time, alpha = number(line, "t ["), number(line, "α")
        assert close(sheet.value(line.key), first * time**-alpha)
    assert number(sheet["surface-1-base"], "t [") == 24.0


def test_standard_flow_becomes_throughput_by_moles() -> None:
    """1 sccm = 1 cm³/min at 0 °C and 101 325 Pa (SEMI E12)."""
    sheet = sheet_named("vapour-jet")
    by_hand = 20e-6 / 60 * ATM_PA * ROOM_K / 273.15
    assert close(sheet.value("gas-1"), by_hand, 1e-6)
    assert close(number(sheet["gas-1"], "flow"), 20.0, 1e-6)


def test_vapour_becomes_throughput_by_moles() -> None:
    """Water: 18.01528 g/mol (IUPAC)."""
    by_hand = 3e-3 / 3600 / 18.01528e-3 * R * ROOM_K
    assert close(sheet_named("vapour-jet").value("vapour-1"), by_hand, 1e-6)


def test_loads_add(sheet: Sheet) -> None:
    for state in sheet.states:
        total = 0.0
        for line in sheet.starting(f"load-{state}-"):
            parts = sum(float(value) for value in line.inputs.values())
            assert close(sheet.value(line.key), parts)
            total += parts
        assert close(sheet.value(f"load-{state}"), total)


# --- lines ----------------------------------------------------------------------------------------


def test_molecular_conductance_of_a_line_adds_from_openings_and_walls(sheet: Sheet) -> None:
    speed = sheet["line-mean-speed"]
    by_hand = math.sqrt(8 * R * number(speed, "T") / (math.pi * number(speed, "M")))
    assert close(sheet.value("line-mean-speed"), by_hand, 1e-9)
    resistance = 0.0
    for line in sheet.lines:
        if line.section != "Line to the chamber" or not line.key[5:].isdigit():
            continue
        if line.symbol == "C_open":
            value = number(line, "A_counted") * by_hand / 4
        else:
            passed = number(line, "W")
            value = number(line, "A [") * by_hand / 4 * passed / (1 - passed)
        assert close(sheet.value(line.key), value)
        resistance += 1 / value
    assert close(sheet.value("line-molecular"), 1 / resistance)


def test_probability_to_pass_a_straight_tube(sheet: Sheet) -> None:
    """Santeler's formula, J. Vac. Sci. Technol. A 4 (1986) 338 (from memory): within 0.7 %."""
    tubes = [line for line in sheet.starting("line-", "foreline-") if "L/a" in line.inputs]
    assert tubes
    for line in tubes:
        ratio = number(line, "L/a")
        by_hand = 1 / (1 + 3 * ratio / 8 * (1 + 1 / (3 * (1 + ratio / 7))))
        if number(line, "bends") > 0:
            # a bend counts as no more than 1.5 radii: a bracket for the bent tube
            longer = ratio + 1.5 * number(line, "bends")
            bent = 1 / (1 + 3 * longer / 8 * (1 + 1 / (3 * (1 + longer / 7))))
            assert 0.99 * bent < sheet.value(line.key) < 1.05 * by_hand
        else:
            assert close(sheet.value(line.key), by_hand, 8e-3)


def test_share_passed_by_a_valve_follows_from_its_catalogue_value() -> None:
    """Mean speed of nitrogen at 20 °C: 470.7 m/s."""
    found = 0
    for name in ("vapour-jet", "vapour-jet with cold trap", "cryo", "sputter-ion"):
        for line in sheet_named(name).starting("line-"):
            if line.symbol == "W" and "C_N₂ [m³/s]" in line.inputs:
                opening = math.pi / 4 * number(line, "equivalent bore") ** 2 * 470.71 / 4
                assert close(float(line.value), number(line, "C_N₂") / opening, 1e-4)
                found += 1
    assert found >= 4


def test_parts_of_a_line_drop_what_their_throughput_needs(sheet: Sheet) -> None:
    for state in sheet.states:
        drops = [
            line
            for line in sheet.starting(f"line-{state}-")
            if line.key.rpartition("-")[2].isdigit()
        ]
        whole = sheet[f"line-{state}-drop"]
        assert drops
        for line in drops:
            assert close(float(line.value), number(line, "Q [") / number(line, "C ["), 1e-6)
            up, down = number(line, "p before"), number(line, "p behind")
            assert close(float(line.value), up - down, 1e-6)
        assert close(float(whole.value), sum(float(line.value) for line in drops), 1e-9)
        assert close(sum(number(line, "share") for line in drops), 1.0, 1e-9)
        # Kn·δ = √π/4 on one bore: both from μ/p (Sharipov & Seleznev 1998)
        assert close(number(drops[0], "Kn") * number(drops[0], "δ"), math.sqrt(math.pi) / 4, 1e-6)


def test_part_by_part_drop_agrees_with_the_speeds(sheet: Sheet) -> None:
    """Two ways to one pressure: gas by gas through tables, and the mixture through each part."""
    for state in sheet.states:
        line = sheet[f"line-{state}-drop"]
        by_speeds = number(line, "Σ p_i at the chamber")
        # where the line matters little, the difference is that of two nearly equal pressures
        slack = 0.02 * sheet.value(f"{state}-chamber")
        assert float(line.value) == pytest.approx(by_speeds, rel=0.2, abs=slack)


# --- speeds ---------------------------------------------------------------------------------------


def test_speed_left_at_the_chamber_follows_the_series_law(sheet: Sheet) -> None:
    checked = 0
    for line in sheet.starting("speed-"):
        if not line.key.endswith("-chamber"):
            continue
        speed, conductance = number(line, "S ["), number(line, "C [")
        by_hand = 1 / (1 / speed + 1 / conductance)
        if "sonic limit [m³/s]" in line.inputs:
            by_hand = min(by_hand, number(line, "sonic limit"))
        curve = sheet[line.key.replace("-chamber", "-curve")]
        dying = speed < 0.5 * number(curve, "largest speed")
        assert close(float(line.value), by_hand, 0.1 if dying else 1e-2), line.key
        checked += 1
    assert checked >= 2


def test_pump_and_line_carry_the_same_gas(sheet: Sheet) -> None:
    for line in sheet.starting("speed-"):
        if not line.key.endswith("-pump"):
            continue
        at_pump, chamber = number(line, "p₂"), number(line, "p [")
        carried = number(line, "C [") * (chamber - at_pump)
        assert close(float(line.value) * at_pump, carried, 1e-6), line.key


def test_whole_load_over_pressure_lies_between_the_speeds_of_the_gases(sheet: Sheet) -> None:
    for state in sheet.states:
        line = sheet[f"speed-{state}"]
        by_hand = number(line, "Q [") / (number(line, "p [") - number(line, "p₀"))
        assert close(float(line.value), by_hand, 1e-6)
        left = [
            float(other.value)
            for other in sheet.starting(f"speed-{state}-")
            if other.key.endswith("-chamber")
        ]
        assert min(left) * (1 - 1e-6) <= float(line.value) <= max(left) * (1 + 1e-6)


def test_booster_follows_the_staging_equation() -> None:
    """S = S_th·K₀/(K₀ + S_th/S_b) (Van Atta 1965)."""
    checked = 0
    for name in ("vapour-jet with booster", "rough with booster"):
        sheet = sheet_named(name)
        for state in sheet.states:
            if f"booster-{state}-k0" not in {line.key for line in sheet.lines}:
                continue
            line = sheet[f"booster-{state}"]
            swept, backing = number(line, "S_th"), number(line, "S_b")
            compression = number(line, "K₀")
            by_hand = swept * compression / (compression + swept / backing)
            # at base the backing pump is near its ultimate pressure, where its speed dies
            assert close(float(line.value), by_hand, 0.1 if state == "base" else 1e-2), name
            between = sheet[f"booster-{state}-between"]
            carried = number(between, "S(p₁)") * number(between, "p₁")
            assert close(carried, number(between, "S_b") * float(between.value), 1e-6)
            checked += 1
    assert checked >= 2


# --- states ---------------------------------------------------------------------------------------


def test_states_are_those_of_the_engine(sheet: Sheet) -> None:
    place, states = (sheet.stack.row, sheet.stack.column), sheet.stack.judged.case.states
    shape = sheet.stack.judged.worst_share.shape
    for key in sheet.states:
        state = states.base if key == "base" else states.process
        assert state is not None
        for name, values in (("chamber", state.chamber_pa), ("inlet", state.inlet_pa)):
            engine = float(np.broadcast_to(values, shape)[place])
            assert sheet.value(f"{key}-{name}") == engine


def test_chamber_pressure_is_the_sum_of_partial_pressures(sheet: Sheet) -> None:
    for state in sheet.states:
        line = sheet[f"{state}-chamber"]
        total = number(line, "p₀")
        for part in sheet.starting(f"{state}-partial-"):
            share = number(part, "Q_i") / number(part, "S_eff")
            assert close(float(part.value), share, 1e-9)
            total += share
        assert close(float(line.value), total, 1e-6)


def test_inlet_pressure_carries_what_gets_past_the_trap(sheet: Sheet) -> None:
    for state in sheet.states:
        line = sheet[f"{state}-inlet"]
        flows, speeds = numbers(line, "Q("), numbers(line, "S(")
        needed = number(line, "p₀") + sum(q / s for q, s in zip(flows, speeds, strict=True))
        assert close(float(line.value), min(needed, number(line, "p [")), 1e-6)


def test_nothing_is_lost_in_any_returned_stack() -> None:
    """Mass balance below 0.1 % wherever a stack is returned, base and process, array by array."""
    for base in (COATER, SURFACE_SCIENCE, OVEN):
        for judged in {id(s.judged): s.judged for s in returned(base["title"])}.values():
            states, kept = judged.case.states, ~judged.fails
            parts = sum(states.base.partial_pa.values())
            residual = (states.base.chamber_pa - states.offset_pa) / parts - 1.0
            assert float(np.abs(np.broadcast_to(residual, kept.shape)[kept]).max()) < 1e-3


def test_nothing_is_lost_in_the_workings_of_many_stacks() -> None:
    stacks = [*returned(COATER["title"])[::800], *returned(OVEN["title"])[::60]]
    assert len(stacks) >= 8
    for stack in stacks:
        sheet = sheet_of(stack)
        assert sheet.states == ["base", "process"]
        for state in sheet.states:
            assert abs(sheet.value(f"{state}-balance")) < 1e-3


def test_fluid_vapour_follows_its_two_constants() -> None:
    line = sheet_named("vapour-jet")["fluid-vapour"]
    by_hand = 10 ** (number(line, "A") - number(line, "B [") / number(line, "T ["))
    assert close(float(line.value), by_hand, 1e-9)


def test_back_diffusion_of_a_turbo_pump_divides_by_its_compression() -> None:
    sheet = sheet_named("turbomolecular")
    for state in sheet.states:
        behind = 0.0
        total = number(sheet[f"{state}-without-load"], "p_rest")
        for line in sheet.starting(f"{state}-back-"):
            assert close(float(line.value), number(line, "p_f,i") / number(line, "K₀"), 1e-9)
            behind += number(line, "p_f,i")
            total += float(line.value)
        assert close(behind, sheet.value(f"foreline-{state}"), 1e-6)
        assert close(sheet.value(f"{state}-without-load"), total, 1e-9)


# --- foreline and crossover -----------------------------------------------------------------------

BACKED = ["vapour-jet", "vapour-jet with cold trap", "vapour-jet with booster", "turbomolecular"]


@pytest.mark.parametrize("name", BACKED)
def test_foreline_pressure_is_backing_pressure_and_drop(name: str) -> None:
    sheet = sheet_named(name)
    for state in sheet.states:
        backing = sheet[f"backing-{state}"]
        flows, speeds = numbers(backing, "Q("), numbers(backing, "S_b(")
        by_hand = sum(q / s for q, s in zip(flows, speeds, strict=True))
        by_hand += sum(numbers(backing, "vapour over"))
        assert close(float(backing.value), by_hand, 1e-6)
        line = sheet[f"foreline-{state}"]
        drop = number(line, "Q [") / number(line, "C_f")
        assert close(float(line.value), float(backing.value) + drop, 1e-6)


@pytest.mark.parametrize("name", BACKED)
def test_tolerable_pressure_falls_straight_with_load(name: str) -> None:
    """Straight line from no-load to full-load value (common practice, no source)."""
    sheet = sheet_named(name)
    for state in sheet.states:
        line = sheet[f"tolerable-{state}"]
        share = min(number(line, "Q [") / number(line, "Q_max"), 1.0)
        span = number(line, "p_no-load") - number(line, "p_full-load")
        assert close(float(line.value), number(line, "p_no-load") - span * share, 1e-9)


def test_largest_throughput_is_where_the_foreline_reaches_its_limit() -> None:
    checked = 0
    for stack in returned(COATER["title"])[::300]:
        if stack.front is None or stack.front.pump.outlet is None:
            continue
        line = sheet_of(stack)["largest"]
        if "S_b [m³/s]" not in line.inputs:
            assert close(float(line.value), number(line, "Q_max"), 1e-6)
            continue
        taken = number(line, "S_b") * number(line, "p_b")
        drop = number(line, "p_tol") - number(line, "p_b")
        assert close(float(line.value), taken, 1e-6)
        assert close(float(line.value), number(line, "C_f") * drop, 1e-4)
        checked += 1
    assert checked >= 3


def test_the_chamber_sees_no_more_than_the_foreline_lets_through() -> None:
    """65 L/s pump, 2.5 L/s behind it, 500 mTorr in the foreline, 100 mTorr at the inlet: 12.5 L/s.

    A fact of the trade (common practice, no source): S_b·p_tol = 1.25 Torr·L/s, ÷ 0.1 Torr.
    """
    catalog = a_bench(a_jet(), a_rougher(), a_fluid("FLUID", "90.00", 65e-6))
    requirements = inquiry(BENCH)
    field = without_refused(fields_of(requirements, catalog)[0])[0]
    purse = Purse(requirements, catalog)
    judged = judge(field, loads_of(requirements), requirements, catalog, purse, How(True))
    lines = workings_of(judged, 0, 0, catalog)
    line = next(line for line in lines if line.key == "largest-speed-2")
    assert number(line, "p_in") == pytest.approx(13.33)
    assert number(line, "Q_limit") == pytest.approx(1.25 * 133.322 * 1e-3, rel=2e-3)
    assert line.value == pytest.approx(12.5e-3, rel=2e-3)


@pytest.mark.parametrize("name", BACKED[:3])
def test_crossover_of_a_vapour_jet_pump_is_the_smallest_of_three_limits(name: str) -> None:
    sheet = sheet_named(name)
    burst, step = sheet["crossover-burst"], sheet["crossover-step"]
    assert close(float(burst.value), number(burst, "Q_limit") * 60 / number(burst, "V"), 1e-9)
    assert close(float(step.value), 0.5 * number(step, "p_no-load"), 1e-9)
    limits = [float(burst.value), float(step.value)]
    roughing = sheet.starting("crossover-roughing")
    if roughing:
        by_hand = number(roughing[0], "Q_limit") / number(roughing[0], "S_rough")
        assert close(float(roughing[0].value), by_hand, 1e-6)
        limits.append(by_hand)
    assert close(sheet.value("crossover-limit"), min(limits), 1e-6)
    chosen = sheet["crossover"]
    assert close(float(chosen.value), number(chosen, "p_limit") / 1.2, 1e-9)
    after = sheet["burst"]
    flow = number(after, "Q_limit")
    excess = max(number(after, "p [") - flow / number(after, "S_eff"), 0.0)
    assert close(float(after.value), number(after, "V") * excess / flow, 1e-9)


# --- pump-down ------------------------------------------------------------------------------------


def test_roughing_agrees_with_the_textbook_estimate(sheet: Sheet) -> None:
    """V/S·ln(p₀/p₁), decade by decade.

    The rest is gas load and the bend of the curve: within 15 %, with a booster 25 %.
    """
    line = sheet["rough-estimate"]
    start, end = number(line, "p_from"), number(line, "p_to")
    borders = [start]
    borders += [10.0**n for n in range(5, -12, -1) if end < 10.0**n < start]
    borders += [end]
    speeds = numbers(line, "S_eff")
    assert len(speeds) == len(borders) - 1
    total = sum(
        number(line, "V") / speed * math.log(above / below)
        for speed, above, below in zip(speeds, borders[:-1], borders[1:], strict=True)
    )
    assert close(float(line.value), total, 1e-9)
    # a booster that cuts in between two decades is not seen by a speed in their middle
    slack = 0.25 if isinstance(sheet.stack.back.booster, RootsBooster) else 0.15
    assert sheet.value("rough") == pytest.approx(total, rel=slack)


def test_phases_add_to_the_pump_down_time(sheet: Sheet) -> None:
    time = sheet["time"]
    parts = [float(value) for value in time.inputs.values() if isinstance(value, float)]
    assert close(float(time.value), sum(parts), 1e-9)
    engine = float(sheet.stack.judged.time_s[sheet.stack.row, sheet.stack.column])
    assert float(time.value) == engine


def test_phases_are_those_of_a_pump_down_followed_by_itself(sheet: Sheet) -> None:
    """The same stack as one plausible system, exactly as stated, phase after phase."""
    stack = sheet.stack
    if stack.front is None:
        return
    place = (np.array([stack.row]), np.array([stack.column]))
    course = follow(stack.judged, place, as_stated(stack.judged.case.loads, 1))
    assert sheet.value("rough") == pytest.approx(float(course.roughing.time_s[0]), rel=0.01)
    assert sheet.value("handed-over") == pytest.approx(float(course.takeover_s[0]), rel=0.01)
    if "hv" in {line.key for line in sheet.lines}:
        alone = float(course.time_s[0] - course.takeover_s[0])
        assert sheet.value("hv") == pytest.approx(alone, rel=0.01)


# --- vapour, costs, margins -----------------------------------------------------------------------


def test_gas_ballast_carries_what_gaede_says() -> None:
    """p_W = (B/S)·[p_s·(p_n − p_a)/(p_o − p_s) − p_a] (Gaede 1935)."""
    tolerance = sheet_named("rough")["tolerance-water"]
    saturation, opening = number(tolerance, "p_s"), number(tolerance, "p_o")
    ambient = number(tolerance, "p_a")
    bracket = saturation * (ATM_PA - ambient) / (opening - saturation) - ambient
    by_hand = number(tolerance, "B [") / number(tolerance, "S [") * bracket
    assert close(float(tolerance.value), max(by_hand, 0.0), 1e-9)
    for name in ("rough", "rough with booster", "vapour-jet"):
        sheet = sheet_named(name)
        line = sheet["carried-water"]
        saturation = number(line, "p_s")
        dry = number(line, "B [") * (ATM_PA - number(line, "p_a")) + number(line, "Q_dry")
        moist = number(line, "B [") * number(line, "p_a")
        flow = saturation / (number(line, "p_o") - saturation) * dry - moist
        assert close(float(line.value), max(flow, 0.0) * 18.01528e-3 / (R * ROOM_K), 1e-6)
        assert close(number(sheet["margin-vapour"], "available"), float(line.value), 1e-9)


def test_saturation_at_the_exhaust_is_that_of_the_steam_tables() -> None:
    """IAPWS-95: 19.95 kPa at 60 °C and 47.41 kPa at 80 °C; log-linear in 1/T between them."""
    line = sheet_named("rough")["saturation-water"]
    temperature = number(line, "T_exhaust")
    slope = math.log(47_414 / 19_946) / (1 / 353.15 - 1 / 333.15)
    by_hand = 19_946 * math.exp(slope * (1 / temperature - 1 / 333.15))
    assert float(line.value) == pytest.approx(by_hand, rel=0.02)


def test_cold_trap_lasts_its_capacity() -> None:
    sheet = sheet_named("vapour-jet with cold trap")
    line = sheet["defrost-inlet-water"]
    assert close(float(line.value), number(line, "m_trap") / (3e-3 / 3600) / 3600, 1e-9)
    rate = sheet["trap-inlet-water"]
    assert close(float(rate.value), number(rate, "m_trap") / (6 * 45 * 60), 1e-9)


def test_energy_and_total_cost_add(sheet: Sheet) -> None:
    for line in sheet.starting("energy-"):
        if line.key == "energy-cost":
            continue
        hours = number(line, "h [")
        if "t_warm-up [s]" in line.inputs:
            days = number(line, "working days")
            starts = days if hours < 24 * days else 1.0
            hours += starts * number(line, "t_warm-up") / 3600
        assert close(float(line.value), number(line, "P [") * hours / 1000, 1e-9)
    cost = sheet["energy-cost"]
    used = sum(float(v) for label, v in cost.inputs.items() if label.endswith("[kWh]"))
    # two amounts are rounded to the cent
    assert float(cost.value) == pytest.approx(used * number(cost, "price"), abs=0.0101)
    total = sheet["total"]
    by_hand = (
        number(total, "K_buy")
        + number(total, "K_energy") * number(total, "years")
        + number(total, "K_upkeep")
    )
    assert float(total.value) == pytest.approx(by_hand, abs=0.0051)


def test_capture_pump_is_full_when_its_smallest_capacity_is() -> None:
    for name in ("cryo", "sputter-ion"):
        sheet = sheet_named(name)
        assert sheet.stack.front is not None
        assert isinstance(sheet.stack.front.pump, CapturePump)
        line = sheet["capture-life"]
        held, flows = numbers(line, "capacity"), numbers(line, "Q_mean")
        by_hand = min(amount / flow for amount, flow in zip(held, flows, strict=True))
        assert close(float(line.value), by_hand, 1e-9)


def test_margins_are_ratios_of_what_is_shown(sheet: Sheet) -> None:
    """One line per margin that applies; the ratio again from required and available."""
    shape = sheet.stack.judged.worst_share.shape
    place = (sheet.stack.row, sheet.stack.column)
    for key in MarginKey:
        ledger = sheet.stack.judged.ledgers.get(key)
        engine = math.nan
        if ledger is not None:
            engine = float(np.broadcast_to(ledger.ratio, shape)[place])
        found = sheet.starting(f"margin-{key.value}")
        if math.isnan(engine):
            assert not found
            continue
        line = sheet[f"margin-{key.value}"]
        if math.isinf(engine):
            assert isinstance(line.value, str)
            continue
        assert line.value == engine
        one, other = number(line, "required"), number(line, "available")
        if other > 0 and one > 0:
            assert any(close(engine, share, 1e-6) for share in (one / other, other / one)), key
        threshold = number(line, "threshold")
        verdict = "pass" if engine >= threshold - 1e-9 else "marginal"
        assert line.inputs["verdict"] == verdict
