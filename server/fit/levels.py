"""How far combinations get, as far as bounds tell: between a least and a most level.

A combination is at the level of its worst margin. What bounds leave open between two levels, and
what lies within a hair of a border, is left to be judged exactly.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.fit.evaluation import KEYS
from server.fit.results import MarginKey
from server.fit.thresholds import RULES
from server.physics.arrays import BoolArray, FloatArray, IntArray

LevelArray = NDArray[np.uint8]

FAILS, MARGINAL, PASSES = 0, 1, 2

CLOSE = 1e-5
"""Ratios this near to a border are open: far above the rounding of roots, far below notice."""


@dataclass(frozen=True)
class Span:
    """Least and most level; arrays that broadcast to (fronts, backs)."""

    least: LevelArray
    most: LevelArray

    def at_rows(self, rows: IntArray) -> Span:
        """Return the levels of some rows, in the order asked for."""
        return Span(self.least[rows], self.most[rows])


def span_of(key: MarginKey, lowest: FloatArray, highest: FloatArray | None = None) -> Span:
    """Return the levels of a margin between two ratios, or at one; NaN: it does not apply."""
    upper = lowest if highest is None else highest
    borders = (1.0, RULES[key].threshold)
    # a comparison with NaN is false, so that what does not apply falls short of no border
    least = sum((~(lowest < border * (1.0 + CLOSE)) for border in borders), np.uint8(FAILS))
    most = sum((~(upper < border * (1.0 - CLOSE)) for border in borders), np.uint8(FAILS))
    return Span(np.asarray(least, np.uint8), np.asarray(most, np.uint8))


def span_of_steps(works: FloatArray, passes: FloatArray) -> Span:
    """Return the levels of a margin from the ratios at what works and at what passes."""
    return Span(
        _steps(works >= 1.0 + CLOSE, passes >= 1.0 + CLOSE),
        _steps(works >= 1.0 - CLOSE, passes >= 1.0 - CLOSE),
    )


def _steps(works: BoolArray, passes: BoolArray) -> LevelArray:
    # what passes works: rounding must not leave the second without the first
    return np.asarray(works.view(np.uint8) + (works & passes).view(np.uint8))


def both(one: Span, other: Span) -> Span:
    """Return the levels of the worse of two margins."""
    return Span(np.minimum(one.least, other.least), np.minimum(one.most, other.most))


def open_where(unknown: BoolArray, span: Span) -> Span:
    """Return levels that say nothing where a bound does not hold."""
    if not unknown.any():
        return span
    return Span(
        np.where(unknown, np.uint8(FAILS), span.least),
        np.where(unknown, np.uint8(PASSES), span.most),
    )


@dataclass(frozen=True)
class Levels:
    """The levels of combinations, narrowed margin by margin in place; shape (fronts, backs)."""

    least: LevelArray
    most: LevelArray
    members: IntArray
    """How many fronts each row stands for."""
    failed: Counter[str]
    """Combinations that surely fail, by the first margin that says so."""

    @classmethod
    def open(cls, members: IntArray, backs: int) -> Levels:
        """Return levels of which nothing is known yet."""
        passes = np.full((len(members), backs), PASSES, dtype=np.uint8)
        return cls(passes, passes.copy(), members, Counter())

    def of(self, rows: slice) -> Levels:
        """Return the levels of some rows; what narrows them narrows these."""
        return Levels(self.least[rows], self.most[rows], self.members[rows], self.failed)

    def hold(self, key: MarginKey, span: Span | None) -> None:
        """Narrow by a margin; None: it does not apply."""
        if span is None:
            return
        np.minimum(self.least, span.least, out=self.least)
        if (span.most == PASSES).all():
            return
        lost = (span.most == FAILS) & (self.most != FAILS)
        np.minimum(self.most, span.most, out=self.most)
        count = int(np.count_nonzero(lost, axis=1) @ self.members)
        if count:
            self.failed[key.value] += count

    def settle(self, chosen: tuple[IntArray, IntArray], level: LevelArray, worst: IntArray) -> None:
        """Set the levels of combinations that were judged, and count by which margin they fail.

        Parameters
        ----------
        chosen : pair of int arrays, shape (n,)
            Front and back of each.
        level : array of int, shape (n,)
            Their levels.
        worst : array of int, shape (n,)
            Position in ``MarginKey`` of the margin that misses by most.
        """
        self.least[chosen] = self.most[chosen] = level
        failed = level == FAILS
        missing = np.bincount(worst[failed], self.members[chosen[0][failed]])
        for place in np.flatnonzero(missing):
            self.failed[KEYS[place].value] += int(missing[place])

    @property
    def undecided(self) -> BoolArray:
        """Where the bounds leave more than one level."""
        return np.asarray((self.least != self.most) & (self.most != FAILS))

    def count(self, level: int) -> int:
        """Return how many combinations are at a level for sure."""
        return int(np.count_nonzero(self.least == level, axis=1) @ self.members)
