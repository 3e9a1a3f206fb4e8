"""How numbers, times and money look on a page: trade units, few digits, no locale surprises."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal

from babel.dates import format_date, format_datetime
from babel.numbers import format_currency

from server.units import Dimension, format_duration, format_quantity

LOCALE = "en_GB"
NEVER = "not reached"

_DIMENSION_OF_UNIT: Mapping[str, Dimension] = {
    "Pa": Dimension.PRESSURE,
    "m3": Dimension.VOLUME,
    "m": Dimension.LENGTH,
    "m2": Dimension.AREA,
    "K": Dimension.TEMPERATURE,
    "m3/s": Dimension.SPEED,
    "Pa m3/s": Dimension.THROUGHPUT,
    "kg/s": Dimension.MASS_RATE,
    "kg": Dimension.MASS,
    "W": Dimension.POWER,
    "V": Dimension.VOLTAGE,
}
_PLAIN_UNIT = {"m3": "m³", "m2": "m²", "m3/s": "m³/s", "1": ""}


def number(value: float, digits: int = 3) -> str:
    """Return a number with few digits, plain between 0.001 and 99 999, else with an exponent.

    Parameters
    ----------
    value : float
        Any number.
    digits : int
        Significant digits.

    Returns
    -------
    str
        ``12.3``, ``4.5e-7`` or ``∞``.
    """
    if math.isnan(value):
        return "no number"
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    if value == 0:
        return "0"
    size = abs(value)
    if 1e-3 <= size < 1e5:
        decimals = max(0, digits - 1 - math.floor(math.log10(size)))
        text = f"{value:.{decimals}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    mantissa, exponent = f"{value:.{digits - 1}e}".split("e")
    return f"{mantissa}e{int(exponent)}"


def quantity(value: float, unit: str, digits: int = 3) -> str:
    """Return an SI value as the trade reads it.

    Parameters
    ----------
    value : float
        In the SI unit named by ``unit``.
    unit : str
        ``Pa``, ``m3/s``, ``Pa m3/s``, ``s``, … An unknown unit is written behind the number as
        it is; three capitals are a currency.
    digits : int
        Significant digits.

    Returns
    -------
    str
        Such as ``5e-5 mbar``, ``120 L/s``, ``25 min`` or ``€1,204.50``.
    """
    if unit == "s":
        return duration(value)
    if len(unit) == 3 and unit.isalpha() and unit.isupper() and math.isfinite(value):
        return money(Decimal(repr(value)).quantize(Decimal("0.01")), unit)
    if not math.isfinite(value):
        return number(value)
    dimension = _DIMENSION_OF_UNIT.get(_as_typed(unit))
    if dimension is None:
        return f"{number(value, digits)} {_PLAIN_UNIT.get(unit, unit)}".strip()
    # One unit for speeds, that of high vacuum: curves and tables must be comparable at a glance.
    unit_shown = "L/s" if dimension is Dimension.SPEED else None
    return format_quantity(value, dimension, unit_shown, digits)


def _as_typed(unit: str) -> str:
    """Return a unit without raised figures and dots: ``Pa·m³/s`` and ``Pa*m3/s`` are one."""
    return unit.replace("³", "3").replace("²", "2").replace("·", " ").replace("*", " ")


def si_quantity(value: float | str, unit: str, digits: int = 4) -> str:
    """Return a value in the very SI unit it has, for the workings.

    Parameters
    ----------
    value : float or str
        Words stand as they are.
    unit : str
        Written as it is, with raised figures for areas and volumes.
    digits : int
        Significant digits.

    Returns
    -------
    str
        Number and unit.
    """
    text = value if isinstance(value, str) else number(value, digits)
    return f"{text} {_PLAIN_UNIT.get(unit, unit)}".strip()


def of_unit(unit: str) -> Callable[[float | None], str]:
    """Return a formatter for one SI unit that writes a dash where there is no number.

    Parameters
    ----------
    unit : str
        SI unit.

    Returns
    -------
    callable
        From a value or None to text.
    """

    def formatted(value: float | None) -> str:
        return "—" if value is None else quantity(value, unit)

    return formatted


def duration(seconds: float) -> str:
    """Return a time as people say it.

    Parameters
    ----------
    seconds : float
        May be infinite. [s]

    Returns
    -------
    str
        Such as ``7 min 30 s``, or ``not reached``.
    """
    return format_duration(seconds) if math.isfinite(seconds) else NEVER


def kwh(energy_kwh: float) -> str:
    """Return an electrical energy in kilowatt-hours.

    Parameters
    ----------
    energy_kwh : float
        Energy. [kWh]

    Returns
    -------
    str
        Such as ``3.4 kWh``.
    """
    return f"{number(energy_kwh)} kWh"


def money(amount: Decimal, currency: str) -> str:
    """Return an amount of money.

    Parameters
    ----------
    amount : Decimal
        Exact to the minor unit.
    currency : str
        ISO 4217 code.

    Returns
    -------
    str
        Such as ``€1,204.50``.
    """
    return format_currency(amount, currency, locale=LOCALE)


def ratio(value: float) -> str:
    """Return a margin's ratio, ``1.8×``; large ones without false precision."""
    if math.isinf(value):
        return "no limit"
    if value >= 1000:
        return "over 1000×"
    if value >= 10:
        return f"{value:.0f}×"
    if value >= 0.1 or value == 0:
        return f"{value:.2f}×"
    return f"{number(value, 2)}×"


def percent(share: float) -> str:
    """Return a share of one as a percentage, never rounded up to certainty."""
    if 0.99 < share < 1:
        return "over 99 %"
    if 0 < share < 0.01:
        return "below 1 %"
    return f"{share * 100:.0f} %"


def moment(when: datetime) -> str:
    """Return a date and time, ``24 Nov 2026, 14:05``."""
    return format_datetime(when, "d MMM y, HH:mm", locale=LOCALE)


def day(when: date) -> str:
    """Return a date, ``24 November 2026``."""
    return format_date(when, "d MMMM y", locale=LOCALE)


def count(amount: float) -> str:
    """Return a count with thousands set apart by a thin space."""
    return f"{amount:,.0f}".replace(",", "\u202f")
