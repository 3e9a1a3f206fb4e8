"""Which limit of a pump holds for a gas, specified or not."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.gas_limits import (
    NO_FORELINE_PA,
    booster_compression_for,
    largest_throughput_for,
    start_pressure_for,
    stated_vapour_kg_s,
    tolerable_foreline_for,
)
from server.catalog.items import (
    BackingPump,
    CapturePump,
    Catalog,
    PumpKind,
    RootsBooster,
    TurboPump,
    VapourPump,
)
from server.catalog.tables import load_catalog
from server.physics.species import SPECIES
from tests.catalog.tables_under_test import DEMO
from tests.fit.stock import a_backing_pump, a_turbo_pump, a_vapour_pump

TURBO = replace(
    a_turbo_pump(), largest_throughput_by_gas_pa_m3_s={"argon": 0.15, "helium": 0.36}
)  # nitrogen: 0.3
gases = st.sampled_from(sorted(SPECIES))


@pytest.fixture(scope="module")
def demo() -> Catalog:
    return load_catalog(DEMO)


def heat(gas: str) -> float:
    """Knudsen 1911: (γ + 1)/(γ − 1)·M^(−3/2), by hand."""
    one = SPECIES[gas]
    ratio = one.heat_capacity_ratio
    return (ratio + 1) / (ratio - 1) / math.pow(one.molar_mass_kg_mol, 1.5)


def test_a_stated_throughput_is_taken_as_it_is() -> None:
    assert largest_throughput_for(TURBO, "argon") == 0.15
    assert largest_throughput_for(TURBO, "nitrogen") == largest_throughput_for(TURBO, "air") == 0.3


def test_a_gas_between_two_stated_ones_is_read_between_them() -> None:
    share = math.log(heat("carbon_dioxide") / heat("argon")) / math.log(
        heat("nitrogen") / heat("argon")
    )
    by_hand = 0.15 * (0.3 / 0.15) ** share
    assert largest_throughput_for(TURBO, "carbon_dioxide") == pytest.approx(by_hand)
    assert 0.15 < by_hand < 0.3


def test_a_gas_that_heats_more_than_any_stated_one_falls_in_proportion() -> None:
    by_hand = 0.15 * heat("xenon") / heat("argon")
    assert largest_throughput_for(TURBO, "xenon") == pytest.approx(by_hand)
    plain = a_turbo_pump()
    assert largest_throughput_for(plain, "argon") == pytest.approx(
        0.3 * heat("argon") / heat("nitrogen")
    )


def test_a_gas_that_heats_less_than_any_stated_one_gains_nothing() -> None:
    assert largest_throughput_for(TURBO, "hydrogen") == pytest.approx(0.36)
    assert largest_throughput_for(a_turbo_pump(), "hydrogen") == pytest.approx(0.3)


@given(gases, gases)
def test_what_heats_more_is_never_carried_more(one: str, other: str) -> None:
    low, high = sorted((one, other), key=heat)
    first, second = (largest_throughput_for(TURBO, gas) for gas in (low, high))
    near_air = {one, other} & {"air", "nitrogen", "carbon_monoxide"}  # one value for air's gases
    assert first <= second * (1.05 if near_air else 1 + 1e-9)


def test_jets_and_capture_pumps_have_one_largest_throughput(demo: Catalog) -> None:
    jet, cryo = a_vapour_pump(), demo.get("CRYO-200", CapturePump)
    assert largest_throughput_for(jet, "argon") == jet.largest_throughput_pa_m3_s
    assert largest_throughput_for(cryo, "argon") == cryo.largest_throughput_pa_m3_s


def test_a_jet_holds_back_light_gases_less_well() -> None:
    # Hablanian 1997, O'Hanlon 2003, from memory: about three quarters for hydrogen
    jet = a_vapour_pump()
    assert tolerable_foreline_for(jet, "argon") == (60.0, 50.0)
    assert tolerable_foreline_for(jet, "hydrogen") == pytest.approx((45.0, 37.5))
    assert tolerable_foreline_for(jet, "helium") == pytest.approx((51.0, 42.5))
    stated = replace(
        jet,
        tolerable_foreline_no_load_by_gas_pa={"hydrogen": 50.0},
        tolerable_foreline_full_load_by_gas_pa={"hydrogen": 41.0},
    )
    assert tolerable_foreline_for(stated, "hydrogen") == (50.0, 41.0)


def test_a_rotors_tolerable_foreline_is_its_own_unless_stated(demo: Catalog) -> None:
    pump = replace(a_turbo_pump(), tolerable_foreline_by_gas_pa={"hydrogen": 300.0})
    assert tolerable_foreline_for(pump, "helium") == (800.0, 800.0)
    assert tolerable_foreline_for(pump, "hydrogen") == (300.0, 300.0)
    cryo = demo.get("CRYO-200", CapturePump)
    assert tolerable_foreline_for(cryo, "air") == (NO_FORELINE_PA, NO_FORELINE_PA)


@given(gases)
def test_full_load_never_tolerates_more_than_no_load(gas: str) -> None:
    no_load, full_load = tolerable_foreline_for(a_vapour_pump(), gas)
    assert full_load <= no_load


def test_a_cold_head_takes_its_burst_but_no_more_than_its_start_pressure(demo: Catalog) -> None:
    # the demo's: 20 Pa m³, at most 40 Pa; into 2 m³ that is 10 Pa
    cryo = demo.get("CRYO-200", CapturePump)
    assert start_pressure_for(cryo, 2.0) == pytest.approx(10.0)
    assert start_pressure_for(cryo, 0.1) == pytest.approx(40.0)
    assert start_pressure_for(replace(cryo, burst_pa_m3=None), 2.0) == pytest.approx(40.0)
    assert start_pressure_for(a_turbo_pump(), 2.0) == 1000.0


def test_a_boosters_own_curve_for_a_gas_is_taken(demo: Catalog) -> None:
    booster = demo.get("ROOTS-0500", RootsBooster)
    stated = booster.compression_by_gas["helium"]
    found = booster_compression_for(booster, "helium", stated.pressure_pa)
    assert found == pytest.approx(stated.compression)


def test_a_booster_without_a_curve_for_a_gas_is_scaled_from_air(demo: Catalog) -> None:
    booster = demo.get("ROOTS-0150", RootsBooster)
    foreline = np.geomspace(1e-4, 1e4, 33)
    air = booster_compression_for(booster, "air", foreline)
    assert booster_compression_for(booster, "nitrogen", foreline) == pytest.approx(air)
    assert booster_compression_for(booster, "argon", foreline) == pytest.approx(air)
    light = booster_compression_for(booster, "hydrogen", foreline)
    assert np.all(light < air)
    # molecular: (K₀ − 1) by √(2.01588/28.9655)
    assert (light[0] - 1) / (air[0] - 1) == pytest.approx(0.26381, rel=1e-3)


def test_stated_curves_of_the_demo_agree_with_the_scaling(demo: Catalog) -> None:
    # invented data in the range of the class: within a factor two of the physical scaling
    for booster in demo.of_type(RootsBooster):
        for gas, curve in booster.compression_by_gas.items():
            bare = replace(booster, compression_by_gas={})
            scaled = booster_compression_for(bare, gas, curve.pressure_pa)
            assert np.all(np.array(curve.compression) / scaled < 2.0), (booster.sku, gas)
            assert np.all(np.array(curve.compression) / scaled > 0.5), (booster.sku, gas)


def test_a_stated_vapour_rate_counts_by_moles() -> None:
    pump = replace(
        a_backing_pump(kind=PumpKind.DIAPHRAGM_CHEMISTRY, oil_charge_m3=0.0),
        largest_vapour_kg_s=18.015e-6,
    )
    # by hand: a millimole a second; acetone has 58.079 g/mol
    assert stated_vapour_kg_s(pump, "water") == 18.015e-6
    assert stated_vapour_kg_s(pump, "acetone") == pytest.approx(58.079e-6, rel=1e-4)
    assert stated_vapour_kg_s(a_backing_pump(), "water") is None


def test_the_demo_states_limits_where_the_trade_does(demo: Catalog) -> None:
    for turbo in demo.of_type(TurboPump):
        argon = largest_throughput_for(turbo, "argon") / turbo.largest_throughput_pa_m3_s
        # a third to two thirds: from memory
        assert 1 / 3 <= argon <= 2 / 3, turbo.sku
        assert tolerable_foreline_for(turbo, "hydrogen")[0] < turbo.tolerable_foreline_pa
    for jet in demo.of_type(VapourPump):
        no_load, full_load = tolerable_foreline_for(jet, "hydrogen")
        assert 0.7 < no_load / jet.tolerable_foreline_no_load_pa < 0.85, jet.sku
        # what it pumps at full load it must still hold back
        assert jet.largest_inlet_pa is not None
        assert full_load > jet.largest_inlet_pa, jet.sku
    chemistry = [p for p in demo.of_type(BackingPump) if p.kind is PumpKind.DIAPHRAGM_CHEMISTRY]
    assert chemistry
    assert all(pump.largest_vapour_kg_s for pump in chemistry)
    cryos = [p for p in demo.of_type(CapturePump) if p.kind is PumpKind.CRYO]
    assert all(pump.burst_pa_m3 for pump in cryos)
