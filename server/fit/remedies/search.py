"""The smallest step of a change at which a margin reaches its threshold."""

from __future__ import annotations

import math
from collections.abc import Callable

from server.fit.remedies.matters import Change
from server.fit.thresholds import ROUNDING
from server.physics.roots import root_between

BAND = 0.004
"""A margin at most this far (in ln) above its threshold counts as at it."""

STEP = 1e-5
"""Where a margin jumps or all but jumps, the value is found to this share of itself."""


def smallest(change: Change, share_at: Callable[[float], float], share_now: float) -> float | None:
    """Return the value nearest to the present one at which a margin reaches its threshold.

    Most margins follow a power of what is changed over most of its range: where that power is one,
    the first value tried is the answer, and elsewhere it narrows the bracket.

    Parameters
    ----------
    change : Change
        What moves, and how far it may.
    share_at : callable
        Margin ÷ threshold at a value.
    share_now : float
        The same at the present value, below 1.

    Returns
    -------
    float or None
        A value that was tried and passes: at most ``BAND`` above the threshold unless the margin
        jumps there. None where the far end does not pass.
    """
    if change.whole:
        return _smallest_count(change, share_at)
    start, end = math.log(change.now), math.log(change.far)
    tried: dict[float, float] = {start: share_now}

    def excess(ln_value: float) -> float:
        if ln_value not in tried:
            tried[ln_value] = share_at(math.exp(ln_value))
        gap = _gap(tried[ln_value])
        return 0.0 if 0.0 <= gap <= BAND else gap - BAND / 2.0

    guess = start + math.copysign(BAND / 2.0 - _gap(share_now), end - start)
    low, high = start, end
    if abs(guess - start) < abs(end - start):
        low, high = (start, guess) if excess(guess) >= 0.0 else (guess, end)
    if excess(high) < 0.0:
        return None
    root_between(excess, low, high, within=STEP)
    passing = [x for x, share in tried.items() if share >= 1.0 - ROUNDING]
    nearest = min(passing, key=lambda x: abs(x - start))
    return change.far if nearest == end else math.exp(nearest)


def _gap(share: float) -> float:
    """Return ln(margin ÷ threshold): far away only its sign matters, it may be 0 or infinite."""
    return math.log(min(max(share, 1e-4), 1e4))


def _smallest_count(change: Change, share_at: Callable[[float], float]) -> float | None:
    """Halve between a count that fails and one that passes."""
    failing, passing = round(change.now), round(change.far)
    if share_at(float(passing)) < 1.0 - ROUNDING:
        return None
    while abs(passing - failing) > 1:
        middle = (passing + failing) // 2
        if share_at(float(middle)) >= 1.0 - ROUNDING:
            passing = middle
        else:
            failing = middle
    return float(passing)
