"""The timeline of a working day as a chart: a row for each kind of span, hours across."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from server.fit.day_results import Day, DayPhase, DaySpan
from server.web.chart_parts import Chart, Spec, layered, tips
from server.web.formatting import duration
from server.web.words import sentence, words

_HOUR_S = 3600.0


def day_chart(day: Day) -> Chart:
    """Return the timeline of a day.

    Parameters
    ----------
    day : Day
        A working day of a stack.

    Returns
    -------
    Chart
        Time linear over 24 h; the rows in the order in which they first come up.
    """
    rows = list(dict.fromkeys(_name(span.what) for span in day.spans))
    values = [
        {
            "what": _name(span.what),
            "start": span.start_s / _HOUR_S,
            "end": span.end_s / _HOUR_S,
        }
        for span in day.spans
    ]
    time: Spec = {
        "field": "start",
        "type": "quantitative",
        "title": "Time since the start [h]",
        "scale": {"domain": [0, 24], "nice": False},
        "axis": {"values": list(range(0, 25, 3))},
    }
    row: Spec = {"field": "what", "type": "nominal", "title": None, "sort": rows}
    bars: Spec = {
        "data": {"values": values},
        # a span of seconds must not vanish between hours
        "mark": {"type": "bar", "color": "$first", "stroke": "$first", "strokeWidth": 1},
        "encoding": {
            "x": time,
            "x2": {"field": "end"},
            "y": row,
            "tooltip": tips(("what", "Span"), ("start", "From [h]"), ("end", "To [h]")),
        },
    }
    return Chart(
        title="A working day",
        caption=_caption(day),
        alt="Bars over 24 hours, one row for each of: "
        + ", ".join(name.lower() for name in rows)
        + f". {_caption(day)}",
        spec=layered([bars]),
        columns=("From", "To", "Span", "High-vacuum pump", "Backing pump"),
        rows=tuple(
            (
                duration(span.start_s),
                duration(span.end_s),
                _name(span.what),
                "—" if span.high_vacuum_pump is None else words(span.high_vacuum_pump),
                words(span.backing_pump),
            )
            for span in day.spans
        ),
    )


def folded(spans: Sequence[DaySpan]) -> tuple[DaySpan, ...]:
    """Return spans for a table to read: the first two cycles in full, the rest of them as one.

    Parameters
    ----------
    spans : sequence of DaySpan
        Of a day.

    Returns
    -------
    tuple of DaySpan
        Without gaps, as before.
    """
    rest = [span for span in spans if span.cycle > IN_FULL]
    if len(rest) < 2:
        return tuple(spans)
    longest = max(rest, key=lambda span: span.end_s - span.start_s)
    first, last = rest[0].cycle, rest[-1].cycle
    which = f"cycles {first} to {last}" if last > first else f"cycle {first}"
    one = replace(
        longest,
        what=DayPhase.REPEATED,
        start_s=rest[0].start_s,
        end_s=rest[-1].end_s,
        note=f"{which}, as the second one",
    )
    after = spans.index(rest[-1]) + 1
    return (*spans[: spans.index(rest[0])], one, *spans[after:])


IN_FULL = 2


def _name(what: DayPhase) -> str:
    return sentence(words(what))


def _caption(day: Day) -> str:
    if day.cycles_that_fit is None:
        return "The day on which the chamber is opened and pumped down again."
    needed = "" if math.isinf(day.needed_s) else f", {duration(day.needed_s)} for all"
    return (
        f"First cycle {duration(day.first_cycle_s)}, later ones {duration(day.later_cycle_s)}"
        f"{needed}: {day.cycles_that_fit} fit into the shift of "
        f"{duration(day.shift_s)}, {day.cycles_wanted} are wanted."
    )
