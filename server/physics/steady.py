"""Where a stack settles: the pressure at which the pumps carry exactly the load."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import BoolArray, FloatArray, IntArray, floats
from server.physics.speedtable import LogGrid, SpeedTable

_ROOT_STEPS = 60  # more than bisection alone would need
_ROOT_CLOSE = 1e-10
_FIRST_TRIED, _THEN_TRIED = 2, 24  # nodes looked at in one go: most loads are carried at the first
_TINY = np.finfo(np.float64).tiny
_NO_SPEED_M3_S = 1e-150  # stands for none where it divides: what a load needs then is out of reach


@dataclass(frozen=True)
class SteadyState:
    """Settled pressures of n candidates.

    ``pressure_pa`` is NaN where ``exists`` is false: the load is larger than anything the pump
    carries, so there is no pressure at which it settles. ``partial_pa`` holds the species' parts
    of the pressure (without the offset); they add up to it.
    """

    pressure_pa: FloatArray
    exists: BoolArray
    partial_pa: Mapping[str, FloatArray]

    def only(self, chosen: IntArray) -> SteadyState:
        """Return the states of some of the candidates."""
        partial = {name: value[chosen] for name, value in self.partial_pa.items()}
        return SteadyState(self.pressure_pa[chosen], self.exists[chosen], partial)


@dataclass(frozen=True)
class _Problem:
    """Loads and tables, ready for repeated evaluation."""

    grid: LogGrid
    loads: tuple[FloatArray, ...]
    tables: tuple[SpeedTable, ...]
    rows: IntArray
    factor: FloatArray
    offset_pa: FloatArray


def steady_state(
    load_pa_m3_s: Mapping[str, ArrayLike],
    speed: Mapping[str, SpeedTable],
    rows: ArrayLike,
    *,
    offset_pa: ArrayLike = 0.0,
    speed_factor: ArrayLike = 1.0,
) -> SteadyState:
    """Solve p = p_offset + Σ_i Q_i/S_i(p) for many candidates at once.

    Speeds are those of the tables, linear in ln p. The first crossing from low pressure is taken:
    the pressure to which a chamber at base pressure rises when the load is applied, and where it
    is stable. Each root is bracketed by the grid and never leaves its bracket; it cannot diverge.
    Below the grid the speeds of the lowest node hold.

    Parameters
    ----------
    load_pa_m3_s : mapping of array, each scalar or shape (n,)
        Load of each species, ≥ 0. [Pa m3/s]
    speed : mapping of SpeedTable
        Speeds for every species of the load, all on one grid with the same rows. [m3/s]
    rows : array of int, shape (n,)
        Row of the tables that belongs to each candidate. [-]
    offset_pa : array, scalar or shape (n,)
        Pressure present without load, such as fluid vapour or back-diffusion Σ p_f,i/K₀,i. [Pa]
    speed_factor : array, scalar or shape (n,)
        Factor on all speeds of a candidate, > 0. [-]

    Raises
    ------
    OutOfRange
        A negative load, a species without speeds, tables on different grids.
    """
    row = np.atleast_1d(np.asarray(rows, dtype=np.intp))
    shape = row.shape
    loads = {gas: np.broadcast_to(floats(load), shape) for gas, load in load_pa_m3_s.items()}
    if any(np.any(~(load >= 0.0)) for load in loads.values()):
        raise OutOfRange("A gas load must be zero or more.")
    factor = np.broadcast_to(floats(speed_factor), shape)
    offset = np.broadcast_to(floats(offset_pa), shape)
    # a gas that does not flow has no say, and its speeds need not be known
    flowing = tuple(gas for gas, load in loads.items() if load.any())
    grid, tables = _common_tables(tuple(loads), flowing, speed)
    problem = _Problem(grid, tuple(loads[gas] for gas in flowing), tables, row, factor, offset)
    pressure = _solve(problem)
    exists = np.isfinite(pressure)
    absent = np.where(exists, 0.0, np.nan)
    partials = dict.fromkeys(loads, absent)
    partials |= dict(zip(flowing, _shares(problem, pressure), strict=True))
    return SteadyState(pressure, exists, partials)


def _common_tables(
    species: tuple[str, ...], flowing: tuple[str, ...], speed: Mapping[str, SpeedTable]
) -> tuple[LogGrid, tuple[SpeedTable, ...]]:
    missing = [name for name in species if name not in speed]
    if missing or not species:
        raise OutOfRange(f"No speed is known for: {', '.join(missing) or 'an empty load'}.")
    grid = speed[(flowing or species)[0]].grid
    if any(speed[name].grid != grid for name in flowing):
        raise OutOfRange("The speeds of all species must be tabulated on the same pressures.")
    return grid, tuple(speed[name] for name in flowing)


def _quotient(load: FloatArray, speed: FloatArray) -> FloatArray:
    """Q/S; 0 without load, inf where a load meets no speed."""
    safe = np.where(speed > 0.0, speed, 1.0)
    return np.where(load > 0.0, np.where(speed > 0.0, load / safe, np.inf), 0.0)


def _solve(problem: _Problem) -> FloatArray:
    first, exists = _first_node(problem)
    pressure = np.full(first.size, np.nan)
    # carried at the lowest node already: constant speed below, so p = need there
    lowest = np.flatnonzero(exists & (first == 0))
    pressure[lowest] = _need(_part(problem, lowest), first[lowest], np.zeros(lowest.size))
    within = np.flatnonzero(exists & (first > 0))
    pressure[within] = _pressure_in_cell(_part(problem, within), first[within] - 1)
    return pressure


def _first_node(problem: _Problem) -> tuple[IntArray, BoolArray]:
    """Lowest node at which the pump carries the load, and whether there is one.

    Each species alone needs S_i·p ≥ Q_i. From the latest of the first nodes where that is so, the
    nodes are tried one after the other.
    """
    grid, last = problem.grid, problem.grid.count - 1
    node = np.zeros(problem.rows.size, dtype=np.intp)
    for load, table in zip(problem.loads, problem.tables, strict=True):
        # a table whose last node falls short ends at that node, and is turned down below
        node = np.maximum(node, table.first_node_carrying(problem.rows, load / problem.factor))
    exists = np.zeros(node.size, dtype=np.bool_)
    trying, ahead = np.arange(node.size), _FIRST_TRIED
    while trying.size:
        part = _part(problem, trying)
        here = np.minimum(node[trying, np.newaxis] + np.arange(ahead), last)
        carried = _need_at_nodes(part, here) <= grid.pressure_pa[here]
        found = carried.any(axis=1)
        node[trying] = np.where(found, node[trying] + carried.argmax(axis=1), here[:, -1])
        exists[trying[found]] = True
        trying, ahead = trying[~found & (here[:, -1] < last)], _THEN_TRIED
    return np.minimum(node, last), exists


def _need_at_nodes(problem: _Problem, node: IntArray) -> FloatArray:
    """Pressure that the load needs at the speeds of some nodes of each row."""
    total = np.repeat(problem.offset_pa[:, np.newaxis], node.shape[1], axis=1)
    index = problem.rows[:, np.newaxis] * problem.grid.count + node
    for load, table in zip(problem.loads, problem.tables, strict=True):
        speed = np.maximum(table.speed_m3_s.ravel()[index], _NO_SPEED_M3_S)
        total += load[:, np.newaxis] / (problem.factor[:, np.newaxis] * speed)
    return total


def _part(problem: _Problem, chosen: IntArray) -> _Problem:
    return replace(
        problem,
        loads=tuple(load[chosen] for load in problem.loads),
        rows=problem.rows[chosen],
        factor=problem.factor[chosen],
        offset_pa=problem.offset_pa[chosen],
    )


def _pressure_in_cell(problem: _Problem, cell: IntArray) -> FloatArray:
    """Root of need(p) = p in each cell, by Newton's method that never leaves its bracket.

    Works on x, the place in the cell, and p/need − 1, which is below zero at 0 and not at 1: with
    one gas it is a straight line but for the change of p itself. Where a step would leave the
    bracket it is halved.
    """
    grid = problem.grid
    parts = [
        (load, *_ends(problem, table, cell))
        for load, table in zip(problem.loads, problem.tables, strict=True)
    ]
    floor = grid.ln_low + cell * grid.step
    low, high = np.zeros(cell.size), np.ones(cell.size)
    place = high
    for _ in range(_ROOT_STEPS):
        need, steepness = problem.offset_pa.copy(), np.zeros(cell.size)
        for load, at_low, rise in parts:
            speed = np.maximum(at_low + rise * place, _NO_SPEED_M3_S)
            share = load / speed
            need += share
            steepness -= share * rise / speed
        # without any load the pressure is zero; any negative value will do
        need = np.maximum(need, _TINY)
        pressure = np.exp(floor + place * grid.step)
        miss = pressure / need - 1.0
        carried = miss >= 0.0
        low, high = np.where(carried, low, place), np.where(carried, place, high)
        slope = (miss + 1.0) * (grid.step - steepness / need)
        guess = place - miss / np.where(slope > 0.0, slope, np.inf)
        inside = (guess > low) & (guess < high)
        settled = (np.abs(miss) < _ROOT_CLOSE) | (high - low < _ROOT_CLOSE)
        if np.all(settled):
            break
        place = np.where(settled, place, np.where(inside, guess, 0.5 * (low + high)))
    return floats(np.exp(floor + place * grid.step))


def _ends(problem: _Problem, table: SpeedTable, cell: IntArray) -> tuple[FloatArray, FloatArray]:
    """Speed at the lower node of each cell, and its rise to the upper one."""
    index = problem.rows * problem.grid.count + cell
    flat = table.speed_m3_s.ravel()
    low = flat[index]
    return problem.factor * low, problem.factor * (flat[index + 1] - low)


def _need(problem: _Problem, cell: IntArray, fraction: FloatArray) -> FloatArray:
    total = problem.offset_pa.copy()
    for load, table in zip(problem.loads, problem.tables, strict=True):
        low, rise = _ends(problem, table, cell)
        total += _quotient(load, low + rise * fraction)
    return total


def _shares(problem: _Problem, pressure_pa: FloatArray) -> list[FloatArray]:
    """Q_i/S_i at the settled pressure, NaN where there is none."""
    grid = problem.grid
    known = np.isfinite(pressure_pa)
    position = np.log(np.where(known & (pressure_pa > 0), pressure_pa, grid.low_pa)) - grid.ln_low
    position = np.clip(position / grid.step, 0.0, grid.count - 1.0)
    cell = np.minimum(position.astype(np.intp), grid.count - 2)
    shares = []
    for load, table in zip(problem.loads, problem.tables, strict=True):
        low, rise = _ends(problem, table, cell)
        speed = low + rise * (position - cell)
        shares.append(np.where(known, _quotient(load, speed), np.nan))
    return shares
