"""Roots boosters: check C3, limits, and the balance at every node."""

from __future__ import annotations

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from server.errors import OutOfRange
from server.physics.boosters import (
    Boosters,
    booster_speed_m3_s,
    compression_over_rest,
    cut_in_pressure_pa,
    gap_leak_ratio,
    gas_compression,
    roots_speed_m3_s,
)
from server.physics.pumps import compression_ratio
from server.physics.species import SPECIES
from server.physics.speedtable import SpeedTable, log_grid, lookup, tabulate

GRID = log_grid(1e-2, 1.1e5)


def boosters(
    displacement: float, difference: float = 1e9, cut_in: float = 1e9, *, bypass: bool = True
) -> Boosters:
    return Boosters(
        np.array([displacement]), np.array([difference]), np.array([cut_in]), np.array([bypass])
    )


def constant(speed: float) -> SpeedTable:
    return SpeedTable(GRID, np.full((1, GRID.count), speed))


def test_effective_speed_check_c3() -> None:
    # Van Atta 1965, constructed: 1000 and 100 m3/h with K0 = 40 give 800 m3/h
    assert float(roots_speed_m3_s(1000.0, 40.0, 100.0)) == pytest.approx(800.0)
    table = booster_speed_m3_s(
        boosters(1000 / 3600), np.full(GRID.count, 40.0), constant(100 / 3600)
    )
    staged = GRID.pressure_pa < 1e4  # above, the foreline would exceed the atmosphere
    assert table[0, staged] * 3600 == pytest.approx(800.0, rel=1e-9)


@given(st.floats(1e-3, 1.0), st.floats(2.0, 100.0), st.floats(1e-4, 1.0))
def test_no_faster_than_displacement_and_no_slower_with_better_backing(
    displacement: float, compression: float, backing: float
) -> None:
    speed, better = roots_speed_m3_s(displacement, compression, [backing, 2 * backing])
    assert 0.0 < speed < better < displacement


def test_every_node_balances_on_a_real_backing_curve() -> None:
    # p1 S = p2 S_b(p2) and p1 S = S_th (p1 − p2/K0(p2)), solved for p2 by scipy's brentq
    backing = SpeedTable(GRID, tabulate(
        [0.5, 2.0, 10.0, 100.0, 1e3, 1.1e5], [0.0, 6e-3, 9e-3, 1e-2, 1e-2, 9e-3], GRID)[np.newaxis]
    )  # fmt: skip
    k0 = compression_ratio(
        [1.0, 10.0, 100.0, 1e3, 1e4], [20.0, 40.0, 50.0, 25.0, 10.0], GRID.pressure_pa
    )
    table = booster_speed_m3_s(boosters(0.07), k0, backing)[0]
    for node in range(20, GRID.count, 7):
        inlet = GRID.pressure_pa[node]
        if inlet > 5e3:
            break

        def unbalance(ln_p2: float, inlet: float = inlet) -> float:
            p2 = float(np.exp(ln_p2))
            k = float(np.exp(np.interp(ln_p2, np.log(GRID.pressure_pa), np.log(k0))))
            return 0.07 * (inlet - p2 / k) - p2 * float(lookup(backing, 0, p2))

        root = float(np.exp(brentq(unbalance, np.log(GRID.low_pa), np.log(GRID.high_pa))))
        expected = root * float(lookup(backing, 0, root)) / inlet
        # the inverse is linear between nodes: a few per mille of speed
        assert table[node] == pytest.approx(expected, rel=0.01, abs=1e-6)


def test_a_booster_reaches_below_the_ultimate_pressure_of_its_backing_pump() -> None:
    backing_curve = tabulate([1.0, 10.0, 1e5], [0.0, 9e-3, 1e-2], GRID, np.inf)
    table = booster_speed_m3_s(
        boosters(0.1), np.full(GRID.count, 40.0), SpeedTable(GRID, backing_curve[np.newaxis])
    )[0]
    # at rest p1 = p2/K0: ultimate 1 Pa becomes 0.025 Pa
    assert np.all(table[GRID.pressure_pa < 0.024] == 0.0)
    assert np.all(table[GRID.pressure_pa > 0.035] > 0.0)


def test_bypass_valve_holds_the_pressure_difference() -> None:
    # S_th/S_b = 10: freely staged, 1 kPa would be compressed to 8 kPa; the valve allows 5 kPa more
    table = booster_speed_m3_s(
        boosters(1000 / 3600, 5000.0), np.full(GRID.count, 40.0), constant(100 / 3600)
    )[0]
    speed = table[GRID.pressure_pa > 1000.0] * 3600
    inlet = GRID.pressure_pa[GRID.pressure_pa > 1000.0]
    below_top = inlet < GRID.high_pa - 5000.0
    assert speed[below_top] == pytest.approx((100 * (inlet + 5000) / inlet)[below_top])
    assert np.all(speed >= 100 - 1e-9)


def test_without_a_valve_it_stands_still_above_its_cut_in_pressure() -> None:
    # Δp_max/(S_th/S_b − 1): 5000 Pa at 10 : 1 is 556 Pa
    cut_in = float(cut_in_pressure_pa(5000.0, 1000.0, 100.0))
    assert cut_in == pytest.approx(5000 / 9)
    assert float(cut_in_pressure_pa(5000.0, 100.0, 100.0)) == np.inf
    table = booster_speed_m3_s(
        boosters(1000 / 3600, 5000.0, cut_in, bypass=False),
        np.full(GRID.count, 40.0), constant(100 / 3600),
    )[0]  # fmt: skip
    assert table[GRID.pressure_pa > cut_in] * 3600 == pytest.approx(100.0)
    assert table[GRID.pressure_pa <= cut_in] * 3600 == pytest.approx(800.0)


def test_a_backing_pump_with_falling_throughput_cannot_be_staged() -> None:
    falling = SpeedTable(GRID, (1.0 / GRID.pressure_pa**2)[np.newaxis])
    with pytest.raises(OutOfRange, match="faster than 1/p"):
        booster_speed_m3_s(boosters(1e-6), np.full(GRID.count, 1e12), falling)


@pytest.mark.parametrize("gas", ["helium", "hydrogen", "water", "argon", "krypton"])
def test_a_gap_leaks_by_the_root_of_mass_at_low_and_by_viscosity_at_high_pressure(gas: str) -> None:
    # kinetic theory: v₀ ∝ 1/√M; laminar flow between plates ∝ 1/μ (Bird 2002), μ from CoolProp and,
    # for krypton, CRC Handbook 100th ed. at 25 °C (25.4 µPa s) cooled to 20 °C by T^0.8
    name = {"helium": "Helium", "hydrogen": "Hydrogen", "water": "Water", "argon": "Argon"}
    viscosity = 25.4e-6 * (293.15 / 298.15) ** 0.8
    if gas in name:
        viscosity = PropsSI("viscosity", "T", 293.15, "Dmolar", 1e-3, name[gas])
    air = PropsSI("viscosity", "T", 293.15, "Dmolar", 1e-3, "Air")
    mass = SPECIES[gas].molar_mass_kg_mol / SPECIES["air"].molar_mass_kg_mol
    low, high = gap_leak_ratio(SPECIES[gas], [0.0, 1e8])
    assert low == pytest.approx(mass**-0.5, rel=1e-9)
    assert high == pytest.approx(air / viscosity, rel=0.02)


def test_compression_for_helium_by_hand() -> None:
    # molecular: √(28.9655/4.0026) = 2.690 times the leak: 1 + 39/2.690 = 15.50
    assert float(gas_compression(40.0, 0.0, SPECIES["helium"])) == pytest.approx(15.50, abs=5e-3)


def test_light_gases_are_compressed_less_and_heavy_ones_like_air() -> None:
    # Jousten 2016, Wutz 1989 (from memory): helium lower than air, hydrogen lowest
    found = [
        float(gas_compression(40.0, 30.0, SPECIES[gas]))
        for gas in ("hydrogen", "helium", "water", "air", "argon", "xenon")
    ]
    assert found[0] < found[1] < found[2] < found[3] == found[4] == found[5] == 40.0


@given(
    gas=st.sampled_from(sorted(SPECIES)), known=st.floats(1.0, 1e3), foreline=st.floats(0.0, 1e6)
)
def test_no_gas_is_compressed_better_than_air_nor_worse_than_not_at_all(
    gas: str, known: float, foreline: float
) -> None:
    assert 1.0 <= float(gas_compression(known, foreline, SPECIES[gas])) <= known * (1 + 1e-12)


def test_a_compression_below_one_is_refused() -> None:
    with pytest.raises(OutOfRange, match="1 or more"):
        gas_compression(0.9, 10.0, SPECIES["helium"])


def test_the_backing_pumps_own_air_is_held_back_as_air() -> None:
    # by partial pressures: 2 Pa of air behind K = 40 and 8 Pa of hydrogen behind K = 10 at rest
    in_front = 2.0 / 40.0 + 8.0 / 10.0
    assert float(compression_over_rest(10.0, 40.0, 2.0, 10.0)) == pytest.approx(10.0 / in_front)
    # at rest and below there is nothing but that air
    assert compression_over_rest(10.0, 40.0, 2.0, [0.5, 2.0]) == pytest.approx([40.0, 40.0])


@given(
    st.floats(1.0, 100.0), st.floats(1.0, 100.0), st.floats(0.0, 1e3), st.floats(1e-6, 1e5)
)  # fmt: skip
def test_compression_over_rest_lies_between_the_two(
    gas: float, air: float, rest: float, foreline: float
) -> None:
    mixed = float(compression_over_rest(gas, air, rest, foreline))
    assert min(gas, air) * (1 - 1e-12) <= mixed <= max(gas, air) * (1 + 1e-12)
