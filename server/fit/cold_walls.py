"""Cold walls: what vapour traps hold, what stands over it, and what passes on to the pump.

Whatever flow reaches a trap, the pump behind it draws p_w·S from the wall at most: p_w the vapour
pressure over the wall, S the speed there towards the pump, through the second half of the trap.
A smaller flow is not held at all; of a larger one the rest stays on the wall, over which p_w
stands. S is read at the pressure that the gases which no wall holds and the vapours over it make
together: gas that flows takes vapour along. Ices and liquids that dissolve in each other have less
pressure than pure ones: the sum is the safe side.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np

from server.catalog.arrays import GRID
from server.catalog.items import Trap
from server.fit.alike import Groups, Speeds
from server.fit.candidates import COLD_TRAPS
from server.fit.geometry import restriction
from server.fit.loads import PUMP_K
from server.fit.memory import shelf
from server.physics.arrays import BoolArray, FloatArray, IntArray, floats
from server.physics.entry_speed import FlowPotential
from server.physics.line import Line, line_conductance_m3_s
from server.physics.species import SPECIES
from server.physics.speedtable import SpeedTable, lookup
from server.physics.steady import steady_state
from server.physics.trapped import drawn_past_wall_pa_m3_s
from server.physics.vapour import SATURATION, saturation_pressure_pa

UNNOTICED = 1e-9
"""What passes a wall is left out below this share of what comes to it."""


def over_trap_pa(gas: str, trap: Trap | None) -> float:
    """Return the vapour pressure over what a trap holds; infinite where it can hold none of it."""
    if trap is None or trap.kind not in COLD_TRAPS or gas not in SATURATION:
        return math.inf
    return _saturation_pa(gas, trap.surface_k)


@lru_cache(maxsize=256)
def _saturation_pa(gas: str, temperature_k: float) -> float:
    if temperature_k > SATURATION[gas].high_k:
        return math.inf  # warmer than its pressure is known for: nothing stays on the wall
    return float(saturation_pressure_pa(gas, temperature_k))


@lru_cache(maxsize=1024)
def second_half(trap: Trap, pump_bore_m: float, gas: str) -> FloatArray:
    """Return the conductance of a trap from its cold wall to the pump, on the grid.

    The stated conductance of a trap is that of two like halves in series, inlet to cold wall and
    cold wall to outlet (a judgement of our own). What the first half leaves of it ends in the
    pump's opening, which the pump's speed counts already.
    """
    part, pressure = restriction(trap), GRID.pressure_pa
    whole = line_conductance_m3_s(Line((part,)), pressure, PUMP_K, SPECIES[gas])
    to_pump = line_conductance_m3_s(Line((part,), pump_bore_m), pressure, PUMP_K, SPECIES[gas])
    resistance = 1.0 / np.asarray(to_pump) - 0.5 / np.asarray(whole)
    return floats(1.0 / np.maximum(resistance, _NO_RESISTANCE_S_M3))


_NO_RESISTANCE_S_M3 = 1e-9
"""Least resistance of a second half: a wide trap leads straight into a narrow pump's opening."""


@dataclass(frozen=True)
class AtWalls:
    """What n walls do with a load; gases that no wall meets are not named."""

    passes: Mapping[str, FloatArray]
    """Flow that goes on to the pump. [Pa m3/s]"""
    holds: Mapping[str, BoolArray]
    """Gases that some wall holds, and where."""
    standing: Mapping[str, FloatArray]
    """Pressure of each such vapour over the walls that hold it, else 0. [Pa]"""
    over_pa: FloatArray
    """Pressure over all vapours that each wall holds. [Pa]"""

    def standing_pa(self, gas: str) -> FloatArray:
        """Return the pressure of one vapour over each wall that holds it, else 0."""
        return self.standing.get(gas, np.zeros_like(self.over_pa))

    @property
    def key(self) -> tuple[tuple[str, bytes], ...]:
        """What is held where, as something to find tables by."""
        return tuple((gas, held.tobytes()) for gas, held in self.holds.items())


@dataclass(frozen=True)
class ColdWalls:
    """The traps in front of n pumps, each with the speeds of its pump; None is no trap."""

    traps: tuple[Trap | None, ...]
    bores_m: tuple[float, ...]
    """Bore of the pump behind each trap."""
    speeds: Speeds
    """Speeds of pumps at their own inlets."""
    rows: IntArray
    """Row of the pump behind each trap."""
    names: Hashable
    """What says which traps and pumps these are."""
    _known: dict[tuple[tuple[str, float], ...], AtWalls] = field(default_factory=dict, repr=False)
    _over: dict[str, FloatArray] = field(default_factory=dict, repr=False)

    @cached_property
    def are_cold(self) -> bool:
        """Whether any of the traps has a cold wall."""
        return any(trap is not None and trap.kind in COLD_TRAPS for trap in self.traps)

    def under(self, load_pa_m3_s: Mapping[str, float]) -> AtWalls:
        """Return what the walls do with a load that comes to each of them."""
        key = tuple(load_pa_m3_s.items())
        if key not in self._known:
            self._known[key] = self._under(load_pa_m3_s)
        return self._known[key]

    def over_pa(self, gas: str) -> FloatArray:
        """Return the vapour pressure of a gas over each wall, infinite where none of it stays."""
        if gas not in self._over:
            self._over[gas] = np.array([over_trap_pa(gas, trap) for trap in self.traps])
        return self._over[gas]

    def _under(self, load: Mapping[str, float]) -> AtWalls:
        doubtful = {}
        for gas, flow in load.items():
            if self.are_cold and flow > 0.0 and gas in SATURATION:
                beyond = flow > self._drawn_alone(gas)
                if beyond.any():
                    doubtful[gas] = beyond
        passes, holds, standing = {}, {}, {}
        for gas, limit in self._drawn(load, doubtful).items():
            flow = load[gas]
            held: BoolArray = flow > limit
            if held.any():
                holds[gas] = held
                standing[gas] = np.where(held, self.over_pa(gas), 0.0)
                passes[gas] = np.where(limit > UNNOTICED * flow, np.minimum(limit, flow), 0.0)
        over = sum(standing.values(), start=np.zeros(len(self.traps)))
        return AtWalls(passes, holds, standing, over)

    def _drawn_alone(self, gas: str) -> FloatArray:
        """Return the most that the pumps draw past the walls while nothing else flows."""

        def drawn() -> FloatArray:
            found, over = np.full(len(self.traps), np.inf), self.over_pa(gas)
            cold = np.flatnonzero(np.isfinite(over))
            way, way_of = self._ways(gas, cold)
            pumps = self.speeds[gas], self.rows[cold]
            found[cold] = drawn_past_wall_pa_m3_s(over[cold], way, way_of, *pumps)
            return found

        return shelf().once((self.names, gas, "drawn past walls"), drawn)

    def _drawn(
        self, load: Mapping[str, float], doubtful: Mapping[str, BoolArray]
    ) -> Mapping[str, FloatArray]:
        """Return what the pumps draw past the walls of vapours that alone would be held."""
        drawn = {gas: self._drawn_alone(gas) for gas in doubtful}
        noticed = np.zeros(len(self.traps), dtype=np.bool_)
        for gas, beyond in doubtful.items():
            over = np.where(beyond, self.over_pa(gas), 0.0)
            most = over * self.speeds[gas].speed_m3_s.max(axis=1)[self.rows]
            noticed |= most > UNNOTICED * load[gas]
        rows = np.flatnonzero(noticed)
        if not rows.size:
            return drawn
        at, exists = self._at_pumps(load, doubtful, rows)
        for gas, beyond in doubtful.items():
            some = np.flatnonzero(beyond[rows] & exists)
            if some.size:
                where = rows[some]
                more = self.over_pa(gas)[where] * self._towards_pump(gas, where, at[some])
                drawn[gas] = drawn[gas].copy()
                drawn[gas][where] = np.maximum(drawn[gas][where], more)
        return drawn

    def _at_pumps(
        self, load: Mapping[str, float], doubtful: Mapping[str, BoolArray], rows: IntArray
    ) -> tuple[FloatArray, BoolArray]:
        """Return the pressure behind some walls that hold vapours, and where there is any."""
        held = {gas: beyond[rows] for gas, beyond in doubtful.items()}
        standing = np.zeros(len(rows))
        for gas, where in held.items():
            standing += np.where(where, self.over_pa(gas)[rows], 0.0)
        # traps of one temperature in front of one pump are alike, whatever their size
        kinds = Groups.by(
            zip(
                self.rows[rows].tolist(),
                standing.tolist(),
                *(where.tolist() for where in held.values()),
                strict=True,
            )
        )
        first, none = kinds.first, np.zeros(len(kinds.first), dtype=np.bool_)
        flows = {
            gas: np.where(held[gas][first] if gas in held else none, 0.0, flow)
            for gas, flow in load.items()
        }
        pumps = self.rows[rows[first]]
        found = steady_state(flows, self.speeds, pumps, offset_pa=standing[first]).only(kinds.of)
        at = np.where(found.exists, found.pressure_pa, GRID.low_pa)
        return np.clip(at, GRID.low_pa, GRID.high_pa), found.exists

    def _towards_pump(self, gas: str, rows: IntArray, at_pa: FloatArray) -> FloatArray:
        """Return the speed at some walls towards their pumps, through half a trap."""
        way, way_of = self._ways(gas, rows)
        half = lookup(SpeedTable(GRID, way.conductance_m3_s), way_of, at_pa)
        speed = lookup(self.speeds[gas], self.rows[rows], at_pa)
        return np.asarray(speed * half / (speed + half))

    def _ways(self, gas: str, rows: IntArray) -> tuple[FlowPotential, IntArray]:
        """Return the second halves of some of the traps, and which of them each is."""
        traps = [(self.traps[row], self.bores_m[row]) for row in rows]
        kinds = Groups.by((trap.sku if trap else "", bore_m) for trap, bore_m in traps)
        halves = [
            second_half(trap, bore_m, gas)
            for trap, bore_m in (traps[place] for place in kinds.first)
            if trap is not None
        ]
        table = np.array(halves).reshape(-1, GRID.count)
        return FlowPotential.of_lines(GRID, table), kinds.of
