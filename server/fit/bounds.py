"""Exact bounds that rule out a front or a back with all partners, before combinations are formed.

A back can only add to the pressure at a front's inlet (what diffuses back through a turbo), so the
states of the front alone, at its resting pressure, bound its margins from above.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

import numpy as np

from server.fit.backing import BackTables
from server.fit.candidates import Field
from server.fit.front_states import FrontStates, process_time_s
from server.fit.loads import Loads
from server.fit.pump_limits import highest_crossover_pa
from server.fit.requirements import Requirements
from server.fit.results import MarginKey
from server.fit.thresholds import BASE_STATE_AFTER_S, ROUNDING, RULES
from server.physics.arrays import FloatArray, IntArray
from server.physics.steady import SteadyState


def hopeful_fronts(states: FrontStates, backs: int) -> tuple[IntArray, Counter[str]]:
    """Return the positions of the fronts that a back may help, and what the others took along.

    A front is counted, once for each of its backs, under the bound it misses by most.
    """
    bounds = front_bounds(states)
    keys = tuple(bounds)
    ratios = np.stack([bounds[key] for key in keys])
    hopeless = (ratios < 1.0 - ROUNDING).any(axis=0)
    worst = np.argmin(np.where(np.isnan(ratios), np.inf, ratios), axis=0)
    missing = np.bincount(worst[hopeless], minlength=len(keys)).tolist()
    counts = Counter({key.value: backs * n for key, n in zip(keys, missing, strict=True) if n})
    return np.flatnonzero(~hopeless), counts


def front_bounds(states: FrontStates) -> Mapping[MarginKey, FloatArray]:
    """Return an upper bound of each margin that a front alone decides, shape (fronts,)."""
    asked = states.requirements
    bounds = {MarginKey.ULTIMATE: _bound(asked.target_pressure_pa, states.base_chamber)}
    running = states.process_load
    if running is None:
        return bounds
    if asked.process.pressure_pa is not None:
        bounds[MarginKey.PROCESS_PRESSURE] = _bound(
            asked.process.pressure_pa, states.process_chamber
        )
    own = states.limits(running).largest_pa_m3_s
    reaching = states.throughput_pa_m3_s(running)
    bounds[MarginKey.THROUGHPUT] = own / np.maximum(reaching, 1e-300)
    return bounds


def _bound(allowed_pa: float, lowest: SteadyState) -> FloatArray:
    """Return allowed ÷ lowest possible; 0 where the load has no state at all."""
    return np.where(lowest.exists, allowed_pa / lowest.pressure_pa, 0.0)


FIRST_PUMPS = 4
"""So many main pumps are looked at first, then always twice as many."""


def by_promise(field: Field, states: FrontStates | None) -> Iterator[tuple[float, IntArray]]:
    """Yield the fronts of a field, all of one main pump together, in order of their bounds.

    Parameters
    ----------
    field : Field
        Fronts and backs.
    states : FrontStates or None
        The states of its fronts by themselves; None for rough stacks, which have no bound.

    Yields
    ------
    tuple
        Upper bound of the smallest margin ÷ its threshold, and the positions of the fronts.
    """
    if states is None:
        yield np.inf, np.arange(len(field.fronts))
        return
    shares = [ratio / RULES[key].threshold for key, ratio in front_bounds(states).items()]
    ceiling = np.fmin.reduce(shares)
    skus = np.array([front.pump.sku for front in states.fronts])
    _, pump = np.unique(skus, return_inverse=True)
    highest = np.full(len(skus), -np.inf)
    np.maximum.at(highest, pump, ceiling)
    order = np.argsort(-highest[: pump.max(initial=-1) + 1], kind="stable")
    begin, many = 0, FIRST_PUMPS
    while begin < len(order):
        chosen = order[begin : begin + many]
        yield float(highest[chosen[0]]), np.nonzero(np.isin(pump, chosen))[0]
        begin, many = begin + many, 2 * many


def hopeful_backs(
    field: Field, backing: BackTables, loads: Loads, requirements: Requirements
) -> tuple[IntArray, Counter[str]]:
    """Return the positions of the backs that some front may go with, and how many others miss what.

    A back that pumps the chamber by itself must reach the target; one that roughs must get below
    the highest pressure at which any of the fronts takes over.
    """
    key, allowed = _allowed_pa(field, requirements, loads.volume_m3)
    after_s = BASE_STATE_AFTER_S if field.fronts == (None,) else process_time_s(requirements)
    lowest = backing.chamber.settled(loads.base_pa_m3_s(after_s))
    hopeless = _bound(allowed, lowest) < 1.0 - ROUNDING
    missing = int(hopeless.sum())
    return np.flatnonzero(~hopeless), Counter({key.value: missing} if missing else {})


def _allowed_pa(
    field: Field, requirements: Requirements, volume_m3: float
) -> tuple[MarginKey, float]:
    """Highest pressure that a back alone may come to rest at, and the margin it is part of."""
    real = {front.pump.sku: front.pump for front in field.fronts if front is not None}
    if not real:
        return MarginKey.ULTIMATE, requirements.target_pressure_pa
    highest = max(highest_crossover_pa(pump, volume_m3) for pump in real.values())
    return MarginKey.CROSSOVER, highest
