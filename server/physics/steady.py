"""Where a stack settles: the pressure at which the pumps carry exactly the load."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import BoolArray, FloatArray, IntArray, floats
from server.physics.speedtable import LogGrid, SpeedTable, gather

_ROOT_STEPS = 60  # more than bisection alone would need
_ROOT_CLOSE = 1e-12


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


@dataclass(frozen=True)
class _Problem:
    """Loads and tables, ready for repeated evaluation."""

    grid: LogGrid
    loads: tuple[FloatArray, ...]
    tables: tuple[FloatArray, ...]
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
    species = tuple(load_pa_m3_s)
    grid, tables = _common_tables(species, speed)
    row = np.atleast_1d(np.asarray(rows, dtype=np.intp))
    if row.size < tables[0].shape[0]:  # few candidates: leave the other rows alone
        tables, row = tuple(table[row] for table in tables), np.arange(row.size)
    shape = row.shape
    loads = tuple(np.broadcast_to(floats(load_pa_m3_s[name]), shape) for name in species)
    if any(np.any(~(load >= 0.0)) for load in loads):
        raise OutOfRange("A gas load must be zero or more.")
    factor = np.broadcast_to(floats(speed_factor), shape)
    offset = np.broadcast_to(floats(offset_pa), shape)
    problem = _Problem(grid, loads, tables, row, factor, offset)
    pressure = _solve(problem)
    partials = dict(zip(species, _shares(problem, pressure), strict=True))
    return SteadyState(pressure, np.isfinite(pressure), partials)


def _common_tables(
    species: tuple[str, ...], speed: Mapping[str, SpeedTable]
) -> tuple[LogGrid, tuple[FloatArray, ...]]:
    missing = [name for name in species if name not in speed]
    if missing or not species:
        raise OutOfRange(f"No speed is known for: {', '.join(missing) or 'an empty load'}.")
    grid = speed[species[0]].grid
    if any(speed[name].grid != grid for name in species):
        raise OutOfRange("The speeds of all species must be tabulated on the same pressures.")
    return grid, tuple(speed[name].speed_m3_s for name in species)


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
    cell = first[within] - 1
    pressure[within] = _pressure(problem.grid, cell, _place_in_cell(_part(problem, within), cell))
    return pressure


def _first_node(problem: _Problem) -> tuple[IntArray, BoolArray]:
    """Lowest node at which the pump carries the load, and whether there is one.

    Each species alone needs S_i·p ≥ Q_i; the first node of that is found by halving on the running
    maximum of S_i·p. From the latest of these the nodes are tried one after the other.
    """
    grid, last = problem.grid, problem.grid.count - 1
    node = np.zeros(problem.rows.size, dtype=np.intp)
    for load, table in zip(problem.loads, problem.tables, strict=True):
        best = np.maximum.accumulate(table * grid.pressure_pa, axis=1).ravel()
        start, need = problem.rows * grid.count, load / problem.factor
        low, high = np.full(node.size, -1), np.full(node.size, last)
        for _ in range(grid.count.bit_length()):
            middle = (low + high + 1) // 2
            # a table whose last node falls short ends at that node, and is turned down below
            short = best[start + np.minimum(middle, last)] < need
            open_ = high - low > 1
            low = np.where(open_ & short, middle, low)
            high = np.where(open_ & ~short, middle, high)
        node = np.maximum(node, high)
    trying = np.arange(node.size)
    exists = np.zeros(node.size, dtype=np.bool_)
    while trying.size:
        part = _part(problem, trying)
        here = node[trying]
        need = _need(part, np.minimum(here, last - 1), np.where(here == last, 1.0, 0.0))
        carried = need <= grid.pressure_pa[here]
        exists[trying[carried]] = True
        trying = trying[~carried & (here < last)]
        node[trying] += 1
    return node, exists


def _part(problem: _Problem, chosen: IntArray) -> _Problem:
    return replace(
        problem,
        loads=tuple(load[chosen] for load in problem.loads),
        rows=problem.rows[chosen],
        factor=problem.factor[chosen],
        offset_pa=problem.offset_pa[chosen],
    )


def _place_in_cell(problem: _Problem, cell: IntArray) -> FloatArray:
    """Root of ln need = ln p in each cell, by false position that never leaves its bracket.

    An end that stays twice in a row has its value halved (Illinois rule), which makes it converge
    fast; where a value is infinite (no speed at the lower node) the bracket is halved instead.
    """
    low, high = np.zeros(cell.size), np.ones(cell.size)
    at_low, at_high = _excess(problem, cell, low), _excess(problem, cell, high)
    place, miss = high, np.abs(at_high)
    moved = np.zeros(cell.size)
    for _ in range(_ROOT_STEPS):
        known = np.isfinite(at_low) & (at_low > at_high)
        span = np.where(known, at_low, 1.0) - np.where(known, at_high, 0.0)
        guess = high + at_high * (high - low) / span
        inside = known & (guess > low) & (guess < high)
        middle = np.where(inside, guess, 0.5 * (low + high))
        value = _excess(problem, cell, middle)
        carried = value <= 0.0
        moves = np.where(carried, 1.0, -1.0)
        weight = np.where(inside & (moves == moved), 0.5, 1.0)
        moved = moves
        at_low = np.where(carried, weight * at_low, value)
        at_high = np.where(carried, value, weight * at_high)
        low, high = np.where(carried, low, middle), np.where(carried, middle, high)
        closer = np.abs(value) < miss
        place, miss = np.where(closer, middle, place), np.where(closer, np.abs(value), miss)
        if np.all((miss < _ROOT_CLOSE) | (high - low < _ROOT_CLOSE)):
            break
    return place


def _excess(problem: _Problem, cell: IntArray, place: FloatArray) -> FloatArray:
    """ln(need/p): above zero where the pump cannot carry the load."""
    need = _need(problem, cell, place)
    # without any load the pressure is zero; any negative value will do
    ratio = np.maximum(need, np.finfo(np.float64).tiny) / _pressure(problem.grid, cell, place)
    return floats(np.log(ratio))


def _pressure(grid: LogGrid, cell: IntArray, place: FloatArray) -> FloatArray:
    return floats(np.exp(grid.ln_low + (cell + place) * grid.step))


def _need(problem: _Problem, cell: IntArray, fraction: FloatArray) -> FloatArray:
    total = problem.offset_pa.copy()
    for load, table in zip(problem.loads, problem.tables, strict=True):
        total += _quotient(load, _speed_in_cell(problem, table, cell, fraction))
    return total


def _speed_in_cell(
    problem: _Problem, table: FloatArray, cell: IntArray, fraction: FloatArray
) -> FloatArray:
    speed, _ = gather(table.ravel(), problem.rows * problem.grid.count, cell, fraction)
    return floats(problem.factor * speed)


def _shares(problem: _Problem, pressure_pa: FloatArray) -> list[FloatArray]:
    """Q_i/S_i at the settled pressure, NaN where there is none."""
    grid = problem.grid
    known = np.isfinite(pressure_pa)
    position = np.log(np.where(known & (pressure_pa > 0), pressure_pa, grid.low_pa)) - grid.ln_low
    position = np.clip(position / grid.step, 0.0, grid.count - 1.0)
    cell = np.minimum(position.astype(np.intp), grid.count - 2)
    shares = []
    for load, table in zip(problem.loads, problem.tables, strict=True):
        speed = _speed_in_cell(problem, table, cell, position - cell)
        shares.append(np.where(known, _quotient(load, speed), np.nan))
    return shares
