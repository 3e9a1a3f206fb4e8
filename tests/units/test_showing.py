"""What is shown is what the trade writes, and reads back as the same value."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from server.errors import OutOfRange, QuantityError
from server.units import (
    Dimension,
    accepted_examples,
    convert,
    format_quantity,
    parse_quantity,
    units_of,
)
from server.units.dimensions import KINDS

sizes = st.floats(min_value=1e-9, max_value=1e9)


@pytest.mark.parametrize("dimension", Dimension)
@given(value=sizes, data=st.data())
def test_what_is_shown_is_read_back(
    dimension: Dimension, value: float, data: st.DataObject
) -> None:
    if dimension is Dimension.TEMPERATURE:
        assume(value > 50)  # below, a few figures in °C may round to below absolute zero
    unit = data.draw(st.sampled_from((None, *units_of(dimension))))
    digits = data.draw(st.integers(1, 12))
    shown = format_quantity(value, dimension, unit, digits)
    back = parse_quantity(shown, dimension)
    slack = 0.5000001 * 10.0 ** (1 - digits)
    if dimension is Dimension.TEMPERATURE:
        size = abs(convert(value, unit or "°C", dimension))
        assert abs(back - value) <= slack * max(size, 1.0) + 1e-9
    else:
        assert back == pytest.approx(value, rel=slack + 1e-12)


@pytest.mark.parametrize("dimension", Dimension)
@given(value=sizes)
def test_conversion_goes_there_and_back(dimension: Dimension, value: float) -> None:
    for unit in units_of(dimension):
        number = convert(value, unit, dimension)
        if number >= 0:
            typed = f"{number!r} {unit}"
            assert parse_quantity(typed, dimension) == pytest.approx(value, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("dimension", Dimension)
def test_every_example_and_every_offered_unit_belongs_to_its_dimension(
    dimension: Dimension,
) -> None:
    for text in KINDS[dimension].examples:
        assert parse_quantity(text, dimension) > 0
    for unit in units_of(dimension):
        assert convert(parse_quantity(f"3 {unit}", dimension), unit, dimension) == pytest.approx(3)
    for _, unit in KINDS[dimension].shown:
        assert not unit or unit in units_of(dimension) or unit == "kg/h"
    assert KINDS[dimension].examples[0] in accepted_examples(dimension)


@pytest.mark.parametrize(
    ("value", "dimension", "unit", "digits", "shown"),
    [
        (5e-3, Dimension.PRESSURE, None, 2, "5.0e-5 mbar"),
        (101325.0, Dimension.PRESSURE, "atm", 3, "1.00 atm"),
        (0.12, Dimension.VOLUME, None, 3, "120 L"),
        (6.5e-5, Dimension.VOLUME, None, 2, "65 cm³"),
        (1500.0, Dimension.TIME, None, 2, "25 min"),
        (295.15, Dimension.TEMPERATURE, None, 3, "22.0 °C"),
        (253.15, Dimension.TEMPERATURE, None, 2, "-20 °C"),
        (12 / 3600, Dimension.SPEED, None, 3, "12.0 m³/h"),
        (2e-6, Dimension.THROUGHPUT, None, 1, "2e-5 mbar·L/s"),
        (0.0, Dimension.PRESSURE, None, 3, "0 mbar"),
        (9.996, Dimension.PRESSURE, "Pa", 3, "10.0 Pa"),
        (12345.0, Dimension.PRESSURE, "Pa", 3, "1.23e4 Pa"),
        (0.05, Dimension.RATIO, None, 2, "0.050"),
        (0.05, Dimension.RATIO, "%", 1, "5 %"),
    ],
)
def test_values_are_shown_as_the_trade_writes_them(
    value: float, dimension: Dimension, unit: str | None, digits: int, shown: str
) -> None:
    assert format_quantity(value, dimension, unit, digits) == shown


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_not_shown(value: float) -> None:
    with pytest.raises(OutOfRange):
        format_quantity(value, Dimension.PRESSURE)


@pytest.mark.parametrize("unit", ["L", "furlong", "mpa", "?"])
def test_a_wrong_unit_is_refused_when_showing(unit: str) -> None:
    with pytest.raises(QuantityError):
        convert(1.0, unit, Dimension.PRESSURE)
