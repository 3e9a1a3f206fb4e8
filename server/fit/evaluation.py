"""Judge every combination of a field, and count what fails why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.catalog.items import Catalog
from server.fit.backing import BackTables, back_tables
from server.fit.candidates import Field
from server.fit.case import Case, Ledger
from server.fit.cost_table import CostTable
from server.fit.costs import Purse
from server.fit.cycle_times import Days
from server.fit.evacuation import Evacuation, evacuate
from server.fit.front_states import FrontStates
from server.fit.inlet import InletTables, inlet_tables
from server.fit.loads import Loads
from server.fit.margins import PRICED_MARGINS, TIMED_MARGINS, UNPRICED_MARGINS
from server.fit.memory import Memory
from server.fit.money import minor_digits
from server.fit.requirements import Requirements
from server.fit.results import MarginKey
from server.fit.rough_states import RoughStates
from server.fit.settled import FieldStates
from server.fit.states import HighVacuumStates
from server.fit.thresholds import ROUNDING, RULES
from server.physics.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Judged:
    """A field with its margins; arrays have shape (fronts, backs)."""

    days: Days
    """Of the combinations that no steady margin rules out: their pump-downs are followed."""
    cost: CostTable
    ledgers: Mapping[MarginKey, Ledger]
    worst_key: NDArray[np.intp]
    """Position in ``MarginKey`` of the smallest margin ÷ threshold."""
    worst_share: FloatArray
    """Smallest margin ÷ its threshold."""
    fails: BoolArray

    @property
    def case(self) -> Case:
        """What its margins rest on."""
        return self.days.case

    @property
    def evacuation(self) -> Evacuation:
        """Pump-downs of the combinations in ``chosen``."""
        return self.days.evacuation

    @property
    def chosen(self) -> tuple[IntArray, IntArray]:
        """Front and back of each combination that was followed."""
        return self.days.chosen

    @cached_property
    def time_s(self) -> FloatArray:
        """First pump-down of all combinations; infinite for those not followed."""
        return self.days.spread(self.evacuation.time_s)

    @cached_property
    def memory(self) -> Memory:
        """What its shown stacks have in common, by all that it depends on within the field."""
        return Memory()

    @property
    def fits(self) -> BoolArray:
        """Where every margin passes."""
        return np.asarray(~self.fails & (self.worst_share >= 1.0 - ROUNDING))

    @property
    def marginal(self) -> BoolArray:
        """Where no margin fails but one does not pass."""
        return np.asarray(~self.fails & ~self.fits)


KEYS = tuple(MarginKey)
ALL_MARGINS = frozenset(MarginKey)
YES_OR_NO = frozenset({MarginKey.UTILITIES, MarginKey.COMPATIBILITY})


@dataclass(frozen=True)
class How:
    """How far a field is judged, and what is known of it already."""

    follow_all: bool = False
    """Follow the pump-down of combinations that a steady margin rules out as well."""
    only: frozenset[MarginKey] = ALL_MARGINS
    """The margins that are wanted; pump-downs are followed where one of them needs it."""
    cost: CostTable | None = None
    """Costs of the field, where they are known."""
    inlet: InletTables | None = None
    """Tables of its fronts, where they are known."""
    fronts: FrontStates | None = None
    """States of its fronts by themselves, where they are known."""
    backing: BackTables | None = None
    """Tables of its backs, where they are known."""


JUST_JUDGE = How()
NOT_FOLLOWED = Evacuation(*np.empty((6, 0)))


def judge(
    field: Field,
    loads: Loads,
    requirements: Requirements,
    catalog: Catalog,
    purse: Purse,
    how: How = JUST_JUDGE,
) -> Judged:
    """Judge a field.

    Parameters
    ----------
    field : Field
        Fronts and backs.
    loads : Loads
        Gas loads of the inquiry.
    requirements : Requirements
        The inquiry.
    catalog : Catalog
        What can be sold.
    purse : Purse
        Prices.
    how : How
        How far to go, and tables that are known already.
    """
    states = _states(field, loads, requirements, catalog, how)
    shape = (len(field.fronts), len(field.backs))
    case = Case(field, loads, requirements, states, np.zeros((1, 1)), np.zeros((1, 1), np.bool_))
    ledgers = {
        key: found
        for key, margin in UNPRICED_MARGINS.items()
        if key in how.only and (found := margin(case))
    }
    passing = _passing(ledgers, shape)
    all_priced = how.follow_all or requirements.commercial.budget is not None
    cost = how.cost or purse.table(field, None if all_priced else passing)
    purchase = cost.purchase / float(10 ** minor_digits(catalog.currency))
    case = replace(case, purchase=purchase, open_joints=cost.open_joints)
    for key, priced in PRICED_MARGINS.items():
        if key in how.only and (found := priced(case)):
            ledgers[key] = found
    alive = np.full(shape, not how.only.isdisjoint(TIMED_MARGINS))
    if not how.follow_all:
        alive &= _passing(ledgers, shape)
    front_rows, back_rows = np.nonzero(alive)
    chosen = (front_rows, back_rows)
    evacuation = NOT_FOLLOWED
    if alive.any():
        evacuation = evacuate(field.fronts, field.backs, states, loads, requirements, chosen)
    days = Days(case, evacuation, chosen)
    for key, timed in TIMED_MARGINS.items():
        if key in how.only and (found := timed(days)):
            ledgers[key] = _only(found, alive)
    ratios = {key: found.ratio for key, found in ledgers.items()}
    return Judged(days, cost, ledgers, *worst_of(ratios, shape))


def _states(
    field: Field, loads: Loads, requirements: Requirements, catalog: Catalog, how: How
) -> FieldStates:
    """Return the steady states of a field; those of backs alone where it has no fronts."""
    backing = how.backing or back_tables(field.backs, loads.species, requirements, catalog)
    fronts = how.fronts or front_states(field, loads, requirements, catalog, how.inlet)
    if fronts is None:
        return RoughStates(field.backs, loads, requirements, backing)
    return HighVacuumStates(fronts, field.backs, backing)


def front_states(
    field: Field,
    loads: Loads,
    requirements: Requirements,
    catalog: Catalog,
    known: InletTables | None = None,
) -> FrontStates | None:
    """Return the states of the fronts of a field by themselves; None for rough stacks."""
    inlet = known or inlet_tables(field.fronts, loads.species, requirements, catalog)
    if inlet is None:
        return None
    fronts = tuple(front for front in field.fronts if front is not None)
    return FrontStates(fronts, loads, requirements, inlet)


def _passing(ledgers: Mapping[MarginKey, Ledger], shape: tuple[int, int]) -> BoolArray:
    """Say which combinations no margin rules out so far."""
    passing = np.ones(shape, dtype=np.bool_)
    for ledger in ledgers.values():
        passing &= ~(np.broadcast_to(ledger.ratio, shape) < 1.0 - ROUNDING)
    return passing


def _only(ledger: Ledger, alive: BoolArray) -> Ledger:
    """Leave a timed margin out where the pump-down was not followed."""
    return Ledger(ledger.required, ledger.available, np.where(alive, ledger.ratio, np.nan))


def worst_of(
    ratios: Mapping[MarginKey, FloatArray], shape: tuple[int, ...]
) -> tuple[NDArray[np.intp], FloatArray, BoolArray]:
    """Return which margin is the worst, how large it is ÷ its threshold, and where any fails.

    Parameters
    ----------
    ratios : mapping of array
        Margins that broadcast to the shape; NaN: it does not apply. [-]
    shape : tuple of int
        Shape of the combinations, as that of what is returned.
    """
    worst_key = np.zeros(shape, dtype=np.intp)
    worst = np.full(shape, np.inf)
    fails = np.zeros(shape, dtype=np.bool_)
    for key, of_any_shape in ratios.items():
        ratio = np.broadcast_to(of_any_shape, shape)
        share = ratio / RULES[key].threshold
        smaller = share < worst  # NaN: does not apply, compares false
        if key in YES_OR_NO:
            smaller &= ratio < 1.0  # what is simply allowed is nobody's weakest point
        worst_key[smaller] = KEYS.index(key)
        worst = np.where(smaller, share, worst)
        fails |= ratio < 1.0 - ROUNDING
    return worst_key, worst, fails


def count_rejected(judged: Judged, members: IntArray | None = None) -> Counter[str]:
    """Return the rejected combinations by the margin that misses by most.

    Parameters
    ----------
    judged : Judged
        A field.
    members : array of int, shape (fronts,)
        How many fronts each of its fronts stands for; left out: one each.
    """
    counts: Counter[str] = Counter()
    for position in np.unique(judged.worst_key[judged.fails]):
        missing = judged.fails & (judged.worst_key == position)
        counts[KEYS[position].value] = count_fronts(missing, members)
    return counts


def count_fronts(chosen: BoolArray, members: IntArray | None = None) -> int:
    """Return how many combinations are chosen, each counted for all that its front stands for."""
    in_rows = np.count_nonzero(chosen, axis=1)
    return int(in_rows.sum() if members is None else in_rows @ members)
