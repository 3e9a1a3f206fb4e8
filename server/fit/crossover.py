"""The highest pressure at which a chamber may be handed to its high-vacuum pump, and where it is.

Vapour-jet pumps: where the roughing throughput falls to what pump and foreline carry (Hablanian
1997), the burst that follows is over within ``BURST_S``, and the pressure is well below the
tolerable foreline pressure. Others: their own start pressure.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from server.catalog.arrays import GRID
from server.catalog.items import VapourPump
from server.fit.alike import Groups
from server.fit.backing import BackTables
from server.fit.candidates import Front
from server.fit.loads import AIR
from server.fit.pump_limits import highest_crossover_pa
from server.fit.settled import FieldStates
from server.fit.thresholds import BURST_S, CROSSOVER_ROOM
from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.steady import steady_state


def crossover_limits_pa(
    fronts: Sequence[Front], backing: BackTables, volume_m3: float, burst_pa_m3_s: FloatArray
) -> FloatArray:
    """Return the limit of every combination, shape (fronts, backs).

    Parameters
    ----------
    fronts : sequence
        The fronts.
    backing : BackTables
        The backs.
    volume_m3 : float
        Volume of the chamber.
    burst_pa_m3_s : array, shape (fronts, backs)
        Air that pumps and forelines carry. [Pa m3/s]
    """
    kinds = Groups.by(front.pump.sku for front in fronts)
    pumps = [fronts[place].pump for place in kinds.first]
    own = np.array([[highest_crossover_pa(pump, volume_m3)] for pump in pumps])
    limit = np.repeat(own, burst_pa_m3_s.shape[1], axis=1)
    jets = np.array([isinstance(pump, VapourPump) for pump in pumps])
    if jets.any():
        carried = burst_pa_m3_s[kinds.first[jets]]
        columns = np.broadcast_to(np.arange(carried.shape[1]), carried.shape)
        limit[jets] = jet_limits_pa(backing, volume_m3, columns, carried, limit[jets])
    return limit[kinds.of]


def jet_limits_pa(
    backing: BackTables,
    volume_m3: float,
    columns: IntArray,
    carried_pa_m3_s: FloatArray,
    own_pa: FloatArray,
) -> FloatArray:
    """Return the limit of vapour-jet pumps, of the shape of the arrays.

    Parameters
    ----------
    backing : BackTables
        Backs.
    volume_m3 : float
        Volume of the chamber.
    columns : array of int
        Back of each pump.
    carried_pa_m3_s : array
        Air that each pump and its foreline carry. [Pa m3/s]
    own_pa : array
        Their own limits. [Pa]
    """
    carried, speeds = np.maximum(carried_pa_m3_s, 1e-12), backing.chamber
    rows = speeds.rows[speeds.of[columns.ravel()]]
    level = steady_state({AIR: carried.ravel()}, speeds.tables, rows).pressure_pa
    burst = carried * BURST_S / volume_m3
    lowest = np.fmin(np.fmin(level.reshape(carried.shape), burst), own_pa)
    # what carries nothing is never handed a chamber: the tables' end, which none reaches
    return np.asarray(np.maximum(lowest, GRID.low_pa))


def crossover_pressure_pa(states: FieldStates) -> FloatArray:
    """Return the chamber pressure at the crossover of every combination, shape (F, B).

    ``CROSSOVER_ROOM`` below the limit where roughing is followed down to there, else the limit
    itself.
    """
    limit, floor = states.crossover_limit_pa, states.rough_floor_pa
    if limit is None or floor is None:
        return np.full(states.base.chamber_pa.shape, np.nan)
    return np.where(has_room(limit, floor), limit / CROSSOVER_ROOM, limit)


def has_room(limit_pa: FloatArray, floor_pa: FloatArray) -> BoolArray:
    """Say where roughing is followed down to ``CROSSOVER_ROOM`` below a limit of the crossover."""
    return np.asarray(NEAR_FLOOR * floor_pa < limit_pa / CROSSOVER_ROOM)


NEAR_FLOOR = 1.02
"""Lowest pressure to which roughing is followed, as a multiple of where it comes to rest.

A choice of our own: nearer to its rest the time depends on the rest and hardly on the pump.
"""
