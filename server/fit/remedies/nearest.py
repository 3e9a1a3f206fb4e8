"""The combinations nearest to fitting, when none does."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from server.fit.evacuation import evacuate
from server.fit.evaluation import Judged
from server.fit.explain import Spot
from server.fit.margins import TIMED_MARGINS
from server.fit.thresholds import ROUNDING, RULES
from server.physics.arrays import BoolArray, FloatArray


def nearest_spots(fields: Sequence[Judged], count: int) -> list[Spot]:
    """Return the combinations nearest to fitting, each main pump once; none where one fits.

    Of every main pump the best combination by its steady margins stands for it, or by all margins
    where the steady ones pass; then all margins of these decide.

    Parameters
    ----------
    fields : sequence of Judged
        Judged by their steady margins at least.
    count : int
        At most so many.
    """
    best: dict[str, tuple[tuple[bool, float], Judged, tuple[int, int]]] = {}
    for judged in fields:
        steady = judged.worst_share
        waiting = steady >= 1.0 - ROUNDING
        share = _in_time(judged, waiting)
        if bool((waiting & (share >= 1.0 - ROUNDING)).any()):
            return []
        for place in _places(judged, waiting, share):
            sku = _main_pump(judged, place)
            entry = ((bool(waiting[place]), float(share[place])), judged, place)
            if sku not in best or entry[0] > best[sku][0]:
                best[sku] = entry
    return _ranked(list(best.values()))[:count]


def _places(judged: Judged, waiting: BoolArray, share: FloatArray) -> list[tuple[int, int]]:
    """Return the best back of each front; every back of a field without fronts."""
    if judged.case.field.fronts == (None,):
        return [(0, column) for column in range(len(judged.case.backs))]
    order = np.where(waiting, 1.0 + share, np.fmin(share, 1.0))
    return [(row, int(column)) for row, column in enumerate(np.argmax(order, axis=1))]


def _main_pump(judged: Judged, place: tuple[int, int]) -> str:
    spot = Spot(judged, *place)
    return spot.front.pump.sku if spot.front else spot.back.backing.sku


def _ranked(entries: Sequence[tuple[tuple[bool, float], Judged, tuple[int, int]]]) -> list[Spot]:
    """Order combinations by all their margins."""
    shares: list[tuple[float, Spot]] = []
    for judged in {id(judged): judged for _, judged, _ in entries}.values():
        places = [place for _, own, place in entries if own is judged]
        chosen = np.zeros(judged.worst_share.shape, dtype=np.bool_)
        chosen[tuple(np.transpose(places))] = True
        share = _in_time(judged, chosen)
        shares += [(float(share[place]), Spot(judged, *place)) for place in places]
    return [spot for _, spot in sorted(shares, key=lambda entry: -entry[0])]


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
