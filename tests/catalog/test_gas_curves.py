"""Which curve and which compression hold for a gas a pump was not specified for."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.gas_curves import compression_for, curve_for
from server.catalog.items import CapturePump, Catalog, PumpKind, SpeedCurve, TurboPump, VapourPump
from server.catalog.tables import load_catalog
from server.physics.species import SPECIES
from tests.catalog.tables_under_test import DEMO
from tests.fit.stock import a_backing_pump, a_turbo_pump, a_vapour_pump

COMPRESSION = {"hydrogen": 1e4, "helium": 1e5, "nitrogen": 1e10}


def a_curve(gas: str, speed_m3_s: float = 0.1, *, with_ballast: bool = False) -> SpeedCurve:
    return SpeedCurve(gas, (1e-4, 1.0), (speed_m3_s, speed_m3_s), with_ballast)


@pytest.fixture(scope="module")
def demo() -> Catalog:
    return load_catalog(DEMO)


def test_a_specified_gas_has_its_own_curve() -> None:
    pump = replace(a_turbo_pump(), curves=(a_curve("nitrogen"), a_curve("hydrogen", 0.08)))
    assert curve_for(pump, "hydrogen").curve == a_curve("hydrogen", 0.08)


def test_air_and_nitrogen_stand_in_for_each_other() -> None:
    pump = replace(a_vapour_pump(), curves=(a_curve("nitrogen"),))
    assert curve_for(pump, "air").curve == a_curve("nitrogen")


def test_a_turbo_takes_the_gas_nearest_in_mass_and_says_so() -> None:
    pump = replace(
        a_turbo_pump(), curves=(a_curve("nitrogen"), a_curve("helium"), a_curve("argon"))
    )
    # water is 18 g/mol: ln(28/18) = 0.44 against ln(18/4) = 1.5
    assert curve_for(pump, "water").curve == a_curve("nitrogen")
    assert curve_for(pump, "hydrogen").curve == a_curve("helium")
    assert "nearest in mass" in curve_for(pump, "hydrogen").note


@pytest.mark.parametrize("gas", ["helium", "argon", "water", "acetone"])
def test_jet_and_displacement_pumps_take_any_gas(gas: str) -> None:
    jet = replace(a_vapour_pump(), curves=(a_curve("nitrogen"),))
    assert curve_for(jet, gas).curve == a_curve("nitrogen")
    assert curve_for(a_backing_pump(), gas).curve is not None


@pytest.mark.parametrize(
    ("kind", "gas", "pumped"),
    [
        # Cold panels at 10–20 K do not hold helium or hydrogen without charcoal (O'Hanlon 2003)
        (PumpKind.CRYO, "helium", False),
        (PumpKind.CRYO, "hydrogen", False),
        (PumpKind.CRYO, "argon", True),
        (PumpKind.CRYO, "water", True),
        # Getter films take active gases; noble gases are buried at a per cent of that (O'Hanlon)
        (PumpKind.SPUTTER_ION, "argon", False),
        (PumpKind.SPUTTER_ION, "helium", False),
        (PumpKind.SPUTTER_ION, "carbon_monoxide", True),
        (PumpKind.SPUTTER_ION, "hydrogen", True),
    ],
)
def test_capture_pumps_take_only_what_they_hold(
    demo: Catalog, kind: PumpKind, gas: str, pumped: bool
) -> None:
    pump = next(pump for pump in demo.of_type(CapturePump) if pump.kind is kind)
    bare = replace(pump, curves=(a_curve("nitrogen"),))
    assert (curve_for(bare, gas).curve is not None) is pumped


def test_ballast_has_its_own_curve_where_there_is_one() -> None:
    dry, wet = a_curve("air"), a_curve("air", 0.08, with_ballast=True)
    pump = replace(a_backing_pump(), curves=(dry, wet))
    assert curve_for(pump, "air", with_ballast=True).curve == wet
    assert curve_for(pump, "air").curve == dry
    assert curve_for(replace(pump, curves=(dry,)), "air", with_ballast=True).curve == dry


def test_vapour_is_pumped_with_the_ballast_curve_of_air() -> None:
    wet = a_curve("air", 0.08, with_ballast=True)
    pump = replace(a_backing_pump(), curves=(a_curve("air"), wet))
    assert curve_for(pump, "water", with_ballast=True).curve == wet


def test_specified_compression_is_taken_as_it_is() -> None:
    assert compression_for(COMPRESSION, "helium") == 1e5
    assert compression_for(COMPRESSION, "air") == 1e10


def test_compression_between_gases_is_straight_in_the_root_of_mass() -> None:
    # Becker 1966, O'Hanlon 2003 (from memory): ln K₀ ∝ √M for one rotor. By hand for water:
    # √2.016 = 1.420, √4.003 = 2.001, √18.015 = 4.244, √28.013 = 5.293
    share = (4.244 - 2.001) / (5.293 - 2.001)
    by_hand = math.exp(math.log(1e5) + share * math.log(1e5))
    assert compression_for(COMPRESSION, "water") == pytest.approx(by_hand, rel=5e-3)


def test_compression_is_held_beyond_the_specified_gases() -> None:
    assert compression_for(COMPRESSION, "argon") == pytest.approx(1e10)
    assert compression_for({"nitrogen": 1e9}, "hydrogen") == pytest.approx(1e9)


@given(gas=st.sampled_from(sorted(SPECIES)))
def test_compression_stays_between_that_of_hydrogen_and_that_of_nitrogen(gas: str) -> None:
    assert 1e4 * (1 - 1e-9) <= compression_for(COMPRESSION, gas) <= 1e10 * (1 + 1e-9)


def test_every_turbo_of_the_demo_compresses_hydrogen_least(demo: Catalog) -> None:
    for pump in demo.of_type(TurboPump):
        found = {gas: compression_for(pump.compression, gas) for gas in SPECIES}
        assert min(found, key=lambda gas: found[gas]) == "hydrogen", pump.sku


def test_every_jet_of_the_demo_pumps_hydrogen_at_least_as_fast_as_air(demo: Catalog) -> None:
    # Hablanian 1997: a jet pumps light gases faster, up to about double, as their molecules arrive
    # faster; below the throat's A·v̄/4 of hydrogen in any case (checked with the catalogue).
    for pump in demo.of_type(VapourPump):
        light, air = curve_for(pump, "hydrogen").curve, curve_for(pump, "air").curve
        assert light is not None
        assert air is not None
        assert max(light.speed_m3_s) >= max(air.speed_m3_s), pump.sku
