"""The beginning of a pump-down in closed form: while the gas load hardly matters.

Without a load a chamber falls from p₁ to p₂ in ∫ V·dp/(S·p); where the pump takes far more than the
load the rest is a small correction of first order,

    t = ∫ V/S · d ln p + Q·∫ V/(S²·p) · d ln p.

Both are sums over the cells of the speed table, made once for each of its rows, so that however
many candidates fall along a row there are no steps to be taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.end_to_end import EndToEnd
from server.physics.pumpdown_step import Course, Rows, load_at, speed_per_volume
from server.physics.speedtable import LEAST_PA_M3_S, LogGrid, SpeedTable

_OUTWEIGHS = 30.0
"""What a pump takes over the load where the correction is enough. Its square is left out, 1/30² of
the rate at most; a choice of our own."""

_CURVE_STRIDE = 2
"""Nodes from one point of a curve to the next: 0.29 in ln p."""


@dataclass(frozen=True)
class _Paths:
    """Sums along the nodes for m rows of a table, each from its highest node down."""

    grid: LogGrid
    speed: FloatArray
    """Shape (m, nodes)."""
    without_load: FloatArray
    """∫ d ln p/S."""
    per_load: FloatArray
    """∫ d ln p/(S²·p)."""
    ln_least: EndToEnd
    """Logarithm of the least S·p from each node up to the highest one."""

    def lowest_node(self, rows: IntArray, carried: FloatArray) -> IntArray:
        """Return the lowest node above which the pump takes so much all the way up."""
        # however small the load: where there is no speed it is not carried
        wanted = np.log(np.maximum(carried, 2.0 * LEAST_PA_M3_S))
        return self.ln_least.first_reaching(rows, wanted)


def fall(
    state: Rows, course: Course, table: SpeedTable, *, trace: bool = False
) -> list[tuple[FloatArray, FloatArray]]:
    """Move candidates on to where their load begins to matter, or to the target if it never does.

    Parameters
    ----------
    state : Rows
        Candidates at their start, load and speed known; moved on. [-]
    course : Course
        What they have in common. [-]
    table : SpeedTable
        Speeds, of which each candidate has a row. [m3/s]
    trace : bool
        Also return clock and pressure at nodes on the way. [-]

    Returns
    -------
    list of pairs of array, shape (n,)
        Clocks [s] and pressures [Pa] in the order of time, NaN for candidates that are not there.
    """
    grid = table.grid
    used = np.flatnonzero(np.bincount(state.row_start // grid.count))
    which: IntArray = np.searchsorted(used, state.row_start // grid.count)
    first = np.minimum(_place(grid, state.pressure, _ROUNDING).astype(np.intp), grid.count - 1)
    paths = _paths(table, used, _highest(which, first, used.size))
    outweighed = _OUTWEIGHS * state.load
    last = paths.lowest_node(which, outweighed / state.scale)
    above_target = np.ceil(_place(grid, state.target, -_ROUNDING)).astype(np.intp)
    at_target, _ = speed_per_volume(state, course, state.target)
    arrives = (last <= above_target) & (at_target > 0.0)
    arrives &= at_target * state.target >= outweighed
    last = np.maximum(last, above_target)
    falls = (last < first) & np.isfinite(state.time) & (state.value > 0.0)
    falls &= state.value * state.pressure >= outweighed
    rows = np.flatnonzero(falls)
    if rows.size == 0:
        return []
    part = Rows(*(value[..., rows] for value in vars(state).values()))
    way = which[rows], first[rows], last[rows]
    down = _Down(paths, part, course, way, np.where(arrives, at_target, 0.0)[rows])
    # what takes longer than the horizon is followed to its end there
    in_time = down.end_s < course.horizon_s
    points = _spread(down.points(in_time), rows, state) if trace else []
    state.time[rows] = np.where(in_time, down.end_s, part.time)
    state.pressure[rows] = np.where(in_time, down.end_pa, part.pressure)
    state.load, state.load_slope = load_at(state, np.minimum(state.time, course.horizon_s), course)
    state.value, state.rise = speed_per_volume(state, course, state.pressure)
    return points


def _spread(
    points: list[tuple[FloatArray, FloatArray]], rows: IntArray, state: Rows
) -> list[tuple[FloatArray, FloatArray]]:
    """Return points of some of the candidates as points of all, after the start of all."""
    found = [(state.time.copy(), state.pressure.copy())]
    for clock, pressure in points:
        all_clocks, all_pressures = np.full((2, state.time.size), np.nan)
        all_clocks[rows], all_pressures[rows] = clock, pressure
        found.append((all_clocks, all_pressures))
    return found


def _place(grid: LogGrid, pressure_pa: FloatArray, more: float) -> FloatArray:
    """Place among the nodes, a little more against rounding."""
    found: FloatArray = (np.log(pressure_pa) - grid.ln_low) / grid.step + more
    return found


_ROUNDING = 1e-9
"""Share of a cell by which a pressure at a node may miss it."""


def _highest(which: IntArray, first: IntArray, count: int) -> IntArray:
    highest = np.zeros(count, dtype=np.intp)
    np.maximum.at(highest, which, first)
    return highest


def _paths(table: SpeedTable, used: IntArray, highest: IntArray) -> _Paths:
    """Sum from the highest node of each row down; above it nothing is asked."""
    grid = table.grid
    speed = table.speed_m3_s[used]
    above = np.arange(grid.count) > highest[:, np.newaxis]
    per_cell = grid.step * _mean_inverse(speed[:, :-1], speed[:, 1:])
    per_cell[above[:, 1:]] = 0.0
    steep = -np.diff(1.0 / grid.pressure_pa) / grid.step**2
    carried = np.where(above, np.inf, speed * grid.pressure_pa)
    least = np.minimum.accumulate(carried[:, ::-1], axis=1)[:, ::-1]
    ln_least = EndToEnd(np.log(np.clip(least, LEAST_PA_M3_S, 1.0 / LEAST_PA_M3_S)))
    return _Paths(grid, speed, _from_top(per_cell), _from_top(per_cell**2 * steep), ln_least)


def _from_top(per_cell: FloatArray) -> FloatArray:
    total = np.zeros((per_cell.shape[0], per_cell.shape[1] + 1))
    np.cumsum(per_cell[:, ::-1], axis=1, out=total[:, -2::-1])
    return total


def _mean_inverse(one: FloatArray, other: FloatArray) -> FloatArray:
    """Mean of 1/S between two speeds, S linear; inf where there is none."""
    works = (one > 0.0) & (other > 0.0)
    low, high = np.where(works, one, 1.0), np.where(works, other, 1.0)
    bend = (high - low) / low
    flat = np.abs(bend) < _FLAT
    mean = np.log(high / low) / np.where(flat, 1.0, bend)
    mean = np.where(flat, 1.0 - 0.5 * bend, mean) / low
    return np.where(works, mean, np.inf)


_FLAT = 1e-5
"""Change of speed within a cell below which it counts as linear in the change."""


class _Down:
    """The way of n candidates down their rows, to a node or on to the target in the cell below."""

    def __init__(
        self,
        paths: _Paths,
        state: Rows,
        course: Course,
        way: tuple[IntArray, IntArray, IntArray],
        at_target: FloatArray,
    ) -> None:
        self.paths, self.state = paths, state
        which, self.first, last = way
        self.which = which[:, np.newaxis]
        nodes, speed = paths.grid.pressure_pa, paths.speed
        own = state.value / state.scale
        self.before = _piece((nodes[self.first], state.pressure), (speed[which, self.first], own))
        # a node at which the way ends is its own end
        goes_on = at_target > 0.0
        ends = np.where(goes_on, state.target, nodes[last])
        slowest = np.where(goes_on, at_target / state.scale, speed[which, last])
        after = _piece((ends, nodes[last]), (slowest, speed[which, last]))
        at_last = last[:, np.newaxis]
        self.load = state.load
        # near the end of the fall the load counts most, by then it may have decayed
        about = np.minimum(self.clock_at(at_last)[:, 0], course.horizon_s)
        self.load, _ = load_at(state, about, course)
        more = (after[0] + after[1] * self.load / state.scale) / state.scale
        self.end_s: FloatArray = self.clock_at(at_last)[:, 0] + more
        self.end_pa: FloatArray = ends
        self.last = last

    def clock_at(self, node: IntArray) -> FloatArray:
        """Clocks when each candidate passes nodes at or below its first, shape (n, k)."""
        paths, state = self.paths, self.state
        first = self.first[:, np.newaxis]
        along, per_load = (
            before[:, np.newaxis] + sums[self.which, node] - sums[self.which, first]
            for before, sums in zip(self.before, (paths.without_load, paths.per_load), strict=True)
        )
        scale = state.scale[:, np.newaxis]
        per_load *= self.load[:, np.newaxis] / scale
        found: FloatArray = state.time[:, np.newaxis] + (along + per_load) / scale
        return found

    def points(self, falls: BoolArray) -> list[tuple[FloatArray, FloatArray]]:
        """Clocks and pressures at nodes on the way of those that fall, NaN for the others."""
        nodes = np.arange(int(self.first.max()), int(self.last.min()), -_CURVE_STRIDE)
        on_way = falls[:, np.newaxis] & (self.first[:, np.newaxis] >= nodes)
        on_way &= self.last[:, np.newaxis] < nodes
        passed = np.where(on_way, nodes, self.first[:, np.newaxis])
        clock = np.where(on_way, self.clock_at(passed), np.nan)
        pressure = np.where(on_way, self.paths.grid.pressure_pa[nodes], np.nan)
        return list(zip(clock.T, pressure.T, strict=True))


def _piece(
    ends_pa: tuple[FloatArray, FloatArray], speeds: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Both sums over a part of a cell, from its lower to its upper end."""
    low, high = ends_pa
    over = np.log(high / low)
    without_load = over * _mean_inverse(*speeds)
    some = over > _FLAT
    steep = (1.0 / low - 1.0 / high) / np.where(some, over, 1.0) ** 2
    return without_load, np.where(some, without_load**2 * steep, 0.0)
