"""The burst after a crossover, where a foreline carries less gas than the pump could pass on."""

from __future__ import annotations

import numpy as np

from server.physics.arrays import FloatArray, IntArray
from server.physics.end_to_end import EndToEnd
from server.physics.pumpdown_paths import End, node_below, paths_of
from server.physics.speedtable import SpeedTable, lookup


def held_back_s_m3(
    table: SpeedTable,
    rows: IntArray,
    begin_pa: FloatArray,
    carried_pa_m3_s: FloatArray,
    load_pa_m3_s: FloatArray,
) -> FloatArray:
    """Return how much longer a burst lasts per chamber volume than the pump alone would take.

    ∫ dp·[1/(Q_carried − Q) − 1/(S·p − Q)] from where the burst begins down to the pressure at which
    the pump takes no more than the foreline carries; inf where the load leaves nothing of that.
    While the load is up to nine tenths of what is carried, good to 3 % of the whole burst. The sums
    count S·p between nodes to 0.3 %: where more load meets a pump that would take hardly more than
    is carried, they tell the two apart less well, and the answer is too short.

    Parameters
    ----------
    table : SpeedTable
        Speeds of the pumps at the chamber. [m3/s]
    rows : array of int, shape (n,)
        Row of each pump. [-]
    begin_pa : array, shape (n,)
        Where the burst begins; the pump takes more there than the foreline carries. [Pa]
    carried_pa_m3_s : array, shape (n,)
        What the foreline carries, ≥ 0. [Pa m3/s]
    load_pa_m3_s : array, shape (n,)
        Load meanwhile, ≥ 0. [Pa m3/s]
    """
    grid = table.grid
    begin_speed = lookup(table, rows, begin_pa)
    holds = carried_pa_m3_s > load_pa_m3_s
    # where nothing is left of what is carried there is no end; any other number will do till then
    carried = np.where(holds, carried_pa_m3_s, begin_speed * begin_pa)
    load = np.where(holds, load_pa_m3_s, 0.0)
    knee_at_least = carried / table.speed_m3_s.max(axis=1)[rows]
    paths = paths_of(table, rows, begin_pa, np.clip(knee_at_least, grid.low_pa, begin_pa))
    which = paths.place[rows]
    first = node_below(grid, begin_pa)
    drawn = EndToEnd(np.maximum.accumulate(paths.speed * grid.pressure_pa, axis=1))
    last = np.minimum(drawn.first_reaching(which, carried), first + 1)
    nodes, speeds = grid.pressure_pa, paths.speed.ravel()
    # in the cell below the last node, or in that of the beginning, S·p is taken as linear in p
    below = np.maximum(last - 1, 0)
    low_pa = nodes[below]
    low = speeds.take(which * grid.count + below) * low_pa
    in_first = last > first
    within = np.minimum(last, first)
    high_pa = np.where(in_first, begin_pa, nodes[within])
    high = np.where(
        in_first, begin_speed * begin_pa, speeds.take(which * grid.count + within) * high_pa
    )
    share = (carried - low) / np.maximum(high - low, _NOTHING)
    knee_pa = low_pa + np.clip(share, 0.0, 1.0) * (high_pa - low_pa)
    knee_speed = carried / knee_pa
    without, per_load, square = paths.sums(
        which, End(begin_pa, begin_speed, first), End(knee_pa, knee_speed, within)
    )
    first_order, second_order = load * per_load, load * load * square
    # the rest of the series: like a geometric one where S·p is level, else near the knee
    # no term is more than load/carried of the one before: what is carried is no more than drawn
    ratio = np.minimum(second_order / np.maximum(first_order, _NOTHING), load / carried)
    level = second_order * ratio / (1.0 - ratio)
    near_knee = _left(load / carried) - _left(load / (begin_speed * begin_pa))
    free = without + first_order + second_order + np.maximum(level, near_knee / knee_speed)
    held = (begin_pa - knee_pa) / (carried - load)
    return np.where(holds, held - free, np.inf)


_NOTHING = 1e-200
"""Stands for no difference where it divides."""


def _left(share: FloatArray) -> FloatArray:
    """Return what −ln(1 − x) has more than its first two terms."""
    return np.asarray(-np.log1p(-share) - share * (1.0 + 0.5 * share))
