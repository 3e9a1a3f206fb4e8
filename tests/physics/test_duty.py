"""Venting and standing idle: by hand, against solve_ivp, and laws that must hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from server.errors import OutOfRange
from server.physics.duty import (
    FULL_EXPOSURE_S,
    after_venting,
    break_even_idle_s,
    refilled_share,
)
from server.physics.gasload import GasLoad, gas_given_off_pa_m3, load_at_pa_m3_s

LOAD = GasLoad(1e-5, [3e-4, 2e-5, 1e-6], [1.0, 0.4, 0.0])
shares = st.floats(0.0, 1.0)
times = st.floats(0.0, 1e6)


def test_uptake_goes_with_the_root_of_the_exposure() -> None:
    # common practice, no source; by hand: 15 min of 4 h is 1/16, its root 1/4
    assert float(refilled_share(900.0, 1.0)) == pytest.approx(0.25)
    assert float(refilled_share(900.0, 0.3)) == pytest.approx(0.075)
    assert float(refilled_share(FULL_EXPOSURE_S, 1.0)) == 1.0
    assert float(refilled_share(10 * FULL_EXPOSURE_S, 1.0)) == 1.0
    assert float(refilled_share(0.0, 1.0)) == 0.0


@given(open_s=times, longer_s=times, damp=shares)
def test_a_longer_or_damper_venting_never_takes_up_less(
    open_s: float, longer_s: float, damp: float
) -> None:
    share = float(refilled_share(open_s, damp))
    assert 0.0 <= share <= float(refilled_share(open_s + longer_s, damp)) <= 1.0
    assert share <= float(refilled_share(open_s, 1.0))


@pytest.mark.parametrize(
    ("open_s", "damp"), [(-1.0, 1.0), (np.nan, 1.0), (60.0, -0.1), (60.0, 1.1), (60.0, np.nan)]
)
def test_impossible_ventings_are_refused(open_s: float, damp: float) -> None:
    with pytest.raises(OutOfRange):
        refilled_share(open_s, damp)


def test_a_load_after_venting_by_hand() -> None:
    # a quarter filled after 2 h of pumping; at 1/2 h, α = 1: 3e-4·(0.25·2 + 0.75/2) = 2.625e-4
    load = after_venting(GasLoad(1e-5, [3e-4], [1.0]), 0.25, 7200.0)
    assert float(load_at_pa_m3_s(load, 1800.0)) == pytest.approx(1e-5 + 2.625e-4)


@given(share=shares, pumped=st.floats(60.0, 1e6), part=st.floats(0.0, 1.0))
def test_a_short_venting_never_gives_more_gas_than_a_fresh_chamber(
    share: float, pumped: float, part: float
) -> None:
    again = after_venting(LOAD, share, pumped)
    at = part * pumped
    fresh, later = float(load_at_pa_m3_s(LOAD, at)), float(load_at_pa_m3_s(again, at))
    assert later <= fresh * (1 + 1e-12)
    # and what was filled gives off at least its share; leaks stay what they are
    assert later >= 1e-5 + share * (fresh - 1e-5) - 1e-15


@given(pumped=times)
def test_a_chamber_open_for_long_is_a_fresh_one(pumped: float) -> None:
    again = after_venting(LOAD, 1.0, pumped)
    clock = np.array([0.0, 60.0, 3600.0, 1e5])
    assert load_at_pa_m3_s(again, clock) == pytest.approx(load_at_pa_m3_s(LOAD, clock))


def test_many_chambers_at_once_are_each_their_own() -> None:
    load = GasLoad(np.array([1e-5, 2e-5]), np.array([[3e-4], [1e-4]]), [0.7])
    both = after_venting(load, [0.2, 1.0], [4000.0, 1.0])
    one = after_venting(GasLoad(1e-5, [3e-4], [0.7]), 0.2, 4000.0)
    found = load_at_pa_m3_s(both, np.array([500.0, 500.0]))
    assert found[0] == pytest.approx(float(load_at_pa_m3_s(one, 500.0)))
    assert found[1] == pytest.approx(float(load_at_pa_m3_s(GasLoad(2e-5, [1e-4], [0.7]), 500.0)))


def test_the_gas_of_a_second_cycle_against_quadrature() -> None:
    again = after_venting(LOAD, 0.3, 5000.0)
    by_quad = quad(lambda t: float(load_at_pa_m3_s(again, t)), 60.0, 4000.0, epsrel=1e-10)[0]
    assert float(gas_given_off_pa_m3(again, 60.0, 4000.0)) == pytest.approx(by_quad, rel=1e-8)


def test_impossible_shares_are_refused() -> None:
    for share in (-0.1, 1.01, np.nan):
        with pytest.raises(OutOfRange, match="share of the sites"):
            after_venting(LOAD, share, 60.0)
    with pytest.raises(OutOfRange):
        after_venting(LOAD, 0.5, -1.0)


@given(idle_w=st.floats(1.0, 1e5), restart_j=st.floats(0.0, 1e9), gap=st.floats(0.0, 1e6))
def test_below_the_break_even_standing_by_takes_less(
    idle_w: float, restart_j: float, gap: float
) -> None:
    limit = float(break_even_idle_s(idle_w, restart_j))
    if gap < limit * (1 - 1e-9):
        assert idle_w * gap < restart_j
    if gap > limit * (1 + 1e-9):
        assert idle_w * gap > restart_j


def test_the_break_even_by_hand() -> None:
    # 1 kW idle; warm-up 10 min at 1 kW and 20 min of 300 W: 960 kJ, 16 min
    assert float(break_even_idle_s(1000.0, 600e3 + 360e3)) == pytest.approx(960.0)
    assert float(break_even_idle_s(0.0, 5.0)) == np.inf
    with pytest.raises(OutOfRange):
        break_even_idle_s(-1.0, 5.0)
    with pytest.raises(OutOfRange):
        break_even_idle_s(1.0, np.nan)
