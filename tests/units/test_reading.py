"""Quantities as people type them, and every kind of nonsense refused with its reason."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import constants

from server.errors import OutOfRange, QuantityError
from server.units import Dimension, accepted_examples, convert, parse_quantity
from server.units.dimensions import KINDS

SHARED = {Dimension.GAS_FLOW, Dimension.THROUGHPUT}  # one becomes the other with a temperature


@pytest.mark.parametrize(
    ("typed", "dimension", "expected"),
    [
        ("50 mTorr", Dimension.PRESSURE, 0.05 * 101325 / 760),
        ("5e-5 mbar", Dimension.PRESSURE, 5e-3),
        ("5E-5mbar", Dimension.PRESSURE, 5e-3),
        ("5·10^-5 mbar", Dimension.PRESSURE, 5e-3),
        ("5x10-5 mbar", Dimension.PRESSURE, 5e-3),
        ("5 × 10⁻⁵ mbar", Dimension.PRESSURE, 5e-3),
        ("5*10**-5 mbar", Dimension.PRESSURE, 5e-3),
        ("10^-5 mbar", Dimension.PRESSURE, 1e-3),
        ("0.7", Dimension.PRESSURE, 0.7),
        ("1 MBAR", Dimension.PRESSURE, 100.0),
        ("1013 mbar abs", Dimension.PRESSURE, 101300.0),
        ("1 bar(a)", Dimension.PRESSURE, 1e5),
        ("14.7 psia", Dimension.PRESSURE, 14.7 * constants.psi),
        ("1 mPa", Dimension.PRESSURE, 1e-3),
        ("1 MPa", Dimension.PRESSURE, 1e6),
        ("3 millitorr", Dimension.PRESSURE, 0.003 * constants.torr),
        ("120 L", Dimension.VOLUME, 0.12),
        ("65 cm3", Dimension.VOLUME, 6.5e-5),
        ("0,120 m³", Dimension.VOLUME, 0.12),
        ("10 000 cm^3", Dimension.VOLUME, 0.01),
        ("1,234.5 L", Dimension.VOLUME, 1.2345),
        ("1.234,5 L", Dimension.VOLUME, 1.2345),
        ("12,000,000 mL", Dimension.VOLUME, 12.0),
        ("2 cu ft", Dimension.VOLUME, 2 * constants.foot**3),
        ("1,5 m3/h", Dimension.SPEED, 1.5 / 3600),
        ("12 m³/h", Dimension.SPEED, 12 / 3600),
        ("12 m3 h-1", Dimension.SPEED, 12 / 3600),
        ("7 CFM", Dimension.SPEED, 7 * constants.foot**3 / 60),
        ("7 cubic feet per minute", Dimension.SPEED, 7 * constants.foot**3 / 60),
        ("2e-5 mbar*L/s", Dimension.THROUGHPUT, 2e-6),
        ("2e-5 mbar·l/s", Dimension.THROUGHPUT, 2e-6),
        ("2e-5 mbar l/s", Dimension.THROUGHPUT, 2e-6),
        ("2e-5 mbarl/s", Dimension.THROUGHPUT, 2e-6),
        ("2e-6 Pa.m3/s", Dimension.THROUGHPUT, 2e-6),
        ("1.25 Torr*L/s", Dimension.THROUGHPUT, 1.25 * constants.torr / 1000),
        ("30 g/h", Dimension.MASS_RATE, 0.03 / 3600),
        ("1/2 in", Dimension.LENGTH, 0.0127),
        ("1 1/2 in", Dimension.LENGTH, 0.0381),
        ("1-1/2 in", Dimension.LENGTH, 0.0381),
        ("1½ in", Dimension.LENGTH, 0.0381),
        ("5 ft 3 in", Dimension.LENGTH, 1.6002),
        ("5′ 3″", Dimension.LENGTH, 1.6002),  # noqa: RUF001  # as phones type feet and inches
        ("50 µm", Dimension.LENGTH, 5e-5),
        ("3 sq ft", Dimension.AREA, 3 * constants.foot**2),
        ("25 min", Dimension.TIME, 1500.0),
        ("1 h 30 min", Dimension.TIME, 5400.0),
        ("1 h, 30 min and 5 s", Dimension.TIME, 5405.0),
        ("1h30", Dimension.TIME, 5400.0),
        ("1:30 h", Dimension.TIME, 5400.0),
        ("1:30 min", Dimension.TIME, 90.0),
        ("1:30:05", Dimension.TIME, 5405.0),
        ("22 degC", Dimension.TEMPERATURE, 295.15),
        ("-20 °C", Dimension.TEMPERATURE, 253.15),
        ("−20 ℃", Dimension.TEMPERATURE, 253.15),
        ("293 K", Dimension.TEMPERATURE, 293.0),
        ("1 Nm3/h", Dimension.GAS_FLOW, 1 / 3600 * 101325 / (constants.R * 273.15)),
        ("230 VAC", Dimension.VOLTAGE, 230.0),
        ("50 1/s", Dimension.FREQUENCY, 50.0),
        ("5 %", Dimension.RATIO, 0.05),
    ],
)
def test_the_ways_people_type(typed: str, dimension: Dimension, expected: float) -> None:
    assert parse_quantity(typed, dimension) == pytest.approx(expected, rel=1e-14)


def test_a_gas_flow_and_a_throughput_are_one_flow_at_a_temperature() -> None:
    # pV = nRT: 1 Torr L/s at 20 °C, by hand 0.133322 / (8.314463 x 293.15) mol/s
    flow = parse_quantity("1 Torr*L/s", Dimension.GAS_FLOW)
    assert flow == pytest.approx(constants.torr / 1000 / (constants.R * 293.15), rel=1e-12)
    hot = parse_quantity("20 sccm", Dimension.THROUGHPUT, temperature_k=546.30)
    # At twice 0 °C the standard volume is twice 20 cm3 a minute, at 101 325 Pa.
    assert hot == pytest.approx(2 * 101325 * 20e-6 / 60, rel=1e-12)
    assert convert(hot, "sccm", Dimension.THROUGHPUT, temperature_k=546.30) == pytest.approx(20)


@pytest.mark.parametrize("temperature_k", [0.0, -1.0, math.nan, math.inf])
def test_a_flow_without_a_sensible_temperature_is_refused(temperature_k: float) -> None:
    with pytest.raises(OutOfRange, match="absolute zero"):
        parse_quantity("20 sccm", Dimension.THROUGHPUT, temperature_k=temperature_k)


@pytest.mark.parametrize(
    ("typed", "dimension", "says"),
    [
        ("", Dimension.TIME, "Nothing was typed"),
        ("   ", Dimension.TIME, "Nothing was typed"),
        ("soon", Dimension.TIME, "A number with a unit"),
        ("nan", Dimension.PRESSURE, "A number with a unit"),
        ("inf mbar", Dimension.PRESSURE, "A number with a unit"),
        (math.nan, Dimension.PRESSURE, "not a number"),
        (math.inf, Dimension.PRESSURE, "too large"),
        (10**400, Dimension.PRESSURE, "too large"),
        pytest.param(10**5000, Dimension.PRESSURE, "too large", id="5000 digits"),
        ("1e400 Pa", Dimension.PRESSURE, "too large"),
        ("1e308 bar", Dimension.PRESSURE, "too large"),
        ("1e-400 Pa", Dimension.PRESSURE, "too small"),
        ("5e-324 mPa", Dimension.PRESSURE, "too small"),
        (True, Dimension.PRESSURE, "A number with a unit"),
        ("9" * 101, Dimension.PRESSURE, "at most 100 characters"),
        pytest.param("x" * 10_000_000, Dimension.PRESSURE, "at most 100", id="10 MB"),
        ("1,000 L", Dimension.VOLUME, "may mean 1000 or 1.000"),
        ("1,00,0 L", Dimension.VOLUME, "is not a number"),
        ("1.2.3 L", Dimension.VOLUME, "is not a number"),
        ("5-10 mbar", Dimension.PRESSURE, "not a range"),
        ("5 to 10 mbar", Dimension.PRESSURE, "not a range"),
        ("5 mbar 3", Dimension.PRESSURE, "not a unit known here"),
        ("2x105 Pa", Dimension.PRESSURE, "power of ten"),
        ("1/0 in", Dimension.LENGTH, "0 below the line"),
        ("5 furlong", Dimension.LENGTH, "“furlong” is not a unit"),
        ("5 mbar*", Dimension.PRESSURE, "not a unit"),
        ("5 mpa", Dimension.PRESSURE, "may mean mPa or MPa"),
        ("5 MPA", Dimension.PRESSURE, "may mean mPa or MPa"),
        ("120 L", Dimension.PRESSURE, "is a volume; a pressure is wanted"),
        ("5 W", Dimension.THROUGHPUT, "is a power; a throughput"),
        ("5 mbar*L", Dimension.THROUGHPUT, "does not fit here"),
        ("5 mbar", Dimension.TIME, "is a pressure; a time is wanted"),
        ("5 degC/min", Dimension.TEMPERATURE, "degrees cannot be part"),
        ("15 psig", Dimension.PRESSURE, "absolute pressure is wanted"),
        ("0.5 barg", Dimension.PRESSURE, "absolute pressure is wanted"),
        ("0.5 bar(g)", Dimension.PRESSURE, "absolute pressure is wanted"),
        ("25 inHg vac", Dimension.PRESSURE, "absolute pressure is wanted"),
        ("10 psi gauge", Dimension.PRESSURE, "absolute pressure is wanted"),
        ("5 scfm", Dimension.GAS_FLOW, "no agreed reference temperature"),
        ("-1 K", Dimension.TEMPERATURE, "absolute zero"),
        ("-300 °C", Dimension.TEMPERATURE, "absolute zero"),
        (-1, Dimension.TEMPERATURE, "absolute zero"),
        ("-5 mbar", Dimension.PRESSURE, "A pressure cannot be negative"),
        (-0.1, Dimension.VOLUME, "A volume cannot be negative"),
        ("1:30", Dimension.TIME, "hours and minutes or minutes and seconds"),
        ("30 min 1 h", Dimension.TIME, "largest unit to the smallest"),
        ("1 h 30 mbar", Dimension.TIME, "a time is wanted"),
    ],
)
def test_bad_input_is_refused_with_the_reason_and_an_example(
    typed: str | float, dimension: Dimension, says: str
) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(typed, dimension)
    assert says in caught.value.problem
    assert caught.value.accepted == accepted_examples(dimension)
    assert len(str(caught.value)) < 600
    if isinstance(typed, str):
        assert caught.value.typed.rstrip("…") == typed[:100]


@pytest.mark.parametrize("junk", [None, [], {}, b"5 mbar", 5 + 0j])
def test_what_is_neither_text_nor_number_is_refused(junk: object) -> None:
    with pytest.raises(QuantityError):
        parse_quantity(junk, Dimension.PRESSURE)  # type: ignore[arg-type]


@pytest.mark.parametrize("mine", Dimension)
def test_no_dimension_takes_the_examples_of_another(mine: Dimension) -> None:
    related = SHARED if mine in SHARED else {mine}
    bare = "0.05"  # a ratio's example: a bare number has no dimension of its own
    foreign = [text for other in set(Dimension) - related for text in KINDS[other].examples]
    for text in set(foreign) - {bare}:
        with pytest.raises(QuantityError):
            parse_quantity(text, mine)


@given(digits=st.integers(1, 9999), tail=st.integers(0, 99), power=st.integers(-12, 6))
def test_all_ways_to_write_a_number_agree(digits: int, tail: int, power: int) -> None:
    plain = f"{digits}.{tail:02d}"
    expected = float(f"{plain}e{power}")
    for number in (plain, plain.replace(".", ",")):
        for written in (
            f"e{power}",
            f"E{power:+d}",
            f"x10^{power}",
            f" · 10^{power}",
            f"x10{power:+d}",
        ):
            found = parse_quantity(f"{number}{written} Pa", Dimension.PRESSURE)
            assert found == expected, (number, written)


@given(text=st.text(max_size=130), dimension=st.sampled_from(Dimension))
@example(text="1 m^3^3", dimension=Dimension.VOLUME)
def test_any_text_gives_a_sensible_value_or_the_one_error(text: str, dimension: Dimension) -> None:
    read_or_refused(text, dimension)


@given(
    text=st.text(alphabet="0123456789.,eExX*·^-+/ ⁻³²:%µ°mbarTolPshinftCFKgckWV\"'½", max_size=40),
    dimension=st.sampled_from(Dimension),
)
def test_text_that_looks_like_quantities_gives_a_value_or_the_one_error(
    text: str, dimension: Dimension
) -> None:
    read_or_refused(text, dimension)


def read_or_refused(text: str, dimension: Dimension) -> None:
    try:
        value = parse_quantity(text, dimension)
    except QuantityError:
        return
    assert math.isfinite(value)
    assert value >= 0
