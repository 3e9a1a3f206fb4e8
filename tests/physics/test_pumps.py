"""Behaviour of the kinds of pumps; facts of the trade carry "common practice, no source"."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.pumps import (
    burst_crossover_pressure_pa,
    capture_life_s,
    compression_ratio,
    largest_of_mixture_pa_m3_s,
    load_share,
    overload_time_s,
    tolerable_foreline_pa,
    tolerable_of_mixture_pa,
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
    # a curve measured only where it still rises promises no more beyond its last point
    assert float(compression_ratio([1.0, 10.0], [20.0, 50.0], 1e3)) == pytest.approx(50.0)
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


def test_a_mixed_load_takes_the_sum_of_its_shares() -> None:
    # by hand: 0.1 of 0.5 and 0.1 of 0.2 take 0.2 + 0.5 = 0.7; 0.2/0.7 = 0.2857 is the most of it
    load, largest = {"nitrogen": 0.1, "argon": 0.1}, {"nitrogen": 0.5, "argon": 0.2}
    assert float(load_share(load, largest)) == pytest.approx(0.7)
    assert float(largest_of_mixture_pa_m3_s(load, largest)) == pytest.approx(0.2 / 0.7)
    # mean by throughput: (0.1·60 + 0.3·40)/0.4 = 45
    foreline = tolerable_of_mixture_pa({"air": 0.1, "hydrogen": 0.3}, {"air": 60, "hydrogen": 40})
    assert float(foreline) == pytest.approx(45.0)


def test_without_load_the_worst_gas_counts() -> None:
    none = {"air": [0.0, 1.0], "argon": [0.0, 0.0]}
    limits = {"air": [0.5, 0.5], "argon": [0.2, 0.2]}
    assert largest_of_mixture_pa_m3_s(none, limits) == pytest.approx([0.2, 0.5])
    assert tolerable_of_mixture_pa(none, limits) == pytest.approx([0.2, 0.5])


@given(
    flows=st.lists(st.floats(0.0, 10.0), min_size=3, max_size=3).filter(lambda f: sum(f) > 1e-3),
    limits=st.lists(st.floats(1e-3, 10.0), min_size=3, max_size=3),
    grown=st.floats(1.0, 10.0),
)
def test_a_mixture_lies_between_its_gases_and_grows_to_a_full_share(
    flows: list[float], limits: list[float], grown: float
) -> None:
    load, largest = dict(zip("abc", flows, strict=True)), dict(zip("abc", limits, strict=True))
    whole = float(largest_of_mixture_pa_m3_s(load, largest))
    mean = float(tolerable_of_mixture_pa(load, largest))
    flowing = [limit for limit, flow in zip(limits, flows, strict=True) if flow > 0.0]
    for found in (whole, mean):
        assert min(flowing) * (1 - 1e-9) <= found <= max(flowing) * (1 + 1e-9)
    # at that throughput, in the same proportions, the shares add up to one
    at_limit = {gas: flow * whole / sum(flows) for gas, flow in load.items()}
    assert float(load_share(at_limit, largest)) == pytest.approx(1.0)
    more = {gas: flow * grown for gas, flow in load.items()}
    assert float(load_share(more, largest)) >= float(load_share(load, largest))


@pytest.mark.parametrize(("flow", "largest"), [(-1.0, 1.0), (1.0, 0.0), (1.0, float("nan"))])
def test_a_share_of_nonsense_is_refused(flow: float, largest: float) -> None:
    with pytest.raises(OutOfRange, match="zero or more"):
        load_share({"air": flow}, {"air": largest})


def test_a_mixture_of_nothing_is_refused() -> None:
    with pytest.raises(OutOfRange, match="at least one gas"):
        largest_of_mixture_pa_m3_s({}, {})


def test_crossover_by_the_burst_a_cold_head_absorbs() -> None:
    # by hand: 20 Pa m³ into 0.5 m³ is 40 Pa, into 0.1 m³ 200 Pa, but never above 60 Pa
    assert burst_crossover_pressure_pa(20.0, [0.5, 0.1], 60.0) == pytest.approx([40.0, 60.0])
    assert float(burst_crossover_pressure_pa(20.0, 0.1)) == pytest.approx(200.0)
    assert float(burst_crossover_pressure_pa(np.inf, 0.1, 60.0)) == pytest.approx(60.0)


@given(st.floats(1e-3, 1e3), st.floats(1e-4, 1e3), st.floats(1e-3, 1e4))
def test_the_burst_is_never_more_than_absorbed(burst: float, volume: float, start: float) -> None:
    pressure = float(burst_crossover_pressure_pa(burst, volume, start))
    assert pressure * volume <= burst * (1 + 1e-12)
    assert pressure <= start
    assert pressure * volume == pytest.approx(burst) or pressure == start


@pytest.mark.parametrize("numbers", [(0.0, 1.0, 1.0), (1.0, 0.0, 1.0), (1.0, 1.0, 0.0)])
def test_a_burst_of_nonsense_is_refused(numbers: tuple[float, float, float]) -> None:
    with pytest.raises(OutOfRange, match="above zero"):
        burst_crossover_pressure_pa(*numbers)
