"""Vapour that meets a cold wall in front of a pump: what the pump draws past it.

A wall whose ice or liquid has the pressure p_w lets nothing stay until that pressure stands over
it, and lets it stand no higher. So a flow Q that the pump draws away below p_w passes unhindered;
of a larger one p_w·S goes on to the pump, S the speed at the wall towards it, and Q − p_w·S stays.
"""

from __future__ import annotations

import numpy as np

from server.physics.arrays import FloatArray, IntArray, floats
from server.physics.end_to_end import first_place
from server.physics.entry_speed import FlowPotential
from server.physics.speedtable import SpeedTable


def drawn_past_wall_pa_m3_s(
    over_pa: FloatArray, way: FlowPotential, way_of: IntArray, speed: SpeedTable, rows: IntArray
) -> FloatArray:
    """Return the most that pumps draw past cold walls while nothing but the vapour flows.

    With p₂ at the pump, S(p₂)·p₂ = Φ(p_w) − Φ(p₂). Where a pump carries less at p₂ than at some
    lower pressure (beyond its largest throughput), that larger flow counts: a wall that lies higher
    never lets by less.

    Parameters
    ----------
    over_pa : array, shape (n,)
        Vapour pressure over each wall, > 0; infinite where nothing stays on it. [Pa]
    way : FlowPotential
        The ways from walls to pumps. [-]
    way_of : array of int, shape (n,)
        Way of each wall. [-]
    speed : SpeedTable
        Speeds of pumps at their own inlets. [m3/s]
    rows : array of int, shape (n,)
        Row of the pump behind each wall. [-]

    Returns
    -------
    array, shape (n,)
        Largest flow; infinite where the vapour pressure is infinite or above the grid. [Pa m3/s]
    """
    grid = speed.grid
    found = np.full(len(over_pa), np.inf)
    # below the grid speed and conductance are constant: two conductances in series
    low = np.flatnonzero(over_pa <= grid.low_pa)
    slow, pipe = speed.speed_m3_s[rows[low], 0], way.conductance_m3_s[way_of[low], 0]
    found[low] = over_pa[low] * slow * pipe / (slow + pipe)
    within = np.flatnonzero((over_pa > grid.low_pa) & (over_pa < grid.high_pa))
    if within.size:
        found[within] = _drawn_on_grid(over_pa[within], way, way_of[within], speed, rows[within])
    return found


def _drawn_on_grid(
    over_pa: FloatArray, way: FlowPotential, way_of: IntArray, speed: SpeedTable, rows: IntArray
) -> FloatArray:
    """Return the same for pressures on the grid, flows between two nodes as powers of pressure."""
    grid = speed.grid
    carried, driving = speed.largest_throughput_pa_m3_s.ravel(), way.nodes_pa_m3_s.ravel()
    row, line = rows * grid.count, way_of * grid.count
    driven = way.at_pa_m3_s(way_of, over_pa)
    # what the pump carries and what stands against it only rise: up to p_w they come to Φ(p_w)
    start = np.zeros(len(rows), dtype=np.intp)
    high = first_place(
        lambda node: carried[row + node] + driving[line + node] < driven, start, grid.count
    )
    high = np.minimum(np.maximum(high, 1), grid.cell_of(over_pa) + 1)
    below, above = carried[row + high - 1], carried[row + high]
    least, most = below + driving[line + high - 1], above + driving[line + high]
    share = np.log(driven / least) / np.log(most / least)
    return floats(below * (above / below) ** share)
