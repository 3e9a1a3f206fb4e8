"""What can be changed so that a stack fits, and what is worth trying for each margin."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from server.fit.requirements import Requirements
from server.fit.results import MarginKey


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
    ROUGH_LINE_LENGTH = "rough_line.length"
    LEAK_RATE = "chamber.leak_rate"
    SURFACES = "chamber.surfaces"
    FLUID = "fluid"
    TRAP = "trap"
    BACKING_PUMP = "backing_pump"
    BOOSTER = "booster"
    PUMP = "pump"
    WATER = "utilities.cooling_water"
    THREE_PHASE = "utilities.three_phase"
    VENT_TIME = "duty.vent_time"
    SHIFT = "duty.shift"
    CYCLES = "duty.cycles_per_day"
    PUMP_DOWN_TIME = "pump_down_time"
    PROCESS_LOAD = "process.gas"
    PROCESS_PRESSURE = "process.pressure"
    TARGET = "target_pressure"
    BUDGET = "commercial.budget"


GIVEN_UP = frozenset(
    {
        Matter.VENT_TIME, Matter.SHIFT, Matter.CYCLES, Matter.PUMP_DOWN_TIME,
        Matter.PROCESS_LOAD, Matter.PROCESS_PRESSURE, Matter.TARGET, Matter.BUDGET,
    }
)  # fmt: skip
"""What the customer would have to give up."""

Settings = tuple[tuple[str, str], ...]
"""Fields by their dotted paths, and what to type there."""


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
    settings: Callable[[float], Settings]
    """What to type into the inquiry, for the value it must reach."""
    whole: bool = False
    """Whether the value is a count."""


_LINE = (Matter.LINE_BORE, Matter.LINE_LENGTH, Matter.LINE_BENDS)
_ROUGH_LINE = (Matter.ROUGH_LINE_BORE, Matter.ROUGH_LINE_LENGTH)
_FORELINE = (Matter.FORELINE_BORE, Matter.FORELINE_LENGTH)
_BEHIND = (Matter.BACKING_PUMP, Matter.BOOSTER)

MENU: Mapping[MarginKey, tuple[Matter, ...]] = {
    MarginKey.ULTIMATE: (
        *_LINE, *_ROUGH_LINE, Matter.LEAK_RATE, Matter.SURFACES, Matter.FLUID, Matter.TRAP,
        *_BEHIND, Matter.TARGET,
    ),
    MarginKey.PROCESS_PRESSURE: (
        *_LINE, *_ROUGH_LINE, Matter.TRAP, *_BEHIND, Matter.PUMP, Matter.PROCESS_LOAD,
        Matter.PROCESS_PRESSURE,
    ),
    MarginKey.THROUGHPUT: (*_FORELINE, *_BEHIND, Matter.PUMP, Matter.PROCESS_LOAD),
    MarginKey.FORELINE: (
        *_FORELINE, Matter.LEAK_RATE, *_BEHIND, Matter.PUMP, Matter.PROCESS_LOAD,
    ),
    MarginKey.INLET: (Matter.LEAK_RATE, Matter.PUMP, Matter.PROCESS_LOAD),
    MarginKey.CROSSOVER: (
        *_ROUGH_LINE, Matter.LEAK_RATE, Matter.SURFACES, *_BEHIND, Matter.PUMP,
    ),
    MarginKey.PUMP_DOWN: (
        *_LINE, *_ROUGH_LINE, Matter.LEAK_RATE, Matter.SURFACES, *_BEHIND, Matter.PUMP,
        Matter.PUMP_DOWN_TIME, Matter.TARGET,
    ),
    MarginKey.VAPOUR: (Matter.TRAP, Matter.BACKING_PUMP, Matter.CYCLES, Matter.PROCESS_LOAD),
    MarginKey.DUTY: (
        Matter.LINE_BORE, *_ROUGH_LINE, Matter.SURFACES, *_BEHIND, Matter.VENT_TIME, Matter.SHIFT,
        Matter.CYCLES, Matter.PROCESS_LOAD,
    ),
    MarginKey.BACKSTREAMING: (Matter.TRAP,),
    MarginKey.FLUID: (Matter.FLUID,),
    MarginKey.UTILITIES: (Matter.TRAP, Matter.BACKING_PUMP, Matter.WATER, Matter.THREE_PHASE),
    MarginKey.COMPATIBILITY: (Matter.FLUID, Matter.TRAP, *_BEHIND),
    MarginKey.BUDGET: (Matter.TRAP, *_BEHIND, Matter.BUDGET),
}  # fmt: skip
"""What is worth trying for each margin; what cannot help one is not on its list."""
