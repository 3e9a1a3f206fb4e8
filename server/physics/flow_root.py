"""The argument at which a flow law reaches a value, for many laws at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from server.errors import OutOfRange
from server.physics.gas import Floats

# Flow laws here rise at least with the 0.4th power of the pressure difference.
_SHALLOWEST = 0.4
_ACCURACY = 1e-10
_MOST_STEPS = 200

Index = NDArray[np.intp]


def rising_root(law: Callable[[Floats, Index], Floats], target: Floats, guess: Floats) -> Floats:
    """Solve law(x) = target for a rising law, element by element; cannot diverge.

    Works on logarithms, where flow laws are nearly straight: a bracket first, then regula falsi
    with the weights of ANDERSON-1973, every fourth step a bisection. Solved elements drop out.

    Parameters
    ----------
    law : function of array and index
        Rising positive function of positive arguments, evaluated for the elements indexed. [any]
    target : array, shape (n,)
        Value to reach, above zero. [any]
    guess : array, shape (n,)
        First argument, above zero. [any]

    Returns
    -------
    array, shape (n,)
        Argument. [any]
    """
    # below the smallest normal double a target and a flow cannot be told apart
    least = np.finfo(np.float64).tiny
    goal = np.log(np.maximum(target, least))

    def miss(at: Floats, index: Index) -> Floats:
        flow = np.maximum(law(np.exp(at), index), least)
        value: Floats = np.log(flow) - goal[index]
        return value

    answer = np.empty_like(goal)
    index: Index = np.arange(goal.size)
    one = np.log(guess)
    miss_one = miss(one, index)
    two, miss_two = _bracket(miss, one, miss_one)
    for step in range(_MOST_STEPS):
        done = (np.abs(miss_two) <= _ACCURACY) | (np.abs(two - one) <= 1e-15 * np.abs(two))
        answer[index[done]] = two[done]
        if bool(np.any(done)):
            left = ~done
            index, one, two = index[left], one[left], two[left]
            miss_one, miss_two = miss_one[left], miss_two[left]
        if index.size == 0:
            return np.exp(answer)
        gap = miss_two - miss_one
        share = np.divide(miss_two, gap, out=np.full_like(gap, 0.5), where=gap != 0)
        new = two - (0.5 if step % 4 == 3 else share) * (two - one)
        miss_new = miss(new, index)
        crossed = miss_new * miss_two < 0
        weight = 1 - miss_new / miss_two
        weight = np.where(weight > 0, weight, 0.5)
        one = np.where(crossed, two, one)
        miss_one = np.where(crossed, miss_two, miss_one * weight)
        two, miss_two = new, miss_new
    raise OutOfRange("The flow through the line could not be found; check its sizes.")


def _bracket(
    miss: Callable[[Floats, Index], Floats], one: Floats, miss_one: Floats
) -> tuple[Floats, Floats]:
    """Return a second point on the other side of the root."""
    everywhere: Index = np.arange(one.size)
    reach = miss_one / _SHALLOWEST
    two = one - reach
    miss_two = miss(two, everywhere)
    for _ in range(_MOST_STEPS):
        same = (miss_two * miss_one > 0) & (np.abs(miss_two) > _ACCURACY)
        if not bool(np.any(same)):
            return two, miss_two
        reach = reach * 2
        two = np.where(same, two - reach, two)
        miss_two = miss(two, everywhere)
    raise OutOfRange("The flow through the line could not be found; check its sizes.")
