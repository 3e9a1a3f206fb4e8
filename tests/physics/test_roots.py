"""Roots in a bracket against the library's."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from server.errors import OutOfRange
from server.physics.arrays import FloatArray, floats
from server.physics.roots import at_rising_roots, root_between, roots_between


@given(st.floats(-3.0, 3.0), st.floats(0.01, 30.0), st.floats(0.0, 4.0))
def test_a_root_is_that_of_the_library(root: float, steepness: float, bend: float) -> None:
    def miss(x: float) -> float:
        return math.expm1(steepness * (x - root)) + bend * (x - root) ** 3

    found = root_between(miss, -5.0, 5.0)
    assert found == pytest.approx(brentq(miss, -5.0, 5.0, xtol=1e-13), abs=2e-12)
    assert root_between(miss, 5.0, -5.0) == pytest.approx(found, abs=4e-12)


@given(st.lists(st.floats(-3.0, 3.0), min_size=1, max_size=20), st.floats(0.01, 30.0))
def test_many_roots_are_found_as_each_alone(roots: list[float], steepness: float) -> None:
    at = np.array(roots)

    def miss(x: FloatArray) -> FloatArray:
        return floats(np.expm1(steepness * (x - at)))

    found = roots_between(miss, np.full(len(roots), -5.0), np.full(len(roots), 5.0))
    assert found == pytest.approx(at, abs=2e-12)


def test_a_jump_through_zero_is_found() -> None:
    assert root_between(lambda x: -1.0 if x < 0.3 else 2.0, 0.0, 1.0) == pytest.approx(0.3)
    found = roots_between(lambda x: np.where(x < 0.3, -1.0, 2.0), np.zeros(2), np.ones(2))
    assert found == pytest.approx([0.3, 0.3])


def test_smooth_functions_take_few_steps() -> None:
    calls: list[float] = []

    def miss(x: float) -> float:
        calls.append(x)
        return math.exp(x) - 2.0

    root_between(miss, -30.0, 12.0)
    assert len(calls) < 25  # halving alone would take 45


def test_smooth_functions_take_few_steps_together_too() -> None:
    calls: list[FloatArray] = []
    at = np.array([1.5, 2.0, 40.0])

    def miss(x: FloatArray) -> FloatArray:
        calls.append(x)
        return floats(np.exp(x) - at)

    roots_between(miss, np.full(3, -30.0), np.full(3, 12.0))
    assert len(calls) < 25  # halving alone would take 45


def test_a_root_at_an_end_of_the_bracket_is_found() -> None:
    lows = np.array([0.0, -1.0, -4.0])
    found = roots_between(lambda x: x, lows, np.array([3.0, 0.0, 1.0]))
    assert found == pytest.approx(np.zeros(3), abs=1e-12)
    assert [root_between(lambda x: x, *ends) for ends in ((0.0, 3.0), (-1.0, 0.0))] == [0.0, 0.0]


def test_a_root_that_halving_cannot_reach_is_refused_and_nothing_is_made_up() -> None:
    # from 1e300 down to 1e-300 halving takes about 2000 steps
    with pytest.raises(OutOfRange, match="could not be found"):
        root_between(lambda x: 1.0 if x > 1e-300 else -1.0, 0.0, 1e300)
    with pytest.raises(OutOfRange, match="could not be found"):
        roots_between(lambda x: np.where(x > 1e-300, 1.0, -1.0), np.zeros(2), np.full(2, 1e300))


def test_without_a_change_of_sign_there_is_no_answer() -> None:
    with pytest.raises(OutOfRange):
        root_between(lambda x: x * x + 1.0, -1.0, 1.0)
    with pytest.raises(OutOfRange):
        root_between(lambda _x: math.nan, -1.0, 1.0)
    with pytest.raises(OutOfRange):
        roots_between(lambda x: x * x + 1.0, np.array([-1.0]), np.array([1.0]))


@given(
    st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(0.01, 30.0)), min_size=1, max_size=20),
    st.floats(0.0, 1.0),
)
def test_rising_laws_give_what_they_have_at_their_roots(
    laws: list[tuple[float, float]], start: float
) -> None:
    at, steepness = np.array(laws).T

    def law(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        grown = np.exp(steepness * (x - at))
        return floats(grown - 1.0), floats(steepness * grown), x

    found = at_rising_roots(law, np.ones(len(laws)), np.full(len(laws), start))
    assert found == pytest.approx(at, abs=2e-9)  # a share of 10⁻¹¹ at the shallowest slope


def test_rising_laws_without_a_use_for_their_slopes_are_halved_to_the_last_digits() -> None:
    jump = np.array([0.3, 7.5])

    def law(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        return np.where(x < jump, -1.0, 2.0), np.zeros(2), x

    found = at_rising_roots(law, np.array([1.0, 100.0]), np.array([1.0, 100.0]))
    assert found == pytest.approx(jump, rel=1e-13)


def test_rising_laws_take_few_steps_and_wrong_slopes_are_refused() -> None:
    calls: list[FloatArray] = []

    def law(x: FloatArray, too_steep: float = 1.0) -> tuple[FloatArray, FloatArray, FloatArray]:
        calls.append(x)
        return floats(np.expm1(x - 2.0)), floats(too_steep * np.exp(x - 2.0)), x

    high = np.full(3, 10.0)
    at_rising_roots(law, high, np.array([0.0, 5.0, 10.0]))
    assert len(calls) < 20  # halving alone would take 50
    with pytest.raises(OutOfRange, match="could not be found"):
        at_rising_roots(lambda x: law(x, 1e6), high, high)
