"""Charts as Vega-Lite specifications: plain dicts, each with its title, words and table.

Values are in the units people read on a gauge: mbar, L/s, minutes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from server.fit.requirements import Requirements
from server.fit.results import PumpDown, SpeedPlot, StackAdvice, State
from server.web.chart_parts import (
    MBAR,
    Chart,
    Points,
    Spec,
    decades,
    finite,
    layered,
    litres,
    log_axis,
    marked_points,
    mbar,
    plain_axis,
    rule_at,
    thinned,
    time_unit,
    tips,
    told_apart,
    touchable,
)
from server.web.day_chart import day_chart
from server.web.envelope_chart import throughput_chart
from server.web.formatting import duration, number, quantity
from server.web.words import words


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
        Pump-down, speed for each gas, foreline, a working day; those without data are left out.
    """
    charts: list[Chart] = []
    if stack.pump_down and len(finite(stack.pump_down.curve)) > 1:
        charts.append(pump_down_chart(stack.pump_down, requirements))
    charts += [speed_chart(plot, stack.states) for plot in stack.speed_plots]
    if stack.pump_down and len(finite(stack.pump_down.foreline_curve)) > 1:
        charts.append(foreline_chart(stack.pump_down))
    if stack.envelope and len(stack.envelope.map.pressure_pa) > 1:
        charts.append(throughput_chart(stack.envelope.map))
    if stack.day is not None:
        charts.append(day_chart(stack.day))
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
    curve = finite(pump_down.curve)
    unit, per_unit = time_unit(curve[-1][0])
    target = requirements.target_pressure_pa
    middle = [{"t": t / per_unit, "p": mbar(p)} for t, p in curve]
    domain = decades([mbar(p) for _, p in curve] + [mbar(target)])
    pressure = log_axis("p", f"Chamber pressure [{MBAR}]", domain)
    time = plain_axis("t", f"Time [{unit}]")
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
    layers += touchable(
        {
            "data": {"values": middle},
            "mark": {"type": "line", "color": "$first", "strokeWidth": 2.5, "clip": True},
            "encoding": {
                "x": time,
                "y": pressure,
                "tooltip": tips(("t", f"Time [{unit}]"), ("p", MBAR)),
            },
        }
    )
    layers += rule_at({"p": mbar(target)}, "p", pressure, f"target {quantity(target, 'Pa')}")
    if requirements.pump_down_time_s:
        layers += rule_at(
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
    likely = _likely(pump_down) if band else ""
    return Chart(
        title="Pump-down",
        caption=f"The chamber {reached}{likely}."
        + (" The band shows how much outgassing and leaks vary." if band else ""),
        alt=f"Curve of chamber pressure falling from {quantity(curve[0][1], 'Pa')} to "
        f"{quantity(curve[-1][1], 'Pa')} in {duration(curve[-1][0])}; it {reached}.",
        spec=layered(layers),
        columns=("Time", "Chamber pressure"),
        rows=thinned([(duration(t), quantity(p, "Pa")) for t, p in curve]),
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
    grid = list(zip(plot.pressure_pa, plot.pump_speed_m3_s, plot.chamber_speed_m3_s, strict=True))
    domain = decades([mbar(p) for p in plot.pressure_pa])
    pump, chamber = "at the pump", "at the chamber"
    values = [
        {"p": mbar(p), "s": litres(s), "where": where}
        for p, at_pump, at_chamber in grid
        for where, s in ((pump, at_pump), (chamber, at_chamber))
    ]
    axis = log_axis("p", f"Pressure [{MBAR}]", domain)
    speed = plain_axis("s", "Speed [L/s]")
    where = told_apart("where", (pump, chamber))
    layers = touchable(
        {
            "data": {"values": values},
            "mark": {"type": "line", "strokeWidth": 2.5, "clip": True},
            "encoding": {
                "x": axis,
                "y": speed,
                **where,
                "tooltip": tips(("where", "Speed"), ("p", MBAR), ("s", "L/s")),
            },
        }
    )
    points = [
        (words(name), mbar(state.chamber_pressure_pa), litres(state.effective_speed_m3_s))
        for name, state in states.items()
        if domain[0] <= mbar(state.chamber_pressure_pa) <= domain[1]
    ]
    if points:
        layers += marked_points(points, axis, speed)
    gas = words(plot.gas)
    best = max(plot.chamber_speed_m3_s)
    return Chart(
        title=f"Speed for {gas}",
        caption="What the pump can do, and what the line leaves of it at the chamber."
        + (" Points: where the system works, for its own mix of gases." if points else ""),
        alt=f"Two curves of speed against pressure for {gas}: at most "
        f"{quantity(max(plot.pump_speed_m3_s), 'm3/s')} at the pump and "
        f"{quantity(best, 'm3/s')} at the chamber."
        + "".join(
            f" Working point {name}: {number(litres_s)} L/s at {number(p)} mbar."
            for name, p, litres_s in points
        ),
        spec=layered(layers),
        columns=("Pressure", "Speed at the pump", "Speed at the chamber"),
        rows=thinned(
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
    curve = finite(pump_down.foreline_curve)
    unit, per_unit = time_unit(curve[-1][0])
    there, limit = "in the foreline", "tolerable"
    values = [
        {"t": t / per_unit, "p": mbar(p), "what": what}
        for t, actual, tolerable in curve
        for what, p in ((there, actual), (limit, tolerable))
    ]
    domain = decades([mbar(p) for _, *both in curve for p in both])
    layer: Spec = {
        "data": {"values": values},
        "mark": {"type": "line", "strokeWidth": 2.5, "clip": True},
        "encoding": {
            "x": plain_axis("t", f"Time [{unit}]"),
            "y": log_axis("p", f"Foreline pressure [{MBAR}]", domain),
            **told_apart("what", (there, limit)),
            "tooltip": tips(("what", "Pressure"), ("t", unit), ("p", MBAR)),
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
        spec=layered(touchable(layer)),
        columns=("Time", "Foreline pressure", "Tolerable"),
        rows=thinned([(duration(t), quantity(a, "Pa"), quantity(b, "Pa")) for t, a, b in curve]),
    )


def _likely(pump_down: PumpDown) -> str:
    """Return the times between which eight of ten systems reach the target, as a clause."""
    quick, slow = pump_down.p10_s, pump_down.p90_s
    if math.isfinite(slow):
        return f", between {duration(quick)} and {duration(slow)} in eight cases of ten"
    if math.isfinite(quick):
        return f", after {duration(quick)} in one case of ten, never in another one"
    return ""


def _band(pump_down: PumpDown, per_unit: float) -> list[dict[str, float]]:
    """Return the band between the quick and the slow case on their common times."""
    quick, slow = finite(pump_down.curve_p10), finite(pump_down.curve_p90)
    if len(quick) < 2 or len(slow) < 2:
        return []
    times = np.unique(np.array([t for t, _ in quick] + [t for t, _ in slow]))
    low, high = _at(times, quick), _at(times, slow)
    return [
        {"t": t / per_unit, "low": mbar(min(a, b)), "high": mbar(max(a, b))}
        for t, a, b in zip(times.tolist(), low.tolist(), high.tolist(), strict=True)
    ]


def _at(times: npt.NDArray[np.float64], curve: Points) -> npt.NDArray[np.float64]:
    seconds, pressure = np.array(curve).T[:2]
    at_times: npt.NDArray[np.float64] = np.exp(np.interp(times, seconds, np.log(pressure)))
    return at_times
