"""Numbers in words for advice: in the trade's units, rounded to the side that still works."""

from __future__ import annotations

import math

from server.units import Dimension, convert, format_quantity


def shown(value: float, dimension: Dimension) -> str:
    """Return a present value as people read it."""
    return format_quantity(value, dimension)


def rounded(value: float, dimension: Dimension, *, up: bool, digits: int = 3) -> str:
    """Return a value in the trade's unit, rounded to one side at a number of figures."""
    unit = format_quantity(value, dimension).rpartition(" ")[2]
    number = convert(value, unit, dimension)
    grain = 10.0 ** (math.floor(math.log10(number)) - digits + 1)
    return format_quantity(_to_side(number, grain, up=up) * value / number, dimension, unit, digits)


def length(value_m: float, *, up: bool | None = None) -> str:
    """Return a length in whole millimetres, rounded to one side where asked."""
    millimetres = value_m * 1000.0
    whole = round(millimetres) if up is None else round(_to_side(millimetres, 1.0, up=up))
    return f"{whole} mm" if whole < 1000 else f"{whole / 1000:g} m"


def _to_side(number: float, grain: float, *, up: bool) -> float:
    steps = number / grain
    # a number that is a whole count of grains but for rounding stays there
    return grain * (math.ceil(steps - 1e-6) if up else math.floor(steps + 1e-6))
