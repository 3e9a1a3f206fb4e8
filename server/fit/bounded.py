"""Fronts with the backs of one portion: most decided by bounds, the others judged exactly.

What the bounds of the steady margins leave open, next to nothing, is judged as any field is; where
the bounds of the pump-down do, the combination is followed. So every level is exact, and the
numbers behind it are there for the few that were judged alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from server.fit.candidates import Field
from server.fit.case import Case
from server.fit.costs import Purse
from server.fit.cycle_times import Days
from server.fit.decided import Decided
from server.fit.evaluation import Judged, worst_of
from server.fit.level_falls import FrontFalls
from server.fit.levels import FAILS, MARGINAL, PASSES, LevelArray, Levels, Span, span_of
from server.fit.margins import TIMED_MARGINS, budget
from server.fit.money import minor_digits
from server.fit.pump_sets import Codes, codes_of
from server.fit.results import MarginKey
from server.fit.settled import let_go
from server.fit.states import HighVacuumStates
from server.fit.thresholds import ROUNDING
from server.physics.arrays import BoolArray, FloatArray, IntArray

JudgeSome = Callable[[IntArray, IntArray], Judged]
"""Judges some of the fronts with some of the backs."""

_OPEN = 255
"""In the place of a level that the bounds leave open."""


class Bounded:
    """Decides all combinations of some fronts and backs, so many at once.

    Parameters
    ----------
    field : Field
        The fronts and the backs.
    states : HighVacuumStates
        Their states.
    falls : FrontFalls
        The fronts' pump-downs by themselves.
    members : array of int, shape (fronts,)
        How many fronts each stands for.
    purse : Purse
        Prices.
    most : int
        So many combinations are looked at in one go.
    """

    def __init__(
        self,
        field: Field,
        states: HighVacuumStates,
        falls: FrontFalls,
        members: IntArray,
        purse: Purse,
        most: int,
    ) -> None:
        self._field, self._states, self._purse, self._most = field, states, purse, most
        self._decided = Decided(states, falls)
        self.levels = Levels.open(members, len(field.backs))
        self._beside_time = np.full(self.levels.least.shape, _OPEN, dtype=np.uint8)
        """Level by all margins but those of time, where it is sure."""
        for rows in self._slices():
            self._narrow(rows)
        self._parts = purse.parts(field, self.levels.most != FAILS)
        for rows in self._slices():
            self._price(rows)

    def decide(self, judge: JudgeSome) -> None:
        """Find the level of what the bounds leave open."""
        self._follow()
        self._judge(judge)

    def codes(self) -> Iterator[tuple[IntArray, Codes]]:
        """Yield fronts with the measures of their combinations, see ``pump_sets``."""
        horizon = self._purse.requirements.commercial.horizon_years
        for rows in self._slices():
            which, level = np.arange(rows.start, rows.stop), self.levels.least[rows]
            total = self._parts.table(which).total(horizon)
            yield which, codes_of(level == PASSES, level == MARGINAL, total)

    def _slices(self) -> Iterator[slice]:
        """Yield runs of rows; the fronts of one pump stay together."""
        skus = [front.pump.sku for front in self._states.fronts]
        ends = [row for row in range(1, len(skus)) if skus[row] != skus[row - 1]] + [len(skus)]
        many, begin = max(1, self._most // len(self._field.backs)), 0
        for end, following in zip(ends, [*ends[1:], None], strict=True):
            if following is None or following - begin > many:
                yield slice(begin, end)
                begin = end

    def _narrow(self, rows: slice) -> None:
        levels, which = self.levels.of(rows), np.arange(rows.start, rows.stop)
        self._decided.narrow_steady(levels, which)
        self._beside_time[rows] = np.where(levels.undecided, np.uint8(_OPEN), levels.least)
        self._decided.narrow_timed(levels, which)

    def _price(self, rows: slice) -> None:
        levels, which = self.levels.of(rows), np.arange(rows.start, rows.stop)
        cost = self._parts.table(which)
        self._hold(rows, levels, MarginKey.COMPATIBILITY, _joined(cost.open_joints))
        if self._purse.requirements.commercial.budget is not None:
            case = self._decided.case_of(which)
            purchase = cost.purchase / float(10 ** minor_digits(self._purse.catalog.currency))
            found = budget(replace(case, purchase=purchase))
            if found is not None:
                self._hold(rows, levels, MarginKey.BUDGET, span_of(MarginKey.BUDGET, found.ratio))

    def _hold(self, rows: slice, levels: Levels, key: MarginKey, span: Span) -> None:
        """Narrow by a margin that rests on the parts."""
        levels.hold(key, span)
        beside = self._beside_time[rows]
        known = (span.least == span.most) & (beside != _OPEN)
        beside[:] = np.where(known, np.minimum(beside, span.least), np.uint8(_OPEN))

    def _follow(self) -> None:
        """Follow the pump-down of what nothing else leaves open."""
        open_in_time = self.levels.undecided & (self._beside_time != _OPEN)
        rows, columns = np.nonzero(open_in_time)
        if not rows.size:
            return
        chosen, days = (rows, columns), self._decided.days((rows, columns))
        worst_key, worst_share, fails = _timed(days)
        level = np.minimum(_level(fails, worst_share), self._beside_time[chosen])
        self.levels.settle(chosen, level, worst_key)
        _let_go(days.case)

    def _judge(self, judge: JudgeSome) -> None:
        """Judge what the bounds of a steady margin or of the price leave open."""
        rows, columns = np.nonzero(self.levels.undecided)
        if not rows.size:
            return
        fronts = np.unique(rows)
        backs = np.unique(columns)
        many = max(1, self._most // len(fronts))
        for begin in range(0, len(backs), many):
            some = backs[begin : begin + many]
            wanted = np.isin(columns, some)
            judged = judge(fronts, some)
            place = np.searchsorted(fronts, rows[wanted]), np.searchsorted(some, columns[wanted])
            level = _level(judged.fails[place], judged.worst_share[place])
            chosen = (rows[wanted], columns[wanted])
            self.levels.settle(chosen, level, judged.worst_key[place])
            _let_go(judged.case)


def _joined(open_joints: BoolArray) -> Span:
    level = np.where(open_joints, np.uint8(FAILS), np.uint8(PASSES))
    return Span(level, level)


def _timed(days: Days) -> tuple[IntArray, FloatArray, BoolArray]:
    """Return ``worst_of`` the margins of time of the combinations that were followed."""
    found = {key: margin(days) for key, margin in TIMED_MARGINS.items()}
    ratios = {key: led.ratio[days.chosen] for key, led in found.items() if led is not None}
    return worst_of(ratios, days.chosen[0].shape)


def _level(fails: BoolArray, worst_share: FloatArray) -> LevelArray:
    """Return the levels of combinations that were judged."""
    passes = np.where(worst_share >= 1.0 - ROUNDING, np.uint8(PASSES), np.uint8(MARGINAL))
    return np.where(fails, np.uint8(FAILS), passes)


def _let_go(case: Case) -> None:
    """Forget states and tables of a case of its own."""
    let_go(case.states)
    case.states.backing.let_go()
