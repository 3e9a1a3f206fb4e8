"""Where a stack settles: the pressure at which the pumps carry exactly the load."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import BoolArray, FloatArray, IntArray, floats
from server.physics.speedtable import LogGrid, SpeedTable

_CHUNK_ROWS = 4096
_HALVINGS = 52  # a cell of the grid, halved until doubles run out


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
    """Loads and tables of one chunk, ready for repeated evaluation."""

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
    is stable. Each root is bracketed by the grid, then halved; it cannot diverge. Below the grid
    the speeds of the lowest node hold.

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
    shape = row.shape
    loads = tuple(np.broadcast_to(floats(load_pa_m3_s[name]), shape) for name in species)
    if any(np.any(~(load >= 0.0)) for load in loads):
        raise OutOfRange("A gas load must be zero or more.")
    factor = np.broadcast_to(floats(speed_factor), shape)
    offset = np.broadcast_to(floats(offset_pa), shape)
    pressure = np.full(shape, np.nan)
    partials = {name: np.full(shape, np.nan) for name in species}
    for start in range(0, row.size, _CHUNK_ROWS):  # bounds the memory, not the candidates
        part = slice(start, start + _CHUNK_ROWS)
        problem = _Problem(
            grid, tuple(x[part] for x in loads), tables, row[part], factor[part], offset[part]
        )
        solved = _solve(problem)
        pressure[part] = solved
        for name, share in zip(species, _shares(problem, solved), strict=True):
            partials[name][part] = share
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
    grid = problem.grid
    need = np.repeat(problem.offset_pa[:, np.newaxis], grid.count, axis=1)
    for load, table in zip(problem.loads, problem.tables, strict=True):
        speed = table[problem.rows] * problem.factor[:, np.newaxis]
        need += _quotient(load[:, np.newaxis], speed)
    holds = need <= grid.pressure_pa  # the pump carries the load at this node
    first = np.argmax(holds, axis=1)
    exists = holds[np.arange(first.size), first]
    below = first == 0  # already at the lowest node: constant speed below, so p = need there
    cell = np.maximum(first - 1, 0)
    low, high = np.zeros(first.size), np.ones(first.size)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        pressure = np.exp(grid.ln_low + (cell + middle) * grid.step)
        carried = _need(problem, cell, middle) <= pressure
        high = np.where(carried, middle, high)
        low = np.where(carried, low, middle)
    pressure = np.exp(grid.ln_low + (cell + high) * grid.step)
    return np.where(exists, np.where(below, need[:, 0], pressure), np.nan)


def _need(problem: _Problem, cell: IntArray, fraction: FloatArray) -> FloatArray:
    total = problem.offset_pa.copy()
    for load, table in zip(problem.loads, problem.tables, strict=True):
        total += _quotient(load, _speed_in_cell(problem, table, cell, fraction))
    return total


def _speed_in_cell(
    problem: _Problem, table: FloatArray, cell: IntArray, fraction: FloatArray
) -> FloatArray:
    low = table[problem.rows, cell]
    high = table[problem.rows, cell + 1]
    return floats(problem.factor * (low + (high - low) * fraction))


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


def largest_throughput_pa_m3_s(
    speed: SpeedTable, rows: ArrayLike, highest_pa: ArrayLike = np.inf
) -> FloatArray:
    """Return the largest throughput S·p of pumps at or below an inlet pressure, at grid nodes.

    Parameters
    ----------
    speed : SpeedTable
        Speeds on the common grid. [m3/s]
    rows : array of int, shape (n,)
        Row of the table that belongs to each candidate. [-]
    highest_pa : array, scalar or shape (n,)
        Inlet pressure not to be exceeded. [Pa]
    """
    flow = speed.speed_m3_s * speed.grid.pressure_pa
    row = np.atleast_1d(np.asarray(rows, dtype=np.intp))
    limit = np.broadcast_to(floats(highest_pa), row.shape)[:, np.newaxis]
    return floats(np.max(np.where(speed.grid.pressure_pa <= limit, flow[row], 0.0), axis=1))


def backing_pressure_pa(
    throughput_pa_m3_s: ArrayLike, backing: SpeedTable, rows: ArrayLike
) -> SteadyState:
    """Return the pressure at the inlet of a backing pump that carries a throughput, Q = S_b·p.

    The foreline pressure at the high-vacuum pump follows through the foreline's conductance
    (``server.physics.line.upstream_pressure_pa``).

    Parameters
    ----------
    throughput_pa_m3_s : array, scalar or shape (n,)
        Throughput of the stack. [Pa m3/s]
    backing : SpeedTable
        Speeds of the backing pumps, ultimate pressure included. [m3/s]
    rows : array of int, shape (n,)
        Row of the table that belongs to each candidate. [-]
    """
    return steady_state({"gas": throughput_pa_m3_s}, {"gas": backing}, rows)
