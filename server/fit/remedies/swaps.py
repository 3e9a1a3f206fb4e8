"""Other parts in the place of one: the cheapest that lifts a margin and breaks no other.

The parts that could stand behind the high-vacuum pumps of some stacks are judged in one go, those
in front of them in another; both only when a margin asks for them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.catalog import compatibility
from server.catalog.flanges import Flange
from server.catalog.items import (
    BackingPump,
    CapturePump,
    Fluid,
    Item,
    RootsBooster,
    Trap,
    TrapPlace,
    TurboPump,
    VapourPump,
)
from server.fit.candidates import COLD_TRAPS, Back, Field, Front, grades_for, make_front
from server.fit.case import Ledger
from server.fit.cycle_times import Days
from server.fit.evacuation import evacuate
from server.fit.evaluation import NOT_FOLLOWED, How, Judged, judge
from server.fit.loads import loads_of
from server.fit.margins import STEADY_MARGINS, TIMED_MARGINS
from server.fit.remedies.matters import Matter, Settings
from server.fit.remedies.trial import Trial, back_of
from server.fit.results import MarginKey
from server.fit.thresholds import ROUNDING, RULES
from server.physics.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Swap:
    """One stack that differs in one part from the one at hand."""

    matter: Matter
    front: Front | None
    back: Back
    text: str

    @property
    def settings(self) -> Settings:
        """Return what to choose in a check: a part left out has nothing typed."""
        trap = (self.front.trap if self.front else None) or self.back.trap
        chosen: tuple[tuple[str, Item | None], ...] = (
            ("high_vacuum_pump", self.front.pump if self.front else None),
            ("fluid", self.front.fluid if self.front else None),
            ("trap", trap),
            ("booster", self.back.booster),
            ("backing_pump", self.back.backing),
        )
        return tuple((f"stack.{name}", part.sku if part else "") for name, part in chosen)


@dataclass(frozen=True)
class Swapped:
    """A swap with what it comes to."""

    swap: Swap
    purchase: float
    passes: frozenset[MarginKey]
    """Margins at or above their thresholds, or that no longer apply."""


@dataclass(frozen=True)
class _Judgement:
    """Swaps of one stack with what they come to, n of them."""

    swaps: tuple[Swap, ...]
    passes: dict[MarginKey, BoolArray]
    purchase: FloatArray


@dataclass(frozen=True)
class _Offer:
    """Swaps of one stack, and where each stands in a field of those of several."""

    trial: Trial
    swaps: tuple[Swap, ...]
    rows: IntArray
    columns: IntArray


class Swaps:
    """The parts that may take another's place in some stacks, those of all judged together once."""

    def __init__(self, trials: Sequence[Trial]) -> None:
        self._trials = tuple(trials)

    def cheapest(self, trial: Trial, matter: Matter, key: MarginKey) -> Swapped | None:
        """Return the cheapest part of a kind that lifts a margin of a stack and breaks no other."""
        found: list[tuple[float, int, _Judgement]] = []
        for judged in self._judgements(trial, matter):
            lifted = judged.passes[key].copy()
            for other in _sound(trial):
                lifted &= judged.passes[other]
            found += [
                (float(judged.purchase[place]), int(place), judged)
                for place in np.nonzero(lifted)[0]
                if judged.swaps[place].matter is matter
            ]
        if not found:
            return None
        price, place, judged = min(found, key=lambda entry: entry[:2])
        passes = frozenset(key for key in MarginKey if judged.passes[key][place])
        return Swapped(judged.swaps[place], price, passes)

    def _judgements(self, trial: Trial, matter: Matter) -> tuple[_Judgement, ...]:
        if matter in (Matter.BACKING_PUMP, Matter.BOOSTER):
            return (self._behind[trial],)
        if matter is Matter.TRAP:
            return (self._before[trial], self._behind[trial])
        return (self._before[trial],)

    @cached_property
    def _behind(self) -> Mapping[Trial, _Judgement]:
        """Stacks with another back: a row for each stack, a column for each swap."""
        fronts = [trial.front for trial in self._trials if trial.front is not None]
        # stacks without a high-vacuum pump make a field of their own
        rough = [trial for trial in self._trials if trial.front is None]
        found = _behind([trial for trial in self._trials if trial.front is not None], fronts)
        return found | _behind(rough, [None])

    @cached_property
    def _before(self) -> Mapping[Trial, _Judgement]:
        """Stacks with another front: a row for each swap, a column for each stack."""
        offers, fronts = [], list[Front | None]()
        for column, trial in enumerate(self._trials):
            swaps = [swap for swap in other_fronts(trial) if _allowed(swap.front, trial)]
            rows = len(fronts) + np.arange(len(swaps))
            offers.append(_Offer(trial, tuple(swaps), rows, np.full(len(swaps), column)))
            fronts += [swap.front for swap in swaps]
        backs = tuple(trial.back for trial in self._trials)
        return _judged(offers, Field(tuple(fronts), backs))


def _behind(trials: Sequence[Trial], fronts: Sequence[Front | None]) -> dict[Trial, _Judgement]:
    """Judge the stacks with another back, one front for each or the same for all."""
    offers, backs = [], list[Back]()
    for place, trial in enumerate(trials):
        swaps = [swap for swap in other_backs(trial) if _allowed(swap.back, trial)]
        rows = np.full(len(swaps), min(place, len(fronts) - 1))
        columns = len(backs) + np.arange(len(swaps))
        offers.append(_Offer(trial, tuple(swaps), rows, columns))
        backs += [swap.back for swap in swaps]
    return _judged(offers, Field(tuple(fronts), tuple(backs)))


def _sound(trial: Trial) -> list[MarginKey]:
    return [key for key in MarginKey if key not in trial.failing]


def _allowed(part: Front | Back | None, trial: Trial) -> bool:
    """Say whether a part breaks nothing by itself that is whole now."""
    return part is None or part.refusal is None or part.refusal.key in trial.failing


def _judged(offers: Sequence[_Offer], field: Field) -> dict[Trial, _Judgement]:
    """Judge the swaps of some stacks by all margins, by those of time where the others allow."""
    if not field.size:
        return {offer.trial: _NOTHING for offer in offers}
    purse = offers[0].trial.purse
    asked = purse.requirements
    # what lifts one margin is offered though another may fail: all have their price
    how = How(only=frozenset(STEADY_MARGINS), cost=purse.table(field))
    judged = judge(field, loads_of(asked), asked, purse.catalog, purse, how)
    steady = [
        {key: _passes(judged.ledgers.get(key), key, field, offer) for key in STEADY_MARGINS}
        for offer in offers
    ]
    followed = [
        _worth_following(offer, passes) for offer, passes in zip(offers, steady, strict=True)
    ]
    ledgers = _in_time(judged, offers, followed)
    found: dict[Trial, _Judgement] = {}
    for offer, passes, worth in zip(offers, steady, followed, strict=True):
        timed = {key: worth & _passes(ledger, key, field, offer) for key, ledger in ledgers.items()}
        price = judged.case.purchase[offer.rows, offer.columns]
        found[offer.trial] = _Judgement(offer.swaps, passes | timed, price)
    return found


def _worth_following(offer: _Offer, passes: Mapping[MarginKey, BoolArray]) -> BoolArray:
    """Say which swaps break no steady margin and lift one, or may lift one of time."""
    failing = offer.trial.failing
    whole = np.ones(len(offer.swaps), dtype=np.bool_)
    lifted = np.full(len(offer.swaps), not TIMED_MARGINS.keys().isdisjoint(failing))
    for key, passing in passes.items():
        if key in failing:
            lifted |= passing
        else:
            whole &= passing
    return np.asarray(whole & lifted)


def _in_time(
    judged: Judged, offers: Sequence[_Offer], followed: Sequence[BoolArray]
) -> dict[MarginKey, Ledger | None]:
    """Return the margins of time with the pump-down of those swaps that are worth following."""
    case = judged.case
    chosen = np.zeros(judged.worst_share.shape, dtype=np.bool_)
    for offer, some in zip(offers, followed, strict=True):
        chosen[offer.rows[some], offer.columns[some]] = True
    rows, columns = np.nonzero(chosen)
    found = NOT_FOLLOWED
    if rows.size:
        fronts, backs = case.field.fronts, case.field.backs
        found = evacuate(fronts, backs, case.states, case.loads, case.requirements, (rows, columns))
    days = Days(case, found, (rows, columns))
    return {key: margin(days) for key, margin in TIMED_MARGINS.items()}


SWAPPED = frozenset({Matter.FLUID, Matter.TRAP, Matter.BACKING_PUMP, Matter.BOOSTER, Matter.PUMP})
"""What another part of the catalogue may take the place of."""

_NOTHING = _Judgement((), dict.fromkeys(MarginKey, np.empty(0, dtype=np.bool_)), np.empty(0))


def _passes(ledger: Ledger | None, key: MarginKey, field: Field, offer: _Offer) -> BoolArray:
    """Say which of some combinations reach a threshold; those too that it does not apply to."""
    if ledger is None:
        return np.ones(len(offer.swaps), dtype=np.bool_)
    ratio = np.broadcast_to(ledger.ratio, (len(field.fronts), len(field.backs)))
    low = RULES[key].threshold * (1.0 - ROUNDING)
    return np.asarray(~(ratio[offer.rows, offer.columns] < low))


def other_backs(trial: Trial) -> Iterator[Swap]:
    """Yield the stacks with another backing pump, another booster, or another trap on its inlet."""
    back, asked, catalog = trial.back, trial.requirements, trial.catalog
    for pump in catalog.of_type(BackingPump):
        if pump.sku != back.backing.sku:
            trap = _like(back.trap, pump.inlet, trial)
            other = back_of(pump, back.booster, trap, asked, catalog)
            text = f"Take {_named(pump.name)} instead of {_named(back.backing.name)}."
            yield Swap(Matter.BACKING_PUMP, trial.front, other, text)
    for booster in catalog.of_type(RootsBooster):
        if isinstance(back.booster, TurboPump) or booster == back.booster:
            continue
        other = back_of(back.backing, booster, None, asked, catalog)
        verb = "Put" if back.booster is None else "Put the larger or smaller"
        text = f"{verb} {_named(booster.name)} in front of {_named(back.backing.name)}."
        yield Swap(Matter.BOOSTER, trial.front, other, text)
    if back.booster is None:
        for trap in compatibility.traps_for(back.backing.inlet, catalog, TrapPlace.FORELINE):
            if trap.kind in COLD_TRAPS and trap != back.trap and asked.process.vapour:
                other = back_of(back.backing, None, trap, asked, catalog)
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
