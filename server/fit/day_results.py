"""A working day of a stack as the answer shows it: its spans, its night, its energy."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum


class DayPhase(StrEnum):
    """What goes on in a span of the day."""

    FORELINE = "foreline_pumped"
    WARM_UP = "warm_up"
    ROUGHING = "roughing"
    TAKE_OVER = "take_over"
    HIGH_VACUUM = "pumping_to_target"
    AT_PRESSURE = "at_pressure"
    OPEN = "chamber_open"
    REPEATED = "repeated_cycles"
    READY = "standing_ready"
    COOL_DOWN = "cool_down"
    NIGHT = "night"


class PumpState(StrEnum):
    """What a pump does in a span; it is on in all but the last two."""

    WARMING = "warming"
    WORKING = "working"
    STANDING_BY = "standing_by"
    COOLING = "cooling"
    OFF = "off"


class Overnight(StrEnum):
    """What is done with the pumps between two working days."""

    SWITCH_OFF = "switch_off"
    STAY_ON = "stay_on"
    NO_GAP = "no_gap"


@dataclass(frozen=True)
class DaySpan:
    """A span of the day, counted from switching on; the spans follow each other without a gap."""

    what: DayPhase
    start_s: float
    end_s: float
    high_vacuum_pump: PumpState | None
    """None for stacks without one; in ``repeated_cycles`` the state it is in longest."""
    backing_pump: PumpState
    note: str
    cycle: int = 0
    """Which cycle of the day it belongs to, from 1; 0 outside the cycles."""


@dataclass(frozen=True)
class ForelineHold:
    """Whether the one backing pump may leave the foreline while it roughs the chamber."""

    volume_m3: float
    throughput_pa_m3_s: float
    """What pump and foreline give off when the foreline valve closes, its largest."""
    start_pa: float
    tolerable_pa: float
    hold_s: float
    needed_s: float
    """Roughing of the chamber, the longer one of first and later cycles."""
    end_pa: float
    """Foreline pressure after that time, were it never pumped meanwhile."""
    pauses: int
    """How often roughing stops to pump the foreline again."""
    pause_s: float
    holding_pump: bool
    """A small pump of its own must hold the foreline: pauses are of no use."""


@dataclass(frozen=True)
class NightChoice:
    """Standing by overnight against switching off, by energy alone."""

    choice: Overnight
    gap_s: float
    """From the end of the day's work to the next switching on."""
    idle_power_w: float
    restart_energy_j: float
    break_even_s: float
    stop_s: float
    """Cool-down, at night."""
    start_s: float
    """Warm-up or cooling to temperature, in the morning."""
    idle_kwh: float
    restart_kwh: float
    fluid_changes_per_year: float
    """Fluid changes more a year if the pump stands hot every night of the working days."""
    text: str
    pause_s: float = math.inf
    """From the end of the day's work until the pumps must be ready again, for which the energies
    are compared; infinite in records from before it was told."""


@dataclass(frozen=True)
class PumpEnergy:
    """Electrical energy of one pump or trap on a working day, by what it does, and in a year."""

    sku: str
    name: str
    power_w: float
    warming_kwh: float
    working_kwh: float
    standing_by_kwh: float
    per_year_kwh: float

    @property
    def per_day_kwh(self) -> float:
        """Energy of the day."""
        return self.warming_kwh + self.working_kwh + self.standing_by_kwh


@dataclass(frozen=True)
class Day:
    """A working day of one stack."""

    cold_start_s: float
    """From everything off to the target pressure."""
    first_cycle_s: float
    """First cycle of the day: start, pump-down, time at pressure, chamber open."""
    later_cycle_s: float
    cycles_wanted: int
    cycles_that_fit: int | None
    """In the shift; None where a cycle lasts longer than a day."""
    shift_s: float
    work_s: float
    """Shift, or longer where the cycles need it."""
    spans: tuple[DaySpan, ...]
    """A whole day of 24 h."""
    hold: ForelineHold | None
    night: NightChoice
    energy: tuple[PumpEnergy, ...]
    kwh_per_day: float
    kwh_per_year: float
    refilled_share: float
    """Water sites filled by one venting; the first cycle starts with all of them filled."""
    notes: tuple[str, ...]
    needed_s: float = math.inf
    """What the cycles of a day take, as the duty margin has it; of less than one a day, one.
    Infinite in records from before it was told."""
