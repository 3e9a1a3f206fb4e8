"""What all workings use: one judged stack as plain numbers, and the form of a line."""

from __future__ import annotations

import math
import re
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.catalog.items import Catalog, TurboPump
from server.fit.backing import BacksAtWork
from server.fit.candidates import Back, Front
from server.fit.costs import Purse
from server.fit.crossover import crossover_pressure_pa
from server.fit.explain import Spot, reaching_load
from server.fit.foreline import Standing
from server.fit.front_states import process_time_s
from server.fit.geometry import (
    Outlet,
    chamber_line,
    foreline,
    line_to_trap,
    outlet_of,
    rough_line,
    rough_line_to_trap,
)
from server.fit.inlet import InletTables
from server.fit.loads import AIR, Loads
from server.fit.pump_limits import Compressing, compressions_left
from server.fit.requirements import Requirements
from server.fit.results import Working
from server.fit.settled import FieldStates, SettledState
from server.fit.thresholds import BASE_STATE_AFTER_S
from server.fit.workings.curves import Curve, Passage, passages
from server.physics.arrays import FloatArray
from server.physics.line import Line
from server.physics.sources import SOURCES
from server.physics.species import SPECIES

CATALOG = "catalogue"
INQUIRY = "inquiry"
PRACTICE = "common practice, no source"
Inputs = Mapping[str, float | str]

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
    shown = {
        # most are finite numbers, and there are thousands of them
        label: number if number.__class__ is float and math.isfinite(number) else _plain(number)
        for label, number in inputs.items()
    }
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


@dataclass(frozen=True)
class Settled:
    """A steady state of the one stack."""

    key: str
    words: str
    time_s: float
    field: SettledState
    """The states of the whole field that it is one of."""
    reaching_pa_m3_s: Mapping[str, float]
    """Load that reaches the pump: without what the trap in front of it holds."""
    chamber_pa: float
    inlet_pa: float
    partial_pa: Mapping[str, float]
    foreline_pa: float
    """NaN without foreline."""
    tolerable_pa: float
    pump_without_load_pa: float
    """Pressure at the pump without load: at rest, and what diffuses back."""
    over_trap_pa: float
    """Pressure over the vapours that the front's trap holds."""

    @property
    def without_load_pa(self) -> float:
        """Pressure in the chamber without load: at the pump, and what stands over its trap."""
        return self.pump_without_load_pa + self.over_trap_pa

    @property
    def load_pa_m3_s(self) -> Mapping[str, float]:
        """Load, species by species."""
        return self.field.load_pa_m3_s

    @property
    def working(self) -> bool:
        """Whether it is the state while the process runs: with gas ballast and vapour."""
        return self.key == "process"

    @cached_property
    def exists(self) -> bool:
        """Whether the pumps carry the load at all."""
        return math.isfinite(self.chamber_pa) and math.isfinite(self.inlet_pa)

    @cached_property
    def gases(self) -> tuple[str, ...]:
        """Species with a load above zero."""
        return tuple(gas for gas, flow in self.load_pa_m3_s.items() if flow > 0.0)


@dataclass(frozen=True)
class Bench:
    """One stack of a judged field, opened up."""

    spot: Spot
    purse: Purse

    @property
    def catalog(self) -> Catalog:
        """The catalogue the field was judged with."""
        return self.purse.catalog

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

    @cached_property
    def front(self) -> Front | None:
        """High-vacuum pump, fluid and trap; None for a rough stack."""
        return self.spot.front

    @cached_property
    def back(self) -> Back:
        """Backing pump, booster and condenser."""
        return self.spot.back

    @cached_property
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

    @cached_property
    def settled(self) -> tuple[Settled, ...]:
        """Both states, base first."""
        return (self.base,) if self.process is None else (self.base, self.process)

    def _settled(self, key: str, words: str, time_s: float, state: SettledState) -> Settled:
        at, inlet = self.spot.at, self._inlet(working=key == "process")
        over_trap_pa = 0.0 if inlet is None else inlet.over_pa.item(self.spot.front_row)
        return Settled(
            key, words, time_s, state,
            reaching_load(self.spot, state),
            at(state.chamber_pa), state.inlet_at_pa(self.spot.front_row, self.spot.back_row),
            {gas: at(share) for gas, share in state.partial_pa.items()},
            self.one(state.foreline_pa), self.one(state.tolerable_pa),
            at(state.rest_pa), over_trap_pa,
        )  # fmt: skip

    @cached_property
    def place(self) -> int | None:
        """Position of the stack among those whose pump-down was followed."""
        fronts, backs = self.spot.judged.chosen
        found = np.flatnonzero((fronts == self.spot.front_row) & (backs == self.spot.back_row))
        return int(found[0]) if found.size else None

    @cached_property
    def crossover_pa(self) -> float:
        """Pressure at which the chamber is handed over, from the pump-down where it has it."""
        if self.place is not None:
            return float(self.spot.judged.evacuation.crossover_pa[self.place])
        return self.spot.at(crossover_pressure_pa(self.states))

    @cached_property
    def air_limit_pa_m3_s(self) -> float:
        """Largest throughput of the air that is left at the crossover; NaN where there is none."""
        return self.one(self.states.burst_pa_m3_s)

    @cached_property
    def inlet_row(self) -> int:
        """Row of the front in the tables of the high-vacuum side."""
        assert self.states.inlet is not None  # noqa: S101 (asked for stacks with a front only)
        return int(self.states.inlet.row_of_front[self.spot.front_row])

    @property
    def chamber_row(self) -> int:
        """Row, in its tables, of the front or else the back that works on the chamber."""
        return self.spot.back_row if self.front is None else self.inlet_row

    @cached_property
    def line(self) -> Line:
        """The whole line between the chamber and the pump it works with."""
        if self.front is None:
            return rough_line(self.back, self.requirements, self.catalog)
        return chamber_line(self.front.pump, self.front.trap, self.requirements, self.catalog)

    @cached_property
    def stub(self) -> Line:
        """The line to the trap of the high-vacuum side."""
        assert self.front is not None  # noqa: S101 (asked for stacks with a front only)
        return line_to_trap(self.front.pump, self.front.trap, self.requirements, self.catalog)

    @cached_property
    def rough_stub(self) -> Line:
        """The rough line in front of the back's trap."""
        return rough_line_to_trap(self.back, self.requirements, self.catalog)

    @cached_property
    def foreline(self) -> Line:
        """The line between the high-vacuum pump's outlet and the back."""
        return foreline(self._outlet, self.back, self.requirements)

    @cached_property
    def _outlet(self) -> Outlet:
        assert self.front is not None  # noqa: S101 (asked for stacks with a foreline only)
        outlet = outlet_of(self.front.pump, self.catalog)
        assert outlet is not None  # noqa: S101
        return outlet

    def passage(self, run: Line, gas: str) -> Passage:
        """Return a line for a gas, from the tables the engine reads."""
        asked = {("passage", run, gas): (run, gas)}
        return self.spot.judged.memory.each(asked, passages)[0]

    def foreline_passage(self, state: Settled, load_pa_m3_s: Mapping[str, float]) -> Passage:
        """Return the foreline for the gas of a load, from the tables the engine reads."""
        behind = state.field.behind
        assert behind is not None  # noqa: S101 (asked for stacks with a foreline only)
        runs = behind(state.reaching_pa_m3_s).runs
        lines = self.spot.judged.memory.once(
            ("potential", *load_pa_m3_s.items()), lambda: runs.potential(load_pa_m3_s)
        )
        outlet = runs.outlets.index(self._outlet)
        return Passage(lines, runs.line_of.item(outlet, self.spot.back_row))

    def _inlet(self, *, working: bool) -> InletTables | None:
        """Tables of the high-vacuum side as its traps work in a state; None for a rough stack."""
        return self.states.inlet_at_work if working else self.states.inlet

    def _backs(self, state: Settled) -> BacksAtWork | None:
        """Return the backs as they work with their traps in a state; None for the base state."""
        return self.states.backing.at_work(state.reaching_pa_m3_s) if state.working else None

    def is_held(self, gas: str, state: Settled) -> bool:
        """Whether the trap of the high-vacuum side holds a species."""
        inlet = self._inlet(working=state.working)
        return inlet is not None and inlet.at_work.standing_pa(gas).item(self.inlet_row) > 0.0

    def is_held_by_back(self, gas: str, state: Settled) -> bool:
        """Whether a condenser at the back holds a species where the back works on the chamber."""
        backs = None if self.front is not None else self._backs(state)
        return backs is not None and backs.standing_pa(gas).item(self.spot.back_row) > 0.0

    def pump_speeds(self, gas: str, state: Settled) -> Curve:
        """Speeds at the inlet of the pump that works on the chamber."""
        if self.states.inlet is not None:
            return Curve.of(self.states.inlet.at_pump[gas], self.inlet_row)
        return self.back_speeds(gas, state)

    def chamber_speeds(self, gas: str, state: Settled) -> Curve:
        """Speeds left at the chamber."""
        inlet, backs = self._inlet(working=state.working), self._backs(state)
        if inlet is not None:
            return Curve.of(inlet.at_chamber[gas], self.inlet_row)
        shared = (backs or self.states.backing).chamber
        return Curve.of(shared.each[gas], self.spot.back_row)

    def rough_speeds(self, gas: str) -> Curve:
        """Speeds at the chamber while it is roughed."""
        return Curve.of(self.states.backing.at_chamber[gas], self.spot.back_row)

    def back_speeds(self, gas: str, state: Settled) -> Curve:
        """Speeds at the inlet of the back: with gas ballast while vapour is pumped."""
        shared = (self._backs(state) or self.states.backing).inlet
        return Curve.of(shared.each[gas], self.spot.back_row)

    def back_resting_pa(self, state: Settled) -> float:
        """Vapour pressure over what the back's condenser holds, while vapour is pumped."""
        backs = self._backs(state)
        return 0.0 if backs is None else backs.over_pa.item(self.spot.back_row)

    def backing_pa(self, state: Settled) -> float:
        """Pressure at the inlet of the back under the load of a state."""
        standing = self._standing(state)
        if standing is None:
            return state.inlet_pa
        return standing.at_back_pa.item(self.spot.back_row)

    def back_rest_pa(self, state: Settled) -> float:
        """Pressure at which a back that stands behind a foreline stops pumping air."""
        standing = self._standing(state)
        return 0.0 if standing is None else standing.air_rest_pa.item(self.spot.back_row)

    def _standing(self, state: Settled) -> Standing | None:
        """Return what stands in the foreline; None for rough stacks."""
        behind, reaching = state.field.behind, state.reaching_pa_m3_s
        return None if behind is None else behind(reaching).standing(reaching)

    def back_diffusion(self, state: Settled) -> Mapping[str, tuple[float, float]]:
        """Partial pressure behind a turbomolecular pump [Pa] and its compression, gas by gas."""
        asked = self.compressing(state)
        left = self.spot.judged.memory.each(asked, compressions_left)
        standing = self._standing(state)
        if standing is None:
            return {}
        row = self.spot.back_row
        return {
            one.gas: (one.foreline_pa * standing.shares[one.gas].item(row), compression)
            for one, compression in zip(asked.values(), left, strict=True)
        }

    def compressing(self, state: Settled) -> dict[Hashable, Compressing]:
        """Return what a turbomolecular pump compresses in a state, by all that it depends on."""
        front = self.front
        if front is None or not isinstance(front.pump, TurboPump):
            return {}
        if not math.isfinite(state.foreline_pa):
            return {}
        pump, foreline_pa = front.pump, state.foreline_pa
        return {
            ("compression", pump.sku, gas, foreline_pa): Compressing(pump, gas, foreline_pa)
            for gas in state.load_pa_m3_s
            if gas == AIR or state.load_pa_m3_s[gas] > 0.0
        }

    @cached_property
    def resting_pa(self) -> float:
        """Own ultimate pressure or fluid vapour of the front; 0 for a rough stack."""
        alone = self.states.alone
        return 0.0 if alone is None else alone.resting_pa.item(self.spot.front_row)

    def one(self, value: FloatArray | None) -> float:
        """Return the stack's entry of an array of the field, NaN where there is none."""
        return math.nan if value is None else self.spot.at(value)
