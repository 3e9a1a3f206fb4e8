"""Other parts in the place of one: the cheapest that lifts a margin and breaks no other.

The parts that could stand behind a stack's high-vacuum pump are judged in one go, those in front of
it in another; both only when a margin asks for them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from server.catalog import compatibility
from server.catalog.flanges import Flange
from server.catalog.items import (
    BackingPump,
    CapturePump,
    Catalog,
    Fluid,
    RootsBooster,
    Trap,
    TrapPlace,
    TurboPump,
    VapourPump,
)
from server.fit.candidates import COLD_TRAPS, Back, Field, Front, grades_for, make_back, make_front
from server.fit.evaluation import How, Judged, judge
from server.fit.loads import loads_of
from server.fit.remedies.changes import Matter
from server.fit.remedies.trial import Trial
from server.fit.requirements import Requirements
from server.fit.results import MarginKey, Remedy
from server.fit.thresholds import ROUNDING, RULES
from server.physics.arrays import BoolArray, FloatArray


@dataclass(frozen=True)
class Swap:
    """One stack that differs in one part from the one at hand."""

    matter: Matter
    front: Front | None
    back: Back
    text: str


@dataclass(frozen=True)
class _Judgement:
    """Swaps with what they come to, n of them."""

    swaps: tuple[Swap, ...]
    shares: dict[MarginKey, FloatArray]
    fails: dict[MarginKey, BoolArray]
    purchase: FloatArray


class Swaps:
    """The parts that may take another's place in one stack, judged together once."""

    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._failing = {key for key in MarginKey if _ratio(trial.now, key)[0] < 1.0 - ROUNDING}

    def remedies(self, matter: Matter, key: MarginKey) -> Iterator[Remedy]:
        """Yield the cheapest part of a kind that lifts a margin, if there is one."""
        if matter in SITE:
            yield from self._site(matter, key)
        elif matter in SWAPPED:
            best = self._cheapest(matter, key)
            if best is not None:
                trial, (swap, price) = self._trial, best
                yield Remedy(
                    margin=key,
                    change=matter.value,
                    from_value=trial.purchase,
                    to_value=price,
                    unit=trial.catalog.currency,
                    text=f"{swap.text} {self._priced(price)}",
                    stack_title=trial.title,
                )

    def _priced(self, price: float) -> str:
        currency = self._trial.catalog.currency
        more = price - self._trial.purchase
        if abs(more) < 0.005:  # half a cent
            return "The stack costs the same."
        word = "more" if more > 0 else "less"
        return f"The stack then costs {abs(more):,.2f} {currency} {word}."

    def _cheapest(self, matter: Matter, key: MarginKey) -> tuple[Swap, float] | None:
        found: list[tuple[float, int, Swap]] = []
        for judged in self._judgements(matter):
            lifted = judged.shares[key] >= 1.0 - ROUNDING
            for other, fails in judged.fails.items():
                if other not in self._failing:
                    lifted = lifted & ~fails
            found += [
                (float(judged.purchase[place]), int(place), judged.swaps[place])
                for place in np.nonzero(lifted)[0]
                if judged.swaps[place].matter is matter
            ]
        if not found:
            return None
        price, _, swap = min(found, key=lambda entry: entry[:2])
        return swap, price

    def _judgements(self, matter: Matter) -> tuple[_Judgement, ...]:
        if matter in (Matter.BACKING_PUMP, Matter.BOOSTER):
            return (self._behind,)
        if matter is Matter.TRAP:
            return (self._before, self._behind)
        return (self._before,)

    @cached_property
    def _behind(self) -> _Judgement:
        """Stacks with another back."""
        swaps = [
            swap
            for swap in other_backs(self._trial)
            if swap.back.refusal is None or swap.back.refusal.key in self._failing
        ]
        field = Field((self._trial.front,), tuple(swap.back for swap in swaps))
        return _judged(swaps, field, self._trial) if swaps else _NOTHING

    @cached_property
    def _before(self) -> _Judgement:
        """Stacks with another front."""
        swaps = [
            swap
            for swap in other_fronts(self._trial)
            if swap.front is None
            or swap.front.refusal is None
            or swap.front.refusal.key in self._failing
        ]
        field = Field(tuple(swap.front for swap in swaps), (self._trial.back,))
        return _judged(swaps, field, self._trial) if swaps else _NOTHING

    def _site(self, matter: Matter, key: MarginKey) -> Iterator[Remedy]:
        """Yield what the site would have to offer, where that alone makes the stack possible."""
        trial = self._trial
        site = trial.requirements.utilities
        if matter is Matter.WATER and not site.cooling_water:
            asked = replace(trial.requirements, utilities=replace(site, cooling_water=True))
        elif matter is Matter.THREE_PHASE and not site.three_phase:
            asked = replace(trial.requirements, utilities=replace(site, three_phase=True))
        else:
            return
        front, back = remade(trial.front, trial.back, asked, trial.catalog)
        if any(part and part.refusal and part.refusal.key is key for part in (front, back)):
            return
        yield Remedy(key, matter.value, 0.0, 1.0, "", SITE[matter], trial.title)


SITE = {
    Matter.WATER: "Provide cooling water at the site.",
    Matter.THREE_PHASE: "Provide three-phase mains at the site.",
}
SWAPPED = frozenset({Matter.FLUID, Matter.TRAP, Matter.BACKING_PUMP, Matter.BOOSTER, Matter.PUMP})

_NOTHING = _Judgement((), dict.fromkeys(MarginKey, np.empty(0)), {}, np.empty(0))


def remade(
    front: Front | None, back: Back, asked: Requirements, catalog: Catalog
) -> tuple[Front | None, Back]:
    """Return the same parts as they stand under another inquiry."""
    anew = None if front is None else make_front(front.pump, front.fluid, front.trap, asked)
    return anew, make_back(back.backing, back.booster, back.trap, asked, catalog)


def other_backs(trial: Trial) -> Iterator[Swap]:
    """Yield the stacks with another backing pump, another booster, or another trap on its inlet."""
    back, asked, catalog = trial.back, trial.requirements, trial.catalog
    for pump in catalog.of_type(BackingPump):
        if pump.sku != back.backing.sku:
            trap = _like(back.trap, pump.inlet, trial)
            other = make_back(pump, back.booster, trap, asked, catalog)
            text = f"Take {_named(pump.name)} instead of {_named(back.backing.name)}."
            yield Swap(Matter.BACKING_PUMP, trial.front, other, text)
    for booster in catalog.of_type(RootsBooster):
        if isinstance(back.booster, TurboPump) or booster == back.booster:
            continue
        other = make_back(back.backing, booster, None, asked, catalog)
        verb = "Put" if back.booster is None else "Put the larger or smaller"
        text = f"{verb} {_named(booster.name)} in front of {_named(back.backing.name)}."
        yield Swap(Matter.BOOSTER, trial.front, other, text)
    if back.booster is None:
        for trap in compatibility.traps_for(back.backing.inlet, catalog, TrapPlace.FORELINE):
            if trap.kind in COLD_TRAPS and trap != back.trap and asked.process.vapour:
                other = make_back(back.backing, None, trap, asked, catalog)
                text = f"Fit {_named(trap.name)} at the inlet of {_named(back.backing.name)}."
                yield Swap(Matter.TRAP, trial.front, other, text)


def other_fronts(trial: Trial) -> Iterator[Swap]:
    """Yield the stacks with another fluid or trap, or with a variant of the same pump."""
    front = trial.front
    if front is None or isinstance(front.pump, CapturePump):
        return
    traps = compatibility.traps_for(front.pump.inlet, trial.catalog, TrapPlace.HIGH_VACUUM)
    for trap in (None, *traps):
        if trap != front.trap:
            text = f"Leave out {_named(front.trap.name)}." if front.trap else ""
            if trap is not None:
                text = f"Fit {_named(trap.name)} on {_named(front.pump.name)}."
            other = make_front(front.pump, front.fluid, trap, trial.requirements)
            yield Swap(Matter.TRAP, other, trial.back, text)
    if isinstance(front.pump, VapourPump):
        yield from _other_vapour_fronts(front, front.pump, trial)


def _other_vapour_fronts(front: Front, pump: VapourPump, trial: Trial) -> Iterator[Swap]:
    """Yield the stacks with another fluid, or with a variant of the pump and its fluid."""
    asked, catalog = trial.requirements, trial.catalog
    for fluid in grades_for(pump, catalog):
        if not _same_grade(fluid, front):
            text = f"Fill {_named(pump.name)} with {_named(fluid.name)}."
            yield Swap(Matter.FLUID, make_front(pump, fluid, front.trap, asked), trial.back, text)
    for other in variants_of(pump, catalog.of_type(VapourPump)):
        for fluid in grades_for(other, catalog):
            text = f"Take {_named(other.name)} instead of {_named(pump.name)}"
            if not _same_grade(fluid, front):
                text += f", filled with {_named(fluid.name)}"
            anew = make_front(other, fluid, front.trap, asked)
            yield Swap(Matter.PUMP, anew, trial.back, f"{text}.")


def _same_grade(fluid: Fluid, front: Front) -> bool:
    return front.fluid is not None and fluid.grade == front.fluid.grade


def variants_of(pump: VapourPump, pumps: Sequence[VapourPump]) -> list[VapourPump]:
    """Return the other builds of a vapour pump: with its high-load heater, or without."""
    family = pump.variant_of or pump.sku
    return [other for other in pumps if (other.variant_of or other.sku) == family and other != pump]


def _like(trap: Trap | None, inlet: Flange, trial: Trial) -> Trap | None:
    """Return the trap of the same kind for another inlet, None where there is none."""
    if trap is None:
        return None
    fitting = compatibility.traps_for(inlet, trial.catalog, TrapPlace.FORELINE)
    return next((other for other in fitting if other.kind is trap.kind), None)


def _named(name: str) -> str:
    """Return an item's name inside a sentence."""
    return f"“{name}”"


def _judged(swaps: Sequence[Swap], field: Field, trial: Trial) -> _Judgement:
    asked = trial.requirements
    judged = judge(field, loads_of(asked), asked, trial.catalog, trial.purse, How(follow_all=True))
    ratios = {key: _ratio(judged, key) for key in MarginKey}
    return _Judgement(
        tuple(swaps),
        {key: ratio / RULES[key].threshold for key, ratio in ratios.items()},
        {key: ratio < 1.0 - ROUNDING for key, ratio in ratios.items()},
        judged.case.purchase.ravel(),
    )


def _ratio(judged: Judged, key: MarginKey) -> FloatArray:
    """Return a margin of all combinations, flat; infinite where it does not apply."""
    shape = judged.worst_share.shape
    ledger = judged.ledgers.get(key)
    if ledger is None:
        return np.full(shape, np.inf).ravel()
    ratio = np.broadcast_to(ledger.ratio, shape).ravel()
    return np.where(np.isnan(ratio), np.inf, ratio)
