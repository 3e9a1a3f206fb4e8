"""Rotors of turbomolecular pumps: heat gas by gas, compression against foreline pressure."""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.special import wrightomega

from server.errors import OutOfRange
from server.physics.rotor import compression_at_foreline, rotor_heat_ratio
from server.physics.species import SPECIES


@pytest.mark.parametrize(
    ("gas", "name"),
    [("argon", "Argon"), ("helium", "Helium"), ("carbon_dioxide", "CarbonDioxide"),
     ("hydrogen", "Hydrogen"), ("xenon", "Xenon")],
)  # fmt: skip
def test_heat_ratio_follows_from_conduction_in_thin_gas(gas: str, name: str) -> None:
    # Knudsen 1911: heat carried per pressure ∝ (c_v + R/2)/√(M T); work left by a mole ∝ M.
    # Heat capacities and molar masses from CoolProp; (γ + 1)/(γ − 1) = 2·(c_v/R + 1/2).
    def carried(fluid: str) -> float:
        heat = PropsSI("Cp0molar", "T", 293.15, "Dmolar", 1e-3, fluid) / 8.314462618 - 1.0
        mass = PropsSI("M", fluid)
        return float((heat + 0.5) / math.sqrt(mass) / mass)

    wanted = carried(name) / carried("Nitrogen")
    assert rotor_heat_ratio(SPECIES[gas]) == pytest.approx(wanted, rel=5e-4)


def test_argon_lies_where_the_trade_puts_it() -> None:
    # from memory: a third to two thirds of nitrogen's largest throughput
    assert 1 / 3 < rotor_heat_ratio(SPECIES["argon"]) < 2 / 3


def test_noble_gases_heat_a_rotor_the_more_the_heavier_they_are() -> None:
    # Jousten 2016, O'Hanlon 2003
    ratios = [rotor_heat_ratio(SPECIES[gas]) for gas in ("helium", "argon", "krypton", "xenon")]
    assert ratios == sorted(ratios, reverse=True)
    assert ratios[0] > 1.0 > ratios[1]


@pytest.mark.parametrize("foreline_pa", [10.0, 300.0, 1000.0, 4000.0])
def test_compression_is_that_of_gaedes_equation(foreline_pa: float) -> None:
    # dp/dx = ln K₀·p/(1 + p/p_v) from the foreline down, by solve_ivp; p_v loses a decade at 1 kPa
    viscous = 1000.0 / math.log(10.0)
    ln_k0 = math.log(1e4)

    def slope(_x: float, p: np.ndarray) -> np.ndarray:
        return -ln_k0 * p / (1.0 + p / viscous)

    found = solve_ivp(slope, (0.0, 1.0), [foreline_pa], rtol=1e-10, atol=1e-14)
    wanted = foreline_pa / float(found.y[0, -1])
    assert float(compression_at_foreline(1e4, foreline_pa, 1000.0)) == pytest.approx(
        wanted, rel=1e-7
    )


def test_a_large_compression_loses_a_decade_at_the_tolerable_pressure() -> None:
    assert float(compression_at_foreline(1e9, 1000.0, 1000.0)) == pytest.approx(1e8, rel=1e-6)


def test_dense_gas_leaves_a_difference_of_pressures() -> None:
    # Gaede 1913: p₂ − p₁ towards p_v·ln K₀
    ratio = float(compression_at_foreline(1e3, 1e7, 100.0))
    difference = 1e7 * (1.0 - 1.0 / ratio)
    assert difference == pytest.approx(100.0 / math.log(10.0) * math.log(1e3), rel=1e-3)


@given(
    k0=st.floats(1.0, 1e13), foreline=st.floats(0.0, 1e5), more=st.floats(1.0, 10.0),
    tolerable=st.floats(1.0, 5e3),
)  # fmt: skip
def test_more_foreline_pressure_never_compresses_better(
    k0: float, foreline: float, more: float, tolerable: float
) -> None:
    first, second = compression_at_foreline(k0, [foreline, foreline * more], tolerable)
    assert 1.0 - 1e-9 <= second <= first * (1 + 1e-9)
    assert first <= k0 * (1 + 1e-9)


@given(k0=st.floats(1.0, 1e13), load=st.floats(1e-9, 700.0))
def test_the_closed_form_is_wrights_omega(k0: float, load: float) -> None:
    wanted = load / wrightomega(math.log(load) + load - math.log(k0))
    found = compression_at_foreline(k0, load, math.log(10.0))
    assert float(found) == pytest.approx(float(wanted), rel=1e-9)


def test_without_foreline_pressure_it_is_the_molecular_one() -> None:
    assert float(compression_at_foreline(2e5, 0.0, 800.0)) == 2e5


@pytest.mark.parametrize(("k0", "foreline", "tolerable"), [(0.5, 1, 1), (2, -1, 1), (2, 1, 0)])
def test_nonsense_is_refused(k0: float, foreline: float, tolerable: float) -> None:
    with pytest.raises(OutOfRange, match="1 or more"):
        compression_at_foreline(k0, foreline, tolerable)
    with pytest.raises(OutOfRange, match="1 or more"):
        compression_at_foreline([10.0, k0], [1.0, foreline], [1.0, tolerable])
