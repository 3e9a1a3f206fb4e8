"""Roots within a bracket, of one function or of many at once.

Without slopes: inverse quadratic interpolation where the three last points promise that it works,
else halving [CHANDRUPATLA-1997]. With slopes: Newton's method, else halving. Written here because
the library that has it takes longer to load than an answer takes.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeVar

import numpy as np

from server.errors import OutOfRange
from server.physics.arrays import BoolArray, FloatArray

_MOST_STEPS = 200  # halving alone takes a double apart in less
_ROUNDING = 2.0 * float(np.finfo(np.float64).eps)
_CLOSE = 1e-11  # a function that tells a share of something is at its root there

Found = TypeVar("Found")


def root_between(
    miss: Callable[[float], float], low: float, high: float, within: float = 1e-12
) -> float:
    """Return where a function is zero between two values at which it has opposite signs.

    Parameters
    ----------
    miss : callable
        Of one number. [any]
    low, high : float
        Ends of the bracket, in any order. [any]
    within : float
        How far the result may lie from the root. [any]

    Raises
    ------
    OutOfRange
        The function has the same sign at both ends.
    """
    one, two = high, low
    miss_one, miss_two = miss(one), miss(two)
    if miss_one * miss_two > 0.0 or math.isnan(miss_one * miss_two):
        raise OutOfRange("There is no root between the values given.")
    share = 0.5
    for _ in range(_MOST_STEPS):
        nearest, left = (one, miss_one) if abs(miss_one) < abs(miss_two) else (two, miss_two)
        width = abs(two - one)
        slack = _ROUNDING * abs(nearest) + within
        if left == 0.0 or width <= slack:
            return nearest
        least = 0.5 * slack / width
        new = one + min(max(share, least), 1.0 - least) * (two - one)
        miss_new = miss(new)
        if (miss_new < 0.0) == (miss_one < 0.0):
            three, miss_three = one, miss_one
        else:
            two, miss_two, three, miss_three = one, miss_one, two, miss_two
        one, miss_one = new, miss_new
        share = _share(one, two, three, (miss_one, miss_two, miss_three))
    raise OutOfRange("The root could not be found.")


def _share(one: float, two: float, three: float, misses: tuple[float, float, float]) -> float:
    """Return where between ``one`` and ``two`` to look next."""
    miss_one, miss_two, miss_three = misses
    place = (one - two) / (three - two)
    height = (miss_one - miss_two) / (miss_three - miss_two)
    if not (height**2 < place and (1.0 - height) ** 2 < 1.0 - place):
        return 0.5
    to_two = miss_one / (miss_two - miss_one) * miss_three / (miss_two - miss_three)
    to_three = miss_one / (miss_three - miss_one) * miss_two / (miss_three - miss_two)
    return to_two + (three - one) / (two - one) * to_three


def roots_between(
    miss: Callable[[FloatArray], FloatArray],
    low: FloatArray,
    high: FloatArray,
    within: float = 1e-12,
) -> FloatArray:
    """Return the roots of many functions, each between two values of its own.

    Parameters
    ----------
    miss : callable
        Of an array, element by element. [any]
    low, high : array, shape (n,)
        Ends of the brackets, in any order. [any]
    within : float
        How far a result may lie from its root. [any]

    Raises
    ------
    OutOfRange
        A function has the same sign at both ends.
    """
    one, two = np.broadcast_arrays(np.asarray(high, float), np.asarray(low, float))
    miss_one, miss_two = miss(one), miss(two)
    if not np.all(miss_one * miss_two <= 0.0):
        raise OutOfRange("There is no root between the values given.")
    share = np.full(one.shape, 0.5)
    for _ in range(_MOST_STEPS):
        first: BoolArray = np.abs(miss_one) < np.abs(miss_two)
        nearest = np.where(first, one, two)
        width = np.abs(two - one)
        slack = _ROUNDING * np.abs(nearest) + within
        done = (miss_one == 0.0) | (miss_two == 0.0) | (width <= slack)
        if done.all():
            return nearest
        least = 0.5 * slack / np.where(done, 2.0 * slack, width)
        new = np.where(done, nearest, one + np.clip(share, least, 1.0 - least) * (two - one))
        miss_new = miss(new)
        same = (miss_new < 0.0) == (miss_one < 0.0)
        three, miss_three = np.where(same, one, two), np.where(same, miss_one, miss_two)
        two, miss_two = np.where(same, two, one), np.where(same, miss_two, miss_one)
        one, miss_one = new, miss_new
        share = _shares(one, two, three, (miss_one, miss_two, miss_three))
    raise OutOfRange("The roots could not be found.")


def _shares(
    one: FloatArray,
    two: FloatArray,
    three: FloatArray,
    misses: tuple[FloatArray, FloatArray, FloatArray],
) -> FloatArray:
    """Return `_share` for every element; those that are done may divide by zero unheard."""
    miss_one, miss_two, miss_three = misses
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        place = (one - two) / (three - two)
        height = (miss_one - miss_two) / (miss_three - miss_two)
        to_two = miss_one / (miss_two - miss_one) * miss_three / (miss_two - miss_three)
        to_three = miss_one / (miss_three - miss_one) * miss_two / (miss_three - miss_two)
        share = to_two + (three - one) / (two - one) * to_three
        inside = (height**2 < place) & ((1.0 - height) ** 2 < 1.0 - place)
    return np.where(inside & np.isfinite(share), share, 0.5)


def at_rising_roots(
    law: Callable[[FloatArray], tuple[FloatArray, FloatArray, Found]],
    high: FloatArray,
    start: FloatArray,
) -> Found:
    """Return what many laws give at their roots between zero and a place of each.

    Newton's method from a first guess; where a step would leave the bracket it is halved.

    Parameters
    ----------
    law : callable
        Of an array of places: by which share each law misses, not above zero at place 0 and not
        below at ``high``; how that rises with the place; and what is wanted of the root. [any]
    high : array, shape (n,)
        Upper ends of the brackets. [any]
    start : array, shape (n,)
        First guesses, within the brackets. [any]

    Raises
    ------
    OutOfRange
        A root could not be found.
    """
    low, place, narrow = np.zeros_like(high), start, 2.0 * _ROUNDING * high
    for _ in range(_MOST_STEPS):
        miss, slope, found = law(place)
        settled = (np.abs(miss) < _CLOSE) | (high - low < narrow)
        if settled.all():
            return found
        above = miss >= 0.0
        low, high = np.where(above, low, place), np.where(above, place, high)
        guess = place - miss / np.where(slope > 0.0, slope, np.inf)
        inside = (guess > low) & (guess < high)
        place = np.where(settled, place, np.where(inside, guess, 0.5 * (low + high)))
    raise OutOfRange("The roots could not be found.")
