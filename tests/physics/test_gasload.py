"""Loads: sums, integrals, leaks, seals and wet goods."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants
from scipy.integrate import quad

from server.errors import OutOfRange, UnknownName
from server.physics.gasload import (
    PERMEATION_M2_S,
    GasLoad,
    air_in_leakage_kg_s,
    drying_time_s,
    gas_given_off_pa_m3,
    load_at_pa_m3_s,
    permeation_pa_m3_s,
    wet_goods_throughput_pa_m3_s,
)
from server.physics.outgassing import outgassing_rate_pa_m_s, outgassing_row
from server.physics.vapour import saturation_pressure_pa


def test_surfaces_add_up() -> None:
    steel, seal = outgassing_row("stainless_steel", "unbaked"), outgassing_row("fkm", "unbaked")
    rows, area = [steel, seal], np.array([2.6, 0.02])
    rate, alpha = np.array([[row.q1_pa_m_s, row.alpha] for row in rows]).T
    load = GasLoad(2e-6, rate * area, alpha)
    time = 5400.0
    by_hand = 2e-6 + 2.6 * outgassing_rate_pa_m_s(steel, time)
    by_hand += 0.02 * outgassing_rate_pa_m_s(seal, time)
    assert float(load_at_pa_m3_s(load, time)) == pytest.approx(float(by_hand), rel=1e-12)


@given(
    alpha=st.lists(st.sampled_from([0.0, 0.3, 0.5, 1.0, 1.0 + 1e-9, 1.6]), min_size=1, max_size=3),
    start=st.floats(0.0, 1e4),
    length=st.floats(1e-3, 1e5),
)
def test_gas_given_off_is_the_integral_of_the_load(
    alpha: list[float], start: float, length: float
) -> None:
    load = GasLoad(1e-5, np.linspace(1e-6, 3e-6, len(alpha)), np.array(alpha))
    end = start + length
    knots = [start, *(x for x in (60.0,) if start < x < end), end]
    # scipy's adaptive quadrature, piecewise about the start of the law
    expected = sum(
        quad(lambda t: float(load_at_pa_m3_s(load, t)), a, b, epsabs=0.0, epsrel=1e-10, limit=200)[
            0
        ]
        for a, b in pairwise(knots)
    )
    assert float(gas_given_off_pa_m3(load, start, end)) == pytest.approx(expected, rel=1e-8)


def test_loads_of_many_candidates_broadcast_and_equal_the_single_ones() -> None:
    constant, amplitude = np.array([1e-5, 2e-5]), np.array([[1e-6, 2e-6], [3e-6, 4e-6]])
    alpha = np.array([1.0, 0.5])
    times = np.array([10.0, 7200.0])
    whole = load_at_pa_m3_s(GasLoad(constant, amplitude, alpha), times)
    for i in range(2):
        single = load_at_pa_m3_s(GasLoad(constant[i], amplitude[i], alpha), times[i])
        assert whole[i] == pytest.approx(float(single), rel=1e-14)
    assert load_at_pa_m3_s(GasLoad(3e-4), times) == pytest.approx(3e-4)


@pytest.mark.parametrize(
    ("constant", "amplitude", "alpha"),
    [(-1e-9, [], []), (0.0, [-1.0], [1.0]), (0.0, [1.0, 2.0], [1.0]), (float("nan"), [], [])],
)
def test_impossible_loads_are_refused(
    constant: float, amplitude: list[float], alpha: list[float]
) -> None:
    with pytest.raises(OutOfRange):
        GasLoad(constant, np.array(amplitude), np.array(alpha))


def test_air_leakage_allowance_of_process_plant() -> None:
    # Ludwig, Applied Process Design 4th ed. vol. 1 (E13): 10 m3 at 10 torr gives 1.81 kg/h
    torr = constants.torr
    leak = air_in_leakage_kg_s(10.0, np.array([10.0, 100.0, 0.5]) * torr) * 3600.0
    assert leak[0] == pytest.approx(1.81, abs=0.005)
    assert leak[1:] == pytest.approx(np.array([0.98, 0.12]) * 10.0 ** (2 / 3))
    # the bands between are from memory; a pressure on the border takes the lower band
    between = air_in_leakage_kg_s(1.0, np.array([2.0, 50.0, 1.0, 3.0, 20.0, 90.0]) * torr) * 3600.0
    assert between == pytest.approx([0.244, 0.73, 0.12, 0.244, 0.39, 0.73])
    with pytest.raises(OutOfRange):
        air_in_leakage_kg_s(10.0, 2e5)


def test_permeation_constants_by_counting_moles() -> None:
    # Peacock 1980 (from memory): helium through FKM, 12e-8 cm3(STP)·cm/(cm2·s·bar), counted as
    # moles of an ideal gas at 0 °C and 101 325 Pa, at 23 °C
    moles = 12e-8 * 1e-6 * constants.atm / (constants.R * 273.15)
    throughput = moles * constants.R * 296.15  # through 1 cm2 of 1 cm thickness at 1 bar
    got = permeation_pa_m3_s("fkm", "helium", 1e-4, 1e-2, 1e5)
    assert float(got) == pytest.approx(throughput, rel=1e-9)


def test_air_through_a_seal_is_between_its_nitrogen_and_its_oxygen() -> None:
    # mixing rule: 0.78 N2 + 0.21 O2 by partial pressure
    for seal in ("fkm", "nbr"):
        mixed = 0.78 * PERMEATION_M2_S[seal, "nitrogen"] + 0.21 * PERMEATION_M2_S[seal, "oxygen"]
        assert PERMEATION_M2_S[seal, "air"] == pytest.approx(mixed, rel=0.05)


def test_unknown_seal_is_named() -> None:
    with pytest.raises(UnknownName, match="fkm with helium"):
        permeation_pa_m3_s("leather", "air", 1.0, 1.0, 1.0)
    with pytest.raises(OutOfRange):
        permeation_pa_m3_s("fkm", "air", 1.0, 0.0, 1.0)


def test_wet_goods_give_the_smaller_of_supply_and_equilibrium() -> None:
    saturation = saturation_pressure_pa("water", 293.15)  # 2339 Pa by IAPWS
    assert float(wet_goods_throughput_pa_m3_s(5.0, saturation, 1e-3)) == pytest.approx(2.339, 1e-3)
    assert float(wet_goods_throughput_pa_m3_s(1.0, saturation, 1e-3)) == 1.0


def test_a_liquid_lasts_as_long_as_its_moles() -> None:
    # 18.015 g of water is one mole; at 20 °C one mole is 2437.4 Pa m3
    assert float(drying_time_s(18.01528e-3, 1.0, 18.01528e-3, 293.15)) == pytest.approx(
        2437.4, 1e-4
    )
    assert float(drying_time_s(1.0, 0.0, 0.018, 293.15)) == np.inf


@given(
    supply=st.floats(1e-3, 1e3), saturation=st.floats(1.0, 1e5),
    speed=st.floats(1e-6, 1e2), evaporation=st.floats(1e-3, 1e4),
)  # fmt: skip
def test_a_wet_surface_stands_in_series_with_the_pump(
    supply: float, saturation: float, speed: float, evaporation: float
) -> None:
    got = float(wet_goods_throughput_pa_m3_s(supply, saturation, speed, evaporation))
    # by hand: p between them from S·p = C·(p_sat − p)
    pressure = evaporation * saturation / (speed + evaporation)
    assert got == pytest.approx(min(supply, speed * pressure))
    assert got <= float(wet_goods_throughput_pa_m3_s(supply, saturation, speed))
