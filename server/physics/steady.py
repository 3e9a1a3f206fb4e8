"""Where a stack settles: the pressure at which the pumps carry exactly the load."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import BoolArray, FloatArray, IntArray, floats
from server.physics.end_to_end import first_place
from server.physics.roots import at_rising_roots
from server.physics.speedtable import LogGrid, SpeedTable

_TRIED = 24  # nodes looked at in one go, where the lowest possible one does not carry the load
_NEARLY_ONE = 1.0 + 1e-12
_TINY = float(np.finfo(np.float64).tiny)
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
    """Loads of n candidates and the tables of the k gases that flow."""

    grid: LogGrid
    tables: tuple[SpeedTable, ...]
    rows: IntArray
    loads: FloatArray
    """Over the factor on the speeds, shape (k, n)."""
    offset_pa: FloatArray

    def only(self, chosen: IntArray) -> _Problem:
        """Return the problem of some of the candidates."""
        rows, offset_pa = self.rows[chosen], self.offset_pa[chosen]
        return _Problem(self.grid, self.tables, rows, self.loads[:, chosen], offset_pa)

    def speeds(self, node: IntArray) -> FloatArray:
        """Return the speed of each gas at one node of each candidate, shape (k, n)."""
        index = self.rows * self.grid.count + node
        found = np.empty(self.loads.shape)
        for own, table in zip(found, self.tables, strict=True):
            own[:] = table.speed_m3_s.take(index)
        return found


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
    loads = np.empty((len(load_pa_m3_s), row.size))
    for own, load in zip(loads, load_pa_m3_s.values(), strict=True):
        own[:] = load
    if not loads.min(initial=0.0) >= 0.0:
        raise OutOfRange("A gas load must be zero or more.")
    species = tuple(load_pa_m3_s)
    # a gas that does not flow has no say, and its speeds need not be known
    flows = np.flatnonzero(loads.any(axis=1))
    flowing = tuple(species[place] for place in flows)
    grid, tables = _common_tables(species, flowing, speed)
    offset = np.broadcast_to(floats(offset_pa), row.shape)
    pressure, shares = _solve(
        _Problem(grid, tables, row, loads[flows] / floats(speed_factor), offset)
    )
    exists = np.isfinite(pressure)
    partials = dict.fromkeys(species, np.where(exists, 0.0, np.nan))
    partials |= dict(zip(flowing, shares, strict=True))
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


def _solve(problem: _Problem) -> tuple[FloatArray, FloatArray]:
    """Return the settled pressures (n,) and each gas's part of them (k, n); NaN where none is."""
    first = _first_node(problem)
    inside = (first > 0) & (first < problem.grid.count)
    if inside.all():
        return _settle_in_cells(problem, first - 1)
    pressure, shares = np.full(first.shape, np.nan), np.full(problem.loads.shape, np.nan)
    within = np.flatnonzero(inside)
    pressure[within], shares[:, within] = _settle_in_cells(problem.only(within), first[within] - 1)
    # carried at the lowest node already: constant speed below, so p = need there
    lowest = np.flatnonzero(first == 0)
    below = problem.only(lowest)
    shares[:, lowest] = below.loads / np.maximum(below.speeds(first[lowest]), _NO_SPEED_M3_S)
    pressure[lowest] = below.offset_pa + shares[:, lowest].sum(axis=0)
    return pressure, shares


def _first_node(problem: _Problem) -> IntArray:
    """Lowest node at which the pump carries the load; the number of nodes where there is none.

    From the lowest that is possible on, the nodes are tried one after the other. Mostly the first
    one is it: only where a throughput has fallen with rising pressure the bound is too low.
    """
    pressure, last = problem.grid.pressure_pa, problem.grid.count - 1
    node = _lowest_possible_node(problem)
    here = np.minimum(node, last)
    short = ~(_need_at_nodes(problem, here) <= pressure[here])
    node = np.where(short, here + 1, node)
    trying = np.flatnonzero(short & (here < last))
    while trying.size:
        here = np.minimum(node[trying] + np.arange(_TRIED)[:, np.newaxis], last)
        carried = _need_at_nodes(problem.only(trying), here) <= pressure[here]
        found = carried.any(axis=0)
        node[trying] = np.where(found, node[trying] + carried.argmax(axis=0), here[-1] + 1)
        trying = trying[~found & (here[-1] < last)]
    return node


def _lowest_possible_node(problem: _Problem) -> IntArray:
    """Lowest node at which p_offset/p + Σ_i Q_i/(largest S_i·p up to there) is not above one.

    Each of these shares of the pressure is the least that it is at any lower node, and none rises
    from node to node.
    """
    grid, begin = problem.grid, problem.rows * problem.grid.count

    def short(at: IntArray) -> BoolArray:
        share = problem.offset_pa / grid.pressure_pa.take(at - begin)
        for load, table in zip(problem.loads, problem.tables, strict=True):
            share += load / table.largest_throughput_pa_m3_s.take(at)
        # equal but for rounding is left to be tried; what has no number is carried nowhere
        return np.asarray(~(share <= _NEARLY_ONE))

    return first_place(short, begin, grid.count) - begin


def _need_at_nodes(problem: _Problem, nodes: IntArray) -> FloatArray:
    """Pressure that the load needs at one node (n,) or several (m, n) of each candidate."""
    index = problem.rows * problem.grid.count + nodes
    total = np.empty(index.shape)
    total[:] = problem.offset_pa
    for load, table in zip(problem.loads, problem.tables, strict=True):
        total += load / np.maximum(table.speed_m3_s.take(index), _NO_SPEED_M3_S)
    return total


def _settle_in_cells(problem: _Problem, cell: IntArray) -> tuple[FloatArray, FloatArray]:
    """Root of need(p) = p in each cell and the gases' parts.

    Works on x, the place in the cell, and p/need − 1, which is below zero at 0 and not at 1: with
    one gas it is a straight line but for the change of p itself, so that the chord is a good first
    guess.
    """
    grid, loads, offset_pa = problem.grid, problem.loads, problem.offset_pa
    at_low, at_high = problem.speeds(cell), problem.speeds(cell + 1)
    rise, floor_pa = at_high - at_low, grid.pressure_pa[cell]

    def law(place: FloatArray) -> tuple[FloatArray, FloatArray, tuple[FloatArray, FloatArray]]:
        speed = np.maximum(at_low + rise * place, _NO_SPEED_M3_S)
        shares = loads / speed
        need = offset_pa + shares.sum(axis=0)
        pressure = floor_pa * np.exp(place * grid.step)
        ratio = pressure / need
        steepness = (shares * rise / speed).sum(axis=0) / need
        return ratio - 1.0, ratio * (grid.step + steepness), (pressure, shares)

    def miss(pressure_pa: FloatArray, speed: FloatArray) -> FloatArray:
        shares = loads / np.maximum(speed, _NO_SPEED_M3_S)
        return np.asarray(pressure_pa / (offset_pa + shares.sum(axis=0)) - 1.0)

    short, spare = miss(floor_pa, at_low), miss(grid.pressure_pa[cell + 1], at_high)
    chord = short / np.minimum(short - spare, -_TINY)
    chord = np.minimum(np.maximum(chord, 0.0), 1.0)
    return at_rising_roots(law, np.ones(cell.size), chord)
