"""Openings and tubes in every regime, and how conductances combine."""

from __future__ import annotations

import dataclasses
import math

import fluids
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from server.errors import OutOfRange
from server.physics.conductance import (
    annulus_conductance_m3_s,
    effective_speed_m3_s,
    orifice_conductance_m3_s,
    parallel_m3_s,
    series_m3_s,
    tube_conductance_at_mean_m3_s,
    tube_conductance_m3_s,
)
from server.physics.gas import GasState, gas_state, species
from server.physics.orifice import (
    aperture_throughput_pa_m3_s,
    choked_mass_flow_kg_s,
    critical_pressure_ratio,
    molecular_aperture_m3_s,
    nozzle_mass_flow_kg_s,
    sonic_factor,
)
from server.physics.tube import annulus_transmission, reduced_flow, tube_transmission
from tests.accuracy import Quantity, agrees

T = 293.15
NITROGEN = gas_state(species("nitrogen"), T)
HELIUM = gas_state(species("helium"), T)
AIR = gas_state(species("air"), T)
ARGON = gas_state(species("argon"), T)

radii = st.floats(1e-3, 0.5)
lengths = st.floats(1e-3, 10.0)
pressures = st.floats(1e-8, 1e5)


def pressure_at(state: GasState, rarefaction: float, radius: float) -> float:
    return float(rarefaction * state.viscosity_pa_s * state.most_probable_speed_m_s / radius)


def ideal_air(temperature_k: float) -> GasState:
    mean = gas_state(species("air"), 300.0)
    return dataclasses.replace(
        mean, temperature_k=temperature_k, molar_mass_kg_mol=constants.R / 287.0,
        heat_capacity_ratio=1.4,
    )  # fmt: skip


def test_choked_converging_nozzle() -> None:
    # Cengel & Cimbala, Fluid Mechanics, example 12-4: 6.78 and 7.11 kg/s (printed 7.10).
    state = ideal_air(884.2)
    downstream = np.array([0.7e6, 0.4e6])
    flow = nozzle_mass_flow_kg_s(state, 50e-4, 1.0456e6, downstream)
    agrees(Quantity.WORKED, flow, [6.78, 7.11], within=1e-3)
    assert choked_mass_flow_kg_s(state, 50e-4, 1.0456e6) == pytest.approx(7.11, rel=1e-3)


def test_choked_orifice_into_vacuum() -> None:
    # Isentropic nozzle (White, Fluid Mechanics), air 101 325 Pa, 20 °C, 1 mm, no contraction.
    area = math.pi / 4 * 1e-6
    state = dataclasses.replace(AIR, heat_capacity_ratio=1.4)
    flow = choked_mass_flow_kg_s(state, area, 101325.0)
    assert flow == pytest.approx(1.878e-4, rel=5e-4)
    throughput = flow * state.gas_factor_m2_s2
    agrees(Quantity.WORKED, throughput, 15.81, within=1e-3)
    assert throughput / 101325 / area == pytest.approx(198.6, rel=1e-3)
    assert sonic_factor(1.4) == pytest.approx(0.68473, rel=1e-5)
    assert critical_pressure_ratio(1.4) == pytest.approx(0.52828, rel=1e-5)


@pytest.mark.parametrize(
    ("rarefaction", "factor"),
    [(d, 1 + (0.4733 + 0.6005 / d**0.5) / (1 + 4.559 / d + 3.094 / d**2))
     for d in (0.1, 0.5, 1, 2, 5, 10, 50, 100, 1000)],
)  # fmt: skip
def test_orifice_into_vacuum_between_the_regimes(rarefaction: float, factor: float) -> None:
    # Sharipov, J. Fluid Mech. 518, 35 (2004): fit to direct simulation, remembered.
    area = math.pi * 0.01**2
    pressure = pressure_at(ARGON, rarefaction, 0.01)
    flow = aperture_throughput_pa_m3_s(ARGON, area, 0.0, pressure)
    effusion = molecular_aperture_m3_s(ARGON, area) * pressure
    agrees(Quantity.ORIFICE, flow / effusion, factor, within=0.03)


def test_a_dense_orifice_at_a_small_difference_loses_velocity_heads() -> None:
    # Incompressible sharp-edged opening, discharge 0.82: m = 0.82 A √(2ρΔp) (White).
    area, upstream, drop = 1e-4, 1e5, 200.0
    flow = aperture_throughput_pa_m3_s(AIR, area, upstream - drop, drop)
    density = upstream / AIR.gas_factor_m2_s2
    wanted = 0.82 * area * math.sqrt(2 * density * drop) * AIR.gas_factor_m2_s2
    assert flow == pytest.approx(wanted, rel=0.03)


@given(area=st.floats(1e-8, 1.0), upstream=pressures, ratio=st.floats(0, 1))
def test_an_orifice_never_beats_sonic_flow(area: float, upstream: float, ratio: float) -> None:
    flow = aperture_throughput_pa_m3_s(AIR, area, ratio * upstream, (1 - ratio) * upstream)
    sonic = choked_mass_flow_kg_s(AIR, area, upstream) * AIR.gas_factor_m2_s2
    assert 0 <= flow <= sonic


@given(radius=radii, length=lengths)
def test_molecular_tube_is_exact(radius: float, length: float) -> None:
    found = tube_conductance_m3_s(NITROGEN, radius, length, 1e-12 / radius, 0.0)
    opening = molecular_aperture_m3_s(NITROGEN, math.pi * radius**2)
    wanted = opening * tube_transmission(length / radius)
    assert found == pytest.approx(float(wanted), rel=1e-6)


@given(radius=radii, length=lengths)
def test_helium_is_faster_than_nitrogen_by_the_root_of_masses(radius: float, length: float) -> None:
    low = 1e-13 / radius
    ratio = tube_conductance_at_mean_m3_s(HELIUM, radius, length, low) / (
        tube_conductance_at_mean_m3_s(NITROGEN, radius, length, low)
    )
    assert ratio == pytest.approx(math.sqrt(28.0134 / 4.002602), rel=1e-6)


@pytest.mark.parametrize("rarefaction", [0.01, 0.3, 1.0, 10.0, 100.0])
def test_a_long_tube_follows_the_reduced_flow(rarefaction: float) -> None:
    # Q = π a³ v₀ G Δp/(2L), Sharipov & Seleznev 1998; ends matter by 1/500 here.
    radius, length = 0.01, 20.0
    pressure = pressure_at(NITROGEN, rarefaction, radius)
    found = tube_conductance_m3_s(NITROGEN, radius, length, 1.01 * pressure, 0.99 * pressure)
    speed = NITROGEN.most_probable_speed_m_s
    wanted = math.pi * radius**3 * speed * reduced_flow(rarefaction) / (2 * length)
    assert found == pytest.approx(float(wanted), rel=5e-3)


def test_a_dense_laminar_tube_follows_poiseuille() -> None:
    # Hagen-Poiseuille for a gas: Q = π a⁴ (p₁² − p₂²)/(16 μ L); slow flow, slip below 0.1 %.
    radius, length, up, down = 0.005, 20.0, 10_000.0, 9_990.0
    wanted = math.pi * radius**4 * (up + down) / (16 * AIR.viscosity_pa_s * length)
    found = tube_conductance_m3_s(AIR, radius, length, up, down)
    assert found == pytest.approx(wanted, rel=5e-3)


def test_a_dense_orifice_in_creeping_flow_follows_sampson() -> None:
    # Sampson 1891: volume flow a³ Δp/(3 μ).
    radius, pressure = 1e-3, 1e5
    found = orifice_conductance_m3_s(AIR, math.pi * radius**2, pressure, pressure)
    assert found == pytest.approx(radius**3 * pressure / (3 * AIR.viscosity_pa_s), rel=0.01)


@pytest.mark.parametrize("downstream", [0.95e5, 0.8e5, 0.6e5])
def test_a_turbulent_tube_agrees_with_a_library(downstream: float) -> None:
    # Isothermal compressible flow with friction (fluids.compressible.isothermal_gas), iterated on
    # the friction factor; it has no entrance loss, so the tube is 6000 bores long.
    bore, length, up = 0.05, 300.0, 1e5
    density = float(up / AIR.gas_factor_m2_s2)
    viscosity = float(AIR.viscosity_pa_s)
    mass, reynolds = 0.1, 0.0
    for _ in range(50):
        reynolds = 4 * mass / (math.pi * bore * viscosity)
        friction = fluids.friction.friction_factor(Re=reynolds, eD=0.0)
        mass = fluids.compressible.isothermal_gas(
            density, friction, P1=up, P2=downstream, L=length, D=bore
        )
    assert reynolds > 5e3
    found = tube_conductance_m3_s(AIR, bore / 2, length, up, downstream) * (up - downstream)
    assert found == pytest.approx(mass * AIR.gas_factor_m2_s2, rel=0.04)


@given(radius=radii, length=lengths, upstream=pressures, ratio=st.floats(0, 0.999))
def test_no_tube_beats_its_opening_or_sonic_flow(
    radius: float, length: float, upstream: float, ratio: float
) -> None:
    area = math.pi * radius**2
    down = ratio * upstream
    flow = tube_conductance_m3_s(AIR, radius, length, upstream, down) * (upstream - down)
    opening = aperture_throughput_pa_m3_s(AIR, area, down, upstream - down)
    assert 0 < flow <= opening * (1 + 1e-9)
    sonic = choked_mass_flow_kg_s(AIR, area, upstream) * AIR.gas_factor_m2_s2
    assert flow <= sonic


@given(radius=radii, length=lengths, upstream=pressures, ratio=st.floats(0, 0.999),
       more=st.floats(1.0, 3.0))  # fmt: skip
def test_more_bore_or_less_length_never_lowers_conductance(
    radius: float, length: float, upstream: float, ratio: float, more: float
) -> None:
    down = ratio * upstream
    base = tube_conductance_m3_s(AIR, radius, length, upstream, down)
    wide = tube_conductance_m3_s(AIR, radius * more, length, upstream, down)
    long = tube_conductance_m3_s(AIR, radius, length * more, upstream, down)
    assert wide >= base * (1 - 1e-9)
    assert long <= base * (1 + 1e-9)


@pytest.mark.parametrize(("radius", "length"), [(0.002, 3.0), (0.02, 0.4), (0.1, 0.05)])
@pytest.mark.parametrize("ratio", [0.0, 0.5, 0.9, 0.999])
def test_throughput_rises_smoothly_with_pressure(
    radius: float, length: float, ratio: float
) -> None:
    upstream = np.geomspace(1e-6, 1e5, 4001)
    down = ratio * upstream
    flow = tube_conductance_m3_s(AIR, radius, length, upstream, down) * (upstream - down)
    slope = np.diff(np.log(flow)) / np.diff(np.log(upstream))
    # Between the root law of turbulence and the square law of viscous flow: no jump anywhere.
    assert np.all(slope > 0.5)
    assert np.all(slope < 2.1)


@given(radius=radii, length=lengths, pressure=pressures)
def test_a_small_difference_approaches_the_form_at_the_mean(
    radius: float, length: float, pressure: float
) -> None:
    mean = tube_conductance_at_mean_m3_s(AIR, radius, length, pressure)
    equal = tube_conductance_m3_s(AIR, radius, length, pressure, pressure)
    assert equal == pytest.approx(float(mean), rel=1e-12)
    if pressure * radius < 1e-4:  # inertia has no say
        close = tube_conductance_m3_s(AIR, radius, length, 1.0005 * pressure, 0.9995 * pressure)
        assert close == pytest.approx(float(mean), rel=2e-3)


@pytest.mark.parametrize("rarefaction", [0.01, 1.0, 10.0, 1000.0])
def test_a_vanishing_tube_is_an_opening(rarefaction: float) -> None:
    pressure = pressure_at(ARGON, rarefaction, 0.02)
    tube = tube_conductance_m3_s(ARGON, 0.02, 1e-6, pressure, 0.0)
    opening = orifice_conductance_m3_s(ARGON, math.pi * 0.02**2, pressure, 0.0)
    assert tube == pytest.approx(float(opening), rel=1e-3)


def test_scalar_equals_array() -> None:
    radius = np.array([0.004, 0.02, 0.1])[:, None]
    length = np.array([0.05, 1.0])[None, :]
    table = tube_conductance_m3_s(NITROGEN, radius, length, 10.0, 1.0)
    assert table.shape == (3, 2)
    for i, a in enumerate(radius[:, 0]):
        for j, b in enumerate(length[0]):
            one = tube_conductance_m3_s(NITROGEN, float(a), float(b), 10.0, 1.0)
            assert table[i, j] == pytest.approx(float(one), rel=1e-9)


def test_annulus_limits() -> None:
    inner, outer, length = 0.02, 0.04, 1.0
    area = math.pi * (outer**2 - inner**2)
    molecular = annulus_conductance_m3_s(NITROGEN, (inner, outer), length, 1e-9, 0.0)
    passed = annulus_transmission(inner / outer, length / outer)
    wanted = molecular_aperture_m3_s(NITROGEN, area) * passed
    assert molecular == pytest.approx(float(wanted), rel=1e-6)
    # Bird, Stewart, Lightfoot, section 2.4, κ = 0.5; slow flow in a long narrow annulus.
    inner, outer, length, up, down = 0.001, 0.002, 10.0, 50_000.0, 49_990.0
    kappa = inner / outer
    shape = 1 - kappa**4 + (1 - kappa**2) ** 2 / math.log(kappa)
    volume = math.pi * outer**4 / (8 * AIR.viscosity_pa_s * length) * shape
    viscous = annulus_conductance_m3_s(AIR, (inner, outer), length, up, down)
    assert viscous == pytest.approx(volume * (up + down) / 2, rel=0.01)


def test_tank_line_pump() -> None:
    # Levenspiel, Engineering Flow and Heat Exchange, 3rd ed., example 4.2: d = 0.1 m, L = 9.89 m,
    # pump 0.2 m³/s, air 20 °C: shares 1.1, 81.5 and 5 s/m³, 0.0114 m³/s, 0.57 mPa at the pump.
    opening = orifice_conductance_m3_s(AIR, math.pi / 4 * 0.01, 1e-6, 0.0)
    line = math.pi * 0.05**3 * AIR.most_probable_speed_m_s * reduced_flow(0.0) / (2 * 9.89)
    assert 1 / opening == pytest.approx(1.1, abs=0.05)
    agrees(Quantity.WORKED, 1 / line, 81.5, within=2e-3)  # the book rounds the constant to 121.3
    speed = series_m3_s(opening, line, 0.2)
    assert speed == pytest.approx(0.0114, abs=0.00005)
    agrees(Quantity.WORKED, speed * 0.01 / 0.2, 0.571e-3, within=2e-3)
    # Clausing's exact tube is 1.6 % tighter than the sum of opening and long tube.
    exact = series_m3_s(tube_conductance_m3_s(AIR, 0.05, 9.89, 1e-6, 0.0), 0.2)
    assert exact == pytest.approx(0.0114, rel=0.02)


def test_required_speed_and_pipe() -> None:
    # University problem: 1e-7 torr·L/s at 1e-10 torr, drop 5e-11 torr, 50 cm: 2000 L/s, 20.2 cm
    # by the long-tube formula 12.2 d³/L of air at 25 °C.
    state = gas_state(species("air"), 298.15)
    radius, length = 0.101, 0.5
    long_tube = (
        math.pi * radius**3 * state.most_probable_speed_m_s * reduced_flow(0.0) / (2 * length)
    )
    assert long_tube == pytest.approx(2.0, rel=0.01)
    # The formula is not for so short a tube: the exact one passes little more than half of it.
    exact = tube_conductance_m3_s(state, radius, length, 1e-8, 0.0)
    assert exact / long_tube == pytest.approx(0.58, abs=0.02)


def test_effective_speed_through_a_short_tube() -> None:
    # Constructed: 1000 L/s, nitrogen 22 °C, d = 20 cm, L = 40 cm; Oatley 1957 for the second.
    state = gas_state(species("nitrogen"), 295.15)
    tube = tube_conductance_m3_s(state, 0.1, 0.4, 1e-9, 0.0)
    assert tube == pytest.approx(1.3227, rel=2e-4)
    assert effective_speed_m3_s(1.0, tube) == pytest.approx(0.5695, rel=2e-4)
    opening = molecular_aperture_m3_s(state, math.pi * 0.01)
    assert effective_speed_m3_s(1.0, tube, opening) == pytest.approx(0.6727, rel=2e-4)
    assert effective_speed_m3_s(0.0, tube) == 0.0


@given(st.lists(st.floats(1e-6, 1e3), min_size=2, max_size=6))
def test_series_is_below_the_smallest_and_parallel_above_the_largest(values: list[float]) -> None:
    assert series_m3_s(*values) < min(values)
    assert parallel_m3_s(*values) > max(values)
    assert series_m3_s(*values, math.inf) == pytest.approx(float(series_m3_s(*values)), rel=1e-12)


@given(speed=st.floats(1e-6, 100), conductance=st.floats(1e-6, 100))
def test_a_line_never_adds_speed(speed: float, conductance: float) -> None:
    left = effective_speed_m3_s(speed, conductance)
    assert 0 < left <= min(speed, conductance) * (1 + 1e-12)


def test_impossible_tubes_are_refused() -> None:
    for radius, length in ((0.0, 1.0), (0.01, 0.0), (-0.01, 1.0), (math.nan, 1.0)):
        with pytest.raises(OutOfRange, match="bore and a length"):
            tube_conductance_m3_s(AIR, radius, length, 1.0, 0.0)
    with pytest.raises(OutOfRange, match="upstream"):
        tube_conductance_m3_s(AIR, 0.01, 1.0, 1.0, 2.0)
    with pytest.raises(OutOfRange, match="upstream"):
        nozzle_mass_flow_kg_s(AIR, 1e-4, 1.0, -2.0)
    with pytest.raises(OutOfRange, match="area"):
        orifice_conductance_m3_s(AIR, 0.0, 1.0, 0.0)
    with pytest.raises(OutOfRange, match="inner radius"):
        annulus_conductance_m3_s(AIR, (0.02, 0.01), 1.0, 1.0, 0.0)
