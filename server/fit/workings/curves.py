"""Speeds and conductances of the engine's tables in plain numbers, and roots in them.

The engine solves whole fields at once; one stack at a time, arrays of a single element would cost
twenty times as much as the same rule in plain numbers.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from server.catalog.arrays import GRID
from server.fit.geometry import line_table
from server.fit.inlet import flow_potential, sonic_limit_m3_s
from server.physics.arrays import FloatArray
from server.physics.entry_speed import FlowPotential
from server.physics.line import Line
from server.physics.roots import root_between, roots_between
from server.physics.species import SPECIES
from server.physics.speedtable import SpeedTable, rest_pressure_pa


@dataclass(frozen=True)
class Curve:
    """One row of a table on the engine's grid, read point by point."""

    nodes_m3_s: FloatArray
    """Value at every node of the grid."""

    @classmethod
    def of(cls, table: SpeedTable, row: int) -> Curve:
        """Return one row of a table."""
        return cls(table.speed_m3_s[row])

    def at(self, pressure_pa: float) -> float:
        """Return the value at a pressure, as the engine reads it: linear in ln p between nodes.

        Below the grid its lowest node holds. NaN, the pressure of a state that does not exist,
        stays NaN.
        """
        if math.isnan(pressure_pa):
            return math.nan
        place = (math.log(max(pressure_pa, GRID.low_pa)) - GRID.ln_low) / GRID.step
        cell = int(place)
        if cell >= GRID.count - 1:
            return self.nodes_m3_s.item(GRID.count - 1)
        return self.within(cell, place - cell)

    def within(self, cell: int, fraction: float) -> float:
        """Return the value between a node and the next."""
        low, high = self.nodes_m3_s.item(cell), self.nodes_m3_s.item(cell + 1)
        return (high - low) * fraction + low

    @property
    def rest_pa(self) -> float:
        """Pressure below which there is no speed; 0 where there is speed everywhere."""
        return float(rest_pressure_pa(SpeedTable(GRID, self.nodes_m3_s[np.newaxis]))[0])

    def pressure_of_flow_pa(self, flow_pa_m3_s: float) -> float:
        """Return the lowest pressure at which S(p)·p is this flow, NaN where a pump has none."""
        reached = self.nodes_m3_s * GRID.pressure_pa >= flow_pa_m3_s
        cell = int(reached.argmax()) - 1
        if not flow_pa_m3_s > 0.0 or cell < 0:
            return math.nan

        def pressure(place: float) -> float:
            return math.exp(GRID.ln_low + (cell + place) * GRID.step)

        def lacking(place: float) -> float:
            return flow_pa_m3_s - self.within(cell, place) * pressure(place)

        return pressure(_root_in_cell(lacking))


@dataclass(frozen=True)
class Passage:
    """A line as the engine reads it: what it carries between two pressures is Φ(p₁) − Φ(p₂)."""

    lines: FlowPotential
    row: int = 0
    """Of the line in these."""

    def between(self, one_pa: float, other_pa: float) -> float:
        """Return the mean conductance between two pressures, ∫ C dp ÷ their difference. [m³/s]."""
        difference = one_pa - other_pa
        if abs(difference) <= _SAME * max(one_pa, other_pa):
            return self._at(one_pa)[1]
        return (self._at(one_pa)[0] - self._at(other_pa)[0]) / difference

    def _at(self, pressure_pa: float) -> tuple[float, float]:
        """Φ and C at a pressure; NaN stays NaN."""
        if math.isnan(pressure_pa):
            return math.nan, math.nan
        row, nodes, conductance = self.row, self.lines.nodes_pa_m3_s, self.lines.conductance_m3_s
        place = int((math.log(max(pressure_pa, GRID.low_pa)) - GRID.ln_low) / GRID.step)
        cell = min(place, GRID.count - 2)
        begin, end = GRID.pressure_pa.item(cell), GRID.pressure_pa.item(cell + 1)
        low = conductance.item(row, cell)
        slope = (conductance.item(row, cell + 1) - low) / (end - begin)
        past = pressure_pa - begin
        rise = slope * max(past, 0.0)
        return nodes.item(row, cell) + (low + rise / 2) * past, low + rise


_SAME = 1e-9
"""Pressures closer than this share of them are one: their difference is rounding."""


def passages(asked: Sequence[tuple[Line, str]]) -> list[Passage]:
    """Return lines for a species each, from the tables the engine reads."""
    row_of: dict[Line, int] = {}
    for run, _ in asked:
        row_of.setdefault(run, len(row_of))
    table = line_table(list(row_of))
    lines = {gas: flow_potential(table, SPECIES[gas]) for gas in {gas for _, gas in asked}}
    return [Passage(lines[gas], table.of.item(row_of[run])) for run, gas in asked]


@lru_cache(maxsize=256)
def sonic_limit(run: Line, gas: str) -> float:
    """Return the largest volume flow into a line [m³/s]: sonic in its narrowest bore."""
    return float(sonic_limit_m3_s(line_table([run]).narrowest_m, gas)[0, 0])


@dataclass(frozen=True)
class Leaving:
    """A gas that alone fills the chamber, and the pump or cold wall behind its line."""

    through: Passage
    speeds: Curve
    chamber_pa: float


@dataclass(frozen=True)
class AtExit:
    """How a gas leaves a line."""

    pressure_pa: float
    speed_m3_s: float
    conductance_m3_s: float
    """Mean over the line, from this pressure to that of the chamber."""


def at_exits(asked: Sequence[Leaving]) -> list[AtExit]:
    """Solve S(p₂)·p₂ = C·(p − p₂) for several lines, with the tables of the engine.

    Where throughput falls with pressure the lowest root counts, as in ``physics.entry_speed``.
    """
    rows = np.arange(len(asked))
    conductance = [one.through.lines.conductance_m3_s[one.through.row] for one in asked]
    lines = FlowPotential(GRID, np.array(conductance))
    speeds = np.array([one.speeds.nodes_m3_s for one in asked])
    chamber = np.array([one.chamber_pa for one in asked])
    driving = lines.at_pa_m3_s(rows, chamber)
    drawn = np.maximum.accumulate(lines.nodes_pa_m3_s + speeds * GRID.pressure_pa, axis=1)
    above = np.count_nonzero(drawn < driving[:, np.newaxis], axis=1)
    cell = np.clip(above - 1, 0, GRID.count - 2)
    speed = speeds[rows, cell]
    rise = speeds[rows, cell + 1] - speed

    def pressure(place: FloatArray) -> FloatArray:
        return np.asarray(GRID.pressure_pa[cell] * np.exp(place * GRID.step))

    def excess(place: FloatArray) -> FloatArray:
        there = pressure(place)
        carried = lines.in_cells(rows, cell, there)[0]
        found = (speed + rise * place) * there + carried - driving
        # at a node the sign is a matter of rounding
        found = np.where(place <= 0.0, np.minimum(found, 0.0), found)
        return np.asarray(np.where(place >= 1.0, np.maximum(found, 0.0), found))

    place = roots_between(excess, np.zeros(len(rows)), np.ones(len(rows)), within=1e-14)
    # below the grid speed and conductance are constant
    under = above == 0
    at_exit = np.where(under, driving / (speed + lines.conductance_m3_s[:, 0]), pressure(place))
    speed = np.where(under, speed, speed + rise * place)
    numbers = zip(asked, at_exit.tolist(), speed.tolist(), strict=True)
    return [
        AtExit(there, taken, one.through.between(there, one.chamber_pa))
        for one, there, taken in numbers
    ]


@dataclass(frozen=True)
class Balance:
    """Where one pump settles under its load, NaN where it carries that at no pressure."""

    pressure_pa: float
    partial_pa: Mapping[str, float]
    """Q_i/S_i there."""


def balance(
    flow_pa_m3_s: Mapping[str, float], speeds: Mapping[str, Curve], offset_pa: float
) -> Balance:
    """Solve p = p_offset + Σ Q_i/S_i(p) for one pump: the root of ``physics.steady``.

    Parameters
    ----------
    flow_pa_m3_s : mapping of float
        Load, species by species. [Pa m3/s]
    speeds : mapping of Curve
        Speeds for them. [m3/s]
    offset_pa : float
        Pressure present without load. [Pa]

    Returns
    -------
    Balance
        The first crossing from low pressure, where the state is stable.
    """
    pressure = _first_crossing_pa(flow_pa_m3_s, speeds, offset_pa)
    partial = {
        gas: math.nan if math.isnan(pressure) else _quotient(flow, speeds[gas].at(pressure))
        for gas, flow in flow_pa_m3_s.items()
    }
    return Balance(pressure, partial)


def _first_crossing_pa(
    flow_pa_m3_s: Mapping[str, float], speeds: Mapping[str, Curve], offset_pa: float
) -> float:
    flowing = [(flow, speeds[gas]) for gas, flow in flow_pa_m3_s.items() if flow > 0.0]
    need = np.full(GRID.count, offset_pa)
    for flow, curve in flowing:
        nodes = curve.nodes_m3_s
        need += np.divide(flow, nodes, out=np.full(GRID.count, np.inf), where=nodes > 0.0)
    carried = need <= GRID.pressure_pa
    first = int(np.argmax(carried))
    if not carried[first]:
        return math.nan
    if first == 0:  # constant speed below the grid
        return float(need[0])
    cell = first - 1

    def excess(place: float) -> float:
        needed = sum(_quotient(flow, curve.within(cell, place)) for flow, curve in flowing)
        ratio = max(needed + offset_pa, 1e-300) / math.exp(GRID.ln_low + (cell + place) * GRID.step)
        return math.log(ratio)

    return math.exp(GRID.ln_low + (cell + _root_in_cell(excess)) * GRID.step)


def _root_in_cell(excess: Callable[[float], float]) -> float:
    """Return where in a cell a function falls to zero."""
    # at a node that just carries its load the sign is a matter of rounding
    if excess(1.0) >= 0.0:
        return 1.0
    if excess(0.0) <= 0.0:
        return 0.0
    return root_between(excess, 0.0, 1.0, within=1e-14)


def _quotient(flow_pa_m3_s: float, speed_m3_s: float) -> float:
    if flow_pa_m3_s <= 0.0:
        return 0.0
    return flow_pa_m3_s / speed_m3_s if speed_m3_s > 0.0 else math.inf
