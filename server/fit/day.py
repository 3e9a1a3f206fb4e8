"""A working day of a shown stack: cold start, cycles, night, timeline and energy.

The pump-downs are those of ``course``: the first of fresh surfaces, the later ones of surfaces that
a short venting filled in part. Here they are put together with what the pumps need besides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.fit.day_course import (
    OFF,
    ON,
    READY,
    Segment,
    cold_start_s,
    cycle,
    from_cold,
    length_s,
    spans_of,
    work_of,
)
from server.fit.day_night import choice_of, energy_of, night_of
from server.fit.day_results import Day, DayPhase, ForelineHold, Overnight, PumpState
from server.fit.explain import Spot, duration
from server.fit.foreline_hold import is_held
from server.fit.habits import (
    Habits,
    Stop,
    back_draws,
    front_draws,
    habits_of,
    power_w,
    restart_of,
    stop_of,
)
from server.fit.hold_shown import hold_of, hold_text
from server.fit.requirements import Duty, Venting
from server.fit.results import PumpDown
from server.fit.running import DAY_S
from server.fit.venting import refilled_by_venting
from server.units import Dimension, format_quantity


def days_of(spots: Sequence[Spot], pump_downs: Sequence[PumpDown]) -> list[Day | None]:
    """Return a working day of each of several stacks.

    Parameters
    ----------
    spots : sequence of Spot
        The stacks.
    pump_downs : sequence of PumpDown
        First and later pump-downs of each.

    Returns
    -------
    list of Day or None
        None where the target is never reached: there is no cycle to repeat.
    """
    found: list[Day | None] = [None] * len(spots)
    for judged in {id(spot.judged): spot.judged for spot in spots}.values():
        places = [
            place
            for place, (spot, course) in enumerate(zip(spots, pump_downs, strict=True))
            if spot.judged is judged and math.isfinite(course.time_s) and course.phases
        ]
        own = [(spots[place], pump_downs[place]) for place in places]
        for place, (spot, course), cycles in zip(places, own, _cycles_of(own), strict=True):
            if math.isfinite(cycles.foreline_s) and math.isfinite(cycles.first_s):
                found[place] = _day_of(spot, course, cycles)
    return found


def _day_of(spot: Spot, pump_down: PumpDown, cycles: _Cycles) -> Day:
    asked, phases = spot.judged.case.requirements, pump_down.phases
    duty, habits = asked.duty, habits_of(spot.front, asked)
    warm = cycle(phases, habits, duty, cycles.rough_s)
    first = from_cold(warm, habits, cycles.foreline_s) if cycles.from_cold else warm
    later = cycle(pump_down.later_phases or phases, habits, duty, cycles.later_rough_s)
    wanted = cycles_wanted(duty)
    segments = work_of(first, later, wanted)
    work = max(duty.shift_s, length_s(segments))
    stop = _stop_of(spot, habits)
    choice = choice_of(habits, stop, DAY_S - work)
    segments = _whole_day(segments, habits, choice, duty)
    energy = energy_of(spot, habits, segments, wanted)
    hold = hold_of(spot, cycles.longest_rough_s) if is_held(habits.front) else None
    return Day(
        cold_start_s=cold_start_s(habits, cycles.rough_s, cycles.rest_s, cycles.foreline_s),
        first_cycle_s=cycles.first_s,
        later_cycle_s=cycles.later_s,
        needed_s=cycles.needed_s,
        cycles_wanted=wanted,
        cycles_that_fit=None if duty.cycles_per_day < 1.0 else _fitting(duty, cycles),
        shift_s=duty.shift_s,
        work_s=work,
        spans=spans_of(segments, rough=spot.front is None),
        hold=hold,
        night=night_of(spot, habits, stop, choice, max(0.0, DAY_S - work)),
        energy=energy,
        kwh_per_day=math.fsum(part.per_day_kwh for part in energy),
        kwh_per_year=math.fsum(part.per_year_kwh for part in energy),
        refilled_share=refilled_by_venting(duty),
        notes=(*_notes(spot, pump_down, hold, cycles), *_left_notes(segments, choice, stop)),
    )


@dataclass(frozen=True)
class _Cycles:
    """The cycles of a stack as the duty margin counts them, and roughing of its shown course."""

    from_cold: bool
    foreline_s: float
    rough_s: float
    """With its pauses, as the next."""
    later_rough_s: float
    longest_rough_s: float
    """Without."""
    rest_s: float
    """From the end of the first roughing to the target."""
    first_s: float
    later_s: float
    needed_s: float


def _cycles_of(stacks: Sequence[tuple[Spot, PumpDown]]) -> list[_Cycles]:
    """Return the cycles of stacks of one field with their pump-downs."""
    if not stacks:
        return []
    days = stacks[0][0].judged.days
    places = np.concatenate([spot.place for spot, _ in stacks])
    start, needs, duty = days.start.only(places), days.needs, days.case.requirements.duty
    firsts = [course.phases for _, course in stacks]
    laters = [course.later_phases or course.phases for _, course in stacks]
    rough, again = (
        np.array([phases[0].end_s - phases[0].start_s for phases in courses])
        for courses in (firsts, laters)
    )
    later_s = needs.later_s[places]
    if not duty.repeats:
        ends = np.array([phases[-1].end_s for phases in laters])
        later_s = start.later_cycle_s(again, ends, duty)
    columns = (
        start.from_cold,
        start.foreline_s,
        start.roughing_s(rough),
        start.roughing_s(again),
        np.maximum(rough, again),
        np.array([phases[-1].end_s - phases[0].end_s for phases in firsts]),
        needs.first_s[places],
        later_s,
        needs.needed_s[places],
    )
    rows = zip(*(column.tolist() for column in columns), strict=True)
    return [_Cycles(*row) for row in rows]


def _stop_of(spot: Spot, habits: Habits) -> Stop:
    front_w, back_w = power_w(front_draws(habits)), power_w(back_draws(spot.back))
    return stop_of(restart_of(habits), front_w, back_w)


def cycles_wanted(duty: Duty) -> int:
    """Return how many cycles the day shown has: whole ones, one where there are fewer."""
    return max(1, math.floor(duty.cycles_per_day + 0.5)) if duty.cycles_per_day > 0.0 else 0


def _fitting(duty: Duty, cycles: _Cycles) -> int:
    """Return how many cycles end within the shift."""
    room = round(duty.shift_s - cycles.first_s, 6)
    return 0 if room < 0.0 else 1 + math.floor(room / cycles.later_s + 1e-9)


def _whole_day(
    cycles: tuple[Segment, ...], habits: Habits, choice: Overnight, duty: Duty
) -> tuple[Segment, ...]:
    """Return 24 h: the cycles, what is left of the shift, cool-down and night."""
    segments = list(cycles)
    left = duty.shift_s - length_s(segments)
    if left > 0.0:
        segments.append(
            Segment(DayPhase.READY, left, habits.idle, habits.waiting, "room in the shift")
        )
    gap = DAY_S - length_s(segments)
    if choice is Overnight.SWITCH_OFF and habits.cool_down_s > 0.0:
        note = "heater off; cooling and backing pump stay on until the boiler is cool"
        segments.append(
            Segment(DayPhase.COOL_DOWN, habits.cool_down_s, PumpState.COOLING, ON, note)
        )
        gap -= habits.cool_down_s
    if gap > 0.0:
        segments.append(_night(habits, choice, gap))
    return tuple(segments)


def _night(habits: Habits, choice: Overnight, seconds: float) -> Segment:
    if choice is Overnight.SWITCH_OFF:
        return Segment(DayPhase.NIGHT, seconds, OFF, OFF, "switched off")
    state = READY if habits.front is not None else OFF
    return Segment(DayPhase.NIGHT, seconds, state, habits.waiting, "standing by")


def _notes(
    spot: Spot, pump_down: PumpDown, hold: ForelineHold | None, cycles: _Cycles
) -> list[str]:
    """Say what is worth knowing about the day."""
    asked = spot.judged.case.requirements
    duty, habits = asked.duty, habits_of(spot.front, asked)
    notes = []
    if hold is not None:
        notes.append(hold_text(hold))
    notes += _fit_notes(duty, cycles)
    if cycles_wanted(duty) > 1:
        notes.append(_later_note(duty, pump_down))
    if spot.front is not None and habits.front is None:
        notes.append("The work stays at pressures the backing pump holds: this pump stays off.")
    elif habits.nonstop:
        notes.append(
            "The roughing pump is switched off once the pump on the chamber has taken over."
        )
    return notes


def _left_notes(segments: tuple[Segment, ...], choice: Overnight, stop: Stop) -> list[str]:
    """Say what an early end would save, where the shift has room left."""
    left = math.fsum(piece.seconds for piece in segments if piece.what is DayPhase.READY)
    if choice is not Overnight.SWITCH_OFF or left <= 0.0:
        return []
    kwh = format_quantity(float(stop.idle_w) * left, Dimension.ENERGY, "kWh")
    return [
        f"After the last cycle {duration(left)} of the shift are left: switching off then instead "
        f"of standing ready saves {kwh} a day."
    ]


def _fit_notes(duty: Duty, cycles: _Cycles) -> list[str]:
    wanted = cycles_wanted(duty)
    if 0.0 < duty.cycles_per_day < 1.0:
        every = duration(DAY_S / duty.cycles_per_day)
        return [f"The chamber is opened every {every}: this is such a day."]
    notes = []
    if wanted != duty.cycles_per_day:
        notes.append(
            f"The duty has {duty.cycles_per_day:g} cycles a day on average; {wanted} are shown."
        )
    needed = cycles.first_s + cycles.later_s * (wanted - 1) if wanted else 0.0
    if round(needed - duty.shift_s, 6) > 0.0:
        fit = _fitting(duty, cycles)
        notes.append(
            f"With start and venting the {wanted} {'cycle takes' if wanted == 1 else 'cycles take'}"
            f" {duration(needed)}; in the shift of {duration(duty.shift_s)} there is room for "
            f"{fit or 'none'}."
        )
    return notes


def _later_note(duty: Duty, pump_down: PumpDown) -> str:
    gas = "dry nitrogen" if duty.venting is Venting.DRY_NITROGEN else "room air"
    share = refilled_by_venting(duty)
    taken = (
        f"Open for {duration(duty.vent_time_s)} in {gas}, the surfaces take up {share:.0%} of the "
        "water of fresh ones"
    )
    if pump_down.later_time_s > HARDLY_FASTER * pump_down.time_s:
        return f"{taken}; that hardly matters here, where the volume of gas sets the time."
    return (
        f"{taken}: later pump-downs take {duration(pump_down.later_time_s)}, the first "
        f"{duration(pump_down.time_s)}."
    )


HARDLY_FASTER = 0.98
"""Pump-downs within this share of the first are called alike."""
