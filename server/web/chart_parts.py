"""What charts are put together from: axes, legends, rules, marked points, in plain dicts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.units import Dimension, convert

Spec = dict[str, object]
Points = Sequence[tuple[float, ...]]

WIDTH = 440
HEIGHT = 280
MOST_ROWS = 40
LARGEST_SPAN_DECADES = 14


@dataclass(frozen=True)
class Chart:
    """A chart with everything a page needs beside the picture."""

    title: str
    caption: str
    alt: str
    spec: Spec
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


MBAR = "mbar"
# 0.01 to 1000 plainly, the rest as people type it: 1e-5.
_POWER = (
    "datum.value >= 0.009 && datum.value < 2000 ? format(datum.value, '~g')"
    " : replace(format(datum.value, '~e'), '+', '')"
)


def layered(layers: Sequence[Spec]) -> Spec:
    """Return a specification of layers on common axes."""
    return {"width": WIDTH, "height": HEIGHT, "layer": list(layers)}


def mbar(pascal: float) -> float:
    """Return a pressure in millibar."""
    return convert(pascal, "mbar", Dimension.PRESSURE)


def litres(m3_s: float) -> float:
    """Return a speed in litres a second."""
    return convert(m3_s, "L/s", Dimension.SPEED)


def finite(points: Points) -> list[tuple[float, ...]]:
    """Keep the points that a logarithmic axis can show."""
    return [p for p in points if all(math.isfinite(v) for v in p) and min(p[1:], default=0) > 0]


def time_unit(longest_s: float) -> tuple[str, float]:
    """Return the unit for times up to the longest, and the seconds in it."""
    for unit, seconds in (("days", 86_400.0), ("h", 3600.0), ("min", 60.0)):
        if longest_s >= 3 * seconds:
            return unit, seconds
    return "s", 1.0


def decades(values: Sequence[float]) -> list[float]:
    """Return the whole decades around positive values."""
    known = [value for value in values if value > 0 and math.isfinite(value)]
    low, high = math.floor(math.log10(min(known))), math.ceil(math.log10(max(known)))
    return [10.0**low, 10.0 ** max(high, low + 1)]


def log_axis(field: str, title: str, domain: Sequence[float]) -> Spec:
    """Return a logarithmic axis over whole decades."""
    low, high = (round(math.log10(end)) for end in domain)
    step = 1 if high - low <= LARGEST_SPAN_DECADES // 2 else 2
    return {
        "field": field,
        "type": "quantitative",
        "title": title,
        "scale": {"type": "log", "domain": list(domain), "nice": False},
        "axis": {"values": [10.0**d for d in range(low, high + 1, step)], "labelExpr": _POWER},
    }


def plain_axis(field: str, title: str) -> Spec:
    """Return a linear axis from zero."""
    return {"field": field, "type": "quantitative", "title": title, "scale": {"zero": True}}


def told_apart(field: str, names: Sequence[str]) -> Spec:
    """Return the encoding that tells lines apart by colour and by dashes."""
    dashes = [[1, 0], [7, 4], [2, 3], [9, 3, 2, 3], [4, 2], [1, 4]]
    colours = ["$first", "$second", "$third", "$fourth", "$fifth", "$sixth"]
    many = range(len(names))
    legend = {"title": None, "orient": "top", "symbolSize": 400, "labelLimit": 220, "columns": 3}
    return {
        "color": {
            "field": field,
            "type": "nominal",
            "scale": {"domain": list(names), "range": [colours[i % 6] for i in many]},
            "legend": legend,
        },
        "strokeDash": {
            "field": field,
            "type": "nominal",
            "scale": {"domain": list(names), "range": [dashes[i % 6] for i in many]},
            "legend": legend,
        },
    }


def touchable(line: Spec) -> list[Spec]:
    """Return a line and, for the pointer to find its values, points that are not seen."""
    encoding = line["encoding"]
    assert isinstance(encoding, dict)  # noqa: S101  # as built here
    seen = {name: channel for name, channel in encoding.items() if name != "tooltip"}
    found = {name: encoding[name] for name in ("x", "y", "tooltip")}
    points = {"type": "point", "filled": True, "opacity": 0, "size": 140, "aria": False}
    return [
        {**line, "encoding": seen},
        {"data": line["data"], "mark": points, "encoding": found},
    ]


def tips(*fields: tuple[str, str]) -> list[Spec]:
    """Return what is said at a point: fields with their names."""
    return [
        {"field": field, "title": title, "format": ".3~g", "type": "quantitative"}
        if field not in {"where", "what", "name"}
        else {"field": field, "title": title, "type": "nominal"}
        for field, title in fields
    ]


def rule_at(value: Mapping[str, float], field: str, axis: Spec, text: str) -> list[Spec]:
    """Return a rule across the plot with its name beside it."""
    upright = field == "t"
    where = "x" if upright else "y"
    place: Spec = (
        {"align": "right", "dx": -5, "dy": 8, "baseline": "top", "y": 0}
        if upright
        else {"align": "left", "dx": 4, "dy": -5, "baseline": "bottom", "x": 0}
    )
    data: Spec = {"values": [{**value, "text": text}]}
    return [
        {
            "data": data,
            "mark": {"type": "rule", "strokeDash": [4, 4], "color": "$ink"},
            "encoding": {where: axis},
        },
        {
            "data": data,
            "mark": {"type": "text", "color": "$ink", **place},
            "encoding": {where: axis, "text": {"field": "text"}},
        },
    ]


def marked_points(
    points: Sequence[tuple[str, float, float]], x_axis: Spec, y_axis: Spec
) -> list[Spec]:
    """Return points (name, pressure in mbar, speed in L/s) with their names beside them."""
    data: Spec = {"values": [{"name": name, "p": p, "s": s} for name, p, s in points]}
    where: Spec = {"x": x_axis, "y": y_axis}
    return [
        {
            "data": data,
            "mark": {
                "type": "point",
                "filled": True,
                "size": 90,
                "color": "$ink",
                "shape": "diamond",
            },
            "encoding": {**where, "tooltip": tips(("name", "State"), ("p", "mbar"), ("s", "L/s"))},
        },
        {
            "data": data,
            "mark": {"type": "text", "color": "$ink", "dy": -12, "align": "center"},
            "encoding": {**where, "text": {"field": "name"}},
        },
    ]


def thinned(rows: Sequence[tuple[str, ...]]) -> tuple[tuple[str, ...], ...]:
    """Return at most ``MOST_ROWS`` rows, evenly taken, first and last always among them."""
    if len(rows) <= MOST_ROWS:
        return tuple(rows)
    chosen = np.unique(np.linspace(0, len(rows) - 1, MOST_ROWS).round().astype(int))
    return tuple(rows[i] for i in chosen)
