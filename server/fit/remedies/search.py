"""The smallest step of a change at which a margin reaches its threshold."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from server.fit.remedies.matters import Change

BAND = 0.004
"""A margin at most this far (in ln) above its threshold counts as at it."""

NO_BAND = -1.0
"""A bracket is narrowed to the last step, whatever its passing end comes to."""

STEP = 1e-5
"""Where a margin jumps or all but jumps, the value is found to this share of itself."""

BOLD_TRIES = 2
"""So many values are tried towards the far end before the far end itself."""

_FAR = math.log(1e4)
"""Beyond it a gap tells only on which side of the threshold a margin lies."""

Gap = Callable[[float], float]
"""How far (in ln) a margin lies above its threshold at a value; below zero: below it."""


def gap_of(ratio: float) -> float:
    """Return ln of margin ÷ threshold: far away only its sign matters, it may be 0 or infinite."""
    return min(max(math.log(max(ratio, 1e-300)), -_FAR), _FAR)


def smallest(change: Change, gap_at: Gap, bound_at: Gap) -> float | None:
    """Return the value nearest to the present one at which a margin reaches its threshold.

    Most margins follow a power of what is changed over most of its range: where that power is one,
    the first value tried is the answer, elsewhere the two last ones tell the power. Where the bound
    fails, its own root is looked for first: no value before it needs a judgement.

    Parameters
    ----------
    change : Change
        What moves, and how far it may.
    gap_at : callable
        How far (in ln) the margin lies above its threshold at a value; below at the present one.
    bound_at : callable
        What is soon known, and lies below zero only where the margin fails.

    Returns
    -------
    float or None
        A value that was tried and passes: at most ``BAND`` above the threshold unless the margin
        jumps there. None where the far end does not pass.
    """
    if change.whole:
        return _smallest_count(change, gap_at)
    start, end = math.log(change.now), math.log(change.far)

    def value_at(place: float) -> float:
        return change.far if place == end else math.exp(place)

    @cache
    def judged(place: float) -> _Tried:
        return _Tried(place, gap_at(value_at(place)))

    @cache
    def bounded(place: float) -> _Tried:
        return _Tried(place, bound_at(value_at(place)))

    found = _passing(judged, bounded, start, end)
    return None if found is None else value_at(found.place)


@dataclass(frozen=True)
class _Tried:
    """A value tried, as its logarithm, and what came of it."""

    place: float
    gap: float

    @property
    def tells(self) -> bool:
        """Whether it tells how far away the threshold is."""
        return abs(self.gap) < _FAR


_Try = Callable[[float], _Tried]


def _passing(judged: _Try, bounded: _Try, start: float, end: float) -> _Tried | None:
    """Return the nearest value that passes; where the bound fails none does."""
    now = bounded(start)
    if now.gap < 0.0 and bounded(end).gap < 0.0:
        return None
    begin = judged(start)
    if now.gap < 0.0 and not begin.tells:
        ends = _bracket(bounded, now, end, NO_BAND)
        if ends is None:
            return None
        begin = judged(ends[1].place)
        if begin.gap >= 0.0:
            return _narrowed(judged, _Tried(ends[0].place, -_FAR), begin, BAND)[1]
        if begin.place == end:
            return None
    found = _bracket(judged, begin, end, BAND)
    return None if found is None else found[1]


def _bracket(
    try_at: _Try, failing: _Tried, end: float, band: float
) -> tuple[_Tried, _Tried] | None:
    """Return a failing and a passing value with the threshold between them; None without one."""
    aim = max(band, 0.0) / 2.0
    ahead: float | None = failing.place + math.copysign(aim - failing.gap, end - failing.place)
    for _ in range(BOLD_TRIES):
        if ahead is None or not 0.0 < (ahead - failing.place) / (end - failing.place) < 1.0:
            break
        bold = try_at(ahead)
        if bold.gap >= 0.0:
            return _narrowed(try_at, failing, bold, band)
        ahead, failing = _meeting(failing, bold, aim), bold
    last = try_at(end)
    return _narrowed(try_at, failing, last, band) if last.gap >= 0.0 else None


def _narrowed(try_at: _Try, failing: _Tried, passing: _Tried, band: float) -> tuple[_Tried, _Tried]:
    """Narrow a bracket until its passing end is in the band, or the function jumps in it."""
    aim = max(band, 0.0) / 2.0
    before, tried, slow = failing, passing, 0
    while passing.gap > band and (width := abs(passing.place - failing.place)) > STEP:
        ahead = None if slow >= _PATIENCE else _meeting(before, tried, aim)
        share = 0.5
        if ahead is not None:
            least = min(0.9 * STEP / width, 0.5)
            share = (ahead - failing.place) / (passing.place - failing.place)
            share = min(max(share, least), 1.0 - least) if 0.0 <= share <= 1.0 else 0.5
        before, tried = tried, try_at(failing.place + share * (passing.place - failing.place))
        if tried.gap < 0.0:
            failing = tried
        else:
            passing = tried
        slow = slow + 1 if abs(passing.place - failing.place) > 0.5 * width else 0
    return failing, passing


_PATIENCE = 3
"""After so many tries that did not halve the bracket the next one does."""


def _meeting(one: _Tried, two: _Tried, aim: float) -> float | None:
    """Return where the straight line through two tries comes to an aim; None where it tells not."""
    rise = two.gap - one.gap
    if rise == 0.0 or not (one.tells and two.tells):
        return None
    return two.place + (aim - two.gap) * (two.place - one.place) / rise


def _smallest_count(change: Change, gap_at: Gap) -> float | None:
    """Halve between a count that fails and one that passes."""
    failing, passing = round(change.now), round(change.far)
    if gap_at(float(passing)) < 0.0:
        return None
    while abs(passing - failing) > 1:
        middle = (passing + failing) // 2
        if gap_at(float(middle)) >= 0.0:
            passing = middle
        else:
            failing = middle
    return float(passing)
