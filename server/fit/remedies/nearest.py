"""The combinations nearest to fitting, when none does."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from server.fit.candidates import Back, Front
from server.fit.evacuation import evacuate
from server.fit.evaluation import Judged
from server.fit.explain import Spot
from server.fit.margins import TIMED_MARGINS
from server.fit.thresholds import ROUNDING, RULES
from server.physics.arrays import BoolArray, FloatArray


@dataclass(frozen=True)
class Near:
    """A combination near to fitting."""

    rank: tuple[bool, float]
    """Whether its steady margins pass, and the smallest of the margins that then decide."""
    share: float
    """Smallest of all its margins ÷ threshold."""
    front: Front | None
    back: Back


def nearest(fields: Iterable[Judged], count: int) -> list[Near]:
    """Return the combinations nearest to fitting, each main pump once; none where one fits.

    Of every main pump the best combination by its steady margins stands for it, or by all margins
    where the steady ones pass; then all margins of these decide.

    Parameters
    ----------
    fields : iterable of Judged
        Judged by their steady margins at least; none is held longer than it is looked at.
    count : int
        At most so many.
    """
    best: dict[str, Near] = {}
    for judged in fields:
        steady = judged.worst_share
        waiting = steady >= 1.0 - ROUNDING
        share = _in_time(judged, waiting)
        if bool((waiting & (share >= 1.0 - ROUNDING)).any()):
            return []
        ranks = {sku: near.rank for sku, near in best.items()}
        better: dict[str, tuple[int, int]] = {}
        for place in _places(judged, waiting, share):
            sku, rank = _main_pump(judged, place), (bool(waiting[place]), float(share[place]))
            if sku not in ranks or rank > ranks[sku]:
                ranks[sku], better[sku] = rank, place
        best |= _whole(judged, better, ranks)
    return sorted(best.values(), key=lambda near: -near.share)[:count]


def _whole(
    judged: Judged, places: Mapping[str, tuple[int, int]], ranks: Mapping[str, tuple[bool, float]]
) -> dict[str, Near]:
    """Judge combinations, one of each main pump, by all their margins."""
    chosen = np.zeros(judged.worst_share.shape, dtype=np.bool_)
    for place in places.values():
        chosen[place] = True
    share, field = _in_time(judged, chosen), judged.case.field
    return {
        sku: Near(ranks[sku], float(share[place]), field.fronts[place[0]], field.backs[place[1]])
        for sku, place in places.items()
    }


def _places(judged: Judged, waiting: BoolArray, share: FloatArray) -> list[tuple[int, int]]:
    """Return the best back of each front; every back of a field without fronts."""
    if judged.case.field.fronts == (None,):
        return [(0, column) for column in range(len(judged.case.backs))]
    order = np.where(waiting, 1.0 + share, np.fmin(share, 1.0))
    return [(row, int(column)) for row, column in enumerate(np.argmax(order, axis=1))]


def _main_pump(judged: Judged, place: tuple[int, int]) -> str:
    spot = Spot(judged, *place)
    return spot.front.pump.sku if spot.front else spot.back.backing.sku


def _in_time(judged: Judged, chosen: BoolArray) -> FloatArray:
    """Smallest margin ÷ threshold, shape (fronts, backs); those of time for the chosen alone."""
    known = judged.worst_share
    if not TIMED_MARGINS.keys().isdisjoint(judged.ledgers) or not chosen.any():
        return known
    case = judged.case
    rows, columns = np.nonzero(chosen)
    fronts, backs = case.field.fronts, case.field.backs
    found = evacuate(fronts, backs, case.states, case.loads, case.requirements, (rows, columns))
    time = np.full(known.shape, np.inf)
    time[rows, columns] = found.time_s
    # where a steady margin keeps the target out of reach, it tells how far away that is: an endless
    # pump-down tells nothing more
    telling = chosen & (np.isfinite(time) | (known >= 1.0 - ROUNDING))
    share = known.copy()
    for key, margin in TIMED_MARGINS.items():
        ledger = margin(case, time)
        if ledger is not None:
            timed = np.broadcast_to(ledger.ratio / RULES[key].threshold, known.shape)
            share = np.where(telling, np.fmin(share, timed), share)
    return share
