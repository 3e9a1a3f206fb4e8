"""Workings: a Roots booster in front of its backing pump."""

from __future__ import annotations

import math
from collections.abc import Iterator

from scipy.optimize import brentq

from server.catalog.arrays import GRID, arrays_of
from server.catalog.items import RootsBooster
from server.fit.results import Working
from server.fit.workings_bench import CATALOG, Bench, Law, Settled, cite, gas_name, line, speed_at
from server.physics.boosters import cut_in_pressure_pa, roots_speed_m3_s
from server.physics.pumps import compression_ratio
from server.physics.speedtable import SpeedTable

_BETWEEN = Law(
    "p₂", "p₁ = p₂·(S_b(p₂)/S_th + 1/K₀(p₂)), solved for p₂", "Pa", cite("VANATTA-1965")
)
_K0 = Law("K₀", "K₀ read at p₂, linear in logarithms", "1", f"{CATALOG} (air, for every gas)")
_STAGING = Law("S_th/S_b", "staging ratio S_th/S_b(p₂)", "1", cite("JOUSTEN-2016"))
_FREE = Law("S", "S = S_th·K₀/(K₀ + S_th/S_b)", "m³/s", cite("VANATTA-1965", "JOUSTEN-2016"))
_HELD = Law(
    "S",
    "S = S_b(p₂)·p₂/p₁ with p₂ = p₁ + Δp_max: the bypass valve holds the difference",
    "m³/s",
    cite("JOUSTEN-2016"),
)
_OFF = Law(
    "S", "S = S_b(p₁): above its cut-in pressure the booster stands still", "m³/s", CATALOG
)
_DIFFERENCE = Law("Δp", "Δp = p₂ − p₁, at most Δp_max", "Pa", cite("JOUSTEN-2016"))
_CUT_IN = Law("p_cut", "Δp_max/(S_th/S_b − 1)", "Pa", cite("JOUSTEN-2016"))


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
    key = f"booster-{state.key}"
    name = f"{gas_name(gas)} {state.words}"
    backing, row = _backing(bench, state, gas)
    used = speed_at(bench.back_speeds(gas, state), bench.spot.back_row, inlet_pa)
    free_pa = between_pa(booster, backing, row, inlet_pa)
    held_pa = inlet_pa + booster.largest_difference_pa
    running = booster.bypass_valve or inlet_pa <= booster.cut_in_pa
    limited = free_pa > held_pa
    behind_pa = held_pa if limited else free_pa
    speed_b = speed_at(backing, row, behind_pa)
    if not running:
        yield line(
            section, key, f"Booster off: {name}", _OFF,
            {"p₁ [Pa]": inlet_pa, "cut-in pressure [Pa]": booster.cut_in_pa}, used,
        )  # fmt: skip
        return
    compression = float(
        compression_ratio(booster.compression_pressure_pa, booster.compression_k0, behind_pa)
    )
    yield line(
        section, f"{key}-between", f"Pressure between booster and backing pump: {name}", _BETWEEN,
        {"p₁ [Pa]": inlet_pa, "S_th [m³/s]": booster.displacement_m3_s}, free_pa,
    )  # fmt: skip
    yield line(section, f"{key}-k0", f"Zero-flow compression of {booster.name}", _K0,
               {"p₂ [Pa]": behind_pa}, compression)  # fmt: skip
    staged = {"S_th [m³/s]": booster.displacement_m3_s, "S_b(p₂) [m³/s]": speed_b}
    ratio = booster.displacement_m3_s / speed_b if speed_b > 0.0 else math.inf
    yield line(section, f"{key}-staging", "Staging ratio", _STAGING, staged, ratio)
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
    yield line(
        section, f"{key}-cut-in", "Inlet pressure below which it may run without bypass", _CUT_IN,
        {"Δp_max [Pa]": booster.largest_difference_pa, **staged},
        float(cut_in_pressure_pa(booster.largest_difference_pa, booster.displacement_m3_s,
                                 max(speed_b, 1e-12))),
    )  # fmt: skip
    alone = {"K₀": compression, **staged}
    formula = float(roots_speed_m3_s(booster.displacement_m3_s, compression, speed_b))
    if limited:
        held = {"S_b(p₂) [m³/s]": speed_b, "p₂ [Pa]": behind_pa, "p₁ [Pa]": inlet_pa}
        yield line(section, key, f"Speed at the booster's inlet: {name}", _HELD, held, used)
        return
    yield line(section, key, f"Speed at the booster's inlet: {name}", _FREE,
               {**alone, "by the formula, before the table [m³/s]": formula}, used)  # fmt: skip


def _backing(bench: Bench, state: Settled, gas: str) -> tuple[SpeedTable, int]:
    """Return the curve of the backing pump alone."""
    ballast = state.key == "process" and bool(bench.requirements.process.vapour)
    arrays = arrays_of(bench.catalog)
    return arrays.speed(gas, with_ballast=ballast), arrays.row_of[bench.back.backing.sku]


def between_pa(
    booster: RootsBooster, backing: SpeedTable, row: int, inlet_pa: float
) -> float:
    """Return the pressure between a booster and its backing pump without any limit. [Pa]"""

    def excess(ln_pressure: float) -> float:
        pressure = math.exp(ln_pressure)
        compression = float(
            compression_ratio(booster.compression_pressure_pa, booster.compression_k0, pressure)
        )
        share = speed_at(backing, row, pressure) / booster.displacement_m3_s + 1.0 / compression
        return math.log(pressure * share / inlet_pa)

    bottom, top = math.log(GRID.low_pa), math.log(GRID.high_pa)
    if excess(top) <= 0.0:
        return GRID.high_pa
    return math.exp(float(brentq(excess, bottom, top, xtol=1e-12)))
