"""Judge fields of any size block by block, and keep of each block what the ranking needs.

A block is all the fronts of a field with some of its backs. Of a field that is one block the
judgement is kept; of larger ones only the best combination of each set of pumps, and the few that
are shown are judged again, together.
"""

from __future__ import annotations

import gc
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from server.catalog.items import Pump
from server.fit.backing import BackTables, back_tables
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
from server.fit.loads import Loads
from server.fit.margins import STEADY_MARGINS
from server.fit.ranking import Standing, ranked
from server.fit.settled import let_go
from server.physics.arrays import IntArray

MOST_COMBINATIONS = 70_000
"""So many are judged at once, most with a pump-down of their own: some hundred megabytes."""

MOST_BACKS = 2_000
"""Of so many backs the speeds are tabulated at once."""


@dataclass(frozen=True)
class Limits:
    """How much is held at once."""

    combinations: int = MOST_COMBINATIONS
    backs: int = MOST_BACKS


DEFAULT_LIMITS = Limits()


@dataclass(frozen=True)
class Block:
    """Fronts of a field with some of its backs, and their positions in it."""

    field: Field
    rows: IntArray
    columns: IntArray
    members: IntArray
    """How many fronts each of its fronts stands for."""
    how: How
    is_whole: bool
    """Whether nothing else of the field is left to be judged."""


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
class Best:
    """The best combination of each set of pumps; arrays of one entry each."""

    rows: IntArray
    columns: IntArray
    standing: Standing


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
        self._blocks = Blocks(loads, purse, limits)
        self._kept: dict[int, _Kept] = {}
        self._best: list[tuple[int, Best]] = []
        pumps = sorted(pump.sku for pump in purse.catalog.of_type(Pump))
        self._number_of = {sku: place for place, sku in enumerate(("", *pumps))}

    def over(self, field: Field) -> None:
        """Judge all combinations of a field."""
        number = len(self.fields)
        self.fields.append(field)
        self.considered += field.considered
        self.rejected.update(field.refused)
        for block in self._blocks.worth_judging(field, self.rejected):
            self._take(number, block)

    def _take(self, number: int, block: Block) -> None:
        """Judge a block, count, and keep what may be shown."""
        judged = self._blocks.judge(block)
        self.rejected += count_rejected(judged, block.members)
        self.fit += count_fronts(judged.fits, block.members)
        self.marginal += count_fronts(judged.marginal, block.members)
        self._best.append((number, self._best_of(block, judged)))
        if block.is_whole:
            self._kept[number] = _Kept(block.rows, block.columns, judged)
        else:
            let_go(judged.case.states)

    def prospects(self) -> list[Prospect]:
        """Return all usable combinations, what may come nearest to fitting first."""
        found: list[Prospect] = []
        first = 0
        for field in self.fields:
            found += self._blocks.prospects(field, first)
            first += len(field.fronts)
        return sorted(found, key=lambda prospect: -prospect.ceiling)

    def ranking(self) -> Ranking:
        """Return all sets of pumps that work, the best first."""
        found = [
            np.stack([np.full(len(best.rows), number), best.rows, best.columns])
            for number, best in self._best
        ]
        if not found:
            return Ranking(self, np.zeros((3, 0), dtype=np.intp))
        places = np.concatenate(found, axis=1)
        # what is equal in all else keeps the order of its field, however that was cut into blocks
        as_formed = np.lexsort(places[::-1])
        standing = Standing.joined([best.standing for _, best in self._best]).only(as_formed)
        return Ranking(self, places[:, as_formed[ranked(standing)]])

    def spots(self, places: Sequence[tuple[int, int, int]]) -> list[Spot]:
        """Return combinations by field, row and column; those not kept are judged once more."""
        kept = dict(self._kept)
        for number in {number for number, *_ in places} - kept.keys():
            pairs = [(row, column) for own, row, column in places if own == number]
            rows, columns = (np.unique(which) for which in np.transpose(pairs))
            field = part_of(self.fields[number], rows, columns)
            kept[number] = _Kept(rows, columns, self._blocks.judge_all(field))
        return [kept[number].spot(row, column) for number, row, column in places]

    def _best_of(self, block: Block, judged: Judged) -> Best:
        rows, columns = np.nonzero(judged.fits | judged.marginal)
        total = judged.cost.total(self._blocks.purse.requirements.commercial.horizon_years)
        pumps = self._fronts_named(block.field)[rows] + self._backs_named(block.field)[columns]
        standing = Standing(
            fits=judged.fits[rows, columns],
            total_minor=total[rows, columns],
            weakest_ratio=judged.worst_share[rows, columns],
            hardware=pumps,
            name_order=pumps,
        )
        first = ranked(standing)
        return Best(block.rows[rows[first]], block.columns[columns[first]], standing.only(first))

    def _fronts_named(self, field: Field) -> IntArray:
        """Return numbers that rise in the order of the fronts' SKUs, shape (fronts,)."""
        names = [self._number_of[front.pump.sku if front else ""] for front in field.fronts]
        return np.array(names, dtype=np.int64) * len(self._number_of) ** 2

    def _backs_named(self, field: Field) -> IntArray:
        """Return numbers below those of any front, in the order of the backs' SKUs."""
        known, count = self._number_of, len(self._number_of)
        names = [known[back.skus[0]] * count + known[back.skus[1]] for back in field.backs]
        return np.array(names, dtype=np.int64)


@dataclass(frozen=True)
class Ranking:
    """Every set of pumps that works once, in rank order: field, row, column, shape (3, ranks)."""

    sweep: Sweep
    places: IntArray

    def __len__(self) -> int:
        return int(self.places.shape[1])

    def spots(self, ranks: Iterable[int]) -> list[Spot]:
        """Return the combinations at some ranks, counted from 0."""
        wanted = self.places[:, list(ranks)].T.tolist()
        return self.sweep.spots([(number, row, column) for number, row, column in wanted])

    def fronts(self) -> tuple[list[Front | None], IntArray]:
        """Return the fronts of all fields, and which of them stands at each rank."""
        fields = self.sweep.fields
        first = np.cumsum([0, *(len(field.fronts) for field in fields)])
        all_fronts = [front for field in fields for front in field.fronts]
        return all_fronts, np.asarray(first[self.places[0]] + self.places[1])


class Blocks:
    """Cuts fields into blocks that are small enough to be judged at once."""

    def __init__(self, loads: Loads, purse: Purse, limits: Limits) -> None:
        self.purse = purse
        self._loads, self._limits = loads, limits
        self._tables: dict[tuple[tuple[str, str, str], ...], BackTables] = {}
        self._alone: dict[int, FrontStates | None] = {}
        """By the identity of their field, which the sweep holds."""

    def judge(self, block: Block) -> Judged:
        """Judge a block."""
        return self.judge_all(block.field, block.how)

    def judge_all(self, field: Field, how: How = JUST_JUDGE) -> Judged:
        """Judge all combinations of a field at once."""
        asked, catalog = self.purse.requirements, self.purse.catalog
        return judge(field, self._loads, asked, catalog, self.purse, how)

    def worth_judging(self, field: Field, rejected: Counter[str]) -> Iterator[Block]:
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
        for portion, whole in self._portions(field) if rows.size else ():
            kept, hopeless = hopeful_backs(
                part_of(field, rows, portion), whole, self._loads, self.purse.requirements
            )
            for key, backs in hopeless.items():
                rejected[key] += backs * int(members.sum())
            is_cut = len(kept) < len(portion)
            how = How(fronts=alone, backing=whole.only(kept) if is_cut else whole)
            yield from self._cut(field, rows, portion[kept], how, members)
            if len(portion) < len(field.backs):
                # tables and what makes them refer to each other: memory waits for no collector
                gc.collect()

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
            how = How(only=frozenset(STEADY_MARGINS), fronts=alone, backing=tables)
            members = np.ones(len(rows), dtype=np.intp)
            for block in self._cut(field, rows, columns, how, members):
                yield self.judge(block)

    def _front_states(self, field: Field) -> FrontStates | None:
        """Return the states of a field's fronts, solved once: remedies ask for them again."""
        if id(field) not in self._alone:
            asked, catalog = self.purse.requirements, self.purse.catalog
            self._alone[id(field)] = front_states(field, self._loads, asked, catalog)
        return self._alone[id(field)]

    def _portions(self, field: Field) -> Iterator[tuple[IntArray, BackTables]]:
        """Yield positions of backs with their tables, not too many at once."""
        every, most = np.arange(len(field.backs)), self._limits.backs
        for first in range(0, len(every), most):
            columns = every[first : first + most]
            yield columns, self._tables_of(tuple(field.backs[place] for place in columns))

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

    def _cut(
        self, field: Field, rows: IntArray, columns: IntArray, how: How, members: IntArray
    ) -> Iterator[Block]:
        """Yield the combinations of some fronts and backs with the tables of exactly these."""
        most = max(1, self._limits.combinations // len(rows))
        tables = how.backing
        for first in range(0, len(columns), most):
            some = np.arange(first, min(first + most, len(columns)))
            is_part = len(some) < len(columns)
            part = replace(how, backing=tables.only(some)) if is_part and tables else how
            where = columns[some]
            is_whole = not is_part and len(field.backs) <= self._limits.backs
            yield Block(part_of(field, rows, where), rows, where, members, part, is_whole)


def part_of(field: Field, rows: IntArray, columns: IntArray) -> Field:
    """Return some fronts of a field with some of its backs."""
    fronts = tuple(field.fronts[row] for row in rows)
    return Field(fronts, tuple(field.backs[column] for column in columns))
