"""From SI to what people read: trade units, a few figures, a decimal point."""

from __future__ import annotations

import math
from functools import lru_cache

from server.errors import OutOfRange, QuantityError
from server.units.dimensions import KINDS, Dimension, accepted_examples
from server.units.numerals import clean
from server.units.reading import ROOM_K, factor_to_si
from server.units.table import UnitProblem, read_unit

_PLAIN_FROM = -3  # 0.001 is still shown plainly
_PLAIN_BELOW = 4  # and so is 9999


def convert(
    value_si: float, unit: str, dimension: Dimension, *, temperature_k: float = ROOM_K
) -> float:
    """Return an SI value as a number of a unit.

    Parameters
    ----------
    value_si : float
        In the SI unit of the dimension; finite.
    unit : str
        Any expression that `parse_quantity` reads; empty for a ratio as it is.
    dimension : Dimension
        What the value is.
    temperature_k : float
        Of the gas, where a flow of molecules is shown as a throughput. [K]

    Returns
    -------
    float
        The number before the unit.

    Raises
    ------
    QuantityError
        When the unit is unknown or of another dimension.
    """
    if not unit:
        return value_si
    times, less, over = _conversion(unit, dimension, temperature_k)
    # whole numbers: their quotient is rounded once, and charts convert thousands of points
    part, whole = value_si.as_integer_ratio()
    return (part * times - whole * less) / (whole * over)


@lru_cache(maxsize=512)
def _conversion(unit: str, dimension: Dimension, temperature_k: float) -> tuple[int, int, int]:
    """Return a, b and c of (a·value − b)/c, the number of a unit."""
    try:
        found = read_unit(clean(unit), micron_is_length=dimension is Dimension.LENGTH)
        factor = factor_to_si(found, dimension, unit, temperature_k)
    except UnitProblem as problem:
        raise QuantityError(unit[:100], str(problem), accepted_examples(dimension)) from None
    scale, offset = 1 / factor, found.offset
    return (
        scale.numerator * offset.denominator,
        offset.numerator * scale.denominator,
        scale.denominator * offset.denominator,
    )


@lru_cache(maxsize=4096)
def format_quantity(
    value_si: float, dimension: Dimension, unit: str | None = None, digits: int = 3
) -> str:
    """Return an SI value as people read it, such as ``5.00e-5 mbar``.

    Parameters
    ----------
    value_si : float
        In the SI unit of the dimension; finite.
    dimension : Dimension
        What the value is.
    unit : str or None
        The unit to show; None takes the trade's usual one for a value of this size.
    digits : int
        Significant figures, at least 1.

    Returns
    -------
    str
        Number and unit; `parse_quantity` reads it back to within the figures shown.

    Raises
    ------
    OutOfRange
        When the value is not finite or no figure is wanted: there is no number to show.
    QuantityError
        When the unit is unknown or of another dimension.
    """
    if not math.isfinite(value_si) or digits < 1:
        raise OutOfRange(f"There is no number to show for {KINDS[dimension].noun}.")
    shown = _usual_unit(value_si, dimension) if unit is None else unit
    return f"{_figures(convert(value_si, shown, dimension), digits)} {shown}".strip()


def format_duration(seconds: float) -> str:
    """Return a time as people say it, such as ``7 min 30 s``.

    Parameters
    ----------
    seconds : float
        Finite. [s]

    Returns
    -------
    str
        ``0.4 s``, ``48 s``, ``7 min 30 s``, ``45 min``, ``2 h 5 min`` or ``3 days 4 h``.

    Raises
    ------
    OutOfRange
        When the time is not finite.
    """
    if not math.isfinite(seconds):
        raise OutOfRange("There is no number to show for a time.")
    if seconds < 0:
        return f"−{format_duration(-seconds)}"
    if seconds < 10:
        return f"{seconds:.2g} s"
    if round(seconds) < 60:
        return f"{round(seconds)} s"
    if seconds < 20 * 60:
        return _two_parts(round(seconds), 60, "min", "s")
    if round(seconds / 60) < 60:
        return f"{round(seconds / 60)} min"
    if seconds < 86_400:
        return _two_parts(round(seconds / 60), 60, "h", "min")
    hours = round(seconds / 3600)
    return _two_parts(hours, 24, "day" if hours < 48 else "days", "h")


def _two_parts(amount: int, size: int, large: str, small: str) -> str:
    whole, rest = divmod(amount, size)
    return f"{whole} {large}" + (f" {rest} {small}" if rest else "")


def units_of(dimension: Dimension) -> tuple[str, ...]:
    """Return the units offered for a dimension, the usual one first."""
    return KINDS[dimension].offered


def _usual_unit(value_si: float, dimension: Dimension) -> str:
    shown = KINDS[dimension].shown
    return next((unit for below, unit in shown if abs(value_si) < below), shown[-1][1])


def _figures(value: float, digits: int) -> str:
    if value == 0:
        return "0"
    scientific = f"{value:.{digits - 1}e}"
    mantissa, _, power = scientific.partition("e")
    exponent = int(power)
    if _PLAIN_FROM <= exponent < max(_PLAIN_BELOW, digits):
        return f"{float(scientific):.{max(0, digits - 1 - exponent)}f}"
    return f"{mantissa}e{exponent}"
