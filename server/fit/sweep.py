"""Judge fields of any size, count, and find what ranks first.

A field of one block is judged as a whole. Of a larger one bounds decide most combinations
(``bounded``); of each set of pumps only what it costs and where its best combination stands is
kept, and the few that are shown are judged together at the end.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from server.catalog.items import Pump
from server.fit.alike import Groups
from server.fit.backing import BackTables, back_tables
from server.fit.bounded import Bounded
from server.fit.bounds import by_promise, hopeful_backs, hopeful_fronts
from server.fit.candidates import Back, Field, Front
from server.fit.classes import front_classes
from server.fit.costs import Purse
from server.fit.evaluation import (
    JUST_JUDGE,
    How,
    Judged,
    count_fronts,
    count_rejected,
    front_states,
    judge,
)
from server.fit.explain import Spot
from server.fit.front_states import FrontStates
from server.fit.level_falls import FrontFalls, front_falls
from server.fit.levels import MARGINAL, PASSES
from server.fit.loads import Loads
from server.fit.margins import STEADY_MARGINS
from server.fit.pump_sets import Block, Entries, PumpSets, codes_of, fits_code
from server.fit.ranking import Standing, ranked
from server.fit.states import HighVacuumStates
from server.physics.arrays import IntArray

MOST_COMBINATIONS = 70_000
"""So many are judged or bounded at once, in some hundred megabytes."""

MOST_BACKS = 2_000
"""Of so many backs the speeds are tabulated at once."""


@dataclass(frozen=True)
class Limits:
    """How much is held at once."""

    combinations: int = MOST_COMBINATIONS
    backs: int = MOST_BACKS


DEFAULT_LIMITS = Limits()


@dataclass(frozen=True)
class Portion:
    """Fronts of a field with some of its backs that may work together."""

    field: Field
    """These fronts and backs."""
    rows: IntArray
    columns: IntArray
    """Their positions in the whole field."""
    members: IntArray
    """How many fronts each of its fronts stands for."""
    alone: FrontStates | None
    """States of the fronts by themselves; None for rough stacks."""
    backing: BackTables


@dataclass(frozen=True)
class Prospect:
    """Some fronts with all their backs, to be judged by their steady margins if it is worth it."""

    ceiling: float
    """No combination has a smallest margin ÷ its threshold above this."""
    positions: IntArray
    """Where each front stands among the fronts of all fields."""
    judge: Callable[[], Iterable[Judged]]
    """Judge them, block by block."""


@dataclass(frozen=True)
class _Kept:
    """Combinations of a field that are judged: their positions in it, rising, and the judgement."""

    rows: IntArray
    columns: IntArray
    judged: Judged

    def spot(self, row: int, column: int) -> Spot:
        """Return the combination at a position in the field."""
        places = np.searchsorted(self.rows, row), np.searchsorted(self.columns, column)
        return Spot(self.judged, int(places[0]), int(places[1]))


class Sweep:
    """Judges field after field for one inquiry, counts, and remembers what may be shown."""

    def __init__(self, loads: Loads, purse: Purse, limits: Limits = DEFAULT_LIMITS) -> None:
        self.fields: list[Field] = []
        self.considered = self.fit = self.marginal = 0
        self.rejected: Counter[str] = Counter()
        self._limits = limits
        self._blocks = Blocks(loads, purse, limits)
        self._kept: dict[int, _Kept] = {}
        self._sets = PumpSets()
        self._kinds: dict[str, int] = {}
        pumps = sorted(pump.sku for pump in purse.catalog.of_type(Pump))
        self._number_of = {sku: place for place, sku in enumerate(("", *pumps))}

    def over(self, field: Field) -> None:
        """Judge all combinations of a field."""
        number = len(self.fields)
        self.fields.append(field)
        self.considered += field.considered
        self.rejected.update(field.refused)
        for portion in self._blocks.worth_judging(field, self.rejected):
            few = portion.field.size <= self._limits.combinations
            if portion.alone is None or (few and len(field.backs) <= self._limits.backs):
                self._judge(number, portion)
            else:
                self._bound(number, portion, self._blocks.falls(field, portion))

    def _judge(self, number: int, portion: Portion) -> None:
        """Judge a portion as a whole; where it is all of a field it is kept."""
        judged = self._blocks.judge(portion)
        self.rejected += count_rejected(judged, portion.members)
        self.fit += count_fronts(judged.fits, portion.members)
        self.marginal += count_fronts(judged.marginal, portion.members)
        total = judged.cost.total(self._blocks.horizon_years)
        codes = codes_of(judged.fits, judged.marginal, total)
        self._sets.add(self._block(number, portion), codes)
        if len(self.fields[number].backs) <= self._limits.backs:
            self._kept[number] = _Kept(portion.rows, portion.columns, judged)

    def _bound(self, number: int, portion: Portion, falls: FrontFalls) -> None:
        """Let bounds decide what they can of a portion, and judge the rest."""
        bounded = self._blocks.bounded(portion, falls)
        self.rejected += bounded.levels.failed
        self.fit += bounded.levels.count(PASSES)
        self.marginal += bounded.levels.count(MARGINAL)
        block = self._block(number, portion)
        for which, codes in bounded.codes():
            self._sets.add(block.only(which), codes)

    def _block(self, number: int, portion: Portion) -> Block:
        """Return which pumps the fronts of a portion and its backs are."""
        fronts = portion.field.fronts
        skus = Groups.by(front.pump.sku if front else "" for front in fronts)
        kinds = [_kind_on_chamber(fronts[place]) for place in skus.first]
        kind = [self._kinds.setdefault(name, len(self._kinds)) for name in kinds]
        pumps = Groups.by(back.skus[:2] for back in portion.field.backs)
        kinds_of = np.array(kind, dtype=np.intp)
        return Block(number, portion.rows, portion.columns, skus.of, pumps.of, kinds_of)

    def prospects(self) -> list[Prospect]:
        """Return all usable combinations, what may come nearest to fitting first."""
        found: list[Prospect] = []
        first = 0
        for field in self.fields:
            found += self._blocks.prospects(field, first)
            first += len(field.fronts)
        return sorted(found, key=lambda prospect: -prospect.ceiling)

    def ranking(self, limit: int) -> Ranking:
        """Return the first sets of pumps that work, and the first of each kind of main pump."""
        first, best = self._sets.codes_of_ranks(limit), self._sets.best_of_kinds()
        entries = self._sets.with_codes([*first.tolist(), *best.values()])
        spots = self._spots(entries)
        order = ranked(self._standing(entries, spots))
        shown = order[np.isin(entries.code[order], first)][:limit]
        names, kinds = {kind: name for name, kind in self._kinds.items()}, []
        for kind, code in best.items():
            equal = order[entries.code[order] == code]
            place = int(np.argmax(entries.kind[equal] == kind))
            rank = self._sets.before(code) + place + 1
            kinds.append(FirstOfKind(names[kind], rank, spots[equal[place]]))
        kinds.sort(key=lambda found: found.rank)
        return Ranking([spots[place] for place in shown], kinds)

    def _standing(self, entries: Entries, spots: Sequence[Spot]) -> Standing:
        """Return what the order of some combinations rests on."""
        pumps = np.array([self._name_number(spot) for spot in spots], dtype=np.int64)
        return Standing(
            fits=fits_code(entries.code),
            total_minor=entries.code,
            weakest_ratio=np.array([spot.at(spot.judged.worst_share) for spot in spots]),
            hardware=pumps,
            name_order=pumps,
        )

    def _name_number(self, spot: Spot) -> int:
        """Return a number that rises in the order of the pumps' SKUs."""
        known, count = self._number_of, len(self._number_of)
        front = known[spot.front.pump.sku if spot.front else ""]
        return (front * count + known[spot.back.skus[0]]) * count + known[spot.back.skus[1]]

    def _spots(self, entries: Entries) -> list[Spot]:
        """Return combinations as judged; those of fields that are not kept are judged now."""
        kept = dict(self._kept)
        for number in set(entries.number.tolist()) - kept.keys():
            own = entries.only(entries.number == number)
            rows, columns = np.unique(own.row), np.unique(own.column)
            field = part_of(self.fields[number], rows, columns)
            kept[number] = _Kept(rows, columns, self._blocks.judge_all(field))
        places = zip(
            entries.number.tolist(), entries.row.tolist(), entries.column.tolist(), strict=True
        )
        return [kept[number].spot(row, column) for number, row, column in places]


@dataclass(frozen=True)
class FirstOfKind:
    """The first stack with one kind of pump on the chamber."""

    kind: str
    rank: int
    """From 1."""
    spot: Spot


@dataclass(frozen=True)
class Ranking:
    """Sets of pumps that work, each once."""

    shown: Sequence[Spot]
    """The first ones in rank order."""
    kinds: Sequence[FirstOfKind]


ROUGH_KIND = "rough_vacuum"
"""Stacks without a high-vacuum pump."""


def _kind_on_chamber(front: Front | None) -> str:
    return ROUGH_KIND if front is None else front.pump.kind.value


class Blocks:
    """Cuts fields into blocks that are small enough to be judged at once."""

    def __init__(self, loads: Loads, purse: Purse, limits: Limits) -> None:
        self.purse = purse
        self._loads, self._limits = loads, limits
        self._tables: dict[tuple[tuple[str, str, str], ...], BackTables] = {}
        self._alone: dict[int, FrontStates | None] = {}
        """By the identity of their field, which the sweep holds."""
        self._falls: tuple[Field, FrontFalls] | None = None

    @property
    def horizon_years(self) -> float:
        """How long costs are counted."""
        return self.purse.requirements.commercial.horizon_years

    def judge(self, portion: Portion) -> Judged:
        """Judge a portion."""
        return self.judge_all(portion.field, How(fronts=portion.alone, backing=portion.backing))

    def judge_all(self, field: Field, how: How = JUST_JUDGE) -> Judged:
        """Judge all combinations of a field at once."""
        asked, catalog = self.purse.requirements, self.purse.catalog
        return judge(field, self._loads, asked, catalog, self.purse, how)

    def bounded(self, portion: Portion, falls: FrontFalls) -> Bounded:
        """Decide all combinations of a portion."""
        alone, backing, field = portion.alone, portion.backing, portion.field
        assert alone is not None  # noqa: S101 (rough stacks are judged as a whole)

        def judge_some(rows: IntArray, columns: IntArray) -> Judged:
            how = How(fronts=alone.only(rows), backing=backing.only(columns))
            return self.judge_all(part_of(field, rows, columns), how)

        states = HighVacuumStates(alone, field.backs, backing)
        most = self._limits.combinations
        bounded = Bounded(field, states, falls, portion.members, self.purse, most)
        bounded.decide(judge_some)
        return bounded

    def falls(self, field: Field, portion: Portion) -> FrontFalls:
        """Return the pump-downs of the fronts of a portion by themselves, once for a field."""
        assert portion.alone is not None  # noqa: S101 (rough stacks are judged as a whole)
        if self._falls is None or self._falls[0] is not field:
            self._falls = field, front_falls(portion.alone, self._loads, self.purse.requirements)
        return self._falls[1]

    def worth_judging(self, field: Field, rejected: Counter[str]) -> Iterator[Portion]:
        """Yield what no bound of a front or back rules out; what one does is counted.

        Of fronts that differ in the price of their fluid alone one stands for all.
        """
        rows, alone = np.arange(len(field.fronts)), self._front_states(field)
        members = np.ones(len(rows), dtype=np.intp)
        if alone is not None:
            rows, hopeless = hopeful_fronts(alone, len(field.backs))
            rejected += hopeless
            classes = front_classes(alone.only(rows), self.purse)
            rows, members = rows[classes.first], classes.members
            alone = alone.only(rows)
        for columns, whole in self._portions(field) if rows.size else ():
            kept, hopeless = hopeful_backs(
                part_of(field, rows, columns), whole, self._loads, self.purse.requirements
            )
            for key, backs in hopeless.items():
                rejected[key] += backs * int(members.sum())
            backing = whole.only(kept) if len(kept) < len(columns) else whole
            if kept.size:
                some = part_of(field, rows, columns[kept])
                yield Portion(some, rows, columns[kept], members, alone, backing)
            if len(columns) < len(field.backs):
                backing.let_go()
                whole.let_go()

    def prospects(self, field: Field, first: int) -> Iterator[Prospect]:
        """Yield every combination of a field; ``first`` is the position of its first front."""
        alone = self._front_states(field)
        for ceiling, rows in by_promise(field, alone):
            some = None if alone is None else alone.only(rows)
            yield Prospect(ceiling, first + rows, partial(self._steadily, field, rows, some))

    def _steadily(
        self, field: Field, rows: IntArray, alone: FrontStates | None
    ) -> Iterator[Judged]:
        """Judge some fronts with all backs by their steady margins."""
        for columns, tables in self._portions(field):
            most = max(1, self._limits.combinations // len(rows))
            for first in range(0, len(columns), most):
                some = np.arange(first, min(first + most, len(columns)))
                backing = tables.only(some) if len(some) < len(columns) else tables
                how = How(only=frozenset(STEADY_MARGINS), fronts=alone, backing=backing)
                yield self.judge_all(part_of(field, rows, columns[some]), how)

    def _front_states(self, field: Field) -> FrontStates | None:
        """Return the states of a field's fronts, solved once: remedies ask for them again."""
        if id(field) not in self._alone:
            asked, catalog = self.purse.requirements, self.purse.catalog
            self._alone[id(field)] = front_states(field, self._loads, asked, catalog)
        return self._alone[id(field)]

    def _portions(self, field: Field) -> Iterator[tuple[IntArray, BackTables]]:
        """Yield positions of backs with their tables, not too many at once.

        The backs of one backing pump stay together, so that each set of pumps has one portion.
        """
        skus = [back.backing.sku for back in field.backs]
        every, begin = np.arange(len(skus)), 0
        while begin < len(skus):
            end = min(begin + self._limits.backs, len(skus))
            while end < len(skus) and skus[end] == skus[end - 1]:
                end += 1
            yield every[begin:end], self._tables_of(field.backs[begin:end])
            begin = end

    def _tables_of(self, backs: tuple[Back, ...]) -> BackTables:
        """Return the tables of backs, made once where two fields in turn share them."""
        skus = tuple(back.skus for back in backs)
        if skus not in self._tables:
            asked, catalog = self.purse.requirements, self.purse.catalog
            made = back_tables(backs, self._loads.species, asked, catalog)
            held = sum(len(known.backs) for known in self._tables.values())
            if held + len(backs) > self._limits.backs:
                self._tables = {}
            self._tables[skus] = made
        return self._tables[skus]


def part_of(field: Field, rows: IntArray, columns: IntArray) -> Field:
    """Return some fronts of a field with some of its backs."""
    fronts = tuple(field.fronts[row] for row in rows)
    return Field(fronts, tuple(field.backs[column] for column in columns))
