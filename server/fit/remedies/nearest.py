"""The combinations nearest to fitting, when none does."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from server.fit.candidates import Back, Front
from server.fit.cycle_times import Days
from server.fit.evacuation import evacuate
from server.fit.evaluation import Judged
from server.fit.explain import Spot
from server.fit.margins import TIMED_MARGINS
from server.fit.sweep import Prospect
from server.fit.thresholds import ROUNDING, RULES
from server.physics.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Near:
    """A combination near to fitting."""

    rank: tuple[bool, float]
    """Whether its steady margins pass, and the smallest of the margins that then decide."""
    share: float
    """Smallest of all its margins ÷ threshold."""
    front: Front | None
    back: Back
    position: tuple[int, int]
    """Of its front and its back as they were formed: what is equally near keeps that order."""


def nearest(prospects: Iterable[Prospect], count: int) -> list[Near]:
    """Return the combinations nearest to fitting, each main pump once; none where one fits.

    Of every main pump the best combination by its steady margins stands for it, or by all margins
    where the steady ones pass; then all margins of these decide. Pumps whose bound lies below what
    was found already are not looked at.

    Parameters
    ----------
    prospects : iterable of Prospect
        In falling order of their bounds; no judgement is held longer than it is looked at.
    count : int
        At most so many.
    """
    best: dict[str, Near] = {}
    for prospect in prospects:
        shares = sorted((near.share for near in best.values()), reverse=True)
        if len(shares) >= count and prospect.ceiling < shares[count - 1] * (1.0 - ROUNDING):
            break
        for judged in prospect.judge():
            better = _better(judged, prospect.positions, best)
            if better is None:
                return []
            best |= better
    return sorted(best.values(), key=lambda near: (-near.share, near.position))[:count]


def _better(
    judged: Judged, positions: IntArray, best: Mapping[str, Near]
) -> dict[str, Near] | None:
    """Return the main pumps that come nearer here than so far; None where a combination fits."""
    waiting = judged.worst_share >= 1.0 - ROUNDING
    share = _in_time(judged, waiting)
    if bool((waiting & (share >= 1.0 - ROUNDING)).any()):
        return None
    ranks = {sku: near.rank for sku, near in best.items()}
    better: dict[str, tuple[int, int]] = {}
    for place in _places(judged, waiting, share):
        sku, rank = _main_pump(judged, place), (bool(waiting[place]), float(share[place]))
        if sku not in ranks or rank > ranks[sku]:
            ranks[sku], better[sku] = rank, place
    return _whole(judged, positions, better, ranks)


def _whole(
    judged: Judged,
    positions: IntArray,
    places: Mapping[str, tuple[int, int]],
    ranks: Mapping[str, tuple[bool, float]],
) -> dict[str, Near]:
    """Judge combinations, one of each main pump, by all their margins."""
    chosen = np.zeros(judged.worst_share.shape, dtype=np.bool_)
    for place in places.values():
        chosen[place] = True
    share, field = _in_time(judged, chosen), judged.case.field
    return {
        sku: Near(
            rank=ranks[sku],
            share=float(share[row, column]),
            front=field.fronts[row],
            back=field.backs[column],
            position=(int(positions[row]), column),
        )
        for sku, (row, column) in places.items()
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
    days = Days(case, found, (rows, columns))
    # where a steady margin keeps the target out of reach, it tells how far away that is: an endless
    # pump-down tells nothing more
    telling = chosen & (np.isfinite(days.spread(found.time_s)) | (known >= 1.0 - ROUNDING))
    share = known.copy()
    for key, margin in TIMED_MARGINS.items():
        ledger = margin(days)
        if ledger is not None:
            timed = np.broadcast_to(ledger.ratio / RULES[key].threshold, known.shape)
            share = np.where(telling, np.fmin(share, timed), share)
    return share
