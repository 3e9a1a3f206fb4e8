"""From what people type to SI: one quantity of one dimension, or an error that says why not."""

from __future__ import annotations

import math
import re
from fractions import Fraction

from server.errors import OutOfRange, QuantityError
from server.units.dimensions import KINDS, Dimension, Exponents, accepted_examples, kind_of
from server.units.numerals import LONGEST, NumberProblem, clean, read_number
from server.units.table import MOLAR_GAS_CONSTANT, Unit, UnitProblem, read_unit

ROOM_K = 293.15  # 20 °C, where the trade states throughputs (ISO 21360-1:2020)

_FLOW = KINDS[Dimension.GAS_FLOW].exponents
_THROUGHPUT = KINDS[Dimension.THROUGHPUT].exponents
_GAUGE = re.compile(
    r"psig|barg|\bgauge\b|\brel\b|(?:pa|bar|psi|at[mü]?) ?\(?g\)?$|\bvac(?:uum)?\b", re.IGNORECASE
)
_ABSOLUTE = re.compile(r" ?(?:\((?:a|abs)\)|\babs\.?|\babsolute)$", re.IGNORECASE)
_CLOCK = re.compile(r"([0-9]{1,3}):([0-5][0-9])(?::([0-5][0-9]))? ?([a-z]*)", re.IGNORECASE)
_HOURS_MINUTES = re.compile(r"([0-9]+ ?h ?[0-5][0-9])", re.IGNORECASE)
_PART = r"([0-9][0-9.,]*) ?(?!e[+-]?[0-9])([a-z]+|['\"])(?:,? ?and )?[, ]*"
_PARTS = re.compile(rf"(?:{_PART}){{2,}}", re.IGNORECASE)


def parse_quantity(
    text: str | float, dimension: Dimension, *, temperature_k: float = ROOM_K
) -> float:
    """Return a typed quantity in SI.

    Parameters
    ----------
    text : str, float or int
        A number with a unit of the trade, such as ``5e-5 mbar``; a bare number is SI.
    dimension : Dimension
        What the field wants.
    temperature_k : float
        Of the gas, where a throughput stands for a flow of molecules or the reverse, by
        Q = n R T. [K]

    Returns
    -------
    float
        In the SI unit of the dimension, finite and, temperatures included, not below zero.

    Raises
    ------
    QuantityError
        When it cannot be read, has another dimension, or makes no sense; says what is accepted.
    """
    try:
        value = _value(text, dimension, temperature_k)
        _check(value, dimension)
    except (NumberProblem, UnitProblem) as problem:
        raise QuantityError(_shortened(text), str(problem), accepted_examples(dimension)) from None
    return value


def _value(text: str | float, dimension: Dimension, temperature_k: float) -> float:
    if isinstance(text, str):
        return _typed(text, dimension, temperature_k)
    if isinstance(text, bool) or not isinstance(text, (int, float)):
        raise NumberProblem("A number with a unit is wanted.")
    try:
        return float(text)
    except OverflowError:
        raise NumberProblem("That number is too large to be meant.") from None


def _typed(text: str, dimension: Dimension, temperature_k: float) -> float:
    if len(text) > LONGEST:
        raise NumberProblem(f"A quantity has at most {LONGEST} characters.")
    cleaned = clean(text)
    if not cleaned:
        raise NumberProblem("Nothing was typed.")
    if dimension is Dimension.PRESSURE:
        if _GAUGE.search(cleaned):
            raise UnitProblem(
                "That is a pressure against the surrounding air, which changes with the weather: "
                "the absolute pressure is wanted."
            )
        cleaned = _ABSOLUTE.sub("", cleaned)
    if dimension in {Dimension.TIME, Dimension.LENGTH}:
        joined = _sum_of_parts(cleaned, dimension)
        if joined is not None:
            return joined
    number, rest = read_number(cleaned)
    if not rest:
        return number
    unit = read_unit(rest, micron_is_length=dimension is Dimension.LENGTH)
    factor = factor_to_si(unit, dimension, text, temperature_k)
    if unit.offset:
        return _as_float(*((Fraction(number) + unit.offset) * factor).as_integer_ratio())
    # the same product without its common divisors taken out, which is most of a fraction's work
    top, bottom = number.as_integer_ratio()
    return _as_float(top * factor.numerator, bottom * factor.denominator)


def _as_float(top: int, bottom: int) -> float:
    """Return the nearest float; products are exact until here, so 65 cm3 is just 6.5e-5 m3."""
    try:
        value = top / bottom
    except OverflowError:
        raise NumberProblem("That number is too large to be meant.") from None
    if value == 0 and top != 0:
        raise NumberProblem("That number is too small to be meant.")
    return value


def factor_to_si(unit: Unit, dimension: Dimension, text: str, temperature_k: float) -> Fraction:
    """Return what a number in a unit is multiplied by.

    Parameters
    ----------
    unit : Unit
        As typed.
    dimension : Dimension
        What is wanted.
    text : str
        As typed, for the message.
    temperature_k : float
        Of the gas, for throughputs as flows of molecules. [K]

    Returns
    -------
    Fraction
        Factor to the SI unit of the dimension.

    Raises
    ------
    UnitProblem
        When the unit belongs to another dimension.
    OutOfRange
        When a temperature is needed and it is not above absolute zero.
    """
    wanted = KINDS[dimension].exponents
    if unit.exponents == wanted:
        return unit.factor
    if (wanted, unit.exponents) == (_FLOW, _THROUGHPUT):
        return unit.factor / _molar_energy(temperature_k)
    if (wanted, unit.exponents) == (_THROUGHPUT, _FLOW):
        return unit.factor * _molar_energy(temperature_k)
    raise UnitProblem(f"{_what_it_is(unit.exponents, text)}; {KINDS[dimension].noun} is wanted.")


def _molar_energy(temperature_k: float) -> Fraction:
    if not 0 < temperature_k < math.inf:
        raise OutOfRange("A gas needs a temperature above absolute zero.")
    return MOLAR_GAS_CONSTANT * Fraction(temperature_k)


def _what_it_is(exponents: Exponents, text: str) -> str:
    kind = kind_of(exponents)
    shown = text.strip()
    return f"“{shown}” is {kind.noun}" if kind else f"“{shown}” has a unit that does not fit here"


def _sum_of_parts(cleaned: str, dimension: Dimension) -> float | None:
    """Return the sum of ``1 h 30 min``, ``1:30 h``, ``5 ft 3 in``; None when it is none of them."""
    if dimension is Dimension.TIME:
        if (clock := _CLOCK.fullmatch(cleaned)) is not None:
            return _clock_seconds(clock)
        if _HOURS_MINUTES.fullmatch(cleaned):
            cleaned += " min"
    if _PARTS.fullmatch(cleaned) is None:
        return None
    total, last = Fraction(0), None
    for number, word in re.findall(_PART, cleaned, re.IGNORECASE):
        unit = read_unit(word, micron_is_length=True)
        factor = factor_to_si(unit, dimension, cleaned, ROOM_K)
        if last is not None and factor >= last:
            raise NumberProblem("The parts of a sum go from the largest unit to the smallest.")
        total, last = total + Fraction(read_number(number)[0]) * factor, factor
    return _as_float(*total.as_integer_ratio())


def _clock_seconds(clock: re.Match[str]) -> float:
    first, second, third, word = clock.groups()
    unit = read_unit(word).name if word else ""
    if third is not None and unit in {"", "h"}:
        return int(first) * 3600.0 + int(second) * 60.0 + int(third)
    if third is None and unit in {"h", "min"}:
        larger = 3600.0 if unit == "h" else 60.0
        return int(first) * larger + int(second) * (larger / 60)
    raise NumberProblem(
        f"“{clock[0]}” may be hours and minutes or minutes and seconds: "
        f"write {first} h {second} min or {first} min {second} s."
    )


def _check(value: float, dimension: Dimension) -> None:
    if math.isnan(value):
        raise NumberProblem("That is not a number.")
    if math.isinf(value):
        raise NumberProblem("That number is too large to be meant.")
    if value < 0:
        noun = KINDS[dimension].noun
        if dimension is Dimension.TEMPERATURE:
            raise NumberProblem("No temperature is below absolute zero (0 K, −273.15 °C).")
        raise NumberProblem(f"{noun[0].upper()}{noun[1:]} cannot be negative.")


def _shortened(text: object) -> str:
    try:
        typed = text if isinstance(text, str) else str(text)
    except ValueError:  # Python refuses to write out a whole number of thousands of digits
        typed = "a number of thousands of digits"
    return typed if len(typed) <= LONGEST else f"{typed[:LONGEST]}…"
