"""Gas ballast: the constructed checks C1 and C2, limits and the balance behind them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.ballast import (
    Ballast,
    condensed_in_pump_pa_m3_s,
    vapour_tolerance_pa,
)
from server.physics.vapour import saturation_pressure_pa


def ballast_at(celsius: float, flow: float = 0.1) -> Ballast:
    return Ballast(
        flow_m3_s=flow,
        saturation_pa=saturation_pressure_pa("water", celsius + 273.15),
        ambient_vapour_pa=0.5 * saturation_pressure_pa("water", 293.15),
    )


@pytest.mark.parametrize(("celsius", "millibar"), [(70.0, 43.4), (75.0, 60.5), (80.0, 86.9)])
def test_water_vapour_tolerance_check_c1(celsius: float, millibar: float) -> None:
    # Gaede 1935; form of PNEUROP 6602 and ISO 21360-2; constructed check, B/S = 0.1, ballast 20 °C
    # at 50 % relative humidity, exhaust at atmospheric pressure
    assert float(vapour_tolerance_pa(ballast_at(celsius), 1.0)) == pytest.approx(
        millibar * 100.0, abs=5.0
    )


def test_a_valve_that_opens_higher_lowers_the_tolerance() -> None:
    pressures = np.array([101325.0, 110000.0, 130000.0])
    tolerance = vapour_tolerance_pa(Ballast(0.1, 38595.0, pressures, 101325.0, 1170.0), 1.0)
    assert np.all(np.diff(tolerance) < 0.0)
    # the general form of physics.md, by hand for p_o = 110 kPa:
    # 0.1·[38595·(101325 − 1170)/(110000 − 38595) − 1170]
    assert tolerance[1] == pytest.approx(5296.5, rel=1e-4)


def test_limits() -> None:
    assert float(vapour_tolerance_pa(Ballast(0.0, 38595.0), 1.0)) == 0.0
    assert float(vapour_tolerance_pa(Ballast(0.0, 120000.0), 1.0)) == np.inf  # hotter than boiling
    assert float(vapour_tolerance_pa(Ballast(0.1, 1000.0, ambient_vapour_pa=2000.0), 1.0)) == 0.0
    # an exhaust at which the vapour just boils out needs no ballast
    assert float(vapour_tolerance_pa(Ballast(0.1, 101325.0), 1.0)) == np.inf


def test_the_tolerance_is_proportional_to_the_ballast_however_small() -> None:
    share = np.array([0.1, 1e-4, 1e-6])
    ballast = Ballast(share, 38595.0, ambient_vapour_pa=1170.0)
    per_share = vapour_tolerance_pa(ballast, 1.0) / share
    assert per_share == pytest.approx(np.full(3, per_share[0]), rel=1e-9)


@given(
    flow=st.floats(1e-5, 1e-2),
    saturation=st.floats(1e3, 9e4),
    opening=st.floats(1.013251e5, 1.5e5),
    humid=st.floats(0.0, 3e3),
    speed=st.floats(1e-4, 1.0),
)
def test_nothing_condenses_up_to_the_tolerance_and_something_above(
    flow: float, saturation: float, opening: float, humid: float, speed: float
) -> None:
    ballast = Ballast(flow, saturation, opening, 101325.0, humid)
    tolerance = float(vapour_tolerance_pa(ballast, speed))
    if tolerance == 0.0:
        return
    below = condensed_in_pump_pa_m3_s(ballast, 0.999 * tolerance * speed)
    above = condensed_in_pump_pa_m3_s(ballast, 1.001 * tolerance * speed)
    assert float(below) == 0.0
    assert float(above) == pytest.approx(0.001 * tolerance * speed, rel=1e-3)


def test_permanent_gas_carries_vapour_out() -> None:
    ballast = Ballast(0.0, 38595.0)
    # at the exhaust vapour : gas = p_s : (p_o − p_s) = 38595 : 62730
    assert float(condensed_in_pump_pa_m3_s(ballast, 1.0)) == 1.0
    assert float(condensed_in_pump_pa_m3_s(ballast, 1.0, 1.0)) == pytest.approx(1 - 38595 / 62730)
    assert float(condensed_in_pump_pa_m3_s(Ballast(0.0, 2e5), 1.0)) == 0.0


def test_impossible_ballast_is_refused() -> None:
    with pytest.raises(OutOfRange):
        Ballast(-1.0, 1e4)
    with pytest.raises(OutOfRange):
        Ballast(1.0, 1e4, exhaust_pa=9e4)
    with pytest.raises(OutOfRange):
        Ballast(1.0, 1e4, ambient_vapour_pa=2e5)
