"""Gas properties against reference libraries, handbook values and their own limits."""

from __future__ import annotations

import math
import warnings

import chemicals
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from server.errors import OutOfRange, UnknownSpecies
from server.physics.gas import (
    SPECIES,
    Mixture,
    equivalent_free_path_m,
    gas_state,
    heat_capacity_ratio,
    knudsen_number,
    mean_free_path_m,
    mean_speed_m_s,
    molar_flow_mol_s,
    molar_mass_kg_mol,
    most_probable_speed_m_s,
    species,
    throughput_from_mass_rate_pa_m3_s,
    throughput_pa_m3_s,
    viscosity_pa_s,
)
from server.physics.sources import SOURCES
from tests.accuracy import Quantity, agrees
from tests.physics.reference import rows

# name in CoolProp, lowest temperature at which its dilute viscosity is more than an extrapolation
COOLPROP: dict[str, tuple[str, float]] = {
    "air": ("Air", 200),
    "nitrogen": ("Nitrogen", 200),
    "oxygen": ("Oxygen", 200),
    "argon": ("Argon", 200),
    "helium": ("Helium", 200),
    "hydrogen": ("Hydrogen", 200),
    "water": ("Water", 273.16),
    "carbon_dioxide": ("CarbonDioxide", 217),
    "methane": ("Methane", 200),
    "sulfur_hexafluoride": ("SulfurHexafluoride", 250),
    "ammonia": ("Ammonia", 250),
    "ethanol": ("Ethanol", 270),
    "methanol": ("Methanol", 270),
    "toluene": ("Toluene", 260),
    "n_hexane": ("n-Hexane", 250),
}
CAS = {
    "carbon_monoxide": "630-08-0",
    "isopropanol": "67-63-0",
    "acetone": "67-64-1",
    "ethyl_acetate": "141-78-6",
    "acetonitrile": "75-05-8",
    "dichloromethane": "75-09-2",
    "tetrahydrofuran": "109-99-9",
    "acetic_acid": "64-19-7",
    "dimethyl_sulfoxide": "67-68-5",
    "ethanol": "64-17-5",
    "methanol": "67-56-1",
    "toluene": "108-88-3",
    "n_hexane": "110-54-3",
    "ammonia": "7664-41-7",
    "nitrogen": "7727-37-9",
    "water": "7732-18-5",
}
NITROGEN = species("nitrogen")


@pytest.mark.parametrize("key", sorted(COOLPROP))
def test_viscosity_agrees_with_coolprop(key: str) -> None:
    name, low = COOLPROP[key]
    for temperature in np.linspace(low, 600, 9):
        wanted = PropsSI("viscosity", "T", temperature, "Dmolar", 1e-3, name)
        agrees(Quantity.VISCOSITY, viscosity_pa_s(SPECIES[key], temperature), wanted)


@pytest.mark.parametrize("key", sorted(CAS))
def test_viscosity_agrees_with_perrys_table(key: str) -> None:
    # Perry's 8th ed. table 2-312 through the library chemicals; compilations differ by 2 to 3 %.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library reads its tables in an old manner of pandas
        row = chemicals.viscosity.mu_data_Perrys_8E_2_312.loc[CAS[key]]
    for temperature in (293.15, 350.0, 450.0):
        wanted = chemicals.dippr.EQ102(temperature, row["C1"], row["C2"], row["C3"], row["C4"])
        assert viscosity_pa_s(SPECIES[key], temperature) == pytest.approx(wanted, rel=0.04)


@pytest.mark.parametrize("key", ["dimethyl_sulfoxide", "acetonitrile"])
def test_viscosity_of_strongly_polar_vapours_lies_between_two_estimates(key: str) -> None:
    """Nothing measured is at hand for dimethyl sulfoxide: two kinds of estimates hold its value.

    Corresponding states without dipole (Stiel & Thodos 1961; Yoon & Thodos 1970) come out low for
    polar vapours, with the dipole's factor (Lucas 1980) high where Z_c is far below 0.29; all by
    the library chemicals. Acetonitrile, of the same dipole moment and well known, is no different.
    """
    cas, grams = CAS[key], 1e3 * SPECIES[key].molar_mass_kg_mol
    critical = chemicals.Tc(cas), chemicals.Pc(cas)
    dipole = chemicals.dipole_moment(cas)
    for temperature in (293.15, 350.0, 450.0, 600.0):
        ours = float(viscosity_pa_s(SPECIES[key], temperature))
        for plain in (chemicals.viscosity.Stiel_Thodos, chemicals.viscosity.Yoon_Thodos):
            assert 0.75 < plain(temperature, *critical, grams) / ours < 1.0
        polar = chemicals.viscosity.Lucas_gas(
            temperature, *critical, chemicals.Zc(cas), grams, dipole=dipole
        )
        assert 1.0 < polar / ours < 1.5


@pytest.mark.parametrize(("key", "micropascal_s"), [("krypton", 25.4), ("xenon", 23.1)])
def test_viscosity_of_heavy_noble_gases(key: str, micropascal_s: float) -> None:
    # CRC Handbook of Chemistry and Physics, 100th ed., at 25 °C.
    agrees(Quantity.VISCOSITY, viscosity_pa_s(SPECIES[key], 298.15), micropascal_s * 1e-6)


@pytest.mark.parametrize("row", rows("mean_free_path"), ids=lambda row: row["species"])
def test_speed_viscosity_and_free_path_agree_with_the_handbook(row: dict[str, str]) -> None:
    temperature, pressure = float(row["temperature_k"]), float(row["pressure_pa"])
    state = gas_state(species(row["species"]), temperature)
    assert state.mean_speed_m_s == pytest.approx(float(row["mean_speed_m_s"]), rel=2e-3)
    # Three printed digits, compilations of argon and the vapours differ a little.
    agrees(Quantity.VISCOSITY, state.viscosity_pa_s, float(row["viscosity_pa_s"]))
    # The handbook takes hard spheres with μ = (5π/32) ρ v̄ λ; ours is (π/2)-based: 32/(10π) apart.
    converted = mean_free_path_m(state, pressure) * 32 / (10 * math.pi)
    agrees(Quantity.FREE_PATH, converted, float(row["mean_free_path_m"]), source=row["source"])


@pytest.mark.parametrize("key", sorted(SPECIES))
def test_molar_mass_and_heat_capacity_ratio(key: str) -> None:
    gas = SPECIES[key]
    names = {name: row[0] for name, row in COOLPROP.items()} | {
        "carbon_monoxide": "CarbonMonoxide",
        "krypton": "Krypton",
        "xenon": "Xenon",
        "acetone": "Acetone",
        "tetrahydrofuran": "Tetrahydrofuran",
    }
    if key in names:
        wanted = PropsSI("M", names[key])
        heat = PropsSI("Cp0molar", "T", 293.15, "Dmolar", 1e-3, names[key])
        ratio = heat / (heat - constants.R)
        assert gas.heat_capacity_ratio == pytest.approx(ratio, rel=2e-3)
    else:
        wanted = chemicals.MW(CAS[key]) / 1e3
    assert gas.molar_mass_kg_mol == pytest.approx(wanted, rel=1e-4)
    speed = math.sqrt(8 * constants.R * 293.15 / (math.pi * wanted))  # kinetic theory of gases
    agrees(Quantity.MEAN_SPEED, mean_speed_m_s(293.15, gas.molar_mass_kg_mol), speed)


def test_every_species_names_sources_that_are_listed() -> None:
    for gas in SPECIES.values():
        assert any(source in gas.viscosity_source for source in SOURCES), gas.key
    assert all(str(source).count(source.author) for source in SOURCES.values())


def test_speeds_follow_from_the_constants() -> None:
    # scipy.constants (CODATA); Boltzmann and Avogadro instead of the molar gas constant.
    mass = 28.0134e-3 / constants.N_A
    mean = math.sqrt(8 * constants.k * 293.15 / (math.pi * mass))
    agrees(Quantity.MEAN_SPEED, mean_speed_m_s(293.15, 28.0134e-3), mean, within=1e-8)
    probable = math.sqrt(2 * constants.k * 293.15 / mass)
    assert most_probable_speed_m_s(293.15, 28.0134e-3) == pytest.approx(probable, rel=1e-8)


def test_knudsen_diffusivity_of_hydrogen() -> None:
    # Geankoplis, Transport Processes, example 7.6-1: D = (2/3) r v̄ in a pore of 6 nm radius, 373 K.
    diffusivity = 2 / 3 * 6e-9 * mean_speed_m_s(373.0, 2.016e-3)
    assert diffusivity == pytest.approx(7.92e-6, rel=1e-3)


@pytest.mark.parametrize(
    ("temperature_k", "pa_m3_s"), [(273.15, 1.68875e-3), (293.15, 1.8124e-3), (298.15, 1.8433e-3)]
)
def test_one_standard_cubic_centimetre_per_minute(temperature_k: float, pa_m3_s: float) -> None:
    # SEMI E12: 0 °C and 101 325 Pa; ideal gas.
    moles = 101325 * 1e-6 / 60 / (constants.R * 273.15)
    assert moles == pytest.approx(7.4358e-7, rel=1e-5)
    assert throughput_pa_m3_s(moles, temperature_k) == pytest.approx(pa_m3_s, rel=3e-5)
    assert molar_flow_mol_s(pa_m3_s, temperature_k) == pytest.approx(moles, rel=3e-5)


def test_mass_rate_of_water_vapour_becomes_throughput() -> None:
    # By hand: 30 g/h of water = 4.6257e-4 mol/s; times R·295.15 K = 1.1351 Pa m3/s.
    flow = throughput_from_mass_rate_pa_m3_s(0.030 / 3600, 18.01528e-3, 295.15)
    assert flow == pytest.approx(1.1351, rel=1e-4)


def test_wilke_mixture_of_three_gases() -> None:
    # Bird, Stewart, Lightfoot, example 1.4-2: CO2 0.133, O2 0.039, N2 0.828 at 293 K: 17.14 µPa s.
    mixture = Mixture(
        ((species("carbon_dioxide"), 0.133), (species("oxygen"), 0.039), (NITROGEN, 0.828))
    )
    assert viscosity_pa_s(mixture, 293.0) == pytest.approx(17.14e-6, rel=0.005)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
@pytest.mark.parametrize(
    ("first", "second"),
    [("argon", "helium"), ("nitrogen", "water"), ("hydrogen", "air"), ("oxygen", "acetone")],
)
def test_mixtures_agree_with_a_library_of_wilkes_rule(
    first: str, second: str, share: float
) -> None:
    # chemicals.viscosity.Wilke, given our own pure viscosities: the rule alone is compared
    one, other = species(first), species(second)
    mixture = Mixture.of_amounts({one: share, other: 1.0 - share})
    pure = [float(viscosity_pa_s(gas, 293.15)) for gas in (one, other)]
    grams = [gas.molar_mass_kg_mol * 1e3 for gas in (one, other)]
    wanted = chemicals.viscosity.Wilke([share, 1.0 - share], pure, grams)
    assert viscosity_pa_s(mixture, 293.15) == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
@pytest.mark.parametrize(("first", "second"), [("nitrogen", "argon"), ("oxygen", "carbon_dioxide")])
def test_mixtures_of_like_gases_agree_with_another_rule(
    first: str, second: str, share: float
) -> None:
    # Herning and Zipperer 1936 by the library chemicals; the rules part where masses differ much
    one, other = species(first), species(second)
    mixture = Mixture.of_amounts({one: share, other: 1.0 - share})
    pure = [float(viscosity_pa_s(gas, 293.15)) for gas in (one, other)]
    grams = [gas.molar_mass_kg_mol * 1e3 for gas in (one, other)]
    wanted = chemicals.viscosity.Herning_Zipperer([share, 1.0 - share], pure, grams)
    assert viscosity_pa_s(mixture, 293.15) == pytest.approx(wanted, rel=0.02)


def test_argon_and_helium_are_more_viscous_together_than_either() -> None:
    # measured maximum near 70 % argon, about 2 % above it at 20 °C: Kestin 1984, from memory
    shares = np.linspace(0.0, 1.0, 21)
    found = [
        float(viscosity_pa_s(Mixture(((species("argon"), x), (species("helium"), 1 - x))), 293.15))
        for x in shares
    ]
    highest = int(np.argmax(found))
    assert 0.4 <= shares[highest] <= 0.9
    assert 1.005 < found[highest] / max(found[0], found[-1]) < 1.06


def test_air_is_its_mixture() -> None:
    # Composition of dry air: US Standard Atmosphere 1976, rounded.
    shares = {"oxygen": 0.2095, "argon": 0.0093, "carbon_dioxide": 0.0004}
    rest = ((species(key), share) for key, share in shares.items())
    mixture = Mixture(((NITROGEN, 0.7808), *rest))
    air = species("air")
    assert viscosity_pa_s(mixture, 293.15) == pytest.approx(
        float(viscosity_pa_s(air, 293.15)), rel=0.01
    )
    assert molar_mass_kg_mol(mixture) == pytest.approx(air.molar_mass_kg_mol, rel=2e-4)
    assert heat_capacity_ratio(mixture) == pytest.approx(1.4, rel=2e-3)


@given(fraction=st.floats(0, 1), temperature=st.floats(200, 600))
def test_a_mixture_of_a_gas_with_itself_is_the_gas(fraction: float, temperature: float) -> None:
    mixture = Mixture(((NITROGEN, fraction), (NITROGEN, 1 - fraction)))
    state, pure = gas_state(mixture, temperature), gas_state(NITROGEN, temperature)
    assert state.viscosity_pa_s == pytest.approx(pure.viscosity_pa_s, rel=1e-12)
    assert state.mean_speed_m_s == pytest.approx(pure.mean_speed_m_s, rel=1e-12)
    assert state.heat_capacity_ratio == pytest.approx(pure.heat_capacity_ratio, rel=1e-12)


def test_amounts_become_mole_fractions() -> None:
    mixture = Mixture.of_amounts({NITROGEN: 3.0, species("helium"): 1.0})
    assert [fraction for _, fraction in mixture.parts] == [0.75, 0.25]
    with pytest.raises(OutOfRange, match="at least one gas"):
        Mixture.of_amounts({NITROGEN: 0.0})


@pytest.mark.parametrize("parts", [(), ((NITROGEN, 0.5),), ((NITROGEN, 1.5), (NITROGEN, -0.5))])
def test_mole_fractions_must_add_up(parts: tuple[tuple[object, float], ...]) -> None:
    with pytest.raises(OutOfRange, match="add up to 1"):
        Mixture(parts)  # type: ignore[arg-type]


@pytest.mark.parametrize("temperature", [199.0, 601.0, -1.0, math.nan])
def test_viscosity_outside_its_range_is_refused(temperature: float) -> None:
    with pytest.raises(OutOfRange, match="200 K to 600 K"):
        viscosity_pa_s(NITROGEN, [300.0, temperature])


def test_an_unknown_species_lists_the_known_ones() -> None:
    with pytest.raises(UnknownSpecies, match="nitrogen") as caught:
        species("unobtainium")
    assert caught.value.wanted == "unobtainium"
    assert "argon" in caught.value.known


@given(pressure=st.floats(1e-10, 1e5), radius=st.floats(1e-4, 1.0))
def test_rarefaction_and_knudsen_number_are_inverse(pressure: float, radius: float) -> None:
    # δ = √π/2 · a/λ = √π/4 · 1/Kn with Kn = λ/2a.
    state = gas_state(NITROGEN, 293.15)
    delta = state.rarefaction(radius, pressure)
    assert delta * knudsen_number(state, 2 * radius, pressure) == pytest.approx(
        math.sqrt(math.pi) / 4, rel=1e-12
    )
    assert delta * equivalent_free_path_m(state, pressure) == pytest.approx(radius, rel=1e-12)
