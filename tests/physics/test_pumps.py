"""Behaviour of the kinds of pumps; facts of the trade carry "common practice, no source"."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.pumps import (
    capture_life_s,
    compression_ratio,
    overload_time_s,
    tolerable_foreline_pa,
)


def test_tolerable_foreline_falls_from_no_load_to_full_load() -> None:
    load = np.array([0.0, 0.5, 1.0, 1.0001])
    assert tolerable_foreline_pa(load, 1.0, 60.0, 40.0) == pytest.approx([60.0, 50.0, 40.0, 0.0])
    with pytest.raises(OutOfRange):
        tolerable_foreline_pa(0.1, 1.0, 40.0, 60.0)


@given(st.floats(0.0, 2.0), st.floats(0.0, 2.0))
def test_more_load_never_raises_the_tolerable_foreline(one: float, other: float) -> None:
    low, high = sorted((one, other))
    tolerable = tolerable_foreline_pa([low, high], 1.0, 60.0, 40.0)
    assert tolerable[1] <= tolerable[0]


def test_compression_follows_its_points_in_logarithms() -> None:
    points_p, points_k = [1.0, 100.0, 1000.0], [1e8, 1e8, 1e4]
    got = compression_ratio(points_p, points_k, [0.01, 10.0, 100.0, np.sqrt(1e5), 1000.0])
    assert got == pytest.approx([1e8, 1e8, 1e8, 1e6, 1e4])
    # beyond the last point it goes on falling, four decades per decade, and stops at 1
    beyond = compression_ratio(points_p, points_k, [10**3.5, 1e4, 1e5])
    assert beyond == pytest.approx([1e2, 1.0, 1.0])
    assert float(compression_ratio([1.0], [50.0], 7.0)) == pytest.approx(50.0)
    with pytest.raises(OutOfRange):
        compression_ratio([1.0, 2.0], [10.0, 0.5], 1.0)
    with pytest.raises(OutOfRange):
        compression_ratio([2.0, 1.0], [10.0, 5.0], 1.0)


def test_overload_after_crossover() -> None:
    # V (p_x − Q_max/S)/(Q_max − Q): 0.1 m3, 10 Pa to the knee at 2 Pa, 1 − 0.2 Pa m3/s spare
    assert float(overload_time_s(0.1, 10.0, 0.5, 1.0, 0.2)) == pytest.approx(1.0)
    assert float(overload_time_s(0.1, 1.0, 0.5, 1.0)) == 0.0
    assert float(overload_time_s(0.1, 10.0, 0.5, 1.0, 1.5)) == np.inf


def test_capture_pumps_last_as_long_as_their_capacity() -> None:
    # 1000 Pa m3 of argon at 20 sccm (33.8e-3 Pa m3/s at 0 °C) last 8.2 h: by hand
    assert float(capture_life_s(1000.0, 20 * 1.68875e-3)) / 3600 == pytest.approx(8.22, abs=0.01)
    assert float(capture_life_s(1000.0, 0.0)) == np.inf
