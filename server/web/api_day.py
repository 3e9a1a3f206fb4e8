"""A working day of a stack as the JSON API answers it."""

from __future__ import annotations

from server.fit.day_results import DayPhase, Overnight, PumpState
from server.web.api_base import Number, Out


class DaySpanOut(Out):
    """A span of the day, counted from switching on; spans follow each other over 24 h."""

    what: DayPhase
    start_s: float
    end_s: float
    high_vacuum_pump: PumpState | None
    backing_pump: PumpState
    note: str
    cycle: int


class ForelineHoldOut(Out):
    """Whether the one backing pump may leave the foreline while it roughs the chamber."""

    volume_m3: float
    throughput_pa_m3_s: float
    start_pa: float
    tolerable_pa: float
    hold_s: Number
    needed_s: float
    end_pa: Number
    pauses: int
    pause_s: float
    holding_pump: bool


class NightOut(Out):
    """Standing by overnight against switching off, by energy alone."""

    choice: Overnight
    gap_s: float
    idle_power_w: float
    restart_energy_j: float
    break_even_s: Number
    stop_s: float
    start_s: float
    idle_kwh: float
    restart_kwh: float
    fluid_changes_per_year: float
    text: str
    pause_s: Number


class PumpEnergyOut(Out):
    """Electrical energy of one pump or trap on a working day, by what it does, and in a year."""

    sku: str
    name: str
    power_w: float
    warming_kwh: float
    working_kwh: float
    standing_by_kwh: float
    per_day_kwh: float
    per_year_kwh: float


class DayOut(Out):
    """A working day of one stack."""

    cold_start_s: float
    first_cycle_s: float
    later_cycle_s: float
    cycles_wanted: int
    cycles_that_fit: int | None
    shift_s: float
    work_s: float
    spans: list[DaySpanOut]
    hold: ForelineHoldOut | None
    night: NightOut
    energy: list[PumpEnergyOut]
    kwh_per_day: float
    kwh_per_year: float
    refilled_share: float
    notes: list[str]
    needed_s: Number
