"""Factors of units against scipy.constants and pint; capitals that never change a unit.

Sources: BIPM, The International System of Units, 9th ed. (2019); NIST SP 811 (2008), appendix B.8;
SEMI E12 for the standard cubic centimetre per minute (0 °C, 101 325 Pa).
"""

from __future__ import annotations

import pint
import pytest
from scipy import constants

from server.units import Dimension, parse_quantity
from server.units.table import UnitProblem, read_unit, spellings

SCIPY = (
    ("1 atm", Dimension.PRESSURE, constants.atm),
    ("1 Torr", Dimension.PRESSURE, constants.torr),
    ("1 micron", Dimension.PRESSURE, constants.torr / 1000),
    ("1 psi", Dimension.PRESSURE, constants.psi),
    ("1 bar", Dimension.PRESSURE, constants.bar),
    ("1 at", Dimension.PRESSURE, constants.kilogram_force / constants.centi**2),
    ("1 L", Dimension.VOLUME, constants.liter),
    ("1 gal", Dimension.VOLUME, constants.gallon),
    ("1 ft3", Dimension.VOLUME, constants.foot**3),
    ("1 in", Dimension.LENGTH, constants.inch),
    ("1 ft", Dimension.LENGTH, constants.foot),
    ("1 yd", Dimension.LENGTH, constants.yard),
    ("1 micron", Dimension.LENGTH, constants.micron),
    ("1 wk", Dimension.TIME, constants.week),
    ("1 d", Dimension.TIME, constants.day),
    ("1 lb", Dimension.MASS, constants.pound),
    ("1 oz", Dimension.MASS, constants.oz),
    ("1 hp", Dimension.POWER, constants.hp),
    ("0 degC", Dimension.TEMPERATURE, constants.zero_Celsius),
    ("72 F", Dimension.TEMPERATURE, constants.convert_temperature(72, "F", "K")),
    ("-40 °F", Dimension.TEMPERATURE, constants.convert_temperature(-40, "C", "K")),
    # SEMI E12: the molar volume of an ideal gas at 0 °C and 101 325 Pa, from CODATA by scipy.
    (
        "1 sccm",
        Dimension.GAS_FLOW,
        1e-6 / 60 / constants.value("molar volume of ideal gas (273.15 K, 101.325 kPa)"),
    ),
    (
        "1 slm",
        Dimension.GAS_FLOW,
        1e-3 / 60 / constants.value("molar volume of ideal gas (273.15 K, 101.325 kPa)"),
    ),
)

# Ours, and the same in pint's words: pint reads "cfm" and "micron" otherwise and lacks "Torr".
PINT = (
    ("mbar", "millibar", Dimension.PRESSURE),
    ("hPa", "hectopascal", Dimension.PRESSURE),
    ("kPa", "kilopascal", Dimension.PRESSURE),
    ("mTorr", "millitorr", Dimension.PRESSURE),
    ("mmHg", "mmHg", Dimension.PRESSURE),
    ("inHg", "inch_Hg", Dimension.PRESSURE),
    ("psi", "psi", Dimension.PRESSURE),
    ("at", "technical_atmosphere", Dimension.PRESSURE),
    ("cm³", "cm**3", Dimension.VOLUME),
    ("gal", "gallon", Dimension.VOLUME),
    ("ft³", "ft**3", Dimension.VOLUME),
    ("in²", "inch**2", Dimension.AREA),
    ("cm2", "cm**2", Dimension.AREA),
    ("m³/h", "m**3/hour", Dimension.SPEED),
    ("L/min", "liter/minute", Dimension.SPEED),
    ("cfm", "ft**3/minute", Dimension.SPEED),
    ("mbar·L/s", "millibar*liter/second", Dimension.THROUGHPUT),
    ("Torr-L/s", "torr*liter/second", Dimension.THROUGHPUT),
    ("atm cc/s", "atm*cm**3/second", Dimension.THROUGHPUT),
    ("g/h", "gram/hour", Dimension.MASS_RATE),
    ("lb/h", "pound/hour", Dimension.MASS_RATE),
    ("oz", "ounce", Dimension.MASS),
    ("kWh", "kilowatt_hour", Dimension.ENERGY),
    ("rpm", "1/minute", Dimension.FREQUENCY),
    ("hp", "horsepower", Dimension.POWER),
    ("wk", "week", Dimension.TIME),
    ("ppm", "ppm", Dimension.RATIO),
    ("%", "percent", Dimension.RATIO),
)
SI_IN_PINT = {
    Dimension.PRESSURE: "pascal",
    Dimension.VOLUME: "m**3",
    Dimension.AREA: "m**2",
    Dimension.SPEED: "m**3/s",
    Dimension.THROUGHPUT: "pascal*m**3/s",
    Dimension.MASS_RATE: "kg/s",
    Dimension.MASS: "kg",
    Dimension.ENERGY: "joule",
    Dimension.FREQUENCY: "1/s",
    Dimension.POWER: "watt",
    Dimension.TIME: "s",
    Dimension.RATIO: "",
}


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry()


@pytest.mark.parametrize(("typed", "dimension", "expected"), SCIPY)
def test_factors_agree_with_scipy_constants(
    typed: str, dimension: Dimension, expected: float
) -> None:
    assert parse_quantity(typed, dimension) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("ours", "theirs", "dimension"), PINT)
def test_factors_agree_with_pint(
    registry: pint.UnitRegistry[float], ours: str, theirs: str, dimension: Dimension
) -> None:
    expected = registry.Quantity(7.0, theirs).to(SI_IN_PINT[dimension]).magnitude
    # pint rounds the density of mercury to 13.5951, as here; all else is exact on both sides.
    assert parse_quantity(f"7 {ours}", dimension) == pytest.approx(expected, rel=1e-12)


def test_one_sccm_is_the_tabulated_throughput() -> None:
    # ideal gas at 0 °C and 101 325 Pa, computed apart from this code (reference table, C9)
    assert parse_quantity("1 sccm", Dimension.GAS_FLOW) == pytest.approx(7.4358e-7, rel=1e-5)
    for temperature_k, throughput_pa_m3_s in ((273.15, 1.68875e-3), (293.15, 1.8124e-3)):
        found = parse_quantity("1 sccm", Dimension.THROUGHPUT, temperature_k=temperature_k)
        assert found == pytest.approx(throughput_pa_m3_s, rel=3e-5)


def test_other_capitals_never_turn_a_unit_into_another() -> None:
    for spelling, unit in spellings():
        for variant in {spelling.lower(), spelling.upper(), spelling.capitalize()}:
            try:
                found = read_unit(variant)
            except UnitProblem:
                continue  # refused rather than guessed
            exact = dict(spellings()).get(variant, unit)
            assert (found.factor, found.exponents) == (exact.factor, exact.exponents), variant


def test_no_spelling_stands_for_two_units() -> None:
    seen: dict[str, str] = {}
    for spelling, unit in spellings():
        assert seen.setdefault(spelling, unit.name) == unit.name
