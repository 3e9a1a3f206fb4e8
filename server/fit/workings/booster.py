"""Workings: a Roots booster in front of its backing pump."""

from __future__ import annotations

import math
from collections.abc import Generator, Iterator

from server.catalog.arrays import arrays_of
from server.catalog.gas_limits import booster_compression_for
from server.catalog.items import RootsBooster
from server.fit.results import Working
from server.fit.workings.bench import (
    CATALOG,
    Bench,
    Inputs,
    Law,
    Settled,
    cite,
    gas_name,
    line,
)
from server.fit.workings.curves import Curve
from server.physics.boosters import compression_over_rest

_BETWEEN = Law(
    "p₂", "S(p₁)·p₁ = S_b(p₂)·p₂: both pumps carry the same gas", "Pa", "what enters leaves"
)
_K0 = Law("K₀", "K₀ read at p₂, linear in logarithms", "1", CATALOG)
_K0_SCALED = Law(
    "K₀",
    "K₀ = 1 + (K₀,air − 1)/max(1, C/C_air): that of air, less where more of the gas flows back "
    "through the gaps, C ∝ v₀·(1.018 + δ/6)",
    "1",
    f"{CATALOG}; {cite('WUTZ-1989', 'SHARIPOV-1998')}",
)
_K0_MIXED = Law(
    "K₀",
    "1/K₀ = ρ/K₀,air + (1 − ρ)/K₀,gas, ρ = min(p_rest/p₂, 1): the backing pump's own air is behind "
    "the booster too",
    "1",
    cite("JOUSTEN-2016"),
)
_STAGING = Law("S_th/S_b", "staging ratio S_th/S_b(p₂)", "1", cite("JOUSTEN-2016"))
_FREE = Law(
    "S",
    "S = S_th·K₀/(K₀ + S_th/S_b) (the engine reads a table with 16 points a decade: within 1 %, "
    "within 10 % near the ultimate pressure)",
    "m³/s",
    cite("VANATTA-1965", "JOUSTEN-2016"),
)
_HELD = Law(
    "S",
    "S = S_b(p₂)·p₂/p₁ with p₂ = p₁ + Δp_max: the bypass valve holds the difference",
    "m³/s",
    cite("JOUSTEN-2016"),
)
_OFF = Law(
    "S",
    "S = S_b(p₁): the booster stands still above its cut-in pressure, or is at the ultimate "
    "pressure it states, or gas passes through one that is smaller than its backing pump",
    "m³/s",
    CATALOG,
)
_NET = Law(
    "S_net", "S_net = S·(1 − p_ult/p₁): the stated ultimate pressure is that of the pair", "m³/s",
    CATALOG,
)  # fmt: skip
_DIFFERENCE = Law("Δp", "Δp = p₂ − p₁, at most Δp_max", "Pa", cite("JOUSTEN-2016"))

_AT_LIMIT = 0.999
"""Share of the largest pressure difference from which the bypass valve counts as open."""


def booster_lines(
    section: str, bench: Bench, state: Settled, gas: str, inlet_pa: float
) -> Iterator[Working]:
    """Yield the staging of a Roots booster at one inlet pressure.

    Parameters
    ----------
    section : str
        Heading.
    bench : Bench
        A stack whose back has a Roots booster.
    state : Settled
        State it is shown at.
    gas : str
        Species pumped.
    inlet_pa : float
        Pressure at the booster's inlet. [Pa]
    """
    booster = bench.back.booster
    assert isinstance(booster, RootsBooster)  # noqa: S101 (the caller looked)
    key, name = f"booster-{state.key}", f"{gas_name(gas)} {state.words}"
    backing = _backing(bench, state, gas)
    net = bench.back_speeds(gas, state).at(inlet_pa)
    alone = backing.at(inlet_pa)
    left = 1.0 - booster.ultimate_pa / inlet_pa
    used = net / left if left > 0.0 and net > alone * (1.0 + 1e-9) else alone
    behind_pa = backing.pressure_of_flow_pa(used * inlet_pa)
    if used <= alone * (1.0 + 1e-9) or math.isnan(behind_pa):
        inputs = {"p₁ [Pa]": inlet_pa, "cut-in pressure [Pa]": booster.cut_in_pa}
        yield line(section, key, f"Booster passed through: {name}", _OFF, inputs, net)
        return
    yield line(
        section, f"{key}-net", f"Speed left above the booster's ultimate pressure: {name}", _NET,
        {"S [m³/s]": used, "p_ult [Pa]": booster.ultimate_pa, "p₁ [Pa]": inlet_pa}, net,
    )  # fmt: skip
    speed_b = used * inlet_pa / behind_pa
    yield line(
        section, f"{key}-between", f"Pressure between booster and backing pump: {name}", _BETWEEN,
        {"p₁ [Pa]": inlet_pa, "S(p₁) [m³/s]": used, "S_b(p₂) [m³/s]": speed_b}, behind_pa,
    )  # fmt: skip
    limited = behind_pa - inlet_pa > _AT_LIMIT * booster.largest_difference_pa
    yield line(
        section, f"{key}-difference", f"Pressure difference over the booster: {name}", _DIFFERENCE,
        {
            "p₂ [Pa]": behind_pa,
            "p₁ [Pa]": inlet_pa,
            "Δp_max [Pa]": booster.largest_difference_pa,
            "held by": "bypass valve" if limited else "nothing: below its limit",
        },
        behind_pa - inlet_pa,
    )  # fmt: skip
    if limited:
        held = {"S_b(p₂) [m³/s]": speed_b, "p₂ [Pa]": behind_pa, "p₁ [Pa]": inlet_pa}
        yield line(section, key, f"Speed at the booster's inlet: {name}", _HELD, held, used)
        return
    compression = yield from _compression(section, key, booster, gas, (behind_pa, backing.rest_pa))
    staged: Inputs = {"S_th [m³/s]": booster.displacement_m3_s, "S_b(p₂) [m³/s]": speed_b}
    yield line(section, f"{key}-staging", f"Staging ratio: {name}", _STAGING, staged,
               booster.displacement_m3_s / speed_b)  # fmt: skip
    yield line(section, key, f"Speed at the booster's inlet: {name}", _FREE,
               {"K₀": compression, **staged}, used)  # fmt: skip


def _compression(
    section: str, key: str, booster: RootsBooster, gas: str, behind_and_rest_pa: tuple[float, float]
) -> Generator[Working, None, float]:
    """Yield what a booster's compression for a gas comes from, and return it."""
    behind_pa, rest = behind_and_rest_pa
    own = float(booster_compression_for(booster, gas, behind_pa))
    name = f"Zero-flow compression of {booster.name}"
    law = _K0 if gas in {"air", "nitrogen", *booster.compression_by_gas} else _K0_SCALED
    air = float(booster_compression_for(booster, "air", behind_pa))
    if own == air:
        yield line(section, f"{key}-k0", name, law, {"p₂ [Pa]": behind_pa}, own)
        return own
    yield line(section, f"{key}-k0-gas", f"{name} for {gas_name(gas)}", law,
               {"p₂ [Pa]": behind_pa, "K₀,air": air}, own)  # fmt: skip
    inputs: Inputs = {"p_rest [Pa]": rest, "p₂ [Pa]": behind_pa, "K₀,gas": own, "K₀,air": air}
    mixed = float(compression_over_rest(own, air, rest, behind_pa))
    yield line(section, f"{key}-k0", name, _K0_MIXED, inputs, mixed)
    return mixed


def _backing(bench: Bench, state: Settled, gas: str) -> Curve:
    """Return the curve of the backing pump alone."""
    ballast = state.working and bool(bench.requirements.process.vapour)
    arrays = arrays_of(bench.catalog)
    table = arrays.speed(gas, with_ballast=ballast)
    return Curve.of(table, arrays.row_of[bench.back.backing.sku])
