"""Judge every combination of a field: states, margins, pump-down, cost; and count what fails why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.catalog.items import Catalog
from server.fit.candidates import Back, Field, Front
from server.fit.costs import CostTable, Purse
from server.fit.evacuation import Evacuation, evacuate
from server.fit.loads import Loads
from server.fit.money import minor_digits
from server.fit.margins import STEADY_MARGINS, TIMED_MARGINS, Case, Ledger
from server.fit.requirements import Requirements
from server.fit.results import MarginKey
from server.fit.states import field_states
from server.fit.thresholds import RULES
from server.physics.arrays import BoolArray, FloatArray, IntArray

ROUNDING = 1e-9
"""Ratios this close to a threshold count as at it."""


@dataclass(frozen=True)
class Judged:
    """A field with its margins; arrays have shape (fronts, backs)."""

    case: Case
    cost: CostTable
    ledgers: Mapping[MarginKey, Ledger]
    evacuation: Evacuation
    """Of the combinations in ``chosen``, which no steady margin rules out."""
    chosen: tuple[IntArray, IntArray]
    time_s: FloatArray
    """Pump-down time of all combinations; infinite for those not followed."""
    worst_key: NDArray[np.intp]
    """Position in ``MarginKey`` of the smallest margin ÷ threshold."""
    worst_share: FloatArray
    """Smallest margin ÷ its threshold."""
    fails: BoolArray

    @property
    def fits(self) -> BoolArray:
        """Where every margin passes."""
        return np.asarray(~self.fails & (self.worst_share >= 1.0 - ROUNDING))

    @property
    def marginal(self) -> BoolArray:
        """Where no margin fails but one does not pass."""
        return np.asarray(~self.fails & ~self.fits)


KEYS = tuple(MarginKey)


def judge(
    field: Field,
    loads: Loads,
    requirements: Requirements,
    catalog: Catalog,
    purse: Purse,
    *,
    follow_all: bool = False,
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
    follow_all : bool
        Follow the pump-down of combinations that a steady margin rules out as well.
    """
    cost = purse.table(field)
    states = field_states(field.fronts, field.backs, loads, requirements, catalog)
    purchase = cost.purchase / float(10 ** minor_digits(catalog.currency))
    case = Case(field, loads, requirements, states, purchase, cost.open_joints)
    shape = (len(field.fronts), len(field.backs))
    ledgers: dict[MarginKey, Ledger] = {}
    for key, steady in STEADY_MARGINS.items():
        ledger = steady(case)
        if ledger is not None:
            ledgers[key] = ledger
    alive = np.ones(shape, dtype=np.bool_)
    if not follow_all:
        for ledger in ledgers.values():
            alive &= ~(np.broadcast_to(ledger.ratio, shape) < 1.0 - ROUNDING)
    front_rows, back_rows = np.nonzero(alive)
    chosen = (front_rows, back_rows)
    evacuation = evacuate(field.fronts, field.backs, states, loads, requirements, chosen)
    time = np.full(shape, np.inf)
    time[alive] = evacuation.time_s
    for key, timed in TIMED_MARGINS.items():
        ledger = timed(case, time)
        if ledger is not None:
            ledgers[key] = _only(ledger, alive)
    worst_key, worst_share, fails = _worst(ledgers, shape)
    return Judged(case, cost, ledgers, evacuation, chosen, time, worst_key, worst_share, fails)


def _only(ledger: Ledger, alive: BoolArray) -> Ledger:
    """Leave a timed margin out where the pump-down was not followed."""
    return Ledger(ledger.required, ledger.available, np.where(alive, ledger.ratio, np.nan))


def _worst(
    ledgers: Mapping[MarginKey, Ledger], shape: tuple[int, int]
) -> tuple[NDArray[np.intp], FloatArray, BoolArray]:
    worst_key = np.zeros(shape, dtype=np.intp)
    worst = np.full(shape, np.inf)
    fails = np.zeros(shape, dtype=np.bool_)
    for key, ledger in ledgers.items():
        ratio = np.broadcast_to(ledger.ratio, shape)
        share = ratio / RULES[key].threshold
        smaller = share < worst  # NaN: does not apply, compares false
        worst_key[smaller] = KEYS.index(key)
        worst = np.where(smaller, share, worst)
        fails |= ratio < 1.0 - ROUNDING
    return worst_key, worst, fails


def without_refused(field: Field) -> tuple[Field, Counter[str]]:
    """Return the field without fronts and backs ruled out by themselves, and what they took along.

    Every combination is counted once: under its front's reason, else its back's.
    """
    counts: Counter[str] = Counter()
    fronts: list[Front | None] = []
    for front in field.fronts:
        if front is not None and front.refusal is not None:
            counts[front.refusal.key.value] += len(field.backs)
        else:
            fronts.append(front)
    backs: list[Back] = []
    for back in field.backs:
        if back.refusal is not None:
            counts[back.refusal.key.value] += len(fronts)
        else:
            backs.append(back)
    return Field(tuple(fronts), tuple(backs)), counts


def count_rejected(judged: Judged) -> Counter[str]:
    """Return the rejected combinations by the margin that misses by most."""
    positions, numbers = np.unique(judged.worst_key[judged.fails], return_counts=True)
    return Counter(
        {
            KEYS[position].value: int(number)
            for position, number in zip(positions, numbers, strict=True)
        }
    )
