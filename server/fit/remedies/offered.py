"""Which changes are offered for a stack, and in what order.

Every remedy is found on the real evaluation of the one combination under the changed inquiry: a
bracketed root of the margin ÷ its threshold, from the present value towards the far end of the
change. A change whose far end does not lift the margin is left out. What is found is judged by all
margins once more: what else it mends is said, and what it breaks.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from server.catalog.items import Catalog
from server.fit.candidates import Combination
from server.fit.costs import Purse
from server.fit.remedies.bounds import hopeless
from server.fit.remedies.changes import change_of
from server.fit.remedies.matters import GIVEN_UP, MENU, Change, Matter
from server.fit.remedies.nearest import nearest
from server.fit.remedies.search import smallest
from server.fit.remedies.surfaces import Treatment, treatments
from server.fit.remedies.swaps import SWAPPED, Swapped, Swaps
from server.fit.remedies.trial import Trial, Variant
from server.fit.requirements import Condition, Requirements
from server.fit.results import MarginKey, Remedy
from server.fit.sweep import Prospect

NEAREST = 3
"""So many stacks get remedies when none fits."""


def remedies_for(
    prospects: Iterable[Prospect], requirements: Requirements, catalog: Catalog
) -> tuple[Remedy, ...]:
    """Return the remedies of the stacks nearest to fitting; none where a stack fits.

    Parameters
    ----------
    prospects : iterable of Prospect
        All usable combinations, what may come nearest to fitting first.
    requirements : Requirements
        The inquiry.
    catalog : Catalog
        What can be sold.
    """
    return _of_stacks(nearest(prospects, NEAREST), Purse(requirements, catalog))


def remedies_of_stack(
    stack: Combination, requirements: Requirements, catalog: Catalog
) -> tuple[Remedy, ...]:
    """Return, for every margin of a stack below its threshold, the changes that lift it to it.

    Parameters
    ----------
    stack : Combination
        The stack.
    requirements : Requirements
        The inquiry it was judged for.
    catalog : Catalog
        What can be sold.
    """
    return _of_stacks([stack], Purse(requirements, catalog))


def _of_stacks(stacks: Sequence[Combination], purse: Purse) -> tuple[Remedy, ...]:
    """Return the remedies of some stacks, stack by stack."""
    trials = [Trial(stack, purse) for stack in stacks]
    swaps = Swaps(trials)
    return tuple(remedy for trial in trials for remedy in _of_stack(trial, swaps))


def _of_stack(trial: Trial, swaps: Swaps) -> tuple[Remedy, ...]:
    wanted: dict[Matter, list[MarginKey]] = {matter: [] for matter in Matter}
    for key in trial.failing:
        for matter in MENU[key]:
            if not hopeless(matter, key, trial):
                wanted[matter].append(key)
    found = [
        remedy
        for matter, keys in wanted.items()
        if keys
        for remedy in _remedies_by(matter, keys, trial, swaps)
    ]
    return tuple(sorted(found, key=_rank))


def _remedies_by(
    matter: Matter, keys: Sequence[MarginKey], trial: Trial, swaps: Swaps
) -> Iterable[Remedy]:
    if matter in SWAPPED:
        return _swapped(matter, keys, trial, swaps)
    if matter is Matter.SURFACES:
        return _cleaner_surfaces(keys, trial)
    if matter in SITE:
        return _site(matter, keys, trial)
    change = change_of(matter, trial.requirements, trial.front, trial.back)
    return () if change is None else _changed(change, keys, trial)


def _changed(change: Change, keys: Sequence[MarginKey], trial: Trial) -> Iterator[Remedy]:
    """Yield the smallest step of a change for each margin; a step further mends several."""
    steps: dict[float, MarginKey] = {}
    for key in keys:

        def gap_at(value: float, key: MarginKey = key) -> float:
            return trial.under(change.apply(value)).gap(key)

        def bound_at(value: float, key: MarginKey = key) -> float:
            return trial.under(change.apply(value)).bound(key)

        value = smallest(change, gap_at, bound_at)
        if value is not None:
            steps.setdefault(value, key)
    for value, key in steps.items():
        plain = Remedy(
            key, change.matter.value, change.now, value, change.unit, change.say(value),
            trial.title, settings=change.settings(value),
        )  # fmt: skip
        yield _with_effects(plain, trial, trial.under(change.apply(value)))


def _with_effects(remedy: Remedy, trial: Trial, changed: Variant) -> Remedy:
    """Return a remedy with what else it mends and what it breaks."""
    passes = frozenset(key for key in MarginKey if changed.passes(key))
    return _with_passing(remedy, trial, passes)


def _with_passing(remedy: Remedy, trial: Trial, passes: frozenset[MarginKey]) -> Remedy:
    failing = trial.failing
    return replace(
        remedy,
        also=tuple(key for key in failing if key in passes and key is not remedy.margin),
        breaks=tuple(key for key in MarginKey if key not in passes and key not in failing),
        solves=len(passes) == len(MarginKey),
    )


def _cleaner_surfaces(keys: Sequence[MarginKey], trial: Trial) -> Iterator[Remedy]:
    asked = trial.requirements
    better = tuple(treatments(asked))
    for treatment in better:
        steps: dict[Condition, MarginKey] = {}
        for key in keys:
            for condition in treatment.steps:
                if trial.under(treatment.apply(asked, condition)).passes(key):
                    steps.setdefault(condition, key)
                    break
        for condition, key in steps.items():
            yield _treated(treatment, condition, key, trial)


def _treated(treatment: Treatment, condition: Condition, key: MarginKey, trial: Trial) -> Remedy:
    plain = Remedy(
        margin=key,
        change=treatment.path,
        from_value=treatment.rate_pa_m_s(treatment.surface.condition),
        to_value=treatment.rate_pa_m_s(condition),
        unit="Pa m/s",
        text=treatment.say(condition),
        stack_title=trial.title,
        settings=treatment.settings(condition),
    )
    changed = trial.under(treatment.apply(trial.requirements, condition))
    return _with_effects(plain, trial, changed)


def _swapped(
    matter: Matter, keys: Sequence[MarginKey], trial: Trial, swaps: Swaps
) -> Iterator[Remedy]:
    """Yield the cheapest part for each margin, the same part for several once."""
    parts: dict[str, tuple[MarginKey, Swapped]] = {}
    for key in keys:
        found = swaps.cheapest(trial, matter, key)
        if found is not None:
            parts.setdefault(found.swap.text, (key, found))
    for key, found in parts.values():
        plain = Remedy(
            margin=key,
            change=matter.value,
            from_value=trial.purchase,
            to_value=found.purchase,
            unit=trial.catalog.currency,
            text=f"{found.swap.text} {_priced(found.purchase, trial)}",
            stack_title=trial.title,
            settings=found.swap.settings,
        )
        yield _with_passing(plain, trial, found.passes)


def _priced(price: float, trial: Trial) -> str:
    more = price - trial.purchase
    if abs(more) < HALF_A_CENT:
        return "The stack costs the same."
    word = "more" if more > 0 else "less"
    return f"The stack then costs {abs(more):,.2f} {trial.catalog.currency} {word}."


HALF_A_CENT = 0.005


def _site(matter: Matter, keys: Sequence[MarginKey], trial: Trial) -> Iterator[Remedy]:
    """Yield what the site would have to offer, where that alone makes the stack possible."""
    site = trial.requirements.utilities
    if matter is Matter.WATER:
        offered = replace(site, cooling_water=True)
    else:
        offered = replace(site, three_phase=True)
    if offered == site:
        return
    changed = trial.under(replace(trial.requirements, utilities=offered))
    for key in keys:
        if changed.passes(key):
            plain = Remedy(
                key, matter.value, 0.0, 1.0, "", SITE[matter], trial.title,
                settings=((matter.value, "yes"),),
            )  # fmt: skip
            yield _with_effects(plain, trial, changed)
            return


SITE = {
    Matter.WATER: "Provide cooling water at the site.",
    Matter.THREE_PHASE: "Provide three-phase mains at the site.",
}


def _rank(remedy: Remedy) -> tuple[bool, bool, int, int, float]:
    """Order remedies: what breaks nothing, what solves all, what asks least, what mends most."""
    matter = Matter.SURFACES
    if not remedy.change.startswith(f"{matter.value}."):
        matter = Matter(remedy.change)
    kind = 1 if matter in SWAPPED else 2 if matter in GIVEN_UP else 0
    return (bool(remedy.breaks), not remedy.solves, kind, -len(remedy.also), _size(remedy, kind))


def _size(remedy: Remedy, kind: int) -> float:
    """Return how large a change is: parts by what they cost, all else in proportion."""
    if kind == 1:
        return remedy.to_value - remedy.from_value
    if remedy.from_value <= 0.0 or remedy.to_value <= 0.0:
        return abs(remedy.to_value - remedy.from_value)
    return abs(math.log(remedy.to_value / remedy.from_value))
