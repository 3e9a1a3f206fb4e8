"""Behaviour of the kinds of pumps; facts of the trade carry "common practice, no source"."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from server.errors import OutOfRange
from server.physics.pumps import (
    backing_limited_speed_m3_s,
    backstreaming_kg_s,
    burst_crossover_pressure_pa,
    capture_life_s,
    compression_ratio,
    crossover_pressure_pa,
    inlet_partial_pa,
    is_stalled,
    overload_time_s,
    sputter_ion_life_s,
    throughput_limited_speed_m3_s,
    tolerable_foreline_pa,
)

MILLITORR = constants.torr * 1e-3


def test_knee_then_constant_throughput_then_overload() -> None:
    pressure = np.array([1e-4, 1.0, 2.0, 5.0, 6.0])
    speed = throughput_limited_speed_m3_s(pressure, 0.5, 1.0, 5.0)
    assert speed == pytest.approx([0.5, 0.5, 0.5, 0.2, 0.0])
    assert (speed * pressure)[2:4] == pytest.approx(1.0)


def test_a_small_vapour_jet_pump_sees_no_more_than_its_backing_pump_carries() -> None:
    # common practice, no source: 65 L/s pump, 2.5 L/s backing pump, foreline limit 500 mTorr:
    # the backing pump carries 1.25 Torr L/s, so at 100 mTorr the chamber sees 12.5 L/s, not 65
    speed = backing_limited_speed_m3_s(65e-3, 100 * MILLITORR, 500 * MILLITORR, 2.5e-3)
    assert float(speed) == pytest.approx(12.5e-3)
    assert float(speed) * 100 * MILLITORR == pytest.approx(1.25 * constants.torr * 1e-3)
    low = backing_limited_speed_m3_s(65e-3, 1 * MILLITORR, 500 * MILLITORR, 2.5e-3)
    assert float(low) == 65e-3


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


def test_stall_is_above_the_tolerable_foreline_and_where_no_state_exists() -> None:
    assert list(is_stalled([39.0, 40.0, 40.1, np.nan], 40.0)) == [False, False, True, True]


def test_inlet_pressure_of_a_turbomolecular_pump_sums_flow_and_back_diffusion() -> None:
    # Q = S (p_in − p_fore/K0), Jousten 2016; hydrogen: 1 Pa behind K0 = 1e3 is 1e-3 Pa at rest
    assert float(inlet_partial_pa(0.0, 0.2, 1.0, 1e3)) == pytest.approx(1e-3)
    inlet = float(inlet_partial_pa(1e-4, 0.2, 1.0, 1e3))
    assert 0.2 * (inlet - 1.0 / 1e3) == pytest.approx(1e-4)


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


def test_backstreaming_is_cut_by_cap_and_baffle() -> None:
    # 1e-3 mg/(cm2 min) on 0.02 m2: 1e-3·1e-6 kg ·2e2 cm2 /60 s
    bare = float(backstreaming_kg_s(1e-3 * 1e-6 / 1e-4 / 60, 0.02))
    assert bare == pytest.approx(1e-3 * 1e-6 * 200 / 60)
    assert float(backstreaming_kg_s(1.0, 0.02, 0.1, 0.01)) == pytest.approx(2e-5)
    with pytest.raises(OutOfRange):
        backstreaming_kg_s(1.0, 1.0, 1.5)


def test_crossover_pressure_check_c5() -> None:
    # Hablanian 1997, constructed: 1 Pa m3/s and 20 L/s give 50 Pa
    assert float(crossover_pressure_pa(1.0, 20e-3)) == pytest.approx(50.0)


def test_overload_after_crossover() -> None:
    # V (p_x − Q_max/S)/(Q_max − Q): 0.1 m3, 10 Pa to the knee at 2 Pa, 1 − 0.2 Pa m3/s spare
    assert float(overload_time_s(0.1, 10.0, 0.5, 1.0, 0.2)) == pytest.approx(1.0)
    assert float(overload_time_s(0.1, 1.0, 0.5, 1.0)) == 0.0
    assert float(overload_time_s(0.1, 10.0, 0.5, 1.0, 1.5)) == np.inf


def test_capture_pumps_last_as_long_as_their_capacity() -> None:
    # 1000 Pa m3 of argon at 20 sccm (33.8e-3 Pa m3/s at 0 °C) last 8.2 h: by hand
    assert float(capture_life_s(1000.0, 20 * 1.68875e-3)) / 3600 == pytest.approx(8.22, abs=0.01)
    assert float(capture_life_s(1000.0, 0.0)) == np.inf
    # life in inverse proportion to pressure: 50,000 h at 1e-4 Pa is 500,000 h at 1e-5 Pa
    hours = float(sputter_ion_life_s(50_000 * 3600.0, 1e-4, 1e-5)) / 3600
    assert hours == pytest.approx(500_000)
    # burst of 20 Pa m3 into 0.2 m3: crossover at 100 Pa
    assert float(burst_crossover_pressure_pa(20.0, 0.2)) == pytest.approx(100.0)
