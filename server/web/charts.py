"""Charts as Vega-Lite specifications: plain dicts, each with its title, words and table.

Values are in the units people read on a gauge: mbar, L/s, minutes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from server.catalog.items import Fluid, Pump, RootsBooster
from server.fit.requirements import Requirements
from server.fit.results import PumpDown, SpeedPlot, StackAdvice, State
from server.units import Dimension, convert
from server.web.formatting import DAY_S, HOUR_S, MINUTE_S, duration, number, quantity
from server.web.words import sentence, words

Spec = dict[str, object]
Points = Sequence[tuple[float, ...]]

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"  # the name of the grammar, never fetched
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


def stack_charts(stack: StackAdvice, requirements: Requirements) -> tuple[Chart, ...]:
    """Return the charts of one stack.

    Parameters
    ----------
    stack : StackAdvice
        A judged stack.
    requirements : Requirements
        For the target pressure and the time wanted.

    Returns
    -------
    tuple of Chart
        Pump-down, speed for each gas, foreline; those without data are left out.
    """
    charts: list[Chart] = []
    if stack.pump_down and len(_finite(stack.pump_down.curve)) > 1:
        charts.append(pump_down_chart(stack.pump_down, requirements))
    charts += [speed_chart(plot, stack.states) for plot in stack.speed_plots]
    if stack.pump_down and len(_finite(stack.pump_down.foreline_curve)) > 1:
        charts.append(foreline_chart(stack.pump_down))
    return tuple(charts)


def pump_down_chart(pump_down: PumpDown, requirements: Requirements) -> Chart:
    """Return pressure against time with its band, the target and the time wanted.

    Parameters
    ----------
    pump_down : PumpDown
        With at least two finite points in its curve.
    requirements : Requirements
        Target pressure and time wanted.

    Returns
    -------
    Chart
        Time linear, pressure logarithmic.
    """
    curve = _finite(pump_down.curve)
    unit, per_unit = _time_unit(curve[-1][0])
    target = requirements.target_pressure_pa
    middle = [{"t": t / per_unit, "p": _mbar(p)} for t, p in curve]
    domain = _decades([_mbar(p) for _, p in curve] + [_mbar(target)])
    pressure = _log_axis("p", f"Chamber pressure [{_MBAR}]", domain)
    time = _plain_axis("t", f"Time [{unit}]")
    layers: list[Spec] = []
    band = _band(pump_down, per_unit)
    if band:
        layers.append(
            {
                "data": {"values": band},
                "mark": {"type": "area", "opacity": 0.25, "color": "$wash", "clip": True},
                "encoding": {"x": time, "y": {**pressure, "field": "low"}, "y2": {"field": "high"}},
            }
        )
    layers.append(
        {
            "data": {"values": middle},
            "mark": {"type": "line", "color": "$first", "strokeWidth": 2.5, "clip": True},
            "encoding": {"x": time, "y": pressure, "tooltip": _tips(("t", f"Time [{unit}]"), ("p", "mbar"))},
        }
    )
    layers += _level({"p": _mbar(target)}, "p", pressure, f"target {quantity(target, 'Pa')}")
    if requirements.pump_down_time_s:
        layers += _level(
            {"t": requirements.pump_down_time_s / per_unit},
            "t",
            time,
            f"wanted {duration(requirements.pump_down_time_s)}",
        )
    reached = (
        f"reaches the target after {duration(pump_down.time_s)}"
        if math.isfinite(pump_down.time_s)
        else "does not reach the target"
    )
    likely = (
        f", between {duration(pump_down.p10_s)} and {duration(pump_down.p90_s)} in eight cases of ten"
        if band
        else ""
    )
    return Chart(
        title="Pump-down",
        caption=f"The chamber {reached}{likely}."
        + (" The band shows how much outgassing and leaks vary." if band else ""),
        alt=f"Curve of chamber pressure falling from {quantity(curve[0][1], 'Pa')} to "
        f"{quantity(curve[-1][1], 'Pa')} in {duration(curve[-1][0])}; it {reached}.",
        spec=_spec(layers),
        columns=("Time", "Chamber pressure"),
        rows=_rows([(duration(t), quantity(p, "Pa")) for t, p in curve]),
    )


def speed_chart(plot: SpeedPlot, states: Mapping[str, State]) -> Chart:
    """Return speed against pressure for one gas, at the pump and at the chamber.

    Parameters
    ----------
    plot : SpeedPlot
        Curves on a common pressure grid.
    states : mapping of str to State
        Operating points to mark.

    Returns
    -------
    Chart
        Pressure logarithmic, speed linear from zero.
    """
    grid = list(
        zip(plot.pressure_pa, plot.pump_speed_m3_s, plot.chamber_speed_m3_s, strict=True)
    )
    domain = _decades([_mbar(p) for p in plot.pressure_pa])
    pump, chamber = "at the pump", "at the chamber"
    values = [
        {"p": _mbar(p), "s": _litres(s), "where": where}
        for p, at_pump, at_chamber in grid
        for where, s in ((pump, at_pump), (chamber, at_chamber))
    ]
    axis = _log_axis("p", f"Pressure [{_MBAR}]", domain)
    speed = _plain_axis("s", "Speed [L/s]")
    where = _legend("where", (pump, chamber))
    layers: list[Spec] = [
        {
            "data": {"values": values},
            "mark": {"type": "line", "strokeWidth": 2.5, "clip": True},
            "encoding": {
                "x": axis,
                "y": speed,
                **where,
                "tooltip": _tips(("where", "Speed"), ("p", "mbar"), ("s", "L/s")),
            },
        }
    ]
    points = [
        {"p": _mbar(state.chamber_pressure_pa), "s": _litres(state.effective_speed_m3_s), "name": words(name)}
        for name, state in states.items()
        if domain[0] <= _mbar(state.chamber_pressure_pa) <= domain[1]
    ]
    if points:
        layers += _marked_points(points, axis, speed)
    gas = words(plot.gas)
    best = max(plot.chamber_speed_m3_s)
    return Chart(
        title=f"Speed for {gas}",
        caption="What the pump can do, and what the line leaves of it at the chamber."
        + (" Points: where the system works." if points else ""),
        alt=f"Two curves of speed against pressure for {gas}: at most "
        f"{quantity(max(plot.pump_speed_m3_s), 'm3/s')} at the pump and "
        f"{quantity(best, 'm3/s')} at the chamber."
        + "".join(
            f" Working point {point['name']}: {number(float(point['s']))} L/s at "
            f"{number(float(point['p']))} mbar."
            for point in points
        ),
        spec=_spec(layers),
        columns=("Pressure", "Speed at the pump", "Speed at the chamber"),
        rows=_rows(
            [(quantity(p, "Pa"), quantity(a, "m3/s"), quantity(b, "m3/s")) for p, a, b in grid]
        ),
    )


def foreline_chart(pump_down: PumpDown) -> Chart:
    """Return foreline pressure against its limit over the whole cycle.

    Parameters
    ----------
    pump_down : PumpDown
        With at least two finite points in its foreline curve.

    Returns
    -------
    Chart
        Time linear, pressure logarithmic.
    """
    curve = _finite(pump_down.foreline_curve)
    unit, per_unit = _time_unit(curve[-1][0])
    there, limit = "in the foreline", "tolerable"
    values = [
        {"t": t / per_unit, "p": _mbar(p), "what": what}
        for t, actual, tolerable in curve
        for what, p in ((there, actual), (limit, tolerable))
    ]
    domain = _decades([float(value["p"]) for value in values])
    layer: Spec = {
        "data": {"values": values},
        "mark": {"type": "line", "strokeWidth": 2.5, "clip": True},
        "encoding": {
            "x": _plain_axis("t", f"Time [{unit}]"),
            "y": _log_axis("p", f"Foreline pressure [{_MBAR}]", domain),
            **_legend("what", (there, limit)),
            "tooltip": _tips(("what", "Pressure"), ("t", unit), ("p", "mbar")),
        },
    }
    worst = max(curve, key=lambda point: point[1] / point[2])
    over = worst[1] > worst[2]
    said = (
        f"Closest to its limit after {duration(worst[0])}: {quantity(worst[1], 'Pa')} of "
        f"{quantity(worst[2], 'Pa')} tolerable" + (", above the limit." if over else ".")
    )
    return Chart(
        title="Foreline pressure",
        caption=f"{said} Above the limit a high-vacuum pump stops pumping.",
        alt=f"Two curves against time, the foreline pressure and the tolerable one. {said}",
        spec=_spec([layer]),
        columns=("Time", "Foreline pressure", "Tolerable"),
        rows=_rows([(duration(t), quantity(a, "Pa"), quantity(b, "Pa")) for t, a, b in curve]),
    )


def pump_chart(pump: Pump) -> Chart | None:
    """Return a catalogue pump's own curves, or None for a pump without any.

    Parameters
    ----------
    pump : Pump
        Boosters show their compression, the others speed for each gas.

    Returns
    -------
    Chart or None
        On a logarithmic pressure axis.
    """
    if isinstance(pump, RootsBooster):
        pairs = list(zip(pump.compression_pressure_pa, pump.compression_k0, strict=True))
        return _simple(
            "Zero-flow compression", "Outlet over inlet pressure without gas flow, air.",
            [("air", p, k) for p, k in pairs], "Compression",
        ) if pairs else None
    named = [
        (words(curve.gas) + (", with gas ballast" if curve.with_ballast else ""), p, _litres(s))
        for curve in pump.curves
        for p, s in zip(curve.pressure_pa, curve.speed_m3_s, strict=True)
    ]
    if not named:
        return None
    return _simple("Speed", "At the pump’s inlet, for each gas.", named, "Speed [L/s]")


def fluid_chart(fluid: Fluid) -> Chart:
    """Return a fluid's vapour pressure against temperature, 20 to 120 °C.

    Parameters
    ----------
    fluid : Fluid
        With its two vapour-pressure constants.

    Returns
    -------
    Chart
        Temperature linear, pressure logarithmic.
    """
    celsius = range(20, 121, 10)
    pascal = [10 ** (fluid.vapour_pressure_a - fluid.vapour_pressure_b_k / (c + 273.15)) for c in celsius]
    values = [{"c": c, "p": _mbar(p)} for c, p in zip(celsius, pascal, strict=True)]
    layer: Spec = {
        "data": {"values": values},
        "mark": {"type": "line", "color": "$first", "strokeWidth": 2.5},
        "encoding": {
            "x": {**_plain_axis("c", "Temperature [°C]"), "scale": {"zero": False}},
            "y": _log_axis("p", f"Vapour pressure [{_MBAR}]", _decades([_mbar(p) for p in pascal])),
            "tooltip": _tips(("c", "°C"), ("p", "mbar")),
        },
    }
    return Chart(
        title="Vapour pressure",
        caption=f"{quantity(pascal[0], 'Pa')} at 20 °C. The lower, the less reaches the chamber.",
        alt=f"Vapour pressure rising from {quantity(pascal[0], 'Pa')} at 20 °C to "
        f"{quantity(pascal[-1], 'Pa')} at 120 °C.",
        spec=_spec([layer]),
        columns=("Temperature", "Vapour pressure"),
        rows=tuple((f"{c} °C", quantity(p, "Pa")) for c, p in zip(celsius, pascal, strict=True)),
    )


_MBAR = "mbar"


def _simple(title: str, caption: str, named: Sequence[tuple[str, float, float]], axis: str) -> Chart:
    names = tuple(dict.fromkeys(name for name, _, _ in named))
    layer: Spec = {
        "data": {"values": [{"name": n, "p": _mbar(p), "y": y} for n, p, y in named]},
        "mark": {"type": "line", "point": True, "strokeWidth": 2},
        "encoding": {
            "x": _log_axis("p", f"Pressure [{_MBAR}]", _decades([_mbar(p) for _, p, _ in named])),
            "y": _plain_axis("y", axis),
            **_legend("name", names),
            "tooltip": _tips(("name", "Gas"), ("p", "mbar"), ("y", axis)),
        },
    }
    most = max(y for _, _, y in named)
    return Chart(
        title=title,
        caption=caption,
        alt=f"{title} against pressure for {', '.join(names)}; {number(most)} at most ({axis}).",
        spec=_spec([layer]),
        columns=("Gas", "Pressure", axis),
        rows=tuple((sentence(n), quantity(p, "Pa"), number(y)) for n, p, y in named),
    )


def _spec(layers: Sequence[Spec]) -> Spec:
    return {"$schema": SCHEMA, "width": WIDTH, "height": HEIGHT, "layer": list(layers)}


def _mbar(pascal: float) -> float:
    return convert(pascal, "mbar", Dimension.PRESSURE)


def _litres(m3_s: float) -> float:
    return convert(m3_s, "L/s", Dimension.SPEED)


def _finite(points: Points) -> list[tuple[float, ...]]:
    """Keep the points that a logarithmic axis can show."""
    return [p for p in points if all(math.isfinite(v) for v in p) and min(p[1:], default=0) > 0]


def _time_unit(longest_s: float) -> tuple[str, float]:
    for unit, seconds in (("days", DAY_S), ("h", HOUR_S), ("min", MINUTE_S)):
        if longest_s >= 3 * seconds:
            return unit, seconds
    return "s", 1.0


def _decades(values: Sequence[float]) -> list[float]:
    """Return the whole decades around positive values."""
    known = [value for value in values if value > 0 and math.isfinite(value)]
    low, high = math.floor(math.log10(min(known))), math.ceil(math.log10(max(known)))
    return [10.0**low, 10.0 ** max(high, low + 1)]


def _log_axis(field: str, title: str, domain: Sequence[float]) -> Spec:
    low, high = (round(math.log10(end)) for end in domain)
    step = 1 if high - low <= LARGEST_SPAN_DECADES // 2 else 2
    return {
        "field": field,
        "type": "quantitative",
        "title": title,
        "scale": {"type": "log", "domain": list(domain), "nice": False},
        "axis": {"values": [10.0**d for d in range(low, high + 1, step)], "format": "~e"},
    }


def _plain_axis(field: str, title: str) -> Spec:
    return {"field": field, "type": "quantitative", "title": title, "scale": {"zero": True}}


def _legend(field: str, names: Sequence[str]) -> Spec:
    """Tell lines apart by colour and by dashes."""
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


def _tips(*fields: tuple[str, str]) -> list[Spec]:
    return [
        {"field": field, "title": title, "format": ".3~g", "type": "quantitative"}
        if field not in {"where", "what", "name"}
        else {"field": field, "title": title, "type": "nominal"}
        for field, title in fields
    ]


def _level(value: Mapping[str, float], field: str, axis: Spec, text: str) -> list[Spec]:
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


def _marked_points(points: Sequence[Mapping[str, object]], x_axis: Spec, y_axis: Spec) -> list[Spec]:
    data: Spec = {"values": list(points)}
    where: Spec = {"x": x_axis, "y": y_axis}
    return [
        {
            "data": data,
            "mark": {"type": "point", "filled": True, "size": 90, "color": "$ink", "shape": "diamond"},
            "encoding": {**where, "tooltip": _tips(("name", "State"), ("p", "mbar"), ("s", "L/s"))},
        },
        {
            "data": data,
            "mark": {"type": "text", "color": "$ink", "dy": -12, "align": "center"},
            "encoding": {**where, "text": {"field": "name"}},
        },
    ]


def _band(pump_down: PumpDown, per_unit: float) -> list[dict[str, float]]:
    """Return the band between the quick and the slow case on their common times."""
    quick, slow = _finite(pump_down.curve_p10), _finite(pump_down.curve_p90)
    if len(quick) < 2 or len(slow) < 2:
        return []
    times = np.unique(np.array([t for t, _ in quick] + [t for t, _ in slow]))
    low, high = _at(times, quick), _at(times, slow)
    return [
        {"t": t / per_unit, "low": _mbar(min(a, b)), "high": _mbar(max(a, b))}
        for t, a, b in zip(times.tolist(), low.tolist(), high.tolist(), strict=True)
    ]


def _at(times: npt.NDArray[np.float64], curve: Points) -> npt.NDArray[np.float64]:
    seconds, pressure = np.array(curve).T[:2]
    return np.exp(np.interp(times, seconds, np.log(pressure)))


def _rows(rows: Sequence[tuple[str, ...]]) -> tuple[tuple[str, ...], ...]:
    """Return at most ``MOST_ROWS`` rows, evenly taken, first and last always among them."""
    if len(rows) <= MOST_ROWS:
        return tuple(rows)
    chosen = np.unique(np.linspace(0, len(rows) - 1, MOST_ROWS).round().astype(int))
    return tuple(rows[i] for i in chosen)
