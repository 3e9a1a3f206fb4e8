"""Speed curves on the common grid."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from server.errors import OutOfRange
from server.physics.arrays import FloatArray
from server.physics.speedtable import (
    LEAST_PA_M3_S,
    LogGrid,
    SpeedTable,
    largest_so_far,
    log_grid,
    lookup,
    monotone_cubic,
    net_speed_m3_s,
    rest_pressure_pa,
    tabulate,
)

GRID = log_grid(1e-6, 1.1e5)


def table(*rows: np.ndarray) -> SpeedTable:
    return SpeedTable(GRID, np.stack(rows))


def test_points_are_met_and_the_two_plain_regimes_are_exact() -> None:
    # constant 0.5 m3/s, then constant throughput 0.05 Pa m3/s from 0.1 Pa: straight lines in ln–ln
    grid = LogGrid(1e-3, 10.0, 401)  # nodes at the points
    pressure = np.array([1e-3, 1e-2, 1e-1, 1.0, 10.0])
    speed = np.array([0.5, 0.5, 0.5, 0.05, 0.005])
    curve = tabulate(pressure, speed, grid)
    assert np.interp(np.log(pressure), np.log(grid.pressure_pa), curve) == pytest.approx(speed)
    assert curve[grid.pressure_pa < 0.1] == pytest.approx(0.5)
    above = grid.pressure_pa > 1.0  # within the last stretch; the first one rounds the knee
    assert curve[above] == pytest.approx(0.05 / grid.pressure_pa[above], rel=1e-9)


@given(
    st.lists(st.floats(1e-4, 1.0), min_size=3, max_size=10),
    st.floats(-5.0, -1.0),
)
def test_interpolation_never_overshoots_its_points(speeds: list[float], start: float) -> None:
    pressure = np.logspace(start, 4.5, len(speeds))
    curve = tabulate(pressure, np.array(speeds), GRID)
    inside = GRID.pressure_pa <= pressure[-1]
    assert np.all(curve[inside] <= max(speeds) * (1 + 1e-9))
    assert np.all(curve[inside] >= min(speeds) * (1 - 1e-9))
    for left, right, low, high in zip(
        pressure[:-1], pressure[1:], speeds[:-1], speeds[1:], strict=True
    ):
        part = curve[(GRID.pressure_pa >= left) & (GRID.pressure_pa <= right)]
        assert np.all(np.diff(part) * np.sign(high - low) >= -1e-12)


@given(
    st.lists(st.tuples(st.floats(0.01, 3.0), st.floats(-5.0, 5.0)), min_size=2, max_size=12),
    st.lists(st.floats(0.0, 1.0), min_size=1, max_size=20),
)
def test_the_monotone_cubic_is_that_of_the_library(
    points: list[tuple[float, float]], shares: list[float]
) -> None:
    # scipy's own implementation of Fritsch and Carlson's interpolant; it divides by differences of
    # values, and overflows where those are less than any speed can differ
    x, y = np.cumsum([step for step, _ in points]), np.array([value for _, value in points])
    y = np.round(y, 9)
    wanted = x[0] + np.array(shares) * (x[-1] - x[0])
    assert monotone_cubic(x, y, wanted) == pytest.approx(PchipInterpolator(x, y)(wanted), abs=1e-9)


def test_an_ultimate_pressure_among_the_points_is_followed_as_one_minus_its_ratio() -> None:
    curve = tabulate([1.0, 10.0, 1e5], [0.0, 0.9e-3, 1e-3], GRID, largest_inlet_pa=np.inf)
    assert np.all(curve[GRID.pressure_pa <= 1.0] == 0.0)
    near = (GRID.pressure_pa > 1.0) & (GRID.pressure_pa < 10.0)
    # S ∝ 1 − p0/p, and 0.9e-3 at 10 Pa
    assert curve[near] == pytest.approx(1e-3 * (1 - 1.0 / GRID.pressure_pa[near]), rel=1e-12)
    assert curve[-1] == pytest.approx(1e-3)  # held to the top


def test_above_the_largest_inlet_pressure_there_is_no_speed() -> None:
    curve = tabulate([1e-5, 1.0, 100.0], [1.0, 1.0, 0.1], GRID)
    assert np.all(curve[GRID.pressure_pa > 100.0] == 0.0)
    assert np.all(curve[GRID.pressure_pa < 100.0] > 0.0)
    closing = tabulate([1e-5, 10.0, 100.0], [1.0, 1.0, 0.0], GRID)
    assert np.all(closing[GRID.pressure_pa >= 100.0] == 0.0)
    assert np.all(np.diff(closing) <= 1e-12)


@pytest.mark.parametrize(
    ("pressure", "speed"),
    [
        ([1.0, 1.0], [1.0, 1.0]),
        ([2.0, 1.0], [1.0, 1.0]),
        ([-1.0, 1.0], [1.0, 1.0]),
        ([1.0, 2.0], [1.0, -1.0]),
        ([1.0, 2.0, 3.0], [1.0, 0.0, 1.0]),
        ([1.0, 2.0], [0.0, 1.0]),
        ([1.0, 2.0], [1.0]),
        ([1.0, 2.0], [1.0, np.nan]),
    ],
)
def test_nonsense_points_are_refused(pressure: list[float], speed: list[float]) -> None:
    with pytest.raises(OutOfRange):
        tabulate(pressure, speed, GRID)


def test_lookup_is_linear_in_the_logarithm_and_equal_for_scalars_and_arrays() -> None:
    linear = np.log(GRID.pressure_pa / GRID.low_pa)  # linear in ln p: reproduced exactly
    both = table(linear, 2.0 * linear)
    pressure = np.geomspace(1e-6, 1.1e5, 37)
    rows = np.arange(37) % 2
    got = lookup(both, rows, pressure)
    assert got == pytest.approx((1 + rows) * np.log(pressure / 1e-6), abs=1e-9)
    assert [float(lookup(both, r, p)) for r, p in zip(rows, pressure, strict=True)] == list(got)


def test_lookup_outside_the_grid_is_refused() -> None:
    one = table(np.ones(GRID.count))
    for pressure in (1e-7, 2e5, float("nan")):
        with pytest.raises(OutOfRange, match="tabulated from"):
            lookup(one, 0, pressure)


def test_tables_and_grids_are_checked() -> None:
    with pytest.raises(OutOfRange):
        SpeedTable(GRID, np.ones((2, 3)))
    with pytest.raises(OutOfRange):
        table(-np.ones(GRID.count))
    with pytest.raises(OutOfRange):
        log_grid(1.0, 0.5)
    with pytest.raises(OutOfRange):
        LogGrid(1.0, 2.0, 1)


def test_default_grid_keeps_linear_interpolation_of_one_over_p_within_its_promise() -> None:
    curve = table(1.0 / GRID.pressure_pa)
    middle = np.sqrt(GRID.pressure_pa[:-1] * GRID.pressure_pa[1:])
    assert lookup(curve, 0, middle) == pytest.approx(1.0 / middle, rel=3e-3)


def test_net_speed_is_zero_at_the_ultimate_pressure() -> None:
    net = net_speed_m3_s(2.0, [0.5, 1.0, 2.0, 1e9], 1.0)
    assert net == pytest.approx([0.0, 0.0, 1.0, 2.0])


def test_the_largest_throughput_up_to_a_node_is_that_of_all_nodes_below_it() -> None:
    # by definition, node by node: a pump past its knee, one that is shut off, one without any speed
    falling = np.minimum(1.0, (1.0 / GRID.pressure_pa) ** 2)
    shut = np.where(GRID.pressure_pa < 10.0, 0.2, 0.0)
    rows = table(falling, shut, np.zeros(GRID.count))
    for found, speed in zip(rows.largest_throughput_pa_m3_s, rows.speed_m3_s, strict=True):
        carried = speed * GRID.pressure_pa
        by_hand = [max(*carried[: node + 1], LEAST_PA_M3_S) for node in range(GRID.count)]
        assert found.tolist() == by_hand


@given(first=st.integers(0, 40))
def test_a_pump_rests_at_the_last_pressure_at_which_it_takes_nothing(first: int) -> None:
    grid = log_grid(1e-3, 1e3)
    speed = np.where(np.arange(grid.count) >= first, 0.1, 0.0)
    found = rest_pressure_pa(SpeedTable(grid, speed[np.newaxis]))
    assert found[0] == (grid.pressure_pa[first - 1] if first else 0.0)


@given(
    rows=st.lists(
        st.lists(st.floats(-1e3, 1e3), min_size=5, max_size=5), min_size=1, max_size=4
    ).map(np.array)
)
def test_the_largest_so_far_is_what_going_along_finds(rows: FloatArray) -> None:
    before = rows.copy()
    assert np.array_equal(largest_so_far(rows), np.maximum.accumulate(rows, axis=1))
    assert np.array_equal(rows, before)
