"""Checks of speed points, compressions and capacities, row by row of their own tables."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from server.catalog.draft import CapacityRow, CompressionRow, Draft, SpeedRow, StageRow
from server.catalog.items import (
    BackingPump,
    CapturePump,
    Pump,
    RootsBooster,
    TurboPump,
    VapourPump,
)
from server.catalog.sheets import Row
from server.errors import CatalogFault
from server.physics.gas import mean_speed_m_s
from server.physics.species import SPECIES

FEWEST_POINTS = 8
FEWEST_STAGES = 5
SPEED_POINTS = "speed_points.csv"
NORMAL_K = 293.15
# A pump that exhausts to atmosphere starts there: its air curve must come near 101 325 Pa.
ATMOSPHERE_FROM_PA = 95e3
# Speeds are rounded and curves bend smoothly about the knee.
THROUGHPUT_TOLERANCE = 0.25

Points = Sequence[tuple[Row, SpeedRow]]


def throat_limit_m3_s(pump: Pump, gas: str) -> float:
    """Return the most that molecules can flow into a pump's throat: A·v̄/4 at 20 °C.

    Parameters
    ----------
    pump : Pump
        Its throat is the narrower of inlet bore and, for vapour pumps, jet throat.
    gas : str
        Species key.

    Returns
    -------
    float
        Kinetic gas theory: no pump is faster than a hole into nothing. [m3/s]
    """
    bore_m = pump.inlet.bore_m
    if isinstance(pump, VapourPump):
        bore_m = min(bore_m, pump.throat_m)
    mean_speed = float(mean_speed_m_s(NORMAL_K, SPECIES[gas].molar_mass_kg_mol))
    return math.pi / 4 * bore_m**2 * mean_speed / 4


def check_curves(draft: Draft) -> Iterator[CatalogFault]:
    """Check all curves of all pumps."""
    for row, pump in draft.of_type(Pump):
        if isinstance(pump, RootsBooster):
            yield from _check_stages(row, pump, draft)
            continue
        curves = draft.curves(pump.sku)
        for points in curves.values():
            yield from _check_curve(pump, points)
        yield from _check_scattered(draft, pump)
        yield from _check_set_of_curves(row, pump, draft)
        if isinstance(pump, TurboPump):
            yield from _check_compression(row, pump, draft)
        if isinstance(pump, CapturePump):
            yield from _check_capacity(row, pump, draft)


def _check_curve(pump: Pump, points: Points) -> Iterator[CatalogFault]:
    first_row, first = points[0]
    gas = first.gas
    if gas not in SPECIES:
        yield _unknown_gas(first_row, gas)
        return
    if len(points) < FEWEST_POINTS:
        reason = f"{pump.sku} has {len(points)} points for {gas}; at least {FEWEST_POINTS} wanted."
        yield first_row.fault("gas", reason)
    limit = throat_limit_m3_s(pump, gas)
    before = -1.0
    for row, point in points:
        if point.pressure_pa <= before:
            reason = f"The pressures of {pump.sku} for {gas} must rise from row to row."
            yield row.fault("pressure", reason)
        before = point.pressure_pa
        if point.speed_m3_s <= 0 and point.pressure_pa > pump.ultimate_pa:
            reason = f"The speed must be above zero above the ultimate pressure of {pump.sku}."
            yield row.fault("speed", reason)
        if point.speed_m3_s > limit:
            reason = (
                f"{point.speed_m3_s * 1e3:.4g} L/s is more than the {limit * 1e3:.4g} L/s of {gas} "
                f"that molecules can carry into the throat of {pump.sku} (A·v̄/4 at 20 °C)."
            )
            yield row.fault("speed", reason)
    yield from _check_throughput(pump, points)


def _check_throughput(pump: Pump, points: Points) -> Iterator[CatalogFault]:
    """Hold each point of a vapour pump against the largest throughput it states (nitrogen, air)."""
    if not isinstance(pump, VapourPump) or points[0][1].gas not in {"nitrogen", "air"}:
        return
    largest = pump.largest_throughput_pa_m3_s * (1 + THROUGHPUT_TOLERANCE)
    for row, point in points:
        if point.speed_m3_s * point.pressure_pa > largest:
            reason = f"Pressure times speed is above the largest throughput of {pump.sku}."
            yield row.fault("speed", reason)


def _check_scattered(draft: Draft, pump: Pump) -> Iterator[CatalogFault]:
    """Find a gas that is given a second time after another gas."""
    finished: set[tuple[str, bool]] = set()
    current: tuple[str, bool] | None = None
    for row, point in draft.of(SpeedRow, pump.sku):
        key = (point.gas, point.with_ballast)
        if key != current:
            if key in finished:
                reason = f"The points of {pump.sku} for {point.gas} are given a second time."
                yield row.fault("gas", reason)
            if current is not None:
                finished.add(current)
            current = key


def _check_set_of_curves(row: Row, pump: Pump, draft: Draft) -> Iterator[CatalogFault]:
    curves = draft.curves(pump.sku)
    plain = {gas: points for (gas, ballast), points in curves.items() if not ballast}
    main = plain.get("air") or plain.get("nitrogen")
    if main is None:
        yield row.fault("sku", f"{pump.sku} has no rows for air or nitrogen in {SPEED_POINTS}.")
        return
    last_pa = max(point.pressure_pa for _, point in main)
    last_row = main[-1][0]
    if isinstance(pump, BackingPump):
        if last_pa < ATMOSPHERE_FROM_PA:
            reason = f"{pump.sku} starts at atmospheric pressure: its points must reach 1013 mbar."
            yield last_row.fault("pressure", reason)
        yield from _check_ballast(row, pump, [points for key, points in curves.items() if key[1]])
    elif any(ballast for _, ballast in curves):
        yield row.fault("sku", f"{pump.sku} has no gas ballast, but points with ballast.")
    elif pump.largest_inlet_pa is not None and last_pa < 0.98 * pump.largest_inlet_pa:
        reason = f"The points of {pump.sku} must reach its largest inlet pressure."
        yield last_row.fault("pressure", reason)
    if isinstance(pump, VapourPump):
        yield from _check_knee(row, pump, main)


def _check_ballast(
    row: Row, pump: BackingPump, with_ballast: Sequence[Points]
) -> Iterator[CatalogFault]:
    if with_ballast and pump.ballast_m3_s <= 0:
        first_row = with_ballast[0][0][0]
        yield first_row.fault("with_ballast", f"{pump.sku} has no gas ballast.")
    if not with_ballast and pump.ballast_m3_s > 0:
        yield row.fault("ballast", f"{pump.sku} has no points with ballast in {SPEED_POINTS}.")


def _check_knee(row: Row, pump: VapourPump, points: Points) -> Iterator[CatalogFault]:
    highest = max(point.speed_m3_s for _, point in points)
    implied = highest * pump.knee_pa
    if abs(implied - pump.largest_throughput_pa_m3_s) > THROUGHPUT_TOLERANCE * implied:
        reason = (
            f"Knee times highest speed is {implied * 10:.3g} mbar·L/s, the largest throughput "
            f"{pump.largest_throughput_pa_m3_s * 10:.3g} mbar·L/s: more than 25 % apart."
        )
        yield row.fault("largest_throughput", reason)


def _check_compression(row: Row, pump: TurboPump, draft: Draft) -> Iterator[CatalogFault]:
    rows = draft.of(CompressionRow, pump.sku)
    seen: set[str] = set()
    for side_row, compression in rows:
        if compression.gas not in SPECIES:
            yield _unknown_gas(side_row, compression.gas)
        if compression.gas in seen:
            yield side_row.fault("gas", f"{pump.sku} has two compressions for {compression.gas}.")
        if compression.compression <= 1:
            yield side_row.fault("compression", "A compression must be above 1.")
        seen.add(compression.gas)
    for gas in dict.fromkeys(gas for gas, _ in draft.curves(pump.sku)):
        if gas not in seen:
            yield row.fault("sku", f"{pump.sku} has no compression for {gas} in compression.csv.")


def _check_capacity(row: Row, pump: CapturePump, draft: Draft) -> Iterator[CatalogFault]:
    seen: set[str] = set()
    curves = {gas for gas, _ in draft.curves(pump.sku)}
    for side_row, capacity in draft.of(CapacityRow, pump.sku):
        if capacity.gas not in SPECIES:
            yield _unknown_gas(side_row, capacity.gas)
        elif capacity.gas not in curves:
            yield side_row.fault("gas", f"{pump.sku} has no speed for {capacity.gas}.")
        if capacity.gas in seen:
            yield side_row.fault("gas", f"{pump.sku} has two capacities for {capacity.gas}.")
        if capacity.capacity_pa_m3 <= 0:
            yield side_row.fault("capacity_pa_m3", "A capacity must be above zero.")
        seen.add(capacity.gas)
    for gas in sorted(curves - seen):
        yield row.fault("sku", f"{pump.sku} has no capacity for {gas} in capacity.csv.")


def _check_stages(row: Row, pump: RootsBooster, draft: Draft) -> Iterator[CatalogFault]:
    stages = draft.stages(pump.sku)
    for gas, rows in {"air": [], **stages}.items():
        if len(rows) < FEWEST_STAGES:
            reason = (
                f"{pump.sku} has {len(rows)} rows for {gas} in compression_booster.csv; "
                f"{FEWEST_STAGES} are wanted."
            )
            yield row.fault("sku", reason)
        if gas not in SPECIES:
            yield _unknown_gas(rows[0][0], gas)
        yield from _check_stage_rows(pump, rows)


def _check_stage_rows(
    pump: RootsBooster, stages: Sequence[tuple[Row, StageRow]]
) -> Iterator[CatalogFault]:
    before = 0.0
    for side_row, stage in stages:
        if stage.pressure_pa <= before:
            reason = f"The pressures of {pump.sku} for {stage.gas} must rise from row to row."
            yield side_row.fault("pressure", reason)
        before = stage.pressure_pa
        if stage.compression <= 1:
            yield side_row.fault("compression", "A compression must be above 1.")


def _unknown_gas(row: Row, gas: str) -> CatalogFault:
    return row.fault("gas", f"Unknown gas “{gas[:40]}”. Known: {', '.join(SPECIES)}.")
