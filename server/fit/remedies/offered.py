"""The smallest single changes that would turn a failing margin into a passing one.

Every remedy is found on the real evaluation of the one combination, `server.fit.evaluation.judge`,
under the changed inquiry: a bracketed root of the margin ÷ its threshold, from the present value
towards the far end of the change. A change whose far end does not lift the margin is left out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np
from scipy.optimize import brentq

from server.catalog.items import Catalog
from server.fit.evaluation import Judged
from server.fit.explain import Spot
from server.fit.remedies.changes import Change, Matter, change_of, treatments
from server.fit.remedies.swaps import Swaps
from server.fit.remedies.trial import Trial
from server.fit.requirements import Requirements
from server.fit.results import MarginKey, Remedy
from server.fit.thresholds import ROUNDING

NEAREST = 3
"""So many stacks get remedies when none fits."""

BAND = 0.004
"""A margin at most this far (in ln) above its threshold counts as at it."""

STEP = 1e-5
"""Where a margin jumps or all but jumps, the value is found to this share of itself."""

MENU: Mapping[MarginKey, tuple[Matter, ...]] = {
    MarginKey.ULTIMATE: (
        Matter.LINE_BORE, Matter.LINE_LENGTH, Matter.LINE_BENDS, Matter.ROUGH_LINE_BORE,
        Matter.LEAK_RATE, Matter.SURFACES, Matter.FLUID, Matter.TRAP, Matter.BACKING_PUMP,
        Matter.BOOSTER, Matter.TARGET,
    ),
    MarginKey.PROCESS_PRESSURE: (
        Matter.LINE_BORE, Matter.LINE_LENGTH, Matter.LINE_BENDS, Matter.ROUGH_LINE_BORE,
        Matter.TRAP, Matter.BACKING_PUMP, Matter.BOOSTER, Matter.PUMP, Matter.PROCESS_LOAD,
        Matter.PROCESS_PRESSURE,
    ),
    MarginKey.THROUGHPUT: (
        Matter.FORELINE_BORE, Matter.FORELINE_LENGTH, Matter.BACKING_PUMP, Matter.BOOSTER,
        Matter.PUMP, Matter.PROCESS_LOAD,
    ),
    MarginKey.FORELINE: (
        Matter.FORELINE_BORE, Matter.FORELINE_LENGTH, Matter.BACKING_PUMP, Matter.BOOSTER,
        Matter.PUMP, Matter.LEAK_RATE, Matter.PROCESS_LOAD,
    ),
    MarginKey.INLET: (Matter.PUMP, Matter.LEAK_RATE, Matter.PROCESS_LOAD),
    MarginKey.CROSSOVER: (
        Matter.ROUGH_LINE_BORE, Matter.LEAK_RATE, Matter.SURFACES, Matter.BACKING_PUMP,
        Matter.BOOSTER, Matter.PUMP,
    ),
    MarginKey.PUMP_DOWN: (
        Matter.ROUGH_LINE_BORE, Matter.LINE_BORE, Matter.LINE_LENGTH, Matter.LINE_BENDS,
        Matter.LEAK_RATE, Matter.SURFACES, Matter.BACKING_PUMP, Matter.BOOSTER, Matter.PUMP,
        Matter.PUMP_DOWN_TIME, Matter.TARGET,
    ),
    MarginKey.VAPOUR: (
        Matter.TRAP, Matter.BACKING_PUMP, Matter.CYCLES, Matter.PROCESS_LOAD,
    ),
    MarginKey.DUTY: (
        Matter.ROUGH_LINE_BORE, Matter.LINE_BORE, Matter.SURFACES, Matter.BACKING_PUMP,
        Matter.BOOSTER, Matter.SHIFT, Matter.CYCLES, Matter.PROCESS_LOAD,
    ),
    MarginKey.BACKSTREAMING: (Matter.TRAP,),
    MarginKey.FLUID: (Matter.FLUID,),
    MarginKey.UTILITIES: (
        Matter.TRAP, Matter.BACKING_PUMP, Matter.WATER, Matter.THREE_PHASE,
    ),
    MarginKey.COMPATIBILITY: (Matter.FLUID, Matter.TRAP, Matter.BACKING_PUMP, Matter.BOOSTER),
    MarginKey.BUDGET: (Matter.TRAP, Matter.BACKING_PUMP, Matter.BOOSTER, Matter.BUDGET),
}  # fmt: skip
"""What is worth trying for each margin; what cannot help one is not on its list."""


def remedies_for(
    fields: Sequence[Judged], requirements: Requirements, catalog: Catalog
) -> tuple[Remedy, ...]:
    """Return the remedies of the stacks nearest to fitting; none where a stack fits.

    Parameters
    ----------
    fields : sequence of Judged
        All combinations that were judged for the inquiry.
    requirements : Requirements
        The inquiry.
    catalog : Catalog
        What can be sold.
    """
    if any(judged.fits.any() for judged in fields):
        return ()
    found: list[Remedy] = []
    for spot in nearest_spots(fields, NEAREST):
        found += remedies_of_stack(spot, requirements, catalog)
    return tuple(found)


def remedies_of_stack(
    spot: Spot, requirements: Requirements, catalog: Catalog
) -> tuple[Remedy, ...]:
    """Return, for every margin of a stack below its threshold, the changes that lift it to it.

    Parameters
    ----------
    spot : Spot
        The stack.
    requirements : Requirements
        The inquiry it was judged for.
    catalog : Catalog
        What can be sold.
    """
    trial = Trial(spot, requirements, catalog)
    failing = trial.failing()
    swaps = Swaps(trial)
    found = [
        remedy
        for key, share in failing.items()
        for remedy in _remedies_of_margin(trial, swaps, key, share)
    ]
    order = tuple(Matter)
    return tuple(sorted(found, key=lambda remedy: _intrusion(remedy, order)))


def nearest_spots(fields: Sequence[Judged], count: int) -> list[Spot]:
    """Return the combinations nearest to fitting, each main pump once."""
    spots: list[Spot] = []
    for judged in fields:
        best = np.argmax(judged.worst_share, axis=1)
        spots += [Spot(judged, row, int(column)) for row, column in enumerate(best)]
        if judged.case.field.fronts == (None,):
            spots.pop()
            spots += [Spot(judged, 0, column) for column in range(len(judged.case.backs))]
    spots.sort(key=lambda spot: -spot.at(spot.judged.worst_share))
    kept: dict[str, Spot] = {}
    for spot in spots:
        if len(kept) == count:
            break
        pump = spot.front.pump if spot.front else spot.back.backing
        kept.setdefault(pump.sku, spot)
    return list(kept.values())


def _remedies_of_margin(
    trial: Trial, swaps: Swaps, key: MarginKey, share_now: float
) -> Iterator[Remedy]:
    for matter in MENU[key]:
        yield from swaps.remedies(matter, key)
        if matter is Matter.SURFACES:
            yield from _cleaner_surfaces(trial, key)
        change = change_of(matter, trial.requirements, trial.front, trial.back)
        if change is None:
            continue
        value = smallest(change, lambda to, do=change: trial.share(key, do.apply(to)), share_now)  # type: ignore[misc]
        if value is not None:
            yield Remedy(
                key, matter.value, change.now, value, change.unit, change.say(value), trial.title
            )


def _cleaner_surfaces(trial: Trial, key: MarginKey) -> Iterator[Remedy]:
    asked = trial.requirements
    better = tuple(treatments(asked))
    everything = asked
    for treatment in better:
        everything = treatment.apply(everything, treatment.steps[-1])
    # what all surfaces together cannot do, none does alone
    if not better or (len(better) > 1 and trial.share(key, everything) < 1.0):
        return
    for treatment in better:
        for condition in treatment.steps:
            if trial.share(key, treatment.apply(asked, condition)) >= 1.0 - ROUNDING:
                yield Remedy(
                    key,
                    f"{Matter.SURFACES.value}.{treatment.position}.condition",
                    treatment.rate_pa_m_s(treatment.surface.condition),
                    treatment.rate_pa_m_s(condition),
                    "Pa m/s",
                    treatment.say(condition),
                    trial.title,
                )
                break


def _intrusion(remedy: Remedy, order: Sequence[Matter]) -> int:
    return next(i for i, matter in enumerate(order) if remedy.change.startswith(matter.value))


def smallest(change: Change, share_at: Callable[[float], float], share_now: float) -> float | None:
    """Return the value nearest to the present one at which a margin reaches its threshold.

    Parameters
    ----------
    change : Change
        What moves, and how far it may.
    share_at : callable
        Margin ÷ threshold at a value.
    share_now : float
        The same at the present value, below 1.

    Returns
    -------
    float or None
        A value that was tried and passes: at most ``BAND`` above the threshold unless the margin
        jumps there. None where the far end does not pass.
    """
    if change.whole:
        return _smallest_count(change, share_at)
    tried: dict[float, float] = {math.log(change.now): share_now}

    def excess(ln_value: float) -> float:
        if ln_value not in tried:
            tried[ln_value] = share_at(math.exp(ln_value))
        share = tried[ln_value]
        # only the sign matters far away, where a margin may be 0 or infinite
        gap = math.log(min(max(share, 1e-4), 1e4))
        return 0.0 if 0.0 <= gap <= BAND else gap - BAND / 2.0

    start, end = math.log(change.now), math.log(change.far)
    if excess(end) < 0.0:
        return None
    brentq(excess, start, end, xtol=STEP)
    passing = [x for x, share in tried.items() if share >= 1.0 - ROUNDING]
    return math.exp(min(passing, key=lambda x: abs(x - start)))


def _smallest_count(change: Change, share_at: Callable[[float], float]) -> float | None:
    """Halve between a count that fails and one that passes."""
    failing, passing = round(change.now), round(change.far)
    if share_at(float(passing)) < 1.0 - ROUNDING:
        return None
    while abs(passing - failing) > 1:
        middle = (passing + failing) // 2
        if share_at(float(middle)) >= 1.0 - ROUNDING:
            passing = middle
        else:
            failing = middle
    return float(passing)
