"""Foreline pressure against its limit while a stack pumps down.

The line and the backing pump carry air here, whatever is pumped: right for the burst after the
crossover, when the foreline stands highest; later most of the little that flows is water, which a
line carries better (molecular √(29/18), viscous up to twice) and a backing pump about as well. The
margin of the foreline is judged with the gases themselves.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.catalog.arrays import GRID
from server.fit.explain import Spot
from server.fit.geometry import foreline, outlet_of
from server.fit.inlet import conductance_rows
from server.fit.loads import AIR
from server.physics.arrays import FloatArray, IntArray
from server.physics.entry_speed import entry_pressure_pa
from server.physics.pumps import tolerable_foreline_pa
from server.physics.speedtable import lookup

SHOWN_POINTS = 240
"""Points of a curve that are worth drawing."""


def shown_of(count: int) -> IntArray | slice:
    """Return which points of a curve are drawn: evenly along it, first and last among them."""
    if count <= SHOWN_POINTS:
        return slice(None)
    return np.unique(np.linspace(0, count - 1, SHOWN_POINTS).round().astype(np.intp))


@dataclass(frozen=True)
class ForelineCurve:
    """Foreline pressure of one stack against the throughput its back carries."""

    spot: Spot
    carried_pa_m3_s: FloatArray
    """Rising."""
    standing_pa: FloatArray

    def along(
        self, time_s: FloatArray, chamber_pa: FloatArray, takeover_s: float
    ) -> tuple[tuple[float, float, float], ...]:
        """Return time, foreline pressure and its limit while the high-vacuum pump works."""
        front, states = self.spot.front, self.spot.judged.case.states
        if front is None or states.inlet is None or not math.isfinite(takeover_s):
            return ()
        assert states.burst_pa_m3_s is not None  # noqa: S101 (a front has one)
        working = time_s >= takeover_s
        row = states.inlet.row_of_front[self.spot.front_row]
        drawn = lookup(states.inlet.at_chamber[AIR], row, chamber_pa[working]) * chamber_pa[working]
        drawn = np.minimum(drawn, self.spot.at(states.burst_pa_m3_s))
        standing = np.interp(drawn, self.carried_pa_m3_s, self.standing_pa)
        largest, no_load, full_load = self.spot.limits({AIR: 1.0})
        limit = tolerable_foreline_pa(np.minimum(drawn, largest), largest, no_load, full_load)
        shown = shown_of(len(standing))
        columns = (column[shown].tolist() for column in (time_s[working], standing, limit))
        return tuple(zip(*columns, strict=True))


def forelines(spots: Sequence[Spot]) -> list[ForelineCurve | None]:
    """Return the foreline of each combination of one judged field; None where it has none."""
    found: list[ForelineCurve | None] = [None] * len(spots)
    if not spots:
        return found
    case = spots[0].judged.case
    catalog = case.states.backing.catalog
    outlets = [
        None if spot.front is None else outlet_of(spot.front.pump, catalog) for spot in spots
    ]
    backed = [number for number, outlet in enumerate(outlets) if outlet is not None]
    if not backed:
        return found
    lines = [
        foreline(outlet, spot.back, case.requirements)
        for spot, outlet in zip(spots, outlets, strict=True)
        if outlet is not None
    ]
    rows = [spots[number].back_row for number in backed]
    carried = case.states.backing.at_inlet[AIR].speed_m3_s[rows] * GRID.pressure_pa
    at_back = np.broadcast_to(GRID.pressure_pa, carried.shape)
    conductance = np.minimum(conductance_rows(lines, AIR), 1e9)
    entry = entry_pressure_pa(GRID, conductance, carried, at_back)
    rising = np.maximum.accumulate(carried, axis=1)
    # below the ultimate pressure nothing is carried: the last such node is where the foreline rests
    start = np.maximum(np.argmax(rising > 0.0, axis=1) - 1, 0)
    for place, number in enumerate(backed):
        known = slice(int(start[place]), None)
        found[number] = ForelineCurve(spots[number], rising[place, known], entry[place, known])
    return found
