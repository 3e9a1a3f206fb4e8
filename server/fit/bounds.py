"""Exact bounds that rule out a front with every back, before any combination is formed.

A back can only add to the pressure at a front's inlet (what diffuses back through a turbo), so the
states of the front alone, at its resting pressure, bound its margins from above.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import numpy as np

from server.fit.candidates import Field
from server.fit.inlet import InletTables
from server.fit.loads import Loads
from server.fit.requirements import Requirements
from server.fit.results import MarginKey
from server.fit.states import process_time_s, resting_pressure_pa
from server.fit.thresholds import BASE_STATE_AFTER_S, ROUNDING
from server.physics.arrays import FloatArray
from server.physics.speedtable import SpeedTable
from server.physics.steady import steady_state


def without_hopeless(
    field: Field, inlet: InletTables, loads: Loads, requirements: Requirements
) -> tuple[Field, InletTables, Counter[str]]:
    """Return the field without fronts that no back can help, and what they took along.

    A front is counted, once for each back, under the bound it misses by most.
    """
    bounds = front_bounds(field, inlet, loads, requirements)
    keys = tuple(bounds)
    ratios = np.stack([bounds[key] for key in keys])
    hopeless = (ratios < 1.0 - ROUNDING).any(axis=0)
    worst = np.argmin(np.where(np.isnan(ratios), np.inf, ratios), axis=0)
    counts: Counter[str] = Counter()
    for row in np.nonzero(hopeless)[0]:
        counts[keys[worst[row]].value] += len(field.backs)
    kept = np.nonzero(~hopeless)[0]
    fronts = tuple(field.fronts[row] for row in kept)
    return Field(fronts, field.backs), inlet.only(kept), counts


def front_bounds(
    field: Field, inlet: InletTables, loads: Loads, requirements: Requirements
) -> Mapping[MarginKey, FloatArray]:
    """Return an upper bound of each margin that a front alone decides, shape (fronts,)."""
    fronts = [front for front in field.fronts if front is not None]
    resting = np.array([resting_pressure_pa(front) for front in fronts])
    base = _lowest(loads.base_pa_m3_s(BASE_STATE_AFTER_S), inlet, inlet.at_chamber, resting)
    bounds = {MarginKey.ULTIMATE: _bound(requirements.target_pressure_pa, base)}
    asked = requirements.process.pressure_pa
    if not loads.has_process and asked is None:
        return bounds
    running = loads.running_pa_m3_s(process_time_s(requirements))
    if asked is not None:
        chamber = _lowest(running, inlet, inlet.at_chamber, resting)
        bounds[MarginKey.PROCESS_PRESSURE] = _bound(asked, chamber)
    own = np.array([front.pump.largest_throughput_pa_m3_s for front in fronts])
    reaching = np.zeros(len(fronts))
    for gas, flow in running.items():
        reaching += flow * (1.0 - inlet.caught[gas][inlet.row_of_front])
    bounds[MarginKey.THROUGHPUT] = own / np.maximum(reaching, 1e-300)
    return bounds


def _lowest(
    load: Mapping[str, float],
    inlet: InletTables,
    tables: Mapping[str, SpeedTable],
    resting_pa: FloatArray,
) -> FloatArray:
    return steady_state(load, tables, inlet.row_of_front, offset_pa=resting_pa).pressure_pa


def _bound(allowed_pa: float, lowest_pa: FloatArray) -> FloatArray:
    """Return allowed ÷ lowest possible; 0 where the load has no state at all."""
    return np.where(np.isnan(lowest_pa), 0.0, allowed_pa / lowest_pa)
