"""Fronts that are judged as one: the same pump and trap with fluids that differ in price alone.

In one pump and trap two fluids that both stand the boiler and leave the same pressure at rest
give the same states, times and verdicts with every back. Only the one that ranks first, the
cheapest, can be shown; the others are counted with it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.catalog.items import VapourPump
from server.fit.alike import Groups
from server.fit.candidates import Front
from server.fit.costs import Purse
from server.fit.front_states import FrontStates
from server.fit.thresholds import ROUNDING
from server.physics.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class FrontClasses:
    """Classes of fronts."""

    first: IntArray
    """Position of the front that stands for each class, rising."""
    members: IntArray
    """How many fronts each class has."""


def front_classes(states: FrontStates, purse: Purse) -> FrontClasses:
    """Return the classes of some fronts.

    Parameters
    ----------
    states : FrontStates
        The fronts with their pressures at rest.
    purse : Purse
        Their prices. With a budget, fronts of different prices are different classes.
    """
    costs = [purse.behind(front).front_cost(front) for front in states.fronts]
    amounts = np.array([cost.amounts for cost in costs], dtype=np.int64).reshape(-1, 3)
    purchase, energy, consumables = amounts.T
    within_budget = purse.requirements.commercial.budget is not None
    stands = np.array([_fluid_ratio(front) for front in states.fronts])
    alike = Groups.by(
        zip(
            states.inlet.row_of_front.tolist(),
            states.resting_pa.tolist(),
            (stands < 1.0 - ROUNDING).tolist(),
            energy.tolist(),
            [cost.is_open for cost in costs],
            (purchase * within_budget).tolist(),
            strict=True,
        )
    )
    return with_cheapest(alike, purchase + consumables, stands)


def with_cheapest(alike: Groups, cost: IntArray, stands: FloatArray) -> FrontClasses:
    """Let the cheapest front stand for each class.

    Of equally cheap ones the margin of the fluid may decide, so that each stands for itself.
    """
    lowest = np.full(len(alike.first), np.iinfo(np.int64).max)
    np.minimum.at(lowest, alike.of, cost)
    cheapest = np.flatnonzero(cost == lowest[alike.of])
    distinct = Groups.by(zip(alike.of[cheapest].tolist(), stands[cheapest].tolist(), strict=True))
    first = cheapest[distinct.first]
    members = np.bincount(distinct.of)
    # the dearer ones are counted with the first of the cheapest
    whole = np.bincount(alike.of, minlength=len(lowest))
    _, leading = np.unique(alike.of[first], return_index=True)
    counted = np.bincount(alike.of[cheapest], minlength=len(lowest))
    members[leading] += (whole - counted)[alike.of[first][leading]]
    rising = np.argsort(first)
    return FrontClasses(first[rising], members[rising])


def _fluid_ratio(front: Front) -> float:
    """Return what the margin of the fluid rests on; infinite where it does not apply."""
    if front.fluid is None or not isinstance(front.pump, VapourPump):
        return np.inf
    return front.fluid.largest_boiler_k / front.pump.boiler_k
