"""Every kind of stack followed by hand: foreline, crossover, pump-down, vapour, costs, margins.

As in ``test_workings.py``: each value again from its formula and the inputs shown.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from server.catalog.items import CapturePump, RootsBooster
from server.fit.candidates import fields_of
from server.fit.costs import Purse
from server.fit.evaluation import How, judge
from server.fit.loads import loads_of
from server.fit.results import MarginKey
from server.fit.uncertainty import as_stated, follow
from tests.fit.engine_cases import (
    BENCH,
    COATER,
    a_bench,
    a_jet,
    a_rougher,
    inquiry,
)
from tests.fit.sheets import (
    ATM_PA,
    ROOM_K,
    R,
    Sheet,
    close,
    lines_of,
    number,
    numbers,
    returned,
    sheet_named,
    sheet_of,
)
from tests.fit.stock import a_fluid

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
        # between two nodes the engine joins the speeds of the mixture, this those of its gases
        assert close(float(line.value), number(line, "C_f") * drop, 1e-3)
        checked += 1
    assert checked >= 3


def test_the_chamber_sees_no_more_than_the_foreline_lets_through() -> None:
    """65 L/s pump, 2.5 L/s behind it, 500 mTorr in the foreline, 100 mTorr at the inlet: 12.5 L/s.

    A fact of the trade (common practice, no source): S_b·p_tol = 1.25 Torr·L/s, ÷ 0.1 Torr.
    """
    catalog = a_bench(a_jet(), a_rougher(), a_fluid("FLUID", "90.00", 65e-6))
    requirements = inquiry(BENCH)
    field = fields_of(requirements, catalog)[0]
    purse = Purse(requirements, catalog)
    judged = judge(field, loads_of(requirements), requirements, catalog, purse, How(True))
    lines = lines_of(judged, 0, 0, catalog)
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


FROM_THE_ENGINE: dict[MarginKey, tuple[str, str]] = {
    # the two numbers of a margin, each by the key of the line that shows it
    MarginKey.ULTIMATE: ("", "base-chamber"),
    MarginKey.PROCESS_PRESSURE: ("", "process-chamber"),
    MarginKey.THROUGHPUT: ("", "largest"),
    MarginKey.INLET: ("process-inlet", ""),
    MarginKey.CROSSOVER: ("rough-floor", "crossover-limit"),
    MarginKey.PUMP_DOWN: ("", "time"),
    MarginKey.BUDGET: ("", "purchase"),
}


@pytest.mark.parametrize(
    "name", ["turbomolecular", "vapour-jet", "vapour-jet with booster", "rough"]
)
def test_the_lines_of_the_calculation_end_in_the_numbers_of_the_margins(name: str) -> None:
    sheet = sheet_named(name)
    judged, place = sheet.stack.judged, (sheet.stack.row, sheet.stack.column)
    shown = 0
    for key, lines in FROM_THE_ENGINE.items():
        ledger = judged.ledgers.get(key)
        if ledger is None or math.isnan(np.broadcast_to(ledger.ratio, judged.fails.shape)[place]):
            continue
        for numbers_, line in zip((ledger.required, ledger.available), lines, strict=True):
            if line:
                engine = float(np.broadcast_to(numbers_, judged.fails.shape)[place])
                assert close(sheet.value(line), engine, 1e-12), (key, line)
                shown += 1
    assert shown >= 3
    backed = judged.ledgers.get(MarginKey.FORELINE)
    if backed is not None:
        required = float(np.broadcast_to(backed.required, judged.fails.shape)[place])
        available = float(np.broadcast_to(backed.available, judged.fails.shape)[place])
        pairs = [
            (sheet.value(f"foreline-{state}"), sheet.value(f"tolerable-{state}"))
            for state in sheet.states
        ]
        assert (required, available) == min(pairs, key=lambda pair: pair[1] / pair[0])
