"""The beginning of a pump-down in closed form: while the gas load hardly matters.

Without a load a chamber falls from p₁ to p₂ in ∫ V·dp/(S·p); where the pump takes far more than the
load the rest is a small correction,

    t = ∫ V/S · d ln p + Q·∫ V/(S²·p) · d ln p + Q²·∫ V/(S³·p²) · d ln p,

with the load at the clock at which it adds most. All three are running sums over the speed table
(``pumpdown_paths``): however many candidates fall along a row, there are no steps to be taken.
"""

from __future__ import annotations

import numpy as np

from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.pumpdown_paths import End, Paths, node_above, node_below
from server.physics.pumpdown_step import (
    Course,
    Point,
    Rows,
    load_at,
    speed_per_volume,
    spread,
)
from server.physics.speedtable import LEAST_PA_M3_S

OUTWEIGHS = 20.0
"""What a pump takes over the load where the correction is enough. Its cube is left out, 1/20³ of
the rate at most; a choice of our own."""

CURVE_STRIDE = 2
"""Nodes from one point of a curve to the next: 0.29 in ln p."""


def curve_nodes(highest: int, lowest: int) -> IntArray:
    """Return the nodes that are points of curves, from the highest down to above the lowest.

    Parameters
    ----------
    highest, lowest : int
        Nodes. [-]
    """
    nodes = np.arange(highest, lowest, -1)
    return np.asarray(nodes[nodes % CURVE_STRIDE == 0])


def fall(state: Rows, course: Course, paths: Paths, *, trace: bool = False) -> list[Point]:
    """Move candidates on to where their load begins to matter, or to the target if it never does.

    Parameters
    ----------
    state : Rows
        Candidates at their start, load and speed known; moved on. [-]
    course : Course
        What they have in common. [-]
    paths : Paths
        Sums along their rows of the table. [-]
    trace : bool
        Also return clock and pressure at nodes on the way. [-]

    Returns
    -------
    list of pairs of array, shape (n,)
        Clocks [s] and pressures [Pa] in the order of time, NaN for candidates that are not there.
    """
    which = paths.place[state.row_start // course.grid.count]
    first = node_below(course.grid, state.pressure)
    outweighed = OUTWEIGHS * state.load
    # however small the load: where there is no speed it is not carried
    wanted = np.maximum(outweighed / state.scale, LEAST_PA_M3_S)
    last = paths.lowest_node(which, wanted)
    above_target = node_above(course.grid, state.target)
    at_target, _ = speed_per_volume(state, course, state.target)
    arrives = (last <= above_target) & (at_target > 0.0)
    arrives &= at_target * state.target >= outweighed
    last = np.maximum(last, above_target)
    falls = (last < first) & np.isfinite(state.time) & (state.value > 0.0)
    falls &= state.value * state.pressure >= outweighed
    rows = np.flatnonzero(falls)
    if rows.size == 0:
        return []
    part = state.only(rows)
    way = which[rows], first[rows], last[rows]
    down = _Down(paths, part, course, way, np.where(arrives, at_target, 0.0)[rows])
    # what takes longer than the horizon is followed to its end there
    in_time = down.end_s < course.horizon_s
    points = spread(down.points(in_time), rows, state, course) if trace else []
    state.time[rows] = np.where(in_time, down.end_s, part.time)
    state.pressure[rows] = np.where(in_time, down.end_pa, part.pressure)
    # what has arrived is asked no more
    rows = rows[in_time & (down.end_pa > part.target)]
    part = state.only(rows)
    state.load[rows], state.load_slope[rows] = load_at(part, part.time, course)
    state.value[rows], state.rise[rows] = speed_per_volume(part, course, part.pressure)
    return points


class _Down:
    """The way of n candidates down their rows, to a node or on to the target in the cell below."""

    def __init__(
        self,
        paths: Paths,
        state: Rows,
        course: Course,
        way: tuple[IntArray, IntArray, IntArray],
        at_target: FloatArray,
    ) -> None:
        self.paths, self.state, self.course = paths, state, course
        self.which, self.first, self.last = way
        start = End(state.pressure, state.value / state.scale, self.first)
        self.before = paths.part(self.which, start)
        # a node at which the way ends is its own end
        goes_on = at_target > 0.0
        ends = np.where(goes_on, state.target, paths.grid.pressure_pa[self.last])
        speed = paths.speed.ravel().take(self.which * paths.grid.count + self.last)
        slowest = np.where(goes_on, at_target / state.scale, speed)
        after = [-part for part in paths.part(self.which, End(ends, slowest, self.last))]
        self.end_s = self.clock_at(self.last, after)
        self.end_pa: FloatArray = ends

    def clock_at(self, node: IntArray, after: list[FloatArray] | None = None) -> FloatArray:
        """Clocks at nodes at or below the first, or a part of a cell later."""
        along = self.paths.between(self.which, self.first, node)
        without, per_load, square = (one + two for one, two in zip(self.before, along, strict=True))
        weighed = self.paths.lag(self.which, self.first, node) + self.before[0] * along[1]
        if after:
            weighed += (without + 0.5 * after[0]) * after[1]
            without, per_load, square = without + after[0], per_load + after[1], square + after[2]
        # the load has its say mostly near the end; by then it may have decayed
        mean = weighed / np.where(per_load > 0.0, per_load, 1.0)
        state, scale = self.state, self.state.scale
        clock = np.minimum(state.time + mean / scale, self.course.horizon_s)
        load = load_at(state, clock, self.course)[0] / scale
        found: FloatArray = (without + load * (per_load + load * square)) / scale
        found += state.time
        return found

    def points(self, falls: BoolArray) -> list[Point]:
        """Clocks and pressures at nodes on the way of those that fall, NaN for the others."""
        nodes = curve_nodes(int(self.first.max()), int(self.last.min()))[:, np.newaxis]
        on_way = falls & (self.first >= nodes) & (self.last < nodes)
        passed = np.where(on_way, nodes, self.first)
        clock = np.where(on_way, self.clock_at(passed), np.nan)
        pressure = np.where(on_way, self.paths.grid.pressure_pa[nodes], np.nan)
        return list(zip(clock, pressure, strict=True))
