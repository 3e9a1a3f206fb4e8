"""One combination judged again and again, with one thing changed each time."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable
from dataclasses import replace
from functools import cached_property
from typing import TypeVar

import numpy as np

from server.catalog.items import BackingPump, Catalog, RootsBooster, Trap, TurboPump
from server.fit.backing import BackTables, back_tables
from server.fit.candidates import Back, Combination, Field, Front, make_back, make_front
from server.fit.case import Case, Ledger
from server.fit.cost_table import CostTable
from server.fit.costs import Purse
from server.fit.cycle_times import Days, room_s
from server.fit.evacuation import HORIZON_S, Evacuation, evacuate
from server.fit.evaluation import How, judge
from server.fit.inlet import InletTables, inlet_tables
from server.fit.loads import loads_of
from server.fit.margins import STEADY_MARGINS, TIMED_MARGINS
from server.fit.memory import memory_of
from server.fit.present import title_of
from server.fit.remedies.reach import arrival_gap
from server.fit.remedies.search import gap_of
from server.fit.requirements import Duty, Requirements
from server.fit.results import MarginKey
from server.fit.settled import FieldStates
from server.fit.states import HighVacuumStates
from server.fit.thresholds import ROUNDING, RULES

ONE = (np.zeros(1, dtype=np.intp), np.zeros(1, dtype=np.intp))
"""The only combination of a field of one."""

NEVER = Evacuation(
    time_s=np.full(1, np.inf),
    crossover_pa=np.full(1, np.nan),
    rough_s=np.full(1, np.nan),
    crossover_s=np.full(1, np.nan),
    takeover_pa=np.full(1, np.nan),
    later_s=np.full(1, np.inf),
)
"""The pump-downs of a combination that never comes to its target."""

BOUGHT = frozenset({MarginKey.UTILITIES, MarginKey.COMPATIBILITY, MarginKey.BUDGET})
"""Margins of parts and prices, which states say nothing about."""


class Trial:
    """One combination and its inquiry; what a change leaves alone is worked out once."""

    def __init__(self, stack: Combination, purse: Purse) -> None:
        self.front, self.back = stack.front, stack.back
        self.title = title_of(stack)
        self.purse = purse
        self.known = _Known()
        self._variants: dict[Requirements, Variant] = {}

    @property
    def requirements(self) -> Requirements:
        """The inquiry as it is asked."""
        return self.purse.requirements

    @property
    def catalog(self) -> Catalog:
        """What can be sold."""
        return self.purse.catalog

    @property
    def now(self) -> Variant:
        """The combination as it is asked for."""
        return self.under(self.requirements)

    @cached_property
    def purchase(self) -> float:
        """What it costs to buy, in the catalogue's currency."""
        return float(self.now.case.purchase[0, 0])

    @cached_property
    def failing(self) -> tuple[MarginKey, ...]:
        """Every margin below its threshold."""
        return tuple(key for key in MarginKey if not self.now.passes(key))

    def under(self, requirements: Requirements) -> Variant:
        """Return the combination under a changed inquiry."""
        if requirements not in self._variants:
            self._variants[requirements] = Variant(self, requirements)
        return self._variants[requirements]


T = TypeVar("T")


class _Known:
    """Results by what they rest on."""

    def __init__(self) -> None:
        self._results: dict[Hashable, object] = {}

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return a result; made where it is not known yet."""
        if key not in self._results:
            self._results[key] = make()
        return self._results[key]  # type: ignore[return-value]  # made by the same key


class Variant:
    """A combination under one changed inquiry; a margin is worked out when it is asked for."""

    def __init__(self, trial: Trial, requirements: Requirements) -> None:
        self.trial, self.requirements = trial, requirements
        self._shares: dict[MarginKey, float] = {}

    def share(self, key: MarginKey) -> float:
        """Return a margin ÷ its threshold; inf where it does not apply."""
        if key not in self._shares:
            self._shares[key] = share_of(self._ledger(key), key)
        return self._shares[key]

    def passes(self, key: MarginKey) -> bool:
        """Say whether a margin reaches its threshold, or does not apply."""
        return self.bound(key) >= 0.0 and self.share(key) >= 1.0 - ROUNDING

    def gap(self, key: MarginKey) -> float:
        """Return how far (in ln) a margin lies above its threshold; below zero: below it."""
        share = self.share(key)
        return max(gap_of(share), 0.0) if share >= 1.0 - ROUNDING else gap_of(share)

    def bound(self, key: MarginKey) -> float:
        """Return what is below zero only where a margin fails, and soon known.

        Of margins of time: how far (in ln) pumps and time are more than is needed at least.
        """
        if key not in TIMED_MARGINS or key in self._shares:
            return math.inf
        longest_s = _longest_s(key, self.requirements)
        return math.inf if longest_s is None else self._arrival_gap(longest_s)

    def _arrival_gap(self, by_s: float) -> float:
        case, target_pa = self.case, self.requirements.target_pressure_pa
        return arrival_gap(self.trial.front, case.states, case.loads, target_pa, by_s)

    def _ledger(self, key: MarginKey) -> Ledger | None:
        if key in TIMED_MARGINS:
            return TIMED_MARGINS[key](Days(self.case, self.evacuation, ONE))
        return STEADY_MARGINS[key](self._priced if key in BOUGHT else self.case)

    @cached_property
    def evacuation(self) -> Evacuation:
        """Its pump-downs."""

        def follow() -> Evacuation:
            if self._arrival_gap(HORIZON_S) < 0.0:
                return NEVER
            case = self.case
            field = case.field
            return evacuate(
                field.fronts, field.backs, case.states, case.loads, self.requirements, ONE
            )

        asked = self.requirements
        # nothing is let in before the target is reached
        key = (
            "time", asked.chamber, asked.line, asked.rough_line, asked.foreline,
            asked.pump_down_time_s, asked.target_pressure_pa,
            *_again(asked.duty),
        )  # fmt: skip
        return self.trial.known.once(key, follow)

    @cached_property
    def case(self) -> Case:
        """What the margins rest on, with prices as they were before the change."""
        trial, asked, loads = self.trial, self.requirements, loads_of(self.requirements)
        field = Field((trial.front,), (trial.back,))
        purse, known = trial.purse, trial.known
        how = How(
            only=frozenset(),
            cost=known.once("cost", lambda: purse.table(field)),
            inlet=self._inlet(field, loads.species),
            backing=self._backing(field, loads.species),
        )
        case = judge(field, loads, asked, trial.catalog, purse, how).case
        # states are solved when they are asked for: those of an equal variant may be solved already
        states: FieldStates = known.once(
            ("states", *self._rests_on), lambda: self._with_pieces(case.states)
        )
        return replace(case, states=states)

    def _with_pieces(self, states: FieldStates) -> FieldStates:
        """Take over what the present states have solved and the change leaves alone."""
        if self.requirements is self.trial.requirements:
            return states
        present = self.trial.now.case.states
        if isinstance(states, HighVacuumStates) and isinstance(present, HighVacuumStates):
            states.keep_from(present)
        return states

    @cached_property
    def _priced(self) -> Case:
        """The same with parts and prices as they are after the change."""
        trial, asked = self.trial, self.requirements
        if asked is trial.requirements:
            return self.case
        front, back = remade(trial.front, trial.back, asked, trial.catalog)
        field = Field((front,), (back,))

        def prices() -> CostTable:
            return Purse(asked, trial.catalog).table(field)

        how = How(only=frozenset(), cost=trial.known.once(("cost", *self._bought_for), prices))
        how = replace(how, inlet=self.case.states.inlet, backing=self.case.states.backing)
        return judge(field, self.case.loads, asked, trial.catalog, trial.purse, how).case

    @property
    def _bought_for(self) -> tuple[Hashable, ...]:
        """What prices and parts rest on."""
        asked = self.requirements
        return (
            asked.line, asked.rough_line, asked.foreline, asked.target_pressure_pa, asked.process,
            asked.duty, asked.utilities,
        )  # fmt: skip

    @property
    def _rests_on(self) -> tuple[Hashable, ...]:
        """What the states rest on; a new kind of change that touches more belongs in here."""
        asked = self.requirements
        process = asked.process
        running = process.pressure_pa is not None
        return (
            asked.chamber, asked.line, asked.rough_line, asked.foreline, process.gas,
            process.vapour, running, asked.pump_down_time_s,
        )  # fmt: skip

    def _inlet(self, field: Field, species: tuple[str, ...]) -> InletTables | None:
        asked, catalog = self.requirements, self.trial.catalog
        key = ("inlet", species, asked.line, asked.chamber.port)
        return self.trial.known.once(
            key, lambda: inlet_tables(field.fronts, species, asked, catalog)
        )

    def _backing(self, field: Field, species: tuple[str, ...]) -> BackTables:
        asked, catalog = self.requirements, self.trial.catalog
        key = ("backing", species, asked.rough_line, bool(asked.process.vapour))
        return self.trial.known.once(key, lambda: back_tables(field.backs, species, asked, catalog))


def _longest_s(key: MarginKey, asked: Requirements) -> float | None:
    """Return the longest pump-down with which a margin of time may pass; None where any will do."""
    if key is MarginKey.PUMP_DOWN:
        allowed = asked.pump_down_time_s
        return None if allowed is None else allowed / RULES[key].threshold
    duty = asked.duty
    # later pump-downs may be as short as nothing, the rest of every cycle is not
    beside_s = max(duty.cycles_per_day, 1.0) * (duty.time_at_pressure_s + duty.vent_time_s)
    return room_s(duty) / RULES[key].threshold - beside_s


def remade(
    front: Front | None, back: Back, asked: Requirements, catalog: Catalog
) -> tuple[Front | None, Back]:
    """Return the same parts as they stand under another inquiry."""
    anew = None if front is None else make_front(front.pump, front.fluid, front.trap, asked)
    return anew, back_of(back.backing, back.booster, back.trap, asked, catalog)


def back_of(
    backing: BackingPump,
    booster: RootsBooster | TurboPump | None,
    trap: Trap | None,
    asked: Requirements,
    catalog: Catalog,
) -> Back:
    """Return a back as `make_back` does, made once for all stacks and changes that leave it so."""
    memory = memory_of(catalog)
    terms = (asked.utilities, asked.hazards, asked.cleanliness, asked.process.vapour, asked.duty)
    skus = tuple(part.sku if part else "" for part in (backing, booster, trap))
    return memory.once(
        ("back", memory.number(terms), skus),
        lambda: make_back(backing, booster, trap, asked, catalog),
    )


def _again(duty: Duty) -> tuple[Hashable, ...]:
    """Return what a later pump-down of a day rests on."""
    return (duty.repeats, duty.time_at_pressure_s, duty.vent_time_s, duty.venting)


def share_of(ledger: Ledger | None, key: MarginKey) -> float:
    """Return a margin of a single combination ÷ its threshold; inf where it does not apply."""
    ratio = math.nan if ledger is None else float(np.broadcast_to(ledger.ratio, (1, 1))[0, 0])
    return math.inf if math.isnan(ratio) else ratio / RULES[key].threshold
