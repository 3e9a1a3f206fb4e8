"""Charts of what the catalogue sells: a pump's own curves, a fluid's vapour pressure."""

from __future__ import annotations

from collections.abc import Sequence

from server.catalog.items import BackingPump, CompressionCurve, Fluid, Pump, RootsBooster
from server.fit.fluid_use import vapour_pressure_pa
from server.units import Dimension, convert
from server.web.chart_parts import (
    MBAR,
    Chart,
    Spec,
    decades,
    layered,
    log_axis,
    mbar,
    plain_axis,
    tips,
    told_apart,
    touchable,
)
from server.web.formatting import number, quantity
from server.web.words import sentence, words


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
        return _compression_chart(pump)
    unit = "m3/h" if isinstance(pump, BackingPump) else "L/s"  # as each is sold by
    named = [
        (
            words(curve.gas) + (", with gas ballast" if curve.with_ballast else ""),
            p,
            convert(s, unit, Dimension.SPEED),
        )
        for curve in pump.curves
        for p, s in zip(curve.pressure_pa, curve.speed_m3_s, strict=True)
    ]
    if not named:
        return None
    return _simple("Speed", "At the pump’s inlet, for each gas.", named, f"Speed [{unit}]")


def _compression_chart(pump: RootsBooster) -> Chart | None:
    air = CompressionCurve(pump.compression_pressure_pa, pump.compression_k0)
    named = [
        (words(gas), p, k)
        for gas, curve in {"air": air, **pump.compression_by_gas}.items()
        for p, k in zip(curve.pressure_pa, curve.compression, strict=True)
    ]
    if not named:
        return None
    said = "Outlet over inlet pressure without gas flow, for each gas."
    return _simple("Zero-flow compression", said, named, "Compression")


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
    pascal = [vapour_pressure_pa(fluid, c + 273.15) for c in celsius]
    values = [{"c": c, "p": mbar(p)} for c, p in zip(celsius, pascal, strict=True)]
    temperature: Spec = {**plain_axis("c", "Temperature [°C]"), "scale": {"zero": False}}
    layer: Spec = {
        "data": {"values": values},
        "mark": {"type": "line", "color": "$first", "strokeWidth": 2.5},
        "encoding": {
            "x": temperature,
            "y": log_axis("p", f"Vapour pressure [{MBAR}]", decades([mbar(p) for p in pascal])),
            "tooltip": tips(("c", "°C"), ("p", "mbar")),
        },
    }
    return Chart(
        title="Vapour pressure",
        caption=f"{quantity(pascal[0], 'Pa')} at 20 °C. The lower, the less reaches the chamber.",
        alt=f"Vapour pressure rising from {quantity(pascal[0], 'Pa')} at 20 °C to "
        f"{quantity(pascal[-1], 'Pa')} at 120 °C.",
        spec=layered(touchable(layer)),
        columns=("Temperature", "Vapour pressure"),
        rows=tuple((f"{c} °C", quantity(p, "Pa")) for c, p in zip(celsius, pascal, strict=True)),
    )


def _simple(
    title: str, caption: str, named: Sequence[tuple[str, float, float]], axis: str
) -> Chart:
    names = tuple(dict.fromkeys(name for name, _, _ in named))
    layer: Spec = {
        "data": {"values": [{"name": n, "p": mbar(p), "y": y} for n, p, y in named]},
        "mark": {"type": "line", "strokeWidth": 2},
        "encoding": {
            "x": log_axis("p", f"Pressure [{MBAR}]", decades([mbar(p) for _, p, _ in named])),
            "y": plain_axis("y", axis),
            **told_apart("name", names),
            "tooltip": tips(("name", "Gas"), ("p", "mbar"), ("y", axis)),
        },
    }
    most = max(y for _, _, y in named)
    return Chart(
        title=title,
        caption=caption,
        alt=f"{title} against pressure for {', '.join(names)}; {number(most)} at most ({axis}).",
        spec=layered(touchable(layer)),
        columns=("Gas", "Pressure", axis),
        rows=tuple((sentence(n), quantity(p, "Pa"), number(y)) for n, p, y in named),
    )
