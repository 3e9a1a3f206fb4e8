"""The day's work: by hand, against direct integration, laws, and one story wherever it is told."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.catalog.items import PumpKind, TurboPump
from server.fit.advice import advise
from server.fit.choice import StackChoice
from server.fit.cycle_times import Days, room_s
from server.fit.day_results import DayPhase
from server.fit.evacuation import evacuate
from server.fit.evaluation import Judged
from server.fit.explain import Spot
from server.fit.foreline_hold import foreline_holds, is_held
from server.fit.geometry import foreline, outlet_of
from server.fit.inquiry import read_inquiry
from server.fit.margins import duty as duty_margin
from server.fit.requirements import Duty, Requirements, Venting
from server.fit.results import MarginKey, StackAdvice
from server.physics.parts import Tube
from server.web.examples import EXAMPLES
from tests.accuracy import Quantity, agrees
from tests.fit.engine_cases import (
    BENCH,
    COATER,
    DISTILLATION,
    a_bench,
    a_jet,
    a_rougher,
    demo_catalog,
    inquiry,
    judged_demo,
    spot_of,
)
from tests.fit.stock import a_fluid
from tests.fit.test_evacuation import Chamber, followed, integrated_s

FOUR_CYCLES = {"cycles_per_day": 4, "time_at_pressure": "100 min", "vent_time": "12 min"}


def jet_on_the_bench(**duty: Any) -> Spot:
    """A jet of 500 W, warm in 7 min and cool in 25 min, on a rougher of 400 W."""
    catalog = a_bench(a_jet(), a_rougher(), a_fluid("FLUID", "90.00", 65e-6))
    line = {"length": "1 m", "bore": "25 mm", "bends": 0}
    asked = inquiry(BENCH, foreline=line, duty={**FOUR_CYCLES, **duty})
    choice = StackChoice(
        high_vacuum_pump="JET", booster=None, backing_pump="ROUGHER", fluid="FLUID", trap=None
    )
    return spot_of(asked, catalog, choice)


def needed_and_room(spot: Spot) -> tuple[float, float]:
    ledger = spot.judged.ledgers[MarginKey.DUTY]
    return spot.at(ledger.required), spot.at(ledger.available)


def test_a_day_from_cold_by_hand() -> None:
    spot = jet_on_the_bench(shift="8 h")
    # 0.1/2.5e-3·ln(101325/27.8) = 328 s to the crossover (1.2 below half of 66.7 Pa), then 15 s of
    # burst at 0.1667 Pa·m³/s and 0.1/0.065·ln(256) = 8.5 s to 1e-2 Pa; hardly any gas of surfaces
    rough, rest = 328.0, 15.1 + 8.5
    # the foreline of 0.49 L comes from 101 325 to 6.67 Pa in 1.9 s, then 7 min of warm-up, roughing
    # beside it; 16 h of night are worth switching off
    foreline_s = math.pi / 4 * 0.025**2 / 2.5e-3 * math.log(101_325 / 6.666)
    first = foreline_s + 420.0 + rest + 6000.0 + 720.0
    later = rough + rest + 6000.0 + 720.0
    needed, room = needed_and_room(spot)
    assert needed == pytest.approx(first + 3 * later, rel=2e-4)
    assert room == 8 * 3600.0
    # 28 380 s of 28 800 s
    assert spot.at(spot.judged.ledgers[MarginKey.DUTY].ratio) == pytest.approx(1.0148, abs=3e-4)


def test_a_pump_that_stays_hot_starts_the_day_warm() -> None:
    # no night to switch off in: every cycle is roughing, burst and high vacuum
    needed, room = needed_and_room(jet_on_the_bench(shift="24 h"))
    assert needed == pytest.approx(4 * (328.0 + 15.1 + 8.5 + 6720.0), rel=2e-4)
    assert room == 86_400.0
    # 900 W of standing by against 400 W for 25 min: a gap of 1500 s is long enough for the boiler
    # to cool, one of 1400 s is not
    for gap_s, cold in ((1400.0, False), (1510.0, True)):
        spot = jet_on_the_bench(shift=f"{86_400 - gap_s} s")
        assert bool(spot.judged.days.start.from_cold[0]) is cold
        assert needed_and_room(spot)[0] > needed - 1.0


def test_a_cycle_that_is_not_made_every_day_has_the_shifts_of_several() -> None:
    spot = jet_on_the_bench(cycles_per_day=0.25, time_at_pressure="20 h", shift="8 h")
    needed, room = needed_and_room(spot)
    assert room == pytest.approx(4 * 8 * 3600.0)
    assert needed == pytest.approx(420.0 + 1.9 + 23.6 + 72_000 + 720, rel=1e-4)


def test_cycles_on_average_lie_between_whole_ones() -> None:
    two, three = (needed_and_room(jet_on_the_bench(cycles_per_day=n))[0] for n in (2, 3))
    between = needed_and_room(jet_on_the_bench(cycles_per_day=2.5))[0]
    assert between == pytest.approx((two + three) / 2, rel=1e-9)


def test_the_foreline_that_holds_is_the_tube_that_is_sold() -> None:
    field_stacks = followed(judged_demo(COATER))
    sizes = set()
    for index in np.linspace(0, len(field_stacks) - 1, 60).astype(int):
        judged, row, column = field_stacks[index]
        case, front = judged.case, judged.case.fronts[row]
        outlet = outlet_of(front.pump, demo_catalog())
        if outlet is None or not is_held(front):
            continue
        parts = foreline(outlet, case.backs[column], case.requirements).parts
        (tube,) = (part for part in parts if isinstance(part, Tube))
        held = foreline_holds(case, (np.array([row]), np.array([column]))).volume_m3[0]
        assert held == pytest.approx(math.pi / 4 * tube.bore_m**2 * tube.length_m)
        sizes.add(tube.bore_m)
    assert len(sizes) > 1


@dataclass(frozen=True)
class Again(Chamber):
    """The chamber after a first cycle and a venting: what was not refilled goes on as it was."""

    pumped_s: float = 0.0

    def load(self, time_s: float) -> list[float]:
        loads, duty = self.judgement.loads, self.judgement.requirements.duty
        share = math.sqrt(duty.vent_time_s / (4 * 3600.0))
        flow = dict.fromkeys(self.species, 0.0)
        flow["air"] += loads.leak_pa_m3_s
        for surface in loads.surfaces:
            fresh, kept = (
                (max(clock, 60.0) / 3600.0) ** -surface.row.alpha
                for clock in (time_s, self.pumped_s)
            )
            rate = surface.row.q1_pa_m_s * surface.area_m2
            flow[surface.row.species] += rate * (share * fresh + (1.0 - share) * kept)
        return [flow[gas] for gas in self.species]


def test_later_pump_downs_of_the_demo_against_solve_ivp() -> None:
    """Roughing included, with what surfaces then give off: within one per cent all the same."""
    judgement = judged_demo(COATER, target_pressure="3e-6 mbar", pump_down_time=None, process=None)
    of_kind: dict[PumpKind, list[tuple[Judged, int, int]]] = {}
    for stack in followed(judgement):
        of_kind.setdefault(stack[0].case.fronts[stack[1]].pump.kind, []).append(stack)
    assert len(of_kind) > 2
    shorter = []
    for judged, row, column in (
        stacks[part * (len(stacks) - 1) // 2] for stacks in of_kind.values() for part in range(3)
    ):
        place = judged.days.places(np.array([row]), np.array([column]))[0]
        first, later = (
            float(times[place]) for times in (judged.evacuation.time_s, judged.evacuation.later_s)
        )
        again = Again(judgement, rtol=1e-7, pumped_s=first + 45 * 60.0)
        expected = integrated_s(again, judged, row, column)
        what = f"front {row}, back {column}"
        if isinstance(judged.case.backs[column].booster, TurboPump):
            # roughed down to where surfaces matter, by a turbo: an upper bound
            assert 0.999 * expected <= later <= 1.05 * expected, what
        else:
            agrees(Quantity.PUMP_DOWN_LATER, later, expected, source=what)
        shorter.append(later / first)
    assert min(shorter) < 0.5
    assert max(shorter) <= 1.0 + 1e-9


CHOICES = {
    "jet": StackChoice("VAPOURJET-160-W", None, "VANE2-0160", "FLUID-PENTAPHENYL-500ML"),
    "turbo": StackChoice("TURBO-680-IK", None, "VANE2-0050"),
    "rough": StackChoice(None, None, "SCROLL-0120"),
}


@cache
def demo_spot(kind: str) -> Spot:
    utilities = {"cooling_water": True, "three_phase": True, "mains_voltage": "400 V"}
    target = "0.5 Pa" if kind == "rough" else "2e-5 mbar"
    asked = inquiry(COATER, utilities=utilities, target_pressure=target, process=None)
    return spot_of(asked, demo_catalog(), CHOICES[kind])


def days_under(kind: str, duty: Duty) -> Days:
    """Follow a stack anew under another duty."""
    spot = demo_spot(kind)
    asked: Requirements = replace(spot.judged.case.requirements, duty=duty)
    case = replace(spot.judged.case, requirements=asked)
    found = evacuate(
        case.field.fronts, case.field.backs, case.states, case.loads, asked, spot.judged.chosen
    )
    return Days(case, found, spot.judged.chosen)


def ratio_under(kind: str, duty: Duty) -> float:
    ledger = duty_margin(days_under(kind, duty))
    assert ledger is not None
    return float(ledger.ratio[0, 0])


NINE_HOURS = Duty(6.0, 2700.0, 220.0, 32_400.0, 900.0)


@pytest.mark.parametrize("kind", list(CHOICES))
def test_later_pump_downs_go_from_dry_to_fresh(kind: str) -> None:
    fresh = days_under(kind, replace(NINE_HOURS, vent_time_s=4 * 3600.0)).evacuation
    assert fresh.later_s == pytest.approx(fresh.time_s, rel=1e-9)
    # not opened at all: no water is taken up, and what is left is the least there can be
    times = [
        float(days_under(kind, replace(NINE_HOURS, vent_time_s=vent)).evacuation.later_s[0])
        for vent in (0.0, 1.0, 60.0, 900.0, 3600.0)
    ]
    assert times == sorted(times)
    assert times[1] == pytest.approx(times[0], rel=0.02)
    assert np.isnan(days_under(kind, replace(NINE_HOURS, cycles_per_day=1.0)).evacuation.later_s)


def test_without_later_cycles_nothing_of_them_is_asked() -> None:
    one, six = (days_under("jet", replace(NINE_HOURS, cycles_per_day=n)) for n in (1.0, 6.0))
    assert one.evacuation.time_s == pytest.approx(six.evacuation.time_s, rel=1e-12)
    assert one.needs.needed_s == pytest.approx(six.needs.first_s, rel=1e-12)


duties = st.builds(
    Duty,
    cycles_per_day=st.floats(0.1, 8.0),
    time_at_pressure_s=st.floats(60.0, 20_000.0),
    days_per_year=st.just(220.0),
    shift_s=st.floats(3600.0, 86_400.0),
    vent_time_s=st.floats(0.0, 8000.0),
    venting=st.sampled_from(Venting),
)


@given(kind=st.sampled_from(list(CHOICES)), duty=duties, factor=st.floats(1.0, 4.0))
@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=15)
def test_more_work_never_improves_the_margin(kind: str, duty: Duty, factor: float) -> None:
    now, slack = ratio_under(kind, duty), 1.0 + 1e-6
    for field in ("cycles_per_day", "time_at_pressure_s", "vent_time_s"):
        harder = replace(duty, **{field: getattr(duty, field) * factor})
        assert ratio_under(kind, harder) <= now * slack, field
    assert ratio_under(kind, replace(duty, venting=Venting.AIR)) <= now * slack
    longer = replace(duty, shift_s=min(86_400.0, duty.shift_s * factor))
    assert ratio_under(kind, longer) >= now / slack


STORIES: dict[str, Requirements] = {
    **{name: read_inquiry(example) for name, example in EXAMPLES.items()},
    "still": inquiry(DISTILLATION),
    "many tests": inquiry(
        COATER,
        application="leak_test",
        target_pressure="2e-3 mbar",
        process=None,
        duty={"cycles_per_day": 20, "time_at_pressure": "5 min", "shift": "10 h"},
    ),
    "rough": inquiry(COATER, target_pressure="0.1 mbar", process=None),
    "too many": inquiry(COATER, duty={"cycles_per_day": 9, "time_at_pressure": "30 min",
                                      "shift": "11 h"}),
    "on average": inquiry(COATER, duty={"cycles_per_day": 2.5, "time_at_pressure": "1 h"}),
    "a week at pressure": inquiry(
        COATER, duty={"cycles_per_day": 0.1, "time_at_pressure": "200 h", "shift": "24 h"}
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", list(STORIES))
def test_margin_workings_and_day_tell_one_story(name: str) -> None:
    asked = STORIES[name]
    told = 0
    for stack in advise(replace(asked, limit=6), demo_catalog()).stacks:
        margin = next((one for one in stack.margins if one.key is MarginKey.DUTY), None)
        if margin is None or margin.available != room_s(asked.duty):
            continue
        check_one_story(stack, margin.required, asked.duty)
        told += 1
    assert told


def check_one_story(stack: StackAdvice, needed: float, duty: Duty) -> None:
    day = stack.day
    assert day is not None
    assert day.needed_s == needed
    lines = {line.key: line for line in stack.workings}
    assert lines["margin-duty"].inputs["required [s]"] == needed
    assert lines["day-needs"].value == needed
    # the timeline's cycles last as long: it follows the shown curve, the margin that of the field,
    # whose roughing is read between steps that lie elsewhere
    lasts: dict[int, float] = {}
    for span in day.spans:
        if span.what is not DayPhase.REPEATED and "next day" not in span.note:
            lasts[span.cycle] = lasts.get(span.cycle, 0.0) + span.end_s - span.start_s
    if duty.cycles_per_day >= 1.0:
        assert lasts[1] == pytest.approx(day.first_cycle_s, rel=1e-3)
        assert day.first_cycle_s + (duty.cycles_per_day - 1.0) * (
            lasts.get(2, 0.0)
        ) == pytest.approx(needed, rel=1e-3)
        assert day.cycles_that_fit is not None
        fits = day.cycles_that_fit >= duty.cycles_per_day
        assert fits == (needed <= day.shift_s) or not float(duty.cycles_per_day).is_integer()
