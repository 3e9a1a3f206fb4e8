"""The gas a stack carries against the pressure in the chamber, with where it works."""

from __future__ import annotations

import math

from server.fit.results import ThroughputMap
from server.units import Dimension, convert
from server.web.chart_parts import (
    MBAR,
    Chart,
    Spec,
    decades,
    layered,
    log_axis,
    mbar,
    thinned,
    tips,
    touchable,
)
from server.web.formatting import quantity
from server.web.words import words

FLOW = "mbar·L/s"


def throughput_chart(shown: ThroughputMap) -> Chart:
    """Return throughput against chamber pressure, both logarithmic.

    Parameters
    ----------
    shown : ThroughputMap
        With at least two points.

    Returns
    -------
    Chart
        The curve, cut at what the foreline carries, and the points where the system works.
    """
    curve = list(zip(shown.pressure_pa, shown.throughput_pa_m3_s, strict=True))
    pressure = log_axis(
        "p",
        f"Chamber pressure [{MBAR}]",
        decades([mbar(p) for p in shown.pressure_pa] + [mbar(p) for _, p, _ in shown.points]),
    )
    flows = [_flow(q) for _, q in curve] + [_flow(q) for _, _, q in shown.points]
    flow = log_axis("q", f"Gas flow [{FLOW}]", decades(flows))
    line: Spec = {
        "data": {"values": [{"p": mbar(p), "q": _flow(q)} for p, q in curve]},
        "mark": {"type": "line", "color": "$first", "strokeWidth": 2.5, "clip": True},
        "encoding": {"x": pressure, "y": flow, "tooltip": tips(("p", MBAR), ("q", FLOW))},
    }
    cut = math.isfinite(shown.ceiling_pa_m3_s) and shown.ceiling_pa_m3_s <= 1.0001 * max(
        shown.throughput_pa_m3_s
    )
    ceiling = (
        f" Flat at the top: pump and foreline carry {quantity(shown.ceiling_pa_m3_s, 'Pa m3/s')}"
        " at most."
        if cut
        else ""
    )
    where = "".join(
        f" The system works {words(name)} at {quantity(p, 'Pa')} with {quantity(q, 'Pa m3/s')}."
        for name, p, q in shown.points
    )
    low, high = curve[0], curve[-1]
    return Chart(
        title="Gas flow against pressure",
        caption="What the stack carries away at each chamber pressure, for this mix of gases: "
        f"below the curve it works, above it the pressure rises.{ceiling}{where}",
        alt=f"Curve of gas flow rising from {quantity(low[1], 'Pa m3/s')} at "
        f"{quantity(low[0], 'Pa')} to {quantity(high[1], 'Pa m3/s')} at "
        f"{quantity(high[0], 'Pa')}.{ceiling}{where}",
        spec=layered([*touchable(line), *_points(shown, pressure, flow)]),
        columns=("Chamber pressure", "Gas flow carried"),
        rows=thinned([(quantity(p, "Pa"), quantity(q, "Pa m3/s")) for p, q in curve]),
    )


def _points(shown: ThroughputMap, pressure: Spec, flow: Spec) -> list[Spec]:
    values = [{"name": words(name), "p": mbar(p), "q": _flow(q)} for name, p, q in shown.points]
    if not values:
        return []
    data: Spec = {"values": values}
    where: Spec = {"x": pressure, "y": flow}
    mark: Spec = {
        "type": "point", "filled": True, "size": 90, "color": "$ink", "shape": "diamond",
    }  # fmt: skip
    told = tips(("name", "State"), ("p", MBAR), ("q", FLOW))
    return [
        {"data": data, "mark": mark, "encoding": {**where, "tooltip": told}},
        {
            "data": data,
            "mark": {"type": "text", "color": "$ink", "dy": -12, "align": "right"},
            "encoding": {**where, "text": {"field": "name"}},
        },
    ]


def _flow(pa_m3_s: float) -> float:
    return convert(pa_m3_s, "mbar*L/s", Dimension.THROUGHPUT)
