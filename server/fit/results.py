"""What the engine answers: ranked stacks with margins, states, costs and workings.

The field names are those of the programs' contract; ``None`` never stands for a number that was not
computed: a margin that does not apply is left out, a state that does not exist says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from server.fit.day_results import Day
from server.fit.requirements import Assumption
from server.fit.vapour_results import Drying, PartialPressure, VapourPath


class MarginKey(StrEnum):
    """The limits a stack is judged by, in the order they are shown."""

    ULTIMATE = "ultimate"
    PROCESS_PRESSURE = "process_pressure"
    THROUGHPUT = "throughput"
    FORELINE = "foreline"
    INLET = "inlet"
    CROSSOVER = "crossover"
    PUMP_DOWN = "pump_down"
    VAPOUR = "vapour"
    DUTY = "duty"
    BACKSTREAMING = "backstreaming"
    FLUID = "fluid"
    UTILITIES = "utilities"
    COMPATIBILITY = "compatibility"
    BUDGET = "budget"


class MarginVerdict(StrEnum):
    """``pass`` at or above the threshold, ``marginal`` from 1 up to it, ``fail`` below 1."""

    PASS = "pass"  # noqa: S105 (a verdict, not a secret)
    MARGINAL = "marginal"
    FAIL = "fail"


class StackVerdict(StrEnum):
    """``fits``: every margin passes; ``marginal``: none fails; ``rejected``: one fails."""

    FITS = "fits"
    MARGINAL = "marginal"
    REJECTED = "rejected"


class Role(StrEnum):
    """Roles of the parts of a stack."""

    HIGH_VACUUM_PUMP = "high_vacuum_pump"
    BOOSTER = "booster"
    BACKING_PUMP = "backing_pump"
    FLUID = "fluid"
    OIL = "oil"
    TRAP = "trap"
    BAFFLE = "baffle"
    LINE = "line"
    VALVE = "valve"
    GAUGE = "gauge"
    INTERLOCK = "interlock"
    FILTER = "filter"
    SUPPLIED = "supplied"


@dataclass(frozen=True)
class Part:
    """One part of a stack; ``note`` says why it is there."""

    role: Role
    sku: str
    """Empty for supplied parts, which cannot be ordered."""
    name: str
    kind: str
    quantity: int
    note: str = ""
    place: str = ""
    """Where a trap or baffle stands: ``high_vacuum`` or ``foreline``; empty for other parts."""


@dataclass(frozen=True)
class Margin:
    """Capability against requirement for one limit; ``ratio`` ≥ 1 works, ≥ ``threshold`` passes."""

    key: MarginKey
    required: float
    available: float
    unit: str
    ratio: float
    threshold: float
    verdict: MarginVerdict
    explanation: str


@dataclass(frozen=True)
class State:
    """A steady state, ``base`` or ``process``. High-vacuum fields are ``None`` for rough stacks."""

    chamber_pressure_pa: float
    inlet_pressure_pa: float
    foreline_pressure_pa: float | None
    throughput_pa_m3_s: float
    effective_speed_m3_s: float
    partial_pressures_pa: Mapping[str, float]
    partials: tuple[PartialPressure, ...] = ()
    """What the chamber's pressure consists of; the rows add up to it."""


@dataclass(frozen=True)
class PhaseSpan:
    """One phase of a pump-down: roughing, run-up, high vacuum and the like."""

    name: str
    start_s: float
    end_s: float
    note: str


@dataclass(frozen=True)
class PumpDown:
    """Pump-down to the target; times are infinite (``None`` in JSON) when it is never reached."""

    time_s: float
    p10_s: float
    """One plausible system in ten is quicker."""
    p90_s: float
    """One plausible system in ten is slower."""
    probability_in_time: float | None
    """Share of the plausible systems that keep the wanted time; None where none is wanted."""
    crossover_pressure_pa: float | None
    curve: tuple[tuple[float, float], ...]
    """(time [s], chamber pressure [Pa])."""
    curve_p10: tuple[tuple[float, float], ...]
    curve_p90: tuple[tuple[float, float], ...]
    foreline_curve: tuple[tuple[float, float, float], ...]
    """(time [s], foreline pressure [Pa], tolerable pressure [Pa]); empty for rough stacks."""
    phases: tuple[PhaseSpan, ...]
    later_time_s: float = math.inf
    """To the target after a short venting, as in every cycle of a day but the first."""
    later_phases: tuple[PhaseSpan, ...] = ()
    p50_s: float = math.inf
    """Half of the plausible systems are quicker."""
    probability_reached: float = 0.0
    """Share of the plausible systems that reach the target at all, within a fortnight."""


@dataclass(frozen=True)
class BaseSpread:
    """Base pressure of the plausible systems; infinite where one has no steady pressure."""

    base_p10_pa: float
    base_p50_pa: float
    base_p90_pa: float
    probability_at_target: float
    """Share of them whose base pressure, after a day of pumping, is the target or less."""
    systems: int
    """How many plausible systems were followed."""


class LoadLimit(StrEnum):
    """What ends the gas load that a stack carries."""

    PUMP = "pump"
    """The largest throughput of the high-vacuum pump itself."""
    FORELINE = "foreline"
    """The foreline pressure that the pump tolerates at its outlet."""
    INLET = "inlet"
    """The largest continuous pressure at the pump's inlet."""
    SPEED = "speed"
    """Beyond it there is no steady pressure: the pumps take no more at any."""
    PROCESS_PRESSURE = "process_pressure"
    """The pressure that the process asks for."""


@dataclass(frozen=True)
class LargestLoad:
    """The largest gas load within some limits, leak and outgassing included."""

    throughput_pa_m3_s: float
    process_pa_m3_s: float
    """What of it is let in; below zero where leak and outgassing alone are too much."""
    chamber_pressure_pa: float
    """Pressure in the chamber at this load; infinite where it has none."""
    limit: LoadLimit
    margin: MarginKey | None
    """The margin that fails beyond it; None where none of the inquiry's does."""


@dataclass(frozen=True)
class ThroughputMap:
    """Gas carried against chamber pressure, for one mix of gases."""

    pressure_pa: tuple[float, ...]
    throughput_pa_m3_s: tuple[float, ...]
    """What the speed at the chamber carries, cut at the ceiling."""
    ceiling_pa_m3_s: float
    """What pump and foreline carry at most; infinite for rough stacks."""
    points: tuple[tuple[str, float, float], ...]
    """Where the system works: name of the state, pressure [Pa], throughput [Pa·m³/s]."""


@dataclass(frozen=True)
class Envelope:
    """What one stack can do at most."""

    gases: tuple[str, ...]
    """What the load is let in as: the process's own mix, or air without one."""
    largest_load: LargestLoad
    load_at_process_pressure: LargestLoad | None
    """None where no process pressure is asked for."""
    shortest_time_s: float
    """To the target with surfaces that give off nothing and no leak: by volume and speed alone."""
    stated_time_s: float
    lowest_pressure_pa: float
    """A day after pumping began, without process gas, with the surfaces and leak stated."""
    clean_pressure_pa: float
    """What pump, fluid and foreline leave even in a chamber that gives off nothing."""
    map: ThroughputMap


@dataclass(frozen=True)
class Cost:
    """Money over the horizon, exact to the minor unit."""

    currency: str
    purchase: Decimal
    energy_per_year: Decimal
    consumables_per_year: Decimal
    total_over_horizon: Decimal


@dataclass(frozen=True)
class Working:
    """One line of the calculation."""

    key: str
    name: str
    symbol: str
    formula: str
    inputs: Mapping[str, float | str]
    """Name with unit (``S at inlet [m3/s]``) → value."""
    value: float | str
    unit: str
    source: str
    section: str
    """Heading it stands under, e.g. ``Gas loads``."""


@dataclass(frozen=True)
class SpeedPlot:
    """Speed against pressure at the pump's inlet and at the chamber, with operating points."""

    gas: str
    pressure_pa: tuple[float, ...]
    pump_speed_m3_s: tuple[float, ...]
    chamber_speed_m3_s: tuple[float, ...]


@dataclass(frozen=True)
class StackAdvice:
    """One stack, judged."""

    rank: int
    verdict: StackVerdict
    title: str
    parts: tuple[Part, ...]
    margins: tuple[Margin, ...]
    states: Mapping[str, State]
    pump_down: PumpDown | None
    cost: Cost
    rank_reason: str
    weakest: MarginKey | None
    flags: tuple[str, ...]
    """Things to tell the customer: silicone deposits, gas ballast needed, defrost interval …"""
    speed_plots: tuple[SpeedPlot, ...]
    workings: tuple[Working, ...]
    remedies: tuple[Remedy, ...] = ()
    day: Day | None = None
    """A working day of this stack; None where the target is never reached."""
    base_spread: BaseSpread | None = None
    vapour_path: tuple[VapourPath, ...] = ()
    """Where each vapour of the work goes; empty without vapour."""
    drying: tuple[Drying, ...] = ()
    """How wet goods dry; empty without them."""
    envelope: Envelope | None = None
    """What this stack can do at most."""


@dataclass(frozen=True)
class Remedy:
    """The smallest single change that turns a failing margin into a passing one."""

    margin: MarginKey
    change: str
    from_value: float
    to_value: float
    unit: str
    text: str
    stack_title: str = ""
    also: tuple[MarginKey, ...] = ()
    """Other failing margins that the same change brings to their thresholds."""
    breaks: tuple[MarginKey, ...] = ()
    """Margins that passed before and fall below their thresholds by it."""
    solves: bool = False
    """Whether the stack passes every margin with this change alone."""
    settings: tuple[tuple[str, str], ...] = ()
    """What to type where: fields of the inquiry, or ``stack.…`` of a check, rounded to the safe
    side."""


@dataclass(frozen=True)
class BestOfKind:
    """The best stack with one kind of pump on the chamber, whatever its rank."""

    kind: str
    rank: int
    verdict: StackVerdict
    title: str
    purchase: Decimal
    total_over_horizon: Decimal
    currency: str


@dataclass(frozen=True)
class Counts:
    """How many combinations were looked at; considered = fit + marginal + Σ rejected."""

    considered: int
    fit: int
    marginal: int
    rejected: Mapping[str, int]


@dataclass(frozen=True)
class CatalogIdentity:
    """Which catalogue the answer rests on."""

    name: str
    version: str


@dataclass(frozen=True)
class Advice:
    """The whole answer."""

    catalog: CatalogIdentity
    assumptions: tuple[Assumption, ...]
    counts: Counts
    stacks: tuple[StackAdvice, ...]
    remedies: tuple[Remedy, ...]
    ranking_rule: str
    engine_version: str
    best_by_kind: tuple[BestOfKind, ...] = ()
    """One entry for each kind of pump on the chamber that has a stack that works."""
