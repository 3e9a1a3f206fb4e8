"""Saturation pressures against CoolProp, IAPWS and the compilations in `chemicals`."""

from __future__ import annotations

import chemicals
import numpy as np
import pytest
from chemicals import iapws
from chemicals import vapor_pressure as published
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from server.errors import OutOfRange, UnknownName
from server.physics.vapour import (
    SATURATION,
    evaporation_kg_m2_s,
    fluid_vapour_pressure_pa,
    heat_of_evaporation_j_mol,
    saturation_pressure_pa,
    time_to_defrost_s,
)
from tests.accuracy import Quantity, agrees

COOLPROP = {
    "water": "Water", "ethanol": "Ethanol", "methanol": "Methanol", "acetone": "Acetone",
    "toluene": "Toluene", "n_hexane": "n-Hexane", "tetrahydrofuran": "Tetrahydrofuran",
    "ammonia": "Ammonia", "carbon_dioxide": "CarbonDioxide",
}  # fmt: skip
CAS = {
    "water": "7732-18-5", "ethanol": "64-17-5", "methanol": "67-56-1", "acetone": "67-64-1",
    "toluene": "108-88-3", "n_hexane": "110-54-3", "tetrahydrofuran": "109-99-9",
    "ammonia": "7664-41-7", "isopropanol": "67-63-0", "ethyl_acetate": "141-78-6",
    "acetonitrile": "75-05-8", "dichloromethane": "75-09-2", "acetic_acid": "64-19-7",
    "dimethyl_sulfoxide": "67-68-5",
}  # fmt: skip


def _row_of(substance: str) -> Quantity:
    return Quantity.ISOPROPANOL if substance == "isopropanol" else Quantity.SATURATION


@pytest.mark.parametrize(("substance", "fluid"), sorted(COOLPROP.items()))
def test_liquids_agree_with_coolprop_to_one_per_cent(substance: str, fluid: str) -> None:
    model = SATURATION[substance]
    temperature = np.linspace(model.triple_k + 0.1, model.high_k, 60)
    reference = [PropsSI("P", "T", t, "Q", 1, fluid) for t in temperature]
    agrees(_row_of(substance), saturation_pressure_pa(substance, temperature), reference, 0.01)


@pytest.mark.parametrize(
    ("substance", "tolerance"),
    # compilations of 2-propanol differ by 3–8 %, of acetonitrile by 2.8 %, of acetic acid by 2.1 %
    [("ethyl_acetate", 0.01), ("dichloromethane", 0.01), ("acetonitrile", 0.01),
     ("isopropanol", 0.05), ("acetic_acid", 0.02)],
)  # fmt: skip
def test_solvents_agree_with_the_vdi_heat_atlas(substance: str, tolerance: float) -> None:
    row = published.Psat_data_VDI_PPDS_3.loc[CAS[substance]]
    temperature = np.linspace(max(260.0, SATURATION[substance].triple_k), 420.0, 40)
    reference = [
        published.Wagner(t, row["Tc"], row["Pc"], row["A"], row["B"], row["C"], row["D"])
        for t in temperature
    ]
    found = saturation_pressure_pa(substance, temperature)
    agrees(_row_of(substance), found, reference, tolerance)


@pytest.mark.parametrize(
    ("substance", "tolerance"),
    [("ethyl_acetate", 0.01), ("dichloromethane", 0.01), ("isopropanol", 0.05),
     ("acetic_acid", 0.01), ("tetrahydrofuran", 0.02), ("toluene", 0.01)],
)  # fmt: skip
def test_solvents_agree_with_poling_antoine_within_its_range(
    substance: str, tolerance: float
) -> None:
    # Poling, Prausnitz, O'Connell 2001: no coefficients but part of 2-propanol's come from it
    row = published.Psat_data_AntoinePoling.loc[CAS[substance]]
    temperature = np.linspace(max(row["Tmin"], 275.0), row["Tmax"], 20)
    reference = [published.Antoine(t, row["A"], row["B"], row["C"]) for t in temperature]
    assert saturation_pressure_pa(substance, temperature) == pytest.approx(reference, rel=tolerance)


def test_no_curve_of_acetic_acid_is_within_one_per_cent_of_every_compilation() -> None:
    """The atlas (VDI 2010) and Antoine's constants (Poling 2001) part by 2.1 %; ours is between."""
    atlas = published.Psat_data_VDI_PPDS_3.loc[CAS["acetic_acid"]]
    antoine = published.Psat_data_AntoinePoling.loc[CAS["acetic_acid"]]
    temperature = np.linspace(antoine["Tmin"], antoine["Tmax"], 60)
    wagner = np.array(
        [published.Wagner(t, *(atlas[name] for name in ("Tc", "Pc", *"ABCD"))) for t in temperature]
    )
    poling = np.array(
        [published.Antoine(t, *(antoine[name] for name in "ABC")) for t in temperature]
    )
    apart = np.abs(np.log(wagner / poling))
    # the best that one curve could do is half of what parts them
    assert 0.010 < 0.5 * apart.max() < 0.011
    ours = saturation_pressure_pa("acetic_acid", temperature)
    widest = int(np.argmax(apart))
    low, high = sorted((wagner[widest], poling[widest]))
    assert low <= ours[widest] <= high


@pytest.mark.parametrize("substance", sorted(CAS))
def test_normal_boiling_points(substance: str) -> None:
    # boiling points of the compilation in `chemicals`, CRC Handbook and others, within 0.4 K;
    # those of dimethyl sulfoxide differ by 2 K between compilations
    boiling_k = chemicals.Tb(CAS[substance])
    slack_k = 1.6 if substance == "dimethyl_sulfoxide" else 0.4
    low, high = saturation_pressure_pa(substance, [boiling_k - slack_k, boiling_k + slack_k])
    assert low < constants.atm < high


def test_water_over_the_whole_liquid_range() -> None:
    temperature = np.linspace(273.2, 630.0, 80)
    reference = [iapws.iapws95_Psat(t) for t in temperature]  # type: ignore[no-untyped-call]
    assert saturation_pressure_pa("water", temperature) == pytest.approx(reference, rel=1e-3)


def test_ice_against_two_published_equations() -> None:
    temperature = np.linspace(77.0, 273.1, 60)
    ice = saturation_pressure_pa("water", temperature)
    release = [iapws.iapws11_Psub(t) for t in temperature]  # type: ignore[no-untyped-call]
    assert ice == pytest.approx(release, rel=1e-6)
    # Murphy & Koop 2005 (Q. J. R. Meteorol. Soc. 131, 1539), valid above 110 K; from memory
    t = temperature[temperature > 111.0]
    other = np.exp(9.550426 - 5723.265 / t + 3.53068 * np.log(t) - 0.00728332 * t)
    assert ice[temperature > 111.0] == pytest.approx(other, rel=0.01)


def test_dry_ice() -> None:
    # sublimes at 194.69 K under 101 325 Pa (Span & Wagner 1996; common handbook value)
    assert float(saturation_pressure_pa("carbon_dioxide", 194.686)) == pytest.approx(101325, 2e-3)
    # at 77 K about 2e-6 Pa (Honig & Hook 1960, from memory); a factor 2 is the state of the data
    assert 1e-6 < float(saturation_pressure_pa("carbon_dioxide", 77.3)) < 4e-6


@pytest.mark.parametrize("substance", sorted(SATURATION))
def test_solid_meets_liquid_at_the_triple_point_and_is_steeper(substance: str) -> None:
    model = SATURATION[substance]
    t = model.triple_k
    below, at, above = saturation_pressure_pa(substance, [t - 0.5, t, t + 0.5])
    just = saturation_pressure_pa(substance, t * (1 - 1e-9))
    assert float(just) == pytest.approx(at, rel=1e-3)
    assert at / below > above / at  # ΔH_sub > ΔH_vap


@pytest.mark.parametrize("substance", sorted(SATURATION))
def test_heat_of_sublimation_is_vaporisation_plus_fusion(substance: str) -> None:
    if substance in ("water", "carbon_dioxide"):
        return  # their solids have published equations, tested above
    model = SATURATION[substance]
    t = model.triple_k
    p = saturation_pressure_pa(substance, [t + 0.01, t + 0.21])
    vaporisation = constants.R * (t + 0.11) ** 2 * np.log(p[1] / p[0]) / 0.2
    fusion = chemicals.Hfus(CAS[substance])  # CRC Handbook
    assert model.sublimation_j_mol == pytest.approx(vaporisation + fusion, rel=0.01)


@given(st.sampled_from(sorted(SATURATION)), st.floats(0.0, 1.0), st.floats(0.001, 1.0))
def test_pressure_rises_with_temperature(substance: str, place: float, step: float) -> None:
    model = SATURATION[substance]
    low = model.low_k + place * (model.high_k - model.low_k) * 0.998
    high = low + step * (model.high_k - low)
    cold, warm = saturation_pressure_pa(substance, [low, high])
    assert 0.0 < cold < warm


def test_scalar_equals_array_and_nothing_is_extrapolated() -> None:
    whole = saturation_pressure_pa("acetone", [100.0, 250.0, 300.0])
    for temperature, value in zip((100.0, 250.0, 300.0), whole, strict=True):
        assert float(saturation_pressure_pa("acetone", temperature)) == value
    for temperature in (40.0, 700.0, float("nan")):
        with pytest.raises(OutOfRange, match="acetone is known from"):
            saturation_pressure_pa("acetone", temperature)
    with pytest.raises(UnknownName, match="water"):
        saturation_pressure_pa("gravy", 300.0)


def test_ice_at_the_temperature_of_dry_ice_and_of_nitrogen() -> None:
    # ice at −78.5 °C: 0.073 Pa (CRC Handbook, interpolated); at 77 K next to nothing
    assert float(saturation_pressure_pa("water", 194.65)) == pytest.approx(0.073, rel=0.05)
    assert float(saturation_pressure_pa("water", 77.3)) < 1e-15


def test_time_to_defrost() -> None:
    assert float(time_to_defrost_s(3.0, 1.0 / 3600.0)) == pytest.approx(3 * 3600.0)
    assert float(time_to_defrost_s(3.0, 0.0)) == np.inf


@pytest.mark.parametrize(
    ("a", "b", "pascal"),
    # tetramethyl tetraphenyl and pentaphenyl trimethyl trisiloxane at 25 °C; Laurenson 1982 and
    # O'Hanlon 2003 as remembered: 2.7e-6 and 4e-8 Pa; the fits are not better than 20 %
    [(13.150, 5570.0, 2.7e-6), (14.435, 6490.0, 4e-8)],
)
def test_pump_fluids_at_room_temperature(a: float, b: float, pascal: float) -> None:
    assert float(fluid_vapour_pressure_pa(a, b, 298.15)) == pytest.approx(pascal, rel=0.2)


@pytest.mark.parametrize(
    ("celsius", "saturation_pa", "kg_m2_s"),
    # W = 0.05833·p(Torr)·√(M/T) g/(cm²·s) [DUSHMAN-1962, from memory] with p_sat from IAPWS:
    # ice at 0 °C 4.5877 Torr, water at 20 °C 17.546 Torr
    [(0.0, 611.15, 0.687), (20.0, 2339.2, 2.537)],
)
def test_water_evaporates_into_vacuum_as_fast_as_published(
    celsius: float, saturation_pa: float, kg_m2_s: float
) -> None:
    kelvin = 273.15 + celsius
    saturation = saturation_pressure_pa("water", kelvin)
    assert float(saturation) == pytest.approx(saturation_pa, rel=1e-3)
    got = float(evaporation_kg_m2_s(18.01528e-3, saturation, kelvin))
    assert got == pytest.approx(kg_m2_s, rel=2e-3)
    by_formula = 0.05833 * saturation_pa / 133.322 * (18.015 / kelvin) ** 0.5 * 10.0
    assert got == pytest.approx(by_formula, rel=2e-3)


@pytest.mark.parametrize(
    "substance", ["water", "ethanol", "methanol", "acetone", "toluene", "n_hexane", "ammonia"]
)
def test_heat_of_evaporation_agrees_with_the_reference_library(substance: str) -> None:
    fluid = COOLPROP[substance]
    kelvin = 273.15 if substance == "ammonia" else 303.15
    vapour, liquid = (PropsSI("HMOLAR", "T", kelvin, "Q", q, fluid) for q in (1, 0))
    got = float(heat_of_evaporation_j_mol(substance, kelvin))
    # the vapour is taken as an ideal gas: 3 % too much for acetone at 0.4 bar, ammonia at 4.3 bar
    allowed = 0.10 if substance == "ammonia" else 0.035
    assert got == pytest.approx(vapour - liquid, rel=allowed)


def test_ice_takes_the_heat_of_sublimation_right_up_to_the_triple_point() -> None:
    """51.06 kJ/mol [IAPWS-R14]; water at the triple point 45.05 kJ/mol [WAGNER-2002]."""
    assert float(heat_of_evaporation_j_mol("water", 273.15)) == pytest.approx(51_060, rel=3e-3)
    assert float(heat_of_evaporation_j_mol("water", 273.161)) == pytest.approx(45_050, rel=3e-3)
    for substance, model in SATURATION.items():
        ends = np.array([model.low_k, model.high_k])
        assert np.all(np.isfinite(heat_of_evaporation_j_mol(substance, ends)))


def test_vapour_pressures_are_known_from_60_k_on() -> None:
    # liquid nitrogen pumped down to its triple point is at 63.15 K: the coldest surface of a trap
    assert 0.0 <= float(saturation_pressure_pa("ethanol", 63.15)) < 1e-20
    with pytest.raises(OutOfRange):
        saturation_pressure_pa("ethanol", 59.0)
