"""The single things that may be changed in an inquiry so that a stack fits, each with its limits.

A change runs from the present value to a far end, the most that is physically or sensibly possible;
the smallest step between is looked for. The far ends are judgements of practice without a published
source unless they say otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum

from server.fit.candidates import Back, Front
from server.fit.evacuation import HORIZON_S
from server.fit.loads import loads_of
from server.fit.remedies.safe_side import length, rounded, shown
from server.fit.requirements import Condition, LineRun, Process, Requirements, Surface
from server.physics.constants import ATMOSPHERE_PA
from server.physics.outgassing import OUTGASSING
from server.units import Dimension, format_quantity


class Matter(StrEnum):
    """What can be changed; values as programs read them, in the order of least intrusion.

    First what the workshop can do to lines, then to the chamber, then other hardware, and last what
    the customer would have to give up.
    """

    FORELINE_BORE = "foreline.bore"
    FORELINE_LENGTH = "foreline.length"
    LINE_BORE = "line.bore"
    LINE_LENGTH = "line.length"
    LINE_BENDS = "line.bends"
    ROUGH_LINE_BORE = "rough_line.bore"
    LEAK_RATE = "chamber.leak_rate"
    SURFACES = "chamber.surfaces"
    FLUID = "fluid"
    TRAP = "trap"
    BACKING_PUMP = "backing_pump"
    BOOSTER = "booster"
    PUMP = "pump"
    WATER = "utilities.cooling_water"
    THREE_PHASE = "utilities.three_phase"
    SHIFT = "duty.shift"
    CYCLES = "duty.cycles_per_day"
    PUMP_DOWN_TIME = "pump_down_time"
    PROCESS_LOAD = "process.gas"
    PROCESS_PRESSURE = "process.pressure"
    TARGET = "target_pressure"
    BUDGET = "commercial.budget"


@dataclass(frozen=True)
class Change:
    """A number of the inquiry that may move from ``now`` as far as ``far``."""

    matter: Matter
    unit: str
    now: float
    far: float
    apply: Callable[[float], Requirements]
    say: Callable[[float], str]
    """What to tell the customer, for the value it must reach."""
    whole: bool = False
    """Whether the value is a count."""


@dataclass(frozen=True)
class Treatment:
    """A surface made cleaner: steps of outgassing rates that can be had, the nearest first."""

    position: int
    surface: Surface
    steps: tuple[Condition, ...]

    def apply(self, requirements: Requirements, condition: Condition) -> Requirements:
        """Return the inquiry with the surface in another condition."""
        chamber = requirements.chamber
        surfaces = list(chamber.surfaces)
        surfaces[self.position] = replace(self.surface, condition=condition)
        return replace(requirements, chamber=replace(chamber, surfaces=tuple(surfaces)))

    def say(self, condition: Condition) -> str:
        """Return what to tell the customer."""
        what = self.surface.material.replace("_", " ")
        area = format_quantity(self.surface.area_m2, Dimension.AREA, digits=2)
        work = "Bake" if condition is Condition.BAKED else "Clean and degrease"
        how = "" if condition is not Condition.BAKED else " (in vacuum, long and hot enough)"
        return f"{work} the {area} of {what}{how}."

    def rate_pa_m_s(self, condition: Condition) -> float:
        """Return the outgassing rate of the surface one hour after pumping began."""
        return OUTGASSING[self.surface.material, condition.value].q1_pa_m_s


TIGHT_PA_M3_S = 1e-7
"""1e-6 mbar·L/s, called very tight for a chamber with elastomer seals (from memory)."""

LARGEST_RELAXATION = 1000.0
"""Beyond three decades of pressure, load or money it is another inquiry, not a remedy."""

LONGEST_SHIFT_S = 86_400.0


def treatments(requirements: Requirements) -> Iterator[Treatment]:
    """Yield the surfaces that can be made cleaner."""
    order = (Condition.AS_RECEIVED, Condition.UNBAKED, Condition.BAKED)
    for position, surface in enumerate(requirements.chamber.surfaces):
        better = order[order.index(surface.condition) + 1 :]
        known = tuple(step for step in better if (surface.material, step.value) in OUTGASSING)
        if known:
            yield Treatment(position, surface, known)


def change_of(
    matter: Matter, requirements: Requirements, front: Front | None, back: Back
) -> Change | None:
    """Return a change of the inquiry, None where there is nothing left to change."""
    maker = _MAKERS.get(matter)
    found = maker(requirements, front, back) if maker else None
    if found is None or found.now == found.far:
        return None
    return found


def _line_bore(asked: Requirements, front: Front | None, _back: Back) -> Change | None:
    if front is None:
        return None
    entry = front.trap.inlet if front.trap else front.pump.inlet
    start = asked.chamber.port or entry
    limit = f"the {start} flange it starts from"
    return _bore(Matter.LINE_BORE, asked, start.bore_m, start.bore_m, limit)


def _rough_line_bore(asked: Requirements, _front: Front | None, back: Back) -> Change | None:
    inlet = back.inlet_pump.inlet
    port = asked.chamber.port
    widest = max(inlet.bore_m, port.bore_m if port else 0.0)
    limit = "its flanges"
    return _bore(Matter.ROUGH_LINE_BORE, asked, inlet.bore_m, widest, limit)


def _foreline_bore(asked: Requirements, front: Front | None, back: Back) -> Change | None:
    if front is None or front.pump.outlet is None:
        return None
    bores = (front.pump.outlet.bore_m, back.inlet_pump.inlet.bore_m)
    return _bore(Matter.FORELINE_BORE, asked, min(bores), max(bores), "the pumps' flanges")


_RUNS: Mapping[Matter, tuple[str, str]] = {
    Matter.LINE_BORE: ("line", "line to the high-vacuum pump"),
    Matter.LINE_LENGTH: ("line", "line to the high-vacuum pump"),
    Matter.LINE_BENDS: ("line", "line to the high-vacuum pump"),
    Matter.ROUGH_LINE_BORE: ("rough_line", "rough line"),
    Matter.FORELINE_BORE: ("foreline", "foreline"),
    Matter.FORELINE_LENGTH: ("foreline", "foreline"),
}
"""Field of the inquiry and words for each run of tube."""


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

    def say(value: float) -> str:
        return (
            f"Widen the {what} from {length(now)} to at least {length(value, up=True)} bore "
            f"({limit} would allow {length(widest_m)})."
        )

    return Change(
        matter, "m", now, widest_m,
        lambda value: _with_run(matter, asked, replace(run, bore_m=value)), say,
    )  # fmt: skip


def _length(matter: Matter, asked: Requirements, bore_m: float) -> Change | None:
    """Shorten a run; one bore is left for flanges and clamps."""
    run = _run(matter, asked)
    if run.length_m <= bore_m:
        return None
    what, now = _RUNS[matter][1], run.length_m

    def say(value: float) -> str:
        return f"Shorten the {what} from {length(now)} to at most {length(value, up=False)}."

    return Change(
        matter, "m", now, bore_m,
        lambda value: _with_run(matter, asked, replace(run, length_m=value)), say,
    )  # fmt: skip


def _line_length(asked: Requirements, front: Front | None, _back: Back) -> Change | None:
    if front is None:
        return None
    entry = front.trap.inlet if front.trap else front.pump.inlet
    bore = asked.line.bore_m or (asked.chamber.port or entry).bore_m
    return _length(Matter.LINE_LENGTH, asked, bore)


def _foreline_length(asked: Requirements, front: Front | None, back: Back) -> Change | None:
    if front is None or front.pump.outlet is None:
        return None
    narrower = min(front.pump.outlet.bore_m, back.inlet_pump.inlet.bore_m)
    return _length(Matter.FORELINE_LENGTH, asked, asked.foreline.bore_m or narrower)


def _line_bends(asked: Requirements, front: Front | None, _back: Back) -> Change | None:
    run = asked.line
    if front is None or run.bends <= 0 or run.length_m <= 0.0:
        return None

    def say(value: float) -> str:
        left = "no bend" if value < 1 else f"at most {value:.0f} of its bends"
        return f"Lead the {_RUNS[Matter.LINE_BENDS][1]} with {left} (now {run.bends})."

    return Change(
        Matter.LINE_BENDS, "", float(run.bends), 0.0,
        lambda value: _with_run(Matter.LINE_BENDS, asked, replace(run, bends=round(value))),
        say, whole=True,
    )  # fmt: skip


def _leak_rate(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    now = asked.chamber.leak_pa_m3_s
    if now <= TIGHT_PA_M3_S:
        return None

    def say(value: float) -> str:
        most = rounded(value, Dimension.THROUGHPUT, up=False)
        return f"Find and seal leaks: at most {most} instead of {shown(now, Dimension.THROUGHPUT)}."

    return Change(
        Matter.LEAK_RATE, "Pa m3/s", now, TIGHT_PA_M3_S,
        lambda value: replace(asked, chamber=replace(asked.chamber, leak_pa_m3_s=value)), say,
    )  # fmt: skip


def _pump_down_time(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    now = asked.pump_down_time_s
    if now is None or now >= HORIZON_S:
        return None

    def say(value: float) -> str:
        least = rounded(value, Dimension.TIME, up=True)
        return f"Allow at least {least} for the pump-down instead of {shown(now, Dimension.TIME)}."

    return Change(
        Matter.PUMP_DOWN_TIME, "s", now, HORIZON_S,
        lambda value: replace(asked, pump_down_time_s=value), say,
    )  # fmt: skip


def _relaxed(pressure_pa: float) -> float:
    """Return how far a pressure may be relaxed: a vacuum ends at the atmosphere."""
    return max(pressure_pa, min(pressure_pa * LARGEST_RELAXATION, ATMOSPHERE_PA))


def _target(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    now = asked.target_pressure_pa

    def say(value: float) -> str:
        least = rounded(value, Dimension.PRESSURE, up=True)
        return f"Accept a target of {least} instead of {shown(now, Dimension.PRESSURE)}."

    return Change(
        Matter.TARGET, "Pa", now, _relaxed(now),
        lambda value: replace(asked, target_pressure_pa=value), say,
    )  # fmt: skip


def _process_pressure(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    now = asked.process.pressure_pa
    if now is None:
        return None

    def say(value: float) -> str:
        least = rounded(value, Dimension.PRESSURE, up=True)
        return f"Run the process at {least} or above instead of {shown(now, Dimension.PRESSURE)}."

    return Change(
        Matter.PROCESS_PRESSURE, "Pa", now, _relaxed(now),
        lambda value: replace(asked, process=replace(asked.process, pressure_pa=value)), say,
    )  # fmt: skip


def _process_load(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    now = sum(loads_of(asked).process_pa_m3_s.values())
    if now <= 0.0:
        return None

    def say(value: float) -> str:
        share = math.floor(1000.0 * value / now) / 10.0
        most = rounded(value, Dimension.THROUGHPUT, up=False)
        return (
            f"Cut all process gas and vapour to {share:g} % of what was asked for: at most {most} "
            f"together instead of {shown(now, Dimension.THROUGHPUT)}."
        )

    return Change(
        Matter.PROCESS_LOAD, "Pa m3/s", now, now / LARGEST_RELAXATION,
        lambda value: replace(asked, process=scaled(asked.process, value / now)), say,
    )  # fmt: skip


def scaled(process: Process, factor: float) -> Process:
    """Return the process with all its gas and vapour multiplied."""
    return replace(
        process,
        gas=tuple(replace(gas, flow_mol_s=gas.flow_mol_s * factor) for gas in process.gas),
        vapour=tuple(replace(load, rate_kg_s=load.rate_kg_s * factor) for load in process.vapour),
    )


def _cycles(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    now = asked.duty.cycles_per_day
    if now <= 1.0:
        return None

    def say(value: float) -> str:
        most = math.floor(value + 1e-9)
        return f"Plan at most {most} cycles a day instead of {now:g}."

    return Change(
        Matter.CYCLES, "", now, 1.0,
        lambda value: replace(asked, duty=replace(asked.duty, cycles_per_day=value)), say,
    )  # fmt: skip


def _shift(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    now = asked.duty.shift_s
    if now >= LONGEST_SHIFT_S:
        return None

    def say(value: float) -> str:
        least = rounded(value, Dimension.TIME, up=True)
        return f"Let the pumps work {least} a day instead of {shown(now, Dimension.TIME)}."

    return Change(
        Matter.SHIFT, "s", now, LONGEST_SHIFT_S,
        lambda value: replace(asked, duty=replace(asked.duty, shift_s=value)), say,
    )  # fmt: skip


def _budget(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    limit = asked.commercial.budget
    if limit is None or limit <= 0:
        return None
    now, currency = float(limit), asked.commercial.currency

    def apply(value: float) -> Requirements:
        return replace(asked, commercial=replace(asked.commercial, budget=Decimal(repr(value))))

    def say(value: float) -> str:
        return f"Raise the budget from {now:,.2f} to {math.ceil(value):,} {currency}."

    return Change(Matter.BUDGET, currency, now, now * LARGEST_RELAXATION, apply, say)


_MAKERS: Mapping[Matter, Callable[[Requirements, Front | None, Back], Change | None]] = {
    Matter.FORELINE_BORE: _foreline_bore,
    Matter.FORELINE_LENGTH: _foreline_length,
    Matter.LINE_BORE: _line_bore,
    Matter.LINE_LENGTH: _line_length,
    Matter.LINE_BENDS: _line_bends,
    Matter.ROUGH_LINE_BORE: _rough_line_bore,
    Matter.LEAK_RATE: _leak_rate,
    Matter.SHIFT: _shift,
    Matter.CYCLES: _cycles,
    Matter.PUMP_DOWN_TIME: _pump_down_time,
    Matter.PROCESS_LOAD: _process_load,
    Matter.PROCESS_PRESSURE: _process_pressure,
    Matter.TARGET: _target,
    Matter.BUDGET: _budget,
}
