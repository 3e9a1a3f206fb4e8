"""The best combination of each set of pumps, and where sets rank, whatever their number.

Of every set only the rank's first measure is held, a number that rises with the cost, those with a
marginal margin after all that fit; and where the set's best combination stands. Equal ones, which
the weakest margin orders, are told apart when they are asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.physics.arrays import BoolArray, IntArray

Codes = NDArray[np.int64]

NEVER = np.iinfo(np.int64).max
"""Stands for what does not work."""

_MARGINAL = 1 << 60


def codes_of(fits: BoolArray, marginal: BoolArray, total_minor: Codes) -> Codes:
    """Return the measure of combinations: cost, marginal ones behind all that fit."""
    worse = np.where(marginal, total_minor + _MARGINAL, NEVER)
    return np.where(fits, total_minor, worse)


def fits_code(code: Codes) -> BoolArray:
    """Say which measures are those of combinations that fit."""
    return np.asarray(code < _MARGINAL)


@dataclass(frozen=True)
class Block:
    """Which pumps the combinations of a block consist of."""

    number: int
    """Of its field."""
    rows: IntArray
    columns: IntArray
    """Positions in the field."""
    front_set: IntArray
    """Same number, same high-vacuum pump; shape (rows,)."""
    back_set: IntArray
    """Same number, same backing pump and booster; shape (columns,)."""
    kind_of_set: IntArray
    """Kind of pump on the chamber of each front set, by its number."""

    def only(self, rows: IntArray) -> Block:
        """Return the block of some of its rows."""
        return replace(self, rows=self.rows[rows], front_set=self.front_set[rows])


@dataclass(frozen=True)
class Entries:
    """The best combinations of sets: their measures and where they stand; arrays of one length."""

    code: Codes
    number: IntArray
    row: IntArray
    column: IntArray
    kind: IntArray

    def only(self, chosen: BoolArray) -> Entries:
        """Return some of the entries."""
        return Entries(*(getattr(self, name)[chosen] for name in Entries.__dataclass_fields__))


class PumpSets:
    """Collects the sets of pumps of block after block; none stands in two of them."""

    def __init__(self) -> None:
        self._firsts: list[Entries] = []
        self._others: list[Entries] = []
        """Combinations of a set that are as good as its first."""

    def add(self, block: Block, codes: Codes) -> None:
        """Take the best of each set of pumps of a block, shape (rows, columns)."""
        _, front = np.unique(block.front_set, return_inverse=True)
        best = _least_of_sets(codes, front, block.back_set)
        is_best = codes == best[front][:, block.back_set]
        row, column = np.nonzero(is_best & (codes != NEVER))
        sets = front[row] * (1 + int(block.back_set.max(initial=0)))
        sets += block.back_set[column]
        first = np.zeros(len(row), dtype=np.bool_)
        first[np.unique(sets, return_index=True)[1]] = True
        found = Entries(
            codes[row, column],
            np.full(len(row), block.number, dtype=np.int16),
            block.rows[row].astype(np.int32),
            block.columns[column].astype(np.int32),
            block.kind_of_set[block.front_set[row]].astype(np.int8),
        )
        self._firsts.append(found.only(first))
        self._others.append(found.only(~first))

    def codes_of_ranks(self, count: int) -> Codes:
        """Return the measures of the first so many ranks, or of all where there are fewer."""
        codes = self._codes()
        count = min(count, len(codes))
        return np.sort(np.partition(codes, count - 1)[:count]) if count else codes[:0]

    def best_of_kinds(self) -> dict[int, int]:
        """Return the best measure of each kind of pump on the chamber."""
        best: dict[int, int] = {}
        for part in self._firsts:
            for kind in np.unique(part.kind).tolist():
                least = int(part.code[part.kind == kind].min())
                best[kind] = min(least, best.get(kind, NEVER))
        return best

    def before(self, code: int) -> int:
        """Return how many sets have a smaller measure."""
        return sum(int(np.count_nonzero(part.code < code)) for part in self._firsts)

    def with_codes(self, codes: Sequence[int]) -> Entries:
        """Return all combinations with some measures, those that are as good as the first too."""
        wanted = np.unique(np.array(codes, dtype=np.int64))
        nothing = Entries(*np.zeros((5, 0), dtype=np.int64))
        every = (nothing, *self._firsts, *self._others)
        parts = [part.only(np.isin(part.code, wanted)) for part in every]
        names = Entries.__dataclass_fields__
        return Entries(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))

    def _codes(self) -> Codes:
        nothing = np.zeros(0, dtype=np.int64)
        return np.concatenate([nothing, *(part.code for part in self._firsts)])


def _least_of_sets(codes: Codes, front_set: IntArray, back_set: IntArray) -> Codes:
    """Return the least measure of each set, shape (front sets, back sets)."""
    columns, rows = (np.argsort(sets, kind="stable") for sets in (back_set, front_set))
    by_back = np.minimum.reduceat(codes[:, columns], _begins(back_set[columns]), axis=1)
    return np.asarray(np.minimum.reduceat(by_back[rows], _begins(front_set[rows]), axis=0))


def _begins(sorted_sets: IntArray) -> IntArray:
    return np.flatnonzero(np.diff(sorted_sets, prepend=-1))
