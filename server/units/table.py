"""The units of the trade with their exact factors, and the reading of unit expressions.

Factors follow from definitions: the international yard and pound of 1959 (0.9144 m,
0.453 592 37 kg), the standard acceleration 9.806 65 m/s2 and the standard atmosphere 101 325 Pa
(BIPM, The International System of Units, 9th ed. 2019; NIST Special Publication 811, 2008,
appendix B). A standard gas flow counts molecules by their volume at 0 °C and 101 325 Pa
(SEMI E12, DIN 1343).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from server.units.dimensions import Exponents

MOLAR_GAS_CONSTANT = Fraction("8.31446261815324")  # J/(mol K), exact since the SI of 2019
_POUND_KG = Fraction("0.45359237")
_INCH_M = Fraction("0.0254")
_G_M_S2 = Fraction("9.80665")
_ATM_PA = Fraction(101325)
_MMHG_PA = Fraction("13.5951") * _G_M_S2  # a millimetre of conventional mercury, 13 595.1 kg/m3
_LITRE_M3 = Fraction(1, 1000)
_ONE = Fraction(1)
_NO_OFFSET = Fraction(0)
_NORMAL_LITRE_MOL = _ATM_PA * _LITRE_M3 / (MOLAR_GAS_CONSTANT * Fraction("273.15"))

_PRESSURE = Exponents(pressure=1)
_LENGTH = Exponents(length=1)
_VOLUME = Exponents(length=3)
_TIME = Exponents(time=1)
_MASS = Exponents(mass=1)
_TEMPERATURE = Exponents(temperature=1)
_AMOUNT = Exponents(amount=1)
_POWER = Exponents(power=1)
_ENERGY = Exponents(power=1, time=1)
_VOLTAGE = Exponents(voltage=1)
_PER_TIME = Exponents(time=-1)
_SPEED = Exponents(length=3, time=-1)
_FLOW = Exponents(amount=1, time=-1)

_PREFIXES: Mapping[str, tuple[Fraction, str]] = {
    "u": (Fraction(1, 10**6), "micro"),
    "m": (Fraction(1, 1000), "milli"),
    "c": (Fraction(1, 100), "centi"),
    "d": (Fraction(1, 10), "deci"),
    "h": (Fraction(100), "hecto"),
    "k": (Fraction(1000), "kilo"),
    "M": (Fraction(10**6), "mega"),
}

# name, factor to SI, exponents, prefixes, other spellings. Case is forgiven where only one unit
# fits; wherever both "m" and "M" make sense both are listed, so that neither is guessed.
_FAMILIES: tuple[tuple[str, Fraction, Exponents, str, str], ...] = (
    ("Pa", _ONE, _PRESSURE, "u m h k M", "pascal pascals"),
    ("bar", Fraction(100_000), _PRESSURE, "u m", "bars bara"),
    ("Torr", _ATM_PA / 760, _PRESSURE, "u m", "torrs"),
    ("micron", _ATM_PA / 760_000, _PRESSURE, "", "microns u"),
    ("mmHg", _MMHG_PA, _PRESSURE, "", ""),
    ("inHg", _MMHG_PA * _INCH_M * 1000, _PRESSURE, "", ""),
    ("psi", _POUND_KG * _G_M_S2 / _INCH_M**2, _PRESSURE, "", "psia"),
    ("atm", _ATM_PA, _PRESSURE, "", "atmosphere atmospheres"),
    ("at", _G_M_S2 * 10_000, _PRESSURE, "", ""),
    ("m", _ONE, _LENGTH, "u m c d k", "meter meters metre metres"),
    ("in", _INCH_M, _LENGTH, "", 'inch inches "'),
    ("ft", 12 * _INCH_M, _LENGTH, "", "foot feet '"),
    ("yd", 36 * _INCH_M, _LENGTH, "", "yard yards"),
    ("L", _LITRE_M3, _VOLUME, "u m c d h", "liter liters litre litres"),
    ("cc", Fraction(1, 10**6), _VOLUME, "", "ccm"),
    ("gal", 231 * _INCH_M**3, _VOLUME, "", "gallon gallons"),
    ("s", _ONE, _TIME, "u m", "sec secs second seconds"),
    ("min", Fraction(60), _TIME, "", "mins minute minutes"),
    ("h", Fraction(3600), _TIME, "", "hr hrs hour hours"),
    ("d", Fraction(86_400), _TIME, "", "day days"),
    ("wk", Fraction(604_800), _TIME, "", "week weeks"),
    ("g", Fraction(1, 1000), _MASS, "u m k", "gram grams gramme grammes"),
    ("t", Fraction(1000), _MASS, "", "tonne tonnes"),
    ("lb", _POUND_KG, _MASS, "", "lbs pound pounds"),
    ("oz", _POUND_KG / 16, _MASS, "", "ounce ounces"),
    ("K", _ONE, _TEMPERATURE, "", "kelvin kelvins degK"),
    ("mol", _ONE, _AMOUNT, "u m k", "mole moles"),
    ("NL", _NORMAL_LITRE_MOL, _AMOUNT, "", "ln"),
    ("NmL", _NORMAL_LITRE_MOL / 1000, _AMOUNT, "", "mln"),
    ("Nm3", _NORMAL_LITRE_MOL * 1000, _AMOUNT, "", ""),
    ("sccm", _NORMAL_LITRE_MOL / 60_000, _FLOW, "", ""),
    ("slm", _NORMAL_LITRE_MOL / 60, _FLOW, "", "slpm"),
    ("cfm", (12 * _INCH_M) ** 3 / 60, _SPEED, "", ""),
    ("W", _ONE, _POWER, "m k M", "watt watts"),
    ("hp", 550 * 12 * _INCH_M * _POUND_KG * _G_M_S2, _POWER, "", "horsepower"),
    ("J", _ONE, _ENERGY, "m k M", "joule joules"),
    ("Wh", Fraction(3600), _ENERGY, "m k M", ""),
    ("V", _ONE, _VOLTAGE, "m k M", "volt volts"),
    ("Hz", _ONE, _PER_TIME, "m k M", "hertz"),
    ("rpm", Fraction(1, 60), _PER_TIME, "", ""),
    ("%", Fraction(1, 100), Exponents(), "", "percent pct"),
    ("ppm", Fraction(1, 10**6), Exponents(), "", ""),
)
# Written in many ways, so they are brought to one before words are looked up.
_REWRITTEN: tuple[tuple[re.Pattern[str], str], ...] = (
    (re.compile(r"\bper\b", re.IGNORECASE), "/"),
    (re.compile(r"\b(mm|in) ?Hg\b", re.IGNORECASE), r"\1Hg"),
    (re.compile(r"\b(?:deg|degrees?) ?(?=[CFK]\b|celsius|fahrenheit)", re.IGNORECASE), "deg"),
    (re.compile(r"\b(?:sq|square)\b\.? ?([a-z]+)", re.IGNORECASE), r"\1^2"),
    (re.compile(r"\b(?:cu|cubic)\b\.? ?([a-z]+)", re.IGNORECASE), r"\1^3"),
    (re.compile(r"\b(?:std|standard) ?(?:cc|cm\^?3)/min\b", re.IGNORECASE), "sccm"),
    (re.compile(r"\b(?:std|standard) ?l/min\b", re.IGNORECASE), "slm"),
    (re.compile(r"\bN ?m\^?3(?![0-9])"), "Nm3"),
    (re.compile(r"\bV ?(?:[AD]C\b|~)", re.IGNORECASE), "V"),
    (re.compile(r"kgf/cm\^?2\b", re.IGNORECASE), "at"),
)
_FACTOR = re.compile(
    r"(?P<join>\s*[*/]\s*|\.(?=[A-Za-z])|\s+|-(?=[A-Za-z]))?"
    r"(?P<word>Nm3|[A-Za-z]+|[%\"'])(?:(?:\^|\*\*)?(?P<power>[+-]?[0-9]))?"
)
_EXPLAINED: Mapping[str, str] = {
    "scfm": "“scfm” has no agreed reference temperature",
    "scfh": "“scfh” has no agreed reference temperature",
}


class UnitProblem(ValueError):
    """A unit that cannot be read; the message is a sentence for the user."""


@dataclass(frozen=True)
class Unit:
    """A unit: SI value = (number + offset) times factor."""

    name: str
    factor: Fraction
    exponents: Exponents
    offset: Fraction = _NO_OFFSET


_DEGREES: tuple[tuple[Unit, str], ...] = (
    (Unit("degC", _ONE, _TEMPERATURE, Fraction("273.15")), "degC C celsius degcelsius"),
    (
        Unit("degF", Fraction(5, 9), _TEMPERATURE, Fraction("459.67")),
        "degF F fahrenheit degfahrenheit",
    ),
)


def spellings() -> Iterator[tuple[str, Unit]]:
    """Yield every way a unit is written, with prefixes, and its unit."""
    for name, factor, exponents, prefixes, others in _FAMILIES:
        for spelling in (name, *others.split()):
            yield spelling, Unit(name, factor, exponents)
            for prefix in prefixes.split():
                multiple, long_prefix = _PREFIXES[prefix]
                unit = Unit(prefix + name, factor * multiple, exponents)
                yield prefix + spelling, unit
                yield long_prefix + spelling, unit
    for unit, spellings in _DEGREES:
        for spelling in spellings.split():
            yield spelling, unit


@lru_cache(maxsize=1)
def _exact() -> Mapping[str, Unit]:
    return dict(spellings())


@lru_cache(maxsize=1)
def _by_lower_case() -> Mapping[str, tuple[Unit, ...]]:
    found: dict[str, dict[str, Unit]] = {}
    for spelling, unit in spellings():
        found.setdefault(spelling.lower(), {})[unit.name] = unit
    return {spelling: tuple(units.values()) for spelling, units in found.items()}


def _look_up(word: str) -> Unit:
    if (unit := _exact().get(word)) is not None:
        return unit
    candidates = _by_lower_case().get(word.lower(), ())
    if len(candidates) == 1:
        return candidates[0]
    if candidates:
        names = " or ".join(unit.name for unit in candidates)
        raise UnitProblem(f"“{word}” may mean {names}: capitals matter here.")
    if word.lower() in _EXPLAINED:
        raise UnitProblem(f"{_EXPLAINED[word.lower()]}: give sccm or slm, or a speed in cfm.")
    raise UnitProblem(f"“{word}” is not a unit known here.")


def _factors_of(word: str) -> tuple[Unit, ...]:
    """Return the unit of a word, or the two of a pressure written together with litres."""
    try:
        return (_look_up(word),)
    except UnitProblem:
        if word[-1] not in "lL" or len(word) < 3:
            raise
        try:
            stem = _look_up(word[:-1])
        except UnitProblem:
            stem = None
        if stem is None or stem.exponents != _PRESSURE:
            raise
        return stem, _look_up("L")


@lru_cache(maxsize=512)
def read_unit(text: str, *, micron_is_length: bool = False) -> Unit:
    """Return the unit that an expression such as ``mbar*L/s`` comes to.

    Parameters
    ----------
    text : str
        Cleaned by `server.units.numerals.clean`.
    micron_is_length : bool
        Whether a micron is a thousandth of a millimetre rather than of a Torr.

    Returns
    -------
    Unit
        Factor and exponents of the whole expression.

    Raises
    ------
    UnitProblem
        When a word is unknown or the expression makes no sense.
    """
    written = text.strip().rstrip(".")
    for pattern, replacement in _REWRITTEN:
        written = pattern.sub(replacement, written)
    if micron_is_length:
        written = re.sub(r"\b(?:microns?|u)\b", "um", written, flags=re.IGNORECASE)
    written = re.sub(r"^/", "1/", written)
    position = 1 if written.startswith("1/") else 0
    factor, exponents, parts = _ONE, Exponents(), []
    while position < len(written):
        match = _FACTOR.match(written, position)
        if match is None or bool(match["join"]) != (position > 0):
            raise UnitProblem(f"“{text.strip()}” is not a unit known here.")
        power = int(match["power"] or 1) * (-1 if "/" in (match["join"] or "") else 1)
        for unit in _factors_of(match["word"]):
            parts.append((unit, power))
            factor *= unit.factor**power
            exponents = exponents.times(unit.exponents, power)
        position = match.end()
    if len(parts) == 1 and parts[0][1] == 1:
        return parts[0][0]
    if any(unit.offset for unit, _ in parts):
        raise UnitProblem(f"“{text.strip()}”: degrees cannot be part of another unit.")
    return Unit(text.strip(), factor, exponents)
