"""Lines that may be led wider, shorter or with fewer bends."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from server.fit.candidates import Back, Front
from server.fit.remedies.matters import Change, Matter
from server.fit.remedies.safe_side import length
from server.fit.requirements import LineRun, Requirements

_RUNS: Mapping[Matter, tuple[str, str]] = {
    Matter.LINE_BORE: ("line", "line to the high-vacuum pump"),
    Matter.LINE_LENGTH: ("line", "line to the high-vacuum pump"),
    Matter.LINE_BENDS: ("line", "line to the high-vacuum pump"),
    Matter.ROUGH_LINE_BORE: ("rough_line", "rough line"),
    Matter.ROUGH_LINE_LENGTH: ("rough_line", "rough line"),
    Matter.FORELINE_BORE: ("foreline", "foreline"),
    Matter.FORELINE_LENGTH: ("foreline", "foreline"),
}
"""Field of the inquiry and words for each run of tube."""


def line_bore(asked: Requirements, front: Front | None, _back: Back) -> Change | None:
    """Widen the line to the high-vacuum pump, up to the flange it starts from."""
    if front is None:
        return None
    entry = front.trap.inlet if front.trap else front.pump.inlet
    start = asked.chamber.port or entry
    limit = f"the {start} flange it starts from"
    return _bore(Matter.LINE_BORE, asked, start.bore_m, start.bore_m, limit)


def rough_line_bore(asked: Requirements, _front: Front | None, back: Back) -> Change | None:
    """Widen the rough line, up to its flanges."""
    entry, port = back.entry, asked.chamber.port
    widest = max(entry.bore_m, port.bore_m if port else 0.0)
    return _bore(Matter.ROUGH_LINE_BORE, asked, entry.bore_m, widest, "its flanges")


def rough_line_length(asked: Requirements, _front: Front | None, back: Back) -> Change | None:
    """Shorten the rough line."""
    return _length(Matter.ROUGH_LINE_LENGTH, asked, back.entry.bore_m)


def foreline_bore(asked: Requirements, front: Front | None, back: Back) -> Change | None:
    """Widen the foreline, up to the wider of its flanges."""
    if front is None or front.pump.outlet is None:
        return None
    bores = (front.pump.outlet.bore_m, back.entry.bore_m)
    return _bore(Matter.FORELINE_BORE, asked, min(bores), max(bores), "the pumps' flanges")


def line_length(asked: Requirements, front: Front | None, _back: Back) -> Change | None:
    """Shorten the line to the high-vacuum pump."""
    if front is None:
        return None
    entry = front.trap.inlet if front.trap else front.pump.inlet
    return _length(Matter.LINE_LENGTH, asked, (asked.chamber.port or entry).bore_m)


def foreline_length(asked: Requirements, front: Front | None, back: Back) -> Change | None:
    """Shorten the foreline."""
    if front is None or front.pump.outlet is None:
        return None
    narrower = min(front.pump.outlet.bore_m, back.entry.bore_m)
    return _length(Matter.FORELINE_LENGTH, asked, narrower)


def line_bends(asked: Requirements, front: Front | None, _back: Back) -> Change | None:
    """Lead the line to the high-vacuum pump with fewer bends."""
    run = asked.line
    if front is None or run.bends <= 0 or run.length_m <= 0.0:
        return None

    def say(value: float) -> str:
        left = "no bend" if value < 1 else f"at most {value:.0f} of its bends"
        return f"Lead the {_RUNS[Matter.LINE_BENDS][1]} with {left} (now {run.bends})."

    return Change(
        Matter.LINE_BENDS, "", float(run.bends), 0.0,
        lambda value: _with_run(Matter.LINE_BENDS, asked, replace(run, bends=round(value))),
        say, lambda value: ((Matter.LINE_BENDS.value, f"{value:.0f}"),), whole=True,
    )  # fmt: skip


def _run(matter: Matter, asked: Requirements) -> LineRun:
    run = getattr(asked, _RUNS[matter][0])
    assert isinstance(run, LineRun)  # noqa: S101 (the table above)
    return run


def _with_run(matter: Matter, asked: Requirements, run: LineRun) -> Requirements:
    changed: dict[str, LineRun] = {_RUNS[matter][0]: run}
    return replace(asked, **changed)  # type: ignore[arg-type]


def _bore(
    matter: Matter, asked: Requirements, usual_m: float, widest_m: float, limit: str
) -> Change | None:
    run = _run(matter, asked)
    now = run.bore_m or usual_m
    if run.length_m <= 0.0 or now >= widest_m:
        return None
    what = _RUNS[matter][1]

    def said(value: float) -> str:
        return length(value, up=True)

    def say(value: float) -> str:
        return (
            f"Widen the {what} from {length(now)} to at least {said(value)} bore "
            f"({limit} would allow {length(widest_m)})."
        )

    return Change(
        matter, "m", now, widest_m,
        lambda value: _with_run(matter, asked, replace(run, bore_m=value)),
        say, lambda value: ((matter.value, said(value)),),
    )  # fmt: skip


def _length(matter: Matter, asked: Requirements, usual_bore_m: float) -> Change | None:
    """Shorten a run; one bore is left for flanges and clamps."""
    run = _run(matter, asked)
    shortest_m, now = run.bore_m or usual_bore_m, run.length_m
    if now <= shortest_m:
        return None

    def said(value: float) -> str:
        return length(value, up=False)

    def say(value: float) -> str:
        return f"Shorten the {_RUNS[matter][1]} from {length(now)} to at most {said(value)}."

    return Change(
        matter, "m", now, shortest_m,
        lambda value: _with_run(matter, asked, replace(run, length_m=value)),
        say, lambda value: ((matter.value, said(value)),),
    )  # fmt: skip
