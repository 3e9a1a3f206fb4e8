"""Other parts in the place of one: the cheapest that lifts a margin and breaks no other.

The parts that could stand behind a stack's high-vacuum pump are judged in one go, those in front of
it in another; both only when a margin asks for them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
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
from server.fit.candidates import COLD_TRAPS, Back, Field, Front, grades_for, make_back, make_front
from server.fit.case import Ledger
from server.fit.cycle_times import Days
from server.fit.evacuation import evacuate
from server.fit.evaluation import NOT_FOLLOWED, How, Judged, judge
from server.fit.loads import loads_of
from server.fit.margins import STEADY_MARGINS, TIMED_MARGINS
from server.fit.remedies.matters import Matter, Settings
from server.fit.remedies.trial import Trial
from server.fit.results import MarginKey
from server.fit.thresholds import ROUNDING, RULES
from server.physics.arrays import BoolArray, FloatArray


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
    """Swaps with what they come to, n of them."""

    swaps: tuple[Swap, ...]
    passes: dict[MarginKey, BoolArray]
    purchase: FloatArray


class Swaps:
    """The parts that may take another's place in one stack, judged together once."""

    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._sound = [key for key in MarginKey if trial.now.passes(key)]

    def cheapest(self, matter: Matter, key: MarginKey) -> Swapped | None:
        """Return the cheapest part of a kind that lifts a margin and breaks no other."""
        found: list[tuple[float, int, _Judgement]] = []
        for judged in self._judgements(matter):
            lifted = judged.passes[key].copy()
            for other in self._sound:
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

    def _judgements(self, matter: Matter) -> tuple[_Judgement, ...]:
        if matter in (Matter.BACKING_PUMP, Matter.BOOSTER):
            return (self._behind,)
        if matter is Matter.TRAP:
            return (self._before, self._behind)
        return (self._before,)

    @cached_property
    def _behind(self) -> _Judgement:
        """Stacks with another back."""
        swaps = [swap for swap in other_backs(self._trial) if self._allowed(swap.back)]
        return self._judged(swaps, (self._trial.front,), tuple(swap.back for swap in swaps))

    @cached_property
    def _before(self) -> _Judgement:
        """Stacks with another front."""
        swaps = [swap for swap in other_fronts(self._trial) if self._allowed(swap.front)]
        return self._judged(swaps, tuple(swap.front for swap in swaps), (self._trial.back,))

    def _allowed(self, part: Front | Back | None) -> bool:
        """Say whether a part breaks nothing by itself that is whole now."""
        return part is None or part.refusal is None or part.refusal.key not in self._sound

    def _judged(
        self, swaps: Sequence[Swap], fronts: tuple[Front | None, ...], backs: tuple[Back, ...]
    ) -> _Judgement:
        if not swaps:
            return _NOTHING
        trial = self._trial
        asked = trial.requirements
        steady = How(only=frozenset(STEADY_MARGINS))
        judged = judge(
            Field(fronts, backs), loads_of(asked), asked, trial.catalog, trial.purse, steady
        )
        passes = {key: _passes(judged.ledgers.get(key), key, len(swaps)) for key in STEADY_MARGINS}
        whole = np.ones(len(swaps), dtype=np.bool_)
        for key in self._sound:
            whole &= passes.get(key, whole)
        failing = trial.failing
        lifted = np.full(len(swaps), not TIMED_MARGINS.keys().isdisjoint(failing))
        for key in failing:
            lifted |= passes.get(key, lifted)
        passes |= _passes_in_time(judged, whole & lifted, len(swaps))
        return _Judgement(tuple(swaps), passes, judged.case.purchase.ravel())


SWAPPED = frozenset({Matter.FLUID, Matter.TRAP, Matter.BACKING_PUMP, Matter.BOOSTER, Matter.PUMP})
"""What another part of the catalogue may take the place of."""

_NOTHING = _Judgement((), dict.fromkeys(MarginKey, np.empty(0, dtype=np.bool_)), np.empty(0))


def _passes(ledger: Ledger | None, key: MarginKey, count: int) -> BoolArray:
    """Say which of some combinations reach a threshold; those too that it does not apply to."""
    if ledger is None:
        return np.ones(count, dtype=np.bool_)
    ratio = np.broadcast_to(ledger.ratio.ravel(), (count,))
    return np.asarray(~(ratio < RULES[key].threshold * (1.0 - ROUNDING)))


def _passes_in_time(judged: Judged, whole: BoolArray, count: int) -> dict[MarginKey, BoolArray]:
    """Follow the pump-down of combinations worth it; the others pass nothing in time."""
    case = judged.case
    rows, columns = np.nonzero(whole.reshape(judged.worst_share.shape))
    found = NOT_FOLLOWED
    if whole.any():
        fronts, backs = case.field.fronts, case.field.backs
        found = evacuate(fronts, backs, case.states, case.loads, case.requirements, (rows, columns))
    days = Days(case, found, (rows, columns))
    return {key: whole & _passes(timed(days), key, count) for key, timed in TIMED_MARGINS.items()}


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
