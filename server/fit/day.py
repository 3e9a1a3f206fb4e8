"""A working day of a shown stack: cold start, cycles, night, timeline and energy.

The pump-downs are those of ``course``: the first of fresh surfaces, the later ones of surfaces that
a short venting filled in part. Here they are put together with what the pumps need besides.
"""

from __future__ import annotations

import math

from server.fit.day_course import (
    OFF,
    ON,
    READY,
    Habits,
    Segment,
    cold_start_s,
    cycle,
    from_cold,
    habits_of,
    length_s,
    spans_of,
    work_of,
)
from server.fit.day_night import Stop, choice_of, energy_of, night_of, stop_of
from server.fit.day_results import Day, DayPhase, ForelineHold, Overnight, PumpState
from server.fit.explain import Spot, duration
from server.fit.foreline_hold import foreline_emptied_s, foreline_hold, hold_text
from server.fit.requirements import Duty, Venting
from server.fit.results import PumpDown
from server.fit.running import DAY_S
from server.fit.thresholds import HUMIDITY
from server.physics.duty import refilled_share
from server.units import Dimension, format_quantity


def day_of(spot: Spot, pump_down: PumpDown) -> Day | None:
    """Return a working day of a stack.

    Parameters
    ----------
    spot : Spot
        The stack.
    pump_down : PumpDown
        Its first and later pump-downs.

    Returns
    -------
    Day or None
        None where the target is never reached: there is no cycle to repeat.
    """
    if not (math.isfinite(pump_down.time_s) and pump_down.phases):
        return None
    later_phases = pump_down.later_phases or pump_down.phases
    duty, habits = spot.judged.case.requirements.duty, habits_of(spot)
    phases = pump_down.phases
    hold = None
    if habits.front is not None:
        rough = max(p[0].end_s - p[0].start_s for p in (phases, later_phases))
        hold = foreline_hold(spot, rough)
    foreline_s = foreline_emptied_s(spot, hold) if hold is not None else 0.0
    if not math.isfinite(foreline_s):
        return None
    warm = cycle(phases, habits, duty, hold)
    later = cycle(later_phases, habits, duty, hold)
    cold = warm if habits.nonstop else from_cold(warm, habits, foreline_s)
    wanted = cycles_wanted(duty)
    stop = stop_of(spot, habits)
    first, cycles = cold, work_of(cold, later, wanted)
    choice = choice_of(habits, stop, DAY_S - max(duty.shift_s, length_s(cycles)))
    if choice is not Overnight.SWITCH_OFF:
        first, cycles = warm, work_of(warm, later, wanted)
    segments = _whole_day(cycles, habits, choice, duty)
    work = max(duty.shift_s, length_s(cycles))
    energy = energy_of(spot, habits, segments, wanted)
    share = float(refilled_share(duty.vent_time_s, HUMIDITY[duty.venting]))
    lengths = (length_s(first), length_s(later))
    return Day(
        cold_start_s=cold_start_s(spot, phases, hold, foreline_s),
        first_cycle_s=lengths[0],
        later_cycle_s=lengths[1],
        cycles_wanted=wanted,
        cycles_that_fit=None if duty.cycles_per_day < 1.0 else _fitting(duty.shift_s, *lengths),
        shift_s=duty.shift_s,
        work_s=work,
        spans=spans_of(segments, rough=spot.front is None),
        hold=hold,
        night=night_of(spot, habits, stop, choice, max(0.0, DAY_S - work)),
        energy=energy,
        kwh_per_day=math.fsum(part.per_day_kwh for part in energy),
        kwh_per_year=math.fsum(part.per_year_kwh for part in energy),
        refilled_share=share,
        notes=(*_notes(spot, pump_down, hold, lengths), *_left_notes(segments, habits, stop)),
    )


def cycles_wanted(duty: Duty) -> int:
    """Return how many cycles the day shown has: whole ones, one where there are fewer."""
    return max(1, math.floor(duty.cycles_per_day + 0.5)) if duty.cycles_per_day > 0.0 else 0


def _fitting(shift_s: float, first_s: float, later_s: float) -> int:
    """Return how many cycles end within the shift."""
    room = round(shift_s - first_s, 6)
    return 0 if room < 0.0 else 1 + math.floor(room / later_s + 1e-9)


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
    spot: Spot, pump_down: PumpDown, hold: ForelineHold | None, lengths_s: tuple[float, float]
) -> list[str]:
    """Say what is worth knowing about the day."""
    duty = spot.judged.case.requirements.duty
    notes = []
    if hold is not None:
        notes.append(hold_text(hold))
    notes += _fit_notes(duty, lengths_s)
    if cycles_wanted(duty) > 1:
        notes.append(_later_note(duty, pump_down))
    if spot.front is not None and habits_of(spot).front is None:
        notes.append("The work stays at pressures the backing pump holds: this pump stays off.")
    elif habits_of(spot).nonstop:
        notes.append(
            "The roughing pump is switched off once the pump on the chamber has taken over."
        )
    return notes


def _left_notes(segments: tuple[Segment, ...], habits: Habits, stop: Stop) -> list[str]:
    """Say what an early end would save, where the shift has room left."""
    left = math.fsum(piece.seconds for piece in segments if piece.what is DayPhase.READY)
    if habits.nonstop or left <= 0.0:
        return []
    kwh = format_quantity(stop.idle_w * left, Dimension.ENERGY, "kWh")
    return [
        f"After the last cycle {duration(left)} of the shift are left: switching off then instead "
        f"of standing ready saves {kwh} a day."
    ]


def _fit_notes(duty: Duty, lengths_s: tuple[float, float]) -> list[str]:
    wanted = cycles_wanted(duty)
    if 0.0 < duty.cycles_per_day < 1.0:
        every = duration(DAY_S / duty.cycles_per_day)
        return [f"The chamber is opened every {every}: this is such a day."]
    notes = []
    if wanted != duty.cycles_per_day:
        notes.append(
            f"The duty has {duty.cycles_per_day:g} cycles a day on average; {wanted} are shown."
        )
    needed = lengths_s[0] + lengths_s[1] * (wanted - 1) if wanted else 0.0
    if round(needed - duty.shift_s, 6) > 0.0:
        fit = _fitting(duty.shift_s, *lengths_s)
        notes.append(
            f"With start and venting the {wanted} {'cycle takes' if wanted == 1 else 'cycles take'}"
            f" {duration(needed)}; in the shift of {duration(duty.shift_s)} there is room for "
            f"{fit or 'none'}."
        )
    return notes


def _later_note(duty: Duty, pump_down: PumpDown) -> str:
    gas = "dry nitrogen" if duty.venting is Venting.DRY_NITROGEN else "room air"
    share = float(refilled_share(duty.vent_time_s, HUMIDITY[duty.venting]))
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
