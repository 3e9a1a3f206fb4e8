"""Margins in words: every sentence gives the two numbers compared, and no reason that is not so."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from server.catalog.items import OIL_SEALED_KINDS, CapturePump, TrapKind, TurboPump, VapourPump
from server.fit.candidates import fields_of
from server.fit.costs import Purse
from server.fit.cycle_times import room_s
from server.fit.evaluation import How, judge
from server.fit.explain import Said, Spot, duration, flow, margins_of, pressure, reaching_load
from server.fit.habits import lowest_asked_pa, stands_idle
from server.fit.loads import loads_of
from server.fit.pump_limits import limits_for
from server.fit.results import Margin, MarginKey, MarginVerdict
from server.fit.thresholds import RULES, VANE_CLEAN_ROUGHING_PA
from server.units import Dimension, format_quantity
from tests.fit.benches import judged_bench
from tests.fit.engine_cases import (
    COATER,
    DISTILLATION,
    a_jet,
    a_rougher,
    demo_catalog,
    inquiry,
    spot_of,
)
from tests.fit.remedies.cases import CASES as REMEDIED
from tests.fit.stock import a_fluid, a_trap

HARD: dict[str, Any] = {
    **COATER,
    "target_pressure": "1e-7 mbar",
    "pump_down_time": "10 s",
    "process": {"pressure": "1e-4 mbar", "gas": [{"species": "argon", "flow": "2000 sccm"}]},
    "utilities": {"cooling_water": False, "three_phase": False, "mains_voltage": "230 V"},
    "commercial": {"budget": "4000"},
}
OXYGEN: dict[str, Any] = {
    **COATER,
    "process": {"pressure": "5e-3 mbar", "gas": [{"species": "oxygen", "flow": "20 sccm"}]},
}
CASES = {"coater": COATER, "still": DISTILLATION, "hard": HARD, "oxygen": OXYGEN}


@cache
def said(name: str) -> tuple[tuple[Said, Margin], ...]:
    """Margins of some forty combinations spread over every field, failing ones among them."""
    return tuple(_said(name))


def _said(name: str) -> Iterator[tuple[Said, Margin]]:
    asked, catalog = inquiry(CASES[name]), demo_catalog()
    loads, purse, how = loads_of(asked), Purse(asked, catalog), How(follow_all=True)
    for field in fields_of(asked, catalog):
        judged = judge(field, loads, asked, catalog, purse, how)
        rows, columns = judged.worst_share.shape
        for place in range(0, rows * columns, max(1, rows * columns // 40)):
            spot = Spot(judged, place // columns, place % columns)
            for margin in margins_of(spot):
                yield Said(margin.required, margin.available, spot), margin


def of_kind(key: MarginKey) -> Iterator[tuple[Said, Margin]]:
    for name in CASES:
        yield from (pair for pair in said(name) if pair[1].key is key)


PRESSURES = (MarginKey.ULTIMATE, MarginKey.PROCESS_PRESSURE, MarginKey.FORELINE, MarginKey.INLET)


@pytest.mark.parametrize("key", PRESSURES)
def test_a_pressure_that_exists_is_named_beside_the_one_asked_for(key: MarginKey) -> None:
    worked, none = 0, 0
    for numbers, margin in of_kind(key):
        found = (numbers.required, numbers.available)
        if all(math.isfinite(value) for value in found):
            assert all(pressure(value) in margin.explanation for value in found)
            worked += 1
        else:
            assert not any(pressure(v) in margin.explanation for v in found)
            assert any(word in margin.explanation for word in ("more than", "cannot carry"))
            none += 1
    assert worked > 10
    assert none or key is not MarginKey.PROCESS_PRESSURE


def test_a_limit_of_throughput_names_what_sets_it() -> None:
    """The foreline is blamed where the pump alone, with what its trap lets by, could do more."""
    blamed = {True: 0, False: 0}
    for numbers, margin in of_kind(MarginKey.THROUGHPUT):
        spot = numbers.spot
        assert flow(numbers.required) in margin.explanation
        assert flow(numbers.available) in margin.explanation
        state = spot.judged.case.states.process
        if spot.front is None or state is None:
            assert "foreline" not in margin.explanation
            continue
        load = reaching_load(spot, state)
        assert all(0.0 <= load[gas] <= given for gas, given in state.load_pa_m3_s.items())
        own = float(limits_for([spot.front.pump], load).largest_pa_m3_s[0])
        chokes = "The foreline sets this limit" in margin.explanation
        assert chokes == (numbers.available < own * (1 - 1e-6))
        assert not chokes or flow(own) in margin.explanation
        asked = spot.judged.case.requirements.process.pressure_pa
        assert asked is not None
        speed = format_quantity(numbers.available / asked, Dimension.SPEED, "L/s")
        assert f"At {pressure(asked)} the chamber therefore sees at most {speed}" in (
            margin.explanation
        )
        blamed[chokes] += 1
    assert min(blamed.values()) > 0


def test_only_a_vapour_pump_over_its_foreline_is_said_to_stall() -> None:
    seen = {True: 0, False: 0}
    for numbers, margin in of_kind(MarginKey.FORELINE):
        front = numbers.spot.front
        jet = front is not None and isinstance(front.pump, VapourPump)
        stalls = jet and numbers.available < numbers.required and math.isfinite(numbers.required)
        assert ("stalls" in margin.explanation) == stalls
        seen[stalls] += 1
    assert min(seen.values()) > 0


def test_crossover_says_which_pump_takes_over_and_when_oil_comes_back() -> None:
    words = {"oil up the": 0, "gas burst": 0, "turbomolecular pump may be": 0, "stands idle": 0}
    for numbers, margin in of_kind(MarginKey.CROSSOVER):
        front, back = numbers.spot.front, numbers.spot.back
        asked = numbers.spot.judged.case.requirements
        told = margin.explanation
        for word in words:
            words[word] += word in told
        idle = lowest_asked_pa(asked) >= numbers.available or (
            front is not None and stands_idle(front, asked)
        )
        assert ("stands idle" in told) == idle
        if idle:
            assert pressure(lowest_asked_pa(asked)) in told
            continue
        assert pressure(numbers.required) in told
        assert pressure(numbers.available) in told
        assert front is not None
        assert ("gas burst" in told) == isinstance(front.pump, VapourPump)
        assert ("turbomolecular" in told) == isinstance(front.pump, TurboPump)
        bare = (
            back.backing.kind in OIL_SEALED_KINDS
            and back.trap is None
            and back.booster is None
            and numbers.available < VANE_CLEAN_ROUGHING_PA
        )
        assert ("oil up the rough line" in told) == bare
    assert min(words.values()) > 0, words


def test_times_are_said_as_people_say_them_and_never_without_end() -> None:
    for key in (MarginKey.PUMP_DOWN, MarginKey.DUTY):
        found = list(of_kind(key))
        assert found
        for numbers, margin in found:
            for value in (numbers.required, numbers.available):
                if math.isfinite(value):
                    needed = key is MarginKey.DUTY or math.isfinite(numbers.available)
                    assert duration(value) in margin.explanation or not needed
            assert "inf" not in margin.explanation
            front = numbers.spot.front
            holds = "holds gas for" in margin.explanation
            assert not holds or (front is not None and isinstance(front.pump, CapturePump))
            if key is MarginKey.DUTY and not holds:
                duty = numbers.spot.judged.case.requirements.duty
                assert numbers.available == room_s(duty)
                assert duration(numbers.available) in margin.explanation


def test_vapour_names_what_is_taken_unless_nothing_condenses() -> None:
    found = list(of_kind(MarginKey.VAPOUR))
    assert found
    for numbers, margin in found:
        assert format_quantity(numbers.required, Dimension.MASS_RATE) in margin.explanation
        hot = math.isinf(numbers.available)
        assert ("nothing condenses" in margin.explanation) == hot
        if not hot:
            assert format_quantity(numbers.available, Dimension.MASS_RATE) in margin.explanation


def test_a_budget_is_said_in_money_and_temperatures_of_fluid_as_such() -> None:
    budgets = list(of_kind(MarginKey.BUDGET))
    fluids = list(of_kind(MarginKey.FLUID))
    assert budgets
    assert fluids
    for numbers, margin in budgets:
        assert f"{numbers.available:,.2f} EUR" in margin.explanation
        assert "4,000.00 EUR" in margin.explanation
        assert margin.unit == "EUR"
    for numbers, margin in fluids:
        for kelvin in (numbers.required, numbers.available):
            assert format_quantity(kelvin, Dimension.TEMPERATURE) in margin.explanation


def test_oil_towards_the_chamber_is_said_with_what_is_allowed() -> None:
    found = list(of_kind(MarginKey.BACKSTREAMING))
    assert found
    for numbers, margin in found:
        assert f"{numbers.available:.1e} kg" in margin.explanation
        assert f"{numbers.required:.1e} kg" in margin.explanation


REFUSED = {
    MarginKey.UTILITIES: ("no water", "water"),
    MarginKey.COMPATIBILITY: ("clean work", "oil"),
}


@pytest.mark.parametrize("key", list(REFUSED))
def test_what_a_part_breaks_by_itself_is_said_in_its_own_words(key: MarginKey) -> None:
    name, word = REFUSED[key]
    choice, changes = REMEDIED[name]
    spot = spot_of(inquiry(COATER, **changes), demo_catalog(), choice)
    reasons = [p.refusal.reason for p in (spot.front, spot.back) if p and p.refusal]
    assert reasons
    refused = next(margin for margin in margins_of(spot) if margin.key is key)
    assert refused.verdict is MarginVerdict.FAIL
    assert all(reason in refused.explanation for reason in reasons)
    assert word in refused.explanation
    for numbers, margin in of_kind(key):
        parts = (numbers.spot.front, numbers.spot.back)
        assert not any(p.refusal for p in parts if p)
        assert margin.explanation.endswith(".")
        assert margin.verdict is MarginVerdict.PASS or "joints" in margin.explanation


def test_verdicts_follow_the_ratio_and_its_threshold() -> None:
    seen = set()
    for name in CASES:
        for numbers, margin in said(name):
            rule = RULES[margin.key]
            assert margin.threshold == rule.threshold
            assert (margin.verdict is MarginVerdict.PASS) == (margin.ratio >= rule.threshold - 1e-9)
            assert (margin.verdict is MarginVerdict.FAIL) == (margin.ratio < 1.0 - 1e-9)
            assert margin.explanation.endswith(".")
            assert numbers.spot.judged is not None
            seen.add(margin.verdict)
    assert seen == set(MarginVerdict)


def test_what_has_no_end_and_no_pressure_is_said_in_words() -> None:
    assert duration(math.inf) == "never"
    assert pressure(math.nan) == "no steady pressure"
    assert pressure(100.0) == "1.00 mbar"


def test_what_reaches_a_pump_is_the_load_without_what_its_trap_holds() -> None:
    trap = replace(a_trap("COLD", "KF 50", TrapKind.NITROGEN_TRAP), surface_k=77.35)
    process = {
        "gas": [{"species": "argon", "flow": "0.01 Pa*m3/s"}],
        "vapour": [{"substance": "water", "rate": "0.1 g/h"}],
    }
    fluid = a_fluid("FLUID", "90.00", 65e-6)
    judged = judged_bench(a_jet(), a_rougher(), fluid, trap, process=process)
    state = judged.case.states.process
    assert state is not None
    for row, front in enumerate(judged.case.fronts):
        reaching = reaching_load(Spot(judged, row, 0), state)
        assert reaching["argon"] == pytest.approx(0.01)
        assert (reaching["water"] == 0.0) == (front.trap is not None)
    rough = judged_bench(a_rougher(), target_pressure="100 Pa", process=process)
    assert rough.case.states.process is not None
    whole = reaching_load(Spot(rough, 0, 0), rough.case.states.process)
    assert whole == dict(rough.case.states.process.load_pa_m3_s)
