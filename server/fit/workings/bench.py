"""What all workings use: one judged stack as plain numbers, and the form of a line."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from scipy.optimize import brentq

from server.catalog.arrays import GRID
from server.catalog.items import Catalog
from server.fit.candidates import Back, Front
from server.fit.explain import Spot
from server.fit.geometry import chamber_line, foreline, line_to_trap, rough_line, rough_line_to_trap
from server.fit.inlet import conductance_rows, is_caught
from server.fit.loads import Loads
from server.fit.requirements import Requirements
from server.fit.results import Working
from server.fit.settled import FieldStates, SettledState
from server.fit.states import process_time_s, resting_pressure_pa
from server.fit.thresholds import BASE_STATE_AFTER_S
from server.physics.arrays import FloatArray
from server.physics.line import Line
from server.physics.sources import SOURCES
from server.physics.species import SPECIES
from server.physics.speedtable import SpeedTable
from server.physics.steady import SteadyState, steady_state

CATALOG = "catalogue"
INQUIRY = "inquiry"
PRACTICE = "common practice, no source"
NO_RESISTANCE_M3_S = 1e9
"""Stands for the conductance of a line without parts, as in the engine's tables. [m³/s]"""

Inputs = Mapping[str, float | str]

_NODES = np.arange(GRID.count)

_KEY = re.compile(r"[A-Z]+-R?\d+|CODATA|SEMI-E12")


def cite(*keys: str) -> str:
    """Return publications in words, each with its key."""
    return "; ".join(_in_words(key) for key in keys)


def _in_words(key: str) -> str:
    source = SOURCES[key]
    return f"{source.author}, {source.title} ({source.year}) [{key}]"


def in_full(text: str) -> str:
    """Replace the keys of publications in a note by their words."""
    return _KEY.sub(lambda found: _in_words(found[0]) if found[0] in SOURCES else found[0], text)


@dataclass(frozen=True)
class Law:
    """One equation: symbol of its result, formula, unit and where it comes from."""

    symbol: str
    formula: str
    unit: str
    source: str


def line(
    section: str, key: str, name: str, law: Law, inputs: Inputs, value: float | str
) -> Working:
    """Return one line of the workings; a number that does not exist is said in words."""
    shown = {label: _plain(number) for label, number in inputs.items()}
    result = _plain(value)
    unit = "" if isinstance(result, str) else law.unit
    return Working(key, name, law.symbol, law.formula, shown, result, unit, law.source, section)


def _plain(value: float | str) -> float | str:
    if isinstance(value, str):
        return value
    number = float(value)
    if math.isnan(number):
        return "no steady state: the load is larger than the pumps carry"
    return "without limit" if math.isinf(number) else number


def gas_name(gas: str) -> str:
    """Return a species in words."""
    return SPECIES[gas].name


def speed_at(table: SpeedTable, row: int, pressure_pa: float) -> float:
    """Return a speed of a table, as the engine reads it: below the grid its lowest node holds.

    NaN, the pressure of a state that does not exist, stays NaN.
    """
    if math.isnan(pressure_pa):
        return math.nan
    place = (math.log(max(pressure_pa, GRID.low_pa)) - GRID.ln_low) / GRID.step
    return float(np.interp(place, _NODES, table.speed_m3_s[row]))


def pressure_of_flow_pa(table: SpeedTable, row: int, flow_pa_m3_s: float) -> float:
    """Return the pressure at which a pump carries a flow, S(p)·p = Q; NaN where it never does."""

    def excess(ln_pressure: float) -> float:
        pressure = math.exp(ln_pressure)
        return speed_at(table, row, pressure) * pressure - flow_pa_m3_s

    bottom, top = GRID.ln_low, math.log(GRID.high_pa)
    if not (flow_pa_m3_s > 0.0 and excess(bottom) < 0.0 < excess(top)):
        return math.nan
    return math.exp(float(brentq(excess, bottom, top, xtol=1e-13)))


@dataclass(frozen=True)
class Settled:
    """A steady state of the one stack."""

    key: str
    words: str
    time_s: float
    load_pa_m3_s: Mapping[str, float]
    reaching_pa_m3_s: Mapping[str, float]
    """Load that reaches the pump: without what its trap holds."""
    chamber_pa: float
    inlet_pa: float
    partial_pa: Mapping[str, float]
    foreline_pa: float
    """NaN without foreline."""
    tolerable_pa: float

    @property
    def exists(self) -> bool:
        """Whether the pumps carry the load at all."""
        return math.isfinite(self.chamber_pa) and math.isfinite(self.inlet_pa)

    @property
    def gases(self) -> tuple[str, ...]:
        """Species with a load above zero."""
        return tuple(gas for gas, flow in self.load_pa_m3_s.items() if flow > 0.0)


@dataclass(frozen=True)
class Bench:
    """One stack of a judged field, opened up."""

    spot: Spot
    catalog: Catalog
    _conductance: dict[tuple[Line, str], SpeedTable] = field(default_factory=dict)
    _backing: dict[tuple[str, float], SteadyState] = field(default_factory=dict)

    @property
    def requirements(self) -> Requirements:
        """The inquiry."""
        return self.spot.judged.case.requirements

    @property
    def loads(self) -> Loads:
        """Its gas loads."""
        return self.spot.judged.case.loads

    @property
    def states(self) -> FieldStates:
        """States of the whole field."""
        return self.spot.judged.case.states

    @property
    def front(self) -> Front | None:
        """High-vacuum pump, fluid and trap; None for a rough stack."""
        return self.spot.front

    @property
    def back(self) -> Back:
        """Backing pump, booster and condenser."""
        return self.spot.back

    @property
    def has_foreline(self) -> bool:
        """Whether a high-vacuum pump exhausts into a backing pump."""
        return self.front is not None and self.front.pump.outlet is not None

    @cached_property
    def base(self) -> Settled:
        """The base state."""
        return self._settled("base", "at base", BASE_STATE_AFTER_S, self.states.base)

    @cached_property
    def process(self) -> Settled | None:
        """The state while the process runs."""
        state = self.states.process
        if state is None:
            return None
        time = process_time_s(self.requirements)
        return self._settled("process", "while the process runs", time, state)

    @property
    def settled(self) -> tuple[Settled, ...]:
        """Both states, base first."""
        return (self.base,) if self.process is None else (self.base, self.process)

    def _settled(self, key: str, words: str, time_s: float, state: SettledState) -> Settled:
        at = self.spot.at
        return Settled(
            key, words, time_s, state.load_pa_m3_s,
            {gas: 0.0 if self.is_caught(gas) else q for gas, q in state.load_pa_m3_s.items()},
            at(state.chamber_pa), at(state.inlet_pa),
            {gas: at(share) for gas, share in state.partial_pa.items()},
            at(np.nan if state.foreline_pa is None else state.foreline_pa),
            at(np.nan if state.tolerable_pa is None else state.tolerable_pa),
        )  # fmt: skip

    @property
    def inlet_row(self) -> int:
        """Row of the front in the tables of the high-vacuum side."""
        assert self.states.inlet is not None  # noqa: S101 (asked for stacks with a front only)
        return int(self.states.inlet.row_of_front[self.spot.front_row])

    @property
    def line(self) -> Line:
        """The whole line between the chamber and the pump it works with."""
        if self.front is None:
            return rough_line(self.back, self.requirements)
        return chamber_line(self.front.pump, self.front.trap, self.requirements, self.catalog)

    @property
    def stub(self) -> Line:
        """The line to the trap of the high-vacuum side."""
        assert self.front is not None  # noqa: S101 (asked for stacks with a front only)
        return line_to_trap(self.front.pump, self.front.trap, self.requirements, self.catalog)

    @property
    def rough_stub(self) -> Line:
        """The rough line in front of the back's trap."""
        return rough_line_to_trap(self.back, self.requirements)

    @property
    def rough_line(self) -> Line:
        """The line by which the chamber is roughed."""
        return rough_line(self.back, self.requirements)

    @property
    def foreline(self) -> Line:
        """The line between the high-vacuum pump's outlet and the back."""
        assert self.front is not None and self.front.pump.outlet is not None  # noqa: S101, PT018
        return foreline(self.front.pump.outlet, self.back, self.requirements)

    def is_caught(self, gas: str) -> bool:
        """Whether the trap of the high-vacuum side holds a species."""
        trap = None if self.front is None else self.front.trap
        return is_caught(gas, trap, self.requirements)

    def is_held_by_back(self, gas: str, state: Settled) -> bool:
        """Whether a condenser at the back holds a species where the back works on the chamber."""
        if self.front is not None or state.key != "process":
            return False
        vapour = bool(self.requirements.process.vapour)
        return vapour and is_caught(gas, self.back.trap, self.requirements)

    def pump_speeds(self, gas: str, state: Settled) -> tuple[SpeedTable, int]:
        """Speeds at the inlet of the pump that works on the chamber, and the stack's row."""
        if self.states.inlet is not None:
            return self.states.inlet.at_pump[gas], self.inlet_row
        return self.back_speeds(gas, state), self.spot.back_row

    def chamber_speeds(self, gas: str, state: Settled) -> tuple[SpeedTable, int]:
        """Speeds left at the chamber, and the stack's row."""
        if self.states.inlet is not None:
            return self.states.inlet.at_chamber[gas], self.inlet_row
        backing = self.states.backing
        tables = backing.at_chamber_working if state.key == "process" else backing.at_chamber
        return tables[gas], self.spot.back_row

    def back_speeds(self, gas: str, state: Settled) -> SpeedTable:
        """Speeds at the inlet of the back: with gas ballast while vapour is pumped."""
        backing = self.states.backing
        return (backing.working if state.key == "process" else backing.at_inlet)[gas]

    def conductance_m3_s(self, run: Line, gas: str, mean_pa: float) -> float:
        """Conductance of a line at a mean pressure, read from the table the engine reads."""
        key = (run, gas)
        if key not in self._conductance:
            rows = np.minimum(conductance_rows([run], gas), NO_RESISTANCE_M3_S)
            self._conductance[key] = SpeedTable(GRID, rows)
        return speed_at(self._conductance[key], 0, mean_pa)

    def back_resting_pa(self, state: Settled) -> float:
        """Vapour pressure over what the back's condenser holds, while vapour is pumped."""
        resting = self.states.backing.resting_pa
        return float(resting[self.spot.back_row]) if state.key == "process" else 0.0

    def backing_pa(self, state: Settled) -> float:
        """Pressure at the inlet of the back under the load of a state."""
        return float(self._at_back(state, self.back_resting_pa(state)).pressure_pa[0])

    def backing_parts_pa(self, state: Settled) -> Mapping[str, float]:
        """Parts of the species in it, the vapour of a condenser left out."""
        found = self._at_back(state, 0.0).partial_pa
        return {gas: float(share[0]) for gas, share in found.items()}

    def _at_back(self, state: Settled, resting_pa: float) -> SteadyState:
        key = (state.key, resting_pa)
        if key not in self._backing:
            tables = {gas: self.back_speeds(gas, state) for gas in state.reaching_pa_m3_s}
            self._backing[key] = steady_state(
                state.reaching_pa_m3_s, tables, [self.spot.back_row], offset_pa=resting_pa
            )
        return self._backing[key]

    @property
    def resting_pa(self) -> float:
        """Own ultimate pressure or fluid vapour of the front; 0 for a rough stack."""
        return 0.0 if self.front is None else resting_pressure_pa(self.front)

    def one(self, value: FloatArray | None) -> float:
        """Return the stack's entry of an array of the field, NaN where there is none."""
        return math.nan if value is None else self.spot.at(value)
