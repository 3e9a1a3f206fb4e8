"""Closed chambers and forelines."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from server.errors import OutOfRange
from server.physics.gasload import GasLoad, load_at_pa_m3_s
from server.physics.holding import emptying_s, foreline_hold_s, hold_isolated
from server.physics.speedtable import SpeedTable, log_grid, lookup


@given(
    start=st.floats(0.0, 5000.0),
    wait=st.floats(1.0, 5000.0),
    alpha=st.sampled_from([0.0, 0.5, 1.0]),
)
def test_an_isolated_chamber_rises_as_solve_ivp_says(
    start: float, wait: float, alpha: float
) -> None:
    load = GasLoad(2e-5, [4e-4, 1e-4], [alpha, 1.3])
    risen = hold_isolated(0.3, load, 7.0, start, start + wait)
    reference = solve_ivp(
        lambda t, _p: [float(load_at_pa_m3_s(load, t)) / 0.3],
        (start, start + wait), [7.0], rtol=1e-9, atol=1e-12, max_step=50.0,
    )  # fmt: skip
    assert float(risen) == pytest.approx(float(reference.y[0, -1]), rel=1e-5)


def test_many_chambers_at_once() -> None:
    volume = np.array([0.1, 0.2])
    pressure = hold_isolated(volume, GasLoad(1e-3), [1.0, 2.0], 10.0, 110.0)
    assert pressure == pytest.approx([2.0, 2.5])  # Q t/V = 0.1/V
    with pytest.raises(OutOfRange):
        hold_isolated(0.0, GasLoad(1e-3), 1.0, 0.0, 1.0)
    with pytest.raises(OutOfRange):
        hold_isolated(1.0, GasLoad(1e-3), 1.0, 2.0, 1.0)


def test_a_foreline_holds_until_it_is_at_its_limit() -> None:
    # V (p_tol − p0)/Q by hand: 5 L from 10 to 50 Pa at 1e-3 Pa m3/s hold 200 s
    assert float(foreline_hold_s(5e-3, 1e-3, 10.0, 50.0)) == pytest.approx(200.0)
    assert float(foreline_hold_s(5e-3, 0.0, 10.0, 50.0)) == np.inf
    assert float(foreline_hold_s(5e-3, 1e-3, 60.0, 50.0)) == 0.0
    assert float(foreline_hold_s(5e-3, 0.0, 60.0, 50.0)) == 0.0


def test_a_foreline_is_emptied_as_solve_ivp_says() -> None:
    grid = log_grid(1e-3, 2e5)
    # a pump that slows down towards its ultimate pressure of 0.5 Pa, and towards the atmosphere
    pressure = grid.pressure_pa
    speed = np.maximum(0.0, 4e-3 * (1.0 - 0.5 / pressure) / (1.0 + pressure / 3e5))
    table = SpeedTable(grid, np.stack([np.zeros_like(speed), speed]))

    def fall(_t: float, p: np.ndarray) -> list[float]:
        return [-float(lookup(table, 1, p[0])) * p[0] / 0.02]

    def there(_t: float, p: np.ndarray) -> float:
        return float(p[0] - 3.0)

    there.terminal = True  # type: ignore[attr-defined]
    found = solve_ivp(fall, (0.0, 1e4), [101_325.0], events=there, rtol=1e-9, atol=1e-9)
    seconds = emptying_s(0.02, table, 1, 101_325.0, 3.0)
    assert seconds == pytest.approx(float(found.t[-1]), rel=1e-6)
    # no speed on the way: never; no volume or no way: at once
    assert emptying_s(0.02, table, 1, 101_325.0, 0.3) == np.inf
    assert emptying_s(0.0, table, 1, 101_325.0, 3.0) == 0.0
    assert emptying_s(0.02, table, 1, 3.0, 3.0) == 0.0
    with pytest.raises(OutOfRange):
        emptying_s(0.02, table, 1, 3.0, 30.0)
    with pytest.raises(OutOfRange):
        emptying_s(-0.02, table, 1, 30.0, 3.0)


def test_emptying_at_constant_speed_by_hand() -> None:
    # t = V/S·ln(p₀/p₁): 1 L at 1 L/s over four decades, 9.21 s
    table = SpeedTable(log_grid(1.0, 1e6), np.full((1, log_grid(1.0, 1e6).count), 1e-3))
    assert emptying_s(1e-3, table, 0, 1e5, 10.0) == pytest.approx(4 * np.log(10.0))


@given(
    seed=st.integers(0, 1000),
    ends=st.lists(st.tuples(st.floats(1.5, 9e4), st.floats(1e-3, 1.0)), min_size=1, max_size=5),
)
def test_many_emptied_at_once_are_each_their_own(
    seed: int, ends: list[tuple[float, float]]
) -> None:
    """Against the sum over the nodes between, cell by cell, with speeds that end below."""
    grid = log_grid(1e-2, 1.1e5)
    steps = np.random.default_rng(seed).normal(0.0, 0.2, (3, grid.count))
    speed = 1e-3 * np.exp(np.cumsum(steps, axis=1))
    stops = np.array([[0.0], [0.5], [30.0]])
    table = SpeedTable(grid, np.where(grid.pressure_pa > stops, speed, 0.0))
    start = np.array([high for high, _ in ends] * 3)
    end = np.array([max(high * share, 1.1e-2) for high, share in ends] * 3)
    rows = np.repeat(np.arange(3), len(ends))
    found = emptying_s(0.5, table, rows, start, end)
    for row, begin, stop, seconds in zip(rows, start, end, found, strict=True):
        between = grid.pressure_pa[(grid.pressure_pa > stop) & (grid.pressure_pa < begin)]
        nodes = np.concatenate([[stop], between, [begin]])
        way = lookup(table, int(row), nodes)
        if np.any(way <= 0.0):
            assert seconds == np.inf
            continue
        cells = [
            quad(lambda x, a=a, b=b: 1.0 / (a + (b - a) * x), 0.0, 1.0)[0] * np.log(high / low)
            for a, b, low, high in zip(way[:-1], way[1:], nodes[:-1], nodes[1:], strict=True)
        ]
        assert seconds == pytest.approx(0.5 * sum(cells), rel=1e-8, abs=1e-12)
