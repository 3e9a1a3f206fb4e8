"""The day plan of an operating card: the working day of a stack for the duty that was asked for."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from server.fit.day_results import Day, DayPhase, DaySpan
from server.quoting.card import CardSection, CardStep
from server.units import format_duration

_ORDERS: Mapping[DayPhase, str] = {
    DayPhase.FORELINE: "switch on; the backing pump brings the foreline down",
    DayPhase.WARM_UP: "the high-vacuum pump comes to its working state",
    DayPhase.ROUGHING: "rough the chamber",
    DayPhase.TAKE_OVER: "the high-vacuum pump takes over",
    DayPhase.HIGH_VACUUM: "pump down to the target",
    DayPhase.AT_PRESSURE: "work at pressure",
    DayPhase.OPEN: "the chamber is open",
    DayPhase.REPEATED: "repeat the cycle",
    DayPhase.READY: "the pumps stand ready",
    DayPhase.COOL_DOWN: "switch off; the pump cools down while its backing pump goes on",
    DayPhase.NIGHT: "night",
}


def day_section(day: Day | None) -> tuple[CardSection, ...]:
    """Return the plan of a working day, nothing where the stack never reaches the target.

    Parameters
    ----------
    day : Day or None
        As the engine worked it out; its first cycle stands for the later ones, whose own length is
        given.
    """
    if day is None:
        return ()
    steps = (*_until_first_cycle_ends(day), *_later_cycles(day), *_evening(day))
    notes = [CardStep(note) for note in day.notes]
    if day.night.text:
        notes.append(CardStep(day.night.text))
    title = "A day’s work, counted from switching on"
    return (CardSection("day", title, (*steps, *notes), ordered=False),)


def _until_first_cycle_ends(day: Day) -> Iterator[CardStep]:
    for span in day.spans:
        if span.cycle > 1 or span.what is DayPhase.REPEATED:
            return
        if span.cycle == 1 or not _after_cycles(span, day):
            yield _step(span)


def _later_cycles(day: Day) -> Iterator[CardStep]:
    later = [span for span in day.spans if span.cycle > 1 or span.what is DayPhase.REPEATED]
    if not later:
        return
    first = min(span.start_s for span in later)
    each = f"each about {format_duration(day.later_cycle_s)}"
    count = day.cycles_wanted - 1
    again = "once more" if count == 1 else f"{count} more times"
    yield CardStep(f"{_clock(first)}: the same {again}, {each}.{_in_all(day)}")


def _in_all(day: Day) -> str:
    if math.isinf(day.needed_s):
        return ""
    needed, shift = format_duration(day.needed_s), format_duration(day.shift_s)
    return f" All cycles take about {needed}; the shift is {shift}."


def _evening(day: Day) -> Iterator[CardStep]:
    for span in day.spans:
        if span.cycle == 0 and _after_cycles(span, day) and span.what is not DayPhase.REPEATED:
            yield _step(span)


def _after_cycles(span: DaySpan, day: Day) -> bool:
    ends = [each.end_s for each in day.spans if each.cycle or each.what is DayPhase.REPEATED]
    return bool(ends) and span.start_s >= max(ends) - 1e-6


def _step(span: DaySpan) -> CardStep:
    lasts = format_duration(span.end_s - span.start_s)
    note = f" ({span.note})" if span.note else ""
    return CardStep(f"{_clock(span.start_s)}: {_ORDERS[span.what]}{note}, {lasts}.")


def _clock(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02d} h"
