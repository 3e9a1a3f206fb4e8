"""A working day: by hand for a jet and a turbo, against direct integration, and laws."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from server.fit.choice import StackChoice
from server.fit.course import pump_downs
from server.fit.day import days_of
from server.fit.day_results import Day, DayPhase, Overnight, PumpState
from server.fit.explain import Spot
from server.fit.foreline_hold import MOST_PAUSES
from server.fit.hold_shown import hold_of, hold_text
from server.fit.requirements import Duty, Venting
from server.fit.results import PhaseSpan, PumpDown
from server.fit.running import energy_kwh_per_year
from server.physics.outgassing import LAW_START_S, outgassing_rate_pa_m_s, outgassing_row
from tests.fit.engine_cases import (
    BENCH,
    COATER,
    a_bench,
    a_jet,
    a_rougher,
    demo_catalog,
    inquiry,
    spot_of,
)
from tests.fit.stock import a_fluid

PLENTY = {"cooling_water": True, "three_phase": True, "mains_voltage": "400 V"}
CHOICES = {
    "jet": StackChoice(
        high_vacuum_pump="VAPOURJET-160-W", booster=None, backing_pump="VANE2-0160",
        fluid="FLUID-PENTAPHENYL-500ML", trap=None,
    ),
    "turbo": StackChoice(
        high_vacuum_pump="TURBO-680-IK", booster=None, backing_pump="VANE2-0050",
        fluid=None, trap=None,
    ),
    "cryo": StackChoice(
        high_vacuum_pump="CRYO-200", booster=None, backing_pump="SCROLL-0120",
        fluid=None, trap=None,
    ),
    "ion": StackChoice(
        high_vacuum_pump="IONPUMP-055-CF63", booster="TURBO-065-CF", backing_pump="SCROLL-0120",
        fluid=None, trap=None,
    ),
    "rough": StackChoice(
        high_vacuum_pump=None, booster=None, backing_pump="SCROLL-0120", fluid=None, trap=None
    ),
}  # fmt: skip
BACKED = ("jet", "turbo", "rough")


@cache
def demo_spot(kind: str) -> Spot:
    target = {"rough": "1 Pa", "ion": "4e-6 mbar"}.get(kind, "2e-5 mbar")
    asked = inquiry(COATER, utilities=PLENTY, target_pressure=target, process=None)
    return spot_of(asked, demo_catalog(), CHOICES[kind])


@cache
def jet_spot(foreline_m: float = 1.0, bore: str = "25 mm") -> Spot:
    """A jet of 500 W, warm in 7 min and cool in 25 min, on a rougher of 400 W."""
    catalog = a_bench(a_jet(), a_rougher(), a_fluid("FLUID", "90.00", 65e-6))
    line = {"length": f"{foreline_m} m", "bore": bore, "bends": 0}
    asked = inquiry(BENCH, foreline=line)
    choice = StackChoice(
        high_vacuum_pump="JET", booster=None, backing_pump="ROUGHER", fluid="FLUID", trap=None
    )
    return spot_of(asked, catalog, choice)


def with_duty(spot: Spot, duty: Duty) -> Spot:
    case = spot.judged.case
    asked = replace(case, requirements=replace(case.requirements, duty=duty))
    return Spot(replace(spot.judged, days=replace(spot.judged.days, case=asked)), 0, 0)


def a_course(first: tuple[float, ...], later: tuple[float, ...]) -> PumpDown:
    """A pump-down of which only the phases matter: roughing, (run-up,) high vacuum."""

    def spans(seconds: tuple[float, ...]) -> tuple[PhaseSpan, ...]:
        names = ("Roughing", "Run-up", "High vacuum")
        if len(seconds) < 3:
            names = ("Roughing", "High vacuum", "")
        ends = np.cumsum(seconds).tolist()
        starts = [0.0, *ends]
        return tuple(
            PhaseSpan(name, start, end, "")
            for name, start, end in zip(names, starts, ends, strict=False)
        )

    return PumpDown(
        sum(first), 0.0, 0.0, None, 10.0, (), (), (), (), spans(first), sum(later), spans(later)
    )


def made(spot: Spot, course: PumpDown) -> Day:
    """The day of a stack that was judged with such pump-downs."""
    judged, (rough, *_), later = spot.judged, course.phases, course.later_time_s
    found = replace(
        judged.evacuation,
        time_s=np.array([course.time_s]),
        rough_s=np.array([rough.end_s]),
        later_s=np.array([later]),
    )
    followed = replace(judged.days, evacuation=found)
    (day,) = days_of([replace(spot, judged=replace(judged, days=followed))], [course])
    assert day is not None
    return day


EIGHT_HOURS = Duty(4.0, 2700.0, 220.0, 28_800.0, 600.0)


def test_a_jets_day_by_hand() -> None:
    # First cycle: the foreline, 0.491 L, goes from 101 325 to 6.67 Pa at 2.5 L/s in 1.89 s; 7 min
    # of warm-up with 5 min of roughing beside it, 6 min to the target, 45 min, 10 min open.
    day = made(with_duty(jet_spot(), EIGHT_HOURS), a_course((300.0, 360.0), (300.0, 180.0)))
    foreline = math.pi / 4 * 0.025**2 / 2.5e-3 * math.log(101_325.0 / 6.666)
    assert day.first_cycle_s == pytest.approx(foreline + 420 + 360 + 2700 + 600, abs=0.01)
    assert day.cold_start_s == pytest.approx(foreline + 420 + 360, abs=0.01)
    assert day.later_cycle_s == pytest.approx(300 + 180 + 2700 + 600)
    # 28 800 s less 4082 s leave room for 6.5 cycles of 3780 s
    assert day.cycles_that_fit == 7
    names = [span.what for span in day.spans]
    assert names[:6] == [
        DayPhase.FORELINE, DayPhase.WARM_UP, DayPhase.ROUGHING, DayPhase.HIGH_VACUUM,
        DayPhase.AT_PRESSURE, DayPhase.OPEN,
    ]  # fmt: skip
    assert names[-3:] == [DayPhase.READY, DayPhase.COOL_DOWN, DayPhase.NIGHT]
    assert day.spans[1].end_s - day.spans[1].start_s == pytest.approx(120.0)
    assert day.spans[2].high_vacuum_pump is PumpState.WARMING
    assert [span.cycle for span in day.spans[:9]] == [1] * 6 + [2] * 3
    assert {span.cycle for span in day.spans[-3:]} == {0}
    cooling = day.spans[-2]
    assert (cooling.start_s, cooling.end_s) == pytest.approx((28_800.0, 30_300.0))
    assert cooling.backing_pump is PumpState.WORKING
    # heater on from the foreline's 1.9 s to the end of the shift; backing pump 25 min longer
    jet, backing = day.energy
    assert jet.per_day_kwh == pytest.approx(0.5 * (8 - foreline / 3600), rel=1e-4)
    assert jet.warming_kwh == pytest.approx(0.5 * 420 / 3600)
    assert backing.per_day_kwh == pytest.approx(0.4 * 30_300 / 3600)
    assert day.kwh_per_year == pytest.approx(220 * (jet.per_day_kwh + backing.per_day_kwh))


def test_a_year_is_its_working_days_however_seldom_the_chamber_is_opened() -> None:
    seldom = replace(EIGHT_HOURS, cycles_per_day=0.5)
    day = made(with_duty(jet_spot(), seldom), a_course((300.0, 360.0), (300.0, 180.0)))
    # the pumps of a jet are on for the shift of each of 220 days
    for part in day.energy:
        assert part.per_year_kwh == pytest.approx(220 * part.per_day_kwh)


def test_a_turbos_day_by_hand() -> None:
    # roughed through itself: 10 min, 3 min of run-up, 2 min; later ones 1 min less; 6 × 45 min
    spot = demo_spot("turbo")
    day = made(spot, a_course((600.0, 180.0, 120.0), (600.0, 180.0, 60.0)))
    assert day.first_cycle_s == pytest.approx(900 + 2700 + 540)
    assert day.later_cycle_s == pytest.approx(840 + 2700 + 540)
    assert day.cold_start_s == pytest.approx(900)
    assert day.cycles_that_fit == 1 + 6  # (32 400 − 4140)/4080 = 6.9
    assert day.hold is None
    turbo, backing = day.energy
    # 500 W and 250 W through the shift of 9 h; six run-ups; 120 s, 5 × 60 s and 6 × 45 min at work
    assert turbo.warming_kwh == pytest.approx(0.5 * 6 * 180 / 3600)
    assert turbo.working_kwh == pytest.approx(0.5 * (120 + 5 * 60 + 6 * 2700) / 3600)
    assert turbo.per_day_kwh == pytest.approx(0.5 * 9)
    assert backing.per_day_kwh == pytest.approx(0.25 * 9)
    # off overnight: six more hours of 750 W a night would be paid for nothing but 3 min of run-up
    assert day.night.break_even_s == pytest.approx(180.0)
    assert day.night.choice is Overnight.SWITCH_OFF


def test_a_cryopump_stays_cold_and_its_rougher_is_switched_off() -> None:
    spot = demo_spot("cryo")
    day = made(spot, a_course((400.0, 20.0), (300.0, 20.0)))
    cryo, rougher = day.energy
    pump = CHOICES["cryo"]
    assert (cryo.sku, rougher.sku) == (pump.high_vacuum_pump, pump.backing_pump)
    # 3.2 kW through all 8766 hours of a year; 420 W for 400 s and five times 300 s a day
    assert cryo.per_year_kwh == pytest.approx(3.2 * 8766)
    assert rougher.per_day_kwh == pytest.approx(0.42 * (400 + 5 * 300) / 3600)
    assert rougher.per_year_kwh == pytest.approx(220 * rougher.per_day_kwh)
    assert day.night.choice is Overnight.STAY_ON
    # from warm: 100 min of cooling down beside roughing, then the target
    assert day.cold_start_s == pytest.approx(100 * 60 + 20)
    assert day.spans[-1].high_vacuum_pump is PumpState.STANDING_BY


def test_an_ion_pumps_roughing_turbo_runs_only_at_the_start() -> None:
    seldom = Duty(0.1, 9 * 86_400.0, 300.0, 86_400.0)
    spot = with_duty(demo_spot("ion"), seldom)
    day = made(spot, a_course((300.0, 120.0, 3000.0), (300.0, 120.0, 3000.0)))
    by_sku = {part.sku: part for part in day.energy}
    turbo, scroll = by_sku["TURBO-065-CF"], by_sku["SCROLL-0120"]
    # by hand: 7 min on the day it is opened, which is every tenth of 300
    assert turbo.per_day_kwh == pytest.approx(0.12 * 420 / 3600)
    assert scroll.per_year_kwh == pytest.approx(0.42 * 420 / 3600 * 30)
    assert day.cycles_that_fit is None
    assert day.spans[-1].what is DayPhase.AT_PRESSURE
    assert "next day" in day.spans[-1].note
    # while the turbo runs up the ion pump waits for its start pressure
    waits = [span.high_vacuum_pump for span in day.spans if span.what is DayPhase.TAKE_OVER]
    assert set(waits) == {PumpState.STANDING_BY}


def test_the_foreline_holds_as_long_as_direct_integration_says() -> None:
    spot = jet_spot()
    hold = hold_of(spot, 300.0)
    volume, area = math.pi / 4 * 0.025**2, math.pi * 0.025
    assert hold.volume_m3 == pytest.approx(volume)
    wall, seal = outgassing_row("stainless_steel", "unbaked"), outgassing_row("fkm", "unbaked")

    def rise(t: float, _p: np.ndarray) -> list[float]:
        gas = float(outgassing_rate_pa_m_s(wall, t)) * area
        gas += float(outgassing_rate_pa_m_s(seal, t)) * 0.005 * area
        return [(gas + 1e-5 * 0.065) / volume]  # the pump's own: ultimate pressure × speed

    def full(_t: float, p: np.ndarray) -> float:
        return float(p[0] - 66.66)

    full.terminal = True  # type: ignore[attr-defined]
    begin = LAW_START_S
    roughed = solve_ivp(rise, (begin, begin + 300.0), [6.666], rtol=1e-9, max_step=50.0)
    last = solve_ivp(rise, (begin, 1e7), [6.666], events=full, rtol=1e-9, max_step=2e3).t[-1]
    assert hold.end_pa == pytest.approx(float(roughed.y[0, -1]), rel=1e-6)
    # walls give off less and less: the time at the first rate is on the safe side
    assert hold.hold_s < float(last) - LAW_START_S
    # by hand at that rate: 4.909e-4 m³ × 59.99 Pa / 4.33e-5 Pa·m³/s = 680 s
    assert hold.hold_s == pytest.approx(680.0, rel=0.005)


def test_a_foreline_that_does_not_hold_is_pumped_between_or_needs_a_pump() -> None:
    spot = jet_spot()
    hold = hold_of(spot, 1500.0)
    # 680 s at a time: 1500 s take two pauses of V/S·ln 10 = 0.45 s
    assert (hold.pauses, hold.holding_pump) == (2, False)
    assert hold.pause_s == pytest.approx(4.909e-4 / 2.5e-3 * math.log(10.0), rel=1e-3)
    day = made(with_duty(spot, EIGHT_HOURS), a_course((1500.0, 60.0), (1500.0, 60.0)))
    assert day.later_cycle_s == pytest.approx(1500 + 2 * hold.pause_s + 60 + 3300)
    assert "stops 2 times for" in hold_text(hold)
    once, held = hold_of(spot, 700.0), hold_of(spot, 300.0)
    assert "stops once for" in hold_text(once)
    assert hold_text(held).endswith("One backing pump does both.")
    too_long = hold_of(spot, 680.0 * (MOST_PAUSES + 1.5))
    assert too_long.holding_pump
    assert "needs a holding pump of its own" in hold_text(too_long)
    none = hold_of(jet_spot(0.0), 300.0)
    assert none.holding_pump
    assert none.hold_s == 0.0


seconds = st.floats(1.0, 20_000.0)
duties = st.builds(
    Duty,
    cycles_per_day=st.one_of(st.floats(0.0, 30.0), st.just(400.0)),
    time_at_pressure_s=st.floats(1.0, 200.0) | st.floats(200.0, 40_000.0),
    days_per_year=st.floats(1.0, 366.0),
    shift_s=st.floats(60.0, 86_400.0),
    vent_time_s=st.floats(1.0, 5000.0),
    venting=st.sampled_from(Venting),
)


@given(
    kind=st.sampled_from(list(CHOICES)),
    duty=duties,
    rough=seconds,
    rest=seconds,
    shorter=st.floats(0.1, 1.0),
)
@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_every_day_is_whole(
    kind: str, duty: Duty, rough: float, rest: float, shorter: float
) -> None:
    spot = with_duty(demo_spot(kind), duty)
    day = made(spot, a_course((rough, rest), (rough, rest * shorter)))
    spans = day.spans
    # no gap, no overlap, 24 h in all, and the work adds up to the shift or what the cycles need
    assert spans[0].start_s == 0.0
    assert all(span.end_s > span.start_s for span in spans)
    assert all(
        one.end_s == pytest.approx(two.start_s, abs=1e-6) for one, two in itertools.pairwise(spans)
    )
    assert spans[-1].end_s == pytest.approx(86_400.0, abs=1e-5)
    night = (DayPhase.COOL_DOWN, DayPhase.NIGHT)
    work = sum(span.end_s - span.start_s for span in spans if span.what not in night)
    assert work == pytest.approx(day.work_s, abs=1e-5)
    assert work >= duty.shift_s - 1e-5
    assert day.later_cycle_s <= day.first_cycle_s + 1e-6
    assert day.kwh_per_day == pytest.approx(sum(part.per_day_kwh for part in day.energy))
    # no pump is on for longer than a day
    assert all(part.per_day_kwh <= part.power_w * 0.024 * (1 + 1e-9) for part in day.energy)
    if kind in BACKED and not any(span.what is DayPhase.REPEATED for span in spans):
        check_energy_against_spans(day)


def check_energy_against_spans(day: Day) -> None:
    """The backing pump, last in the list, is charged for the spans it is on."""
    on = {PumpState.WARMING, PumpState.WORKING, PumpState.STANDING_BY}
    seconds_on = sum(s.end_s - s.start_s for s in day.spans if s.backing_pump in on)
    backing = day.energy[-1]
    assert backing.per_day_kwh == pytest.approx(backing.power_w * seconds_on / 3.6e6)


def test_many_cycles_are_shown_as_one_span_and_counted_all() -> None:
    duty = Duty(60.0, 120.0, 220.0, 28_800.0, 60.0)
    day = made(with_duty(demo_spot("rough"), duty), a_course((100.0,), (100.0,)))
    (repeated,) = [span for span in day.spans if span.what is DayPhase.REPEATED]
    assert repeated.end_s - repeated.start_s == pytest.approx(58 * 280.0)
    assert "cycles 3 to 60" in repeated.note
    (pump,) = day.energy
    # 60 × 220 s of pumping, the rest of 8 h standing by
    assert pump.working_kwh == pytest.approx(pump.power_w * 60 * 220 / 3.6e6)
    assert pump.per_day_kwh == pytest.approx(pump.power_w * 8 / 1000)


def test_a_day_that_does_not_fit_says_so() -> None:
    duty = Duty(4.0, 6000.0, 220.0, 28_800.0, 1200.0)
    day = made(with_duty(demo_spot("rough"), duty), a_course((600.0,), (600.0,)))
    # 4 × 7800 s = 31 200 s, 8 h are 28 800 s
    assert day.cycles_that_fit == 3
    assert day.work_s == pytest.approx(31_200.0)
    assert any("there is room for 3" in note for note in day.notes)


def test_energy_agrees_with_what_is_priced_where_the_day_fits() -> None:
    spot = demo_spot("turbo")
    day = made(spot, a_course((600.0, 180.0, 120.0), (600.0, 180.0, 60.0)))
    assert spot.front is not None
    pumps = (spot.front.pump, spot.back.backing)
    duty = spot.judged.case.requirements.duty
    assert day.kwh_per_year == pytest.approx(sum(energy_kwh_per_year(p, duty) for p in pumps))


@pytest.mark.parametrize("kind", list(CHOICES))
def test_a_demo_stacks_later_cycles_are_never_slower(kind: str) -> None:
    down = pump_downs([demo_spot(kind)])[0]
    assert down.later_time_s <= down.time_s * (1 + 1e-6) or math.isinf(down.time_s)
    assert len(down.later_phases) == len(down.phases)
    if math.isfinite(down.time_s):
        assert down.later_phases[-1].end_s == pytest.approx(down.later_time_s)
    # roughing that ends within two per cent of where it comes to rest counts as never getting there
    (day,) = days_of([demo_spot(kind)], [down])
    assert (day is not None) == math.isfinite(float(demo_spot(kind).judged.time_s[0, 0]))


def test_a_target_that_is_never_reached_has_no_day() -> None:
    never = replace(a_course((300.0, 60.0), (300.0, 60.0)), time_s=math.inf)
    assert days_of([demo_spot("jet")], [never]) == [None]
