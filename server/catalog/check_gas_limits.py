"""Checks of limits that hold for single gases, and of vapour that a pump claims to pass."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from server.catalog.check_pumps import above_zero
from server.catalog.draft import Draft, GasLimitRow
from server.catalog.items import BackingPump, Pump, TurboPump, VapourPump
from server.catalog.sheets import Row
from server.errors import CatalogFault
from server.physics.constants import GAS_CONSTANT_J_MOL_K
from server.physics.species import SPECIES
from server.physics.vapour import saturation_pressure_pa

IN_OWN_ROW = frozenset({"air", "nitrogen"})
LIGHT = frozenset({"helium", "hydrogen"})
HEAVY_NOBLE = frozenset({"argon", "krypton", "xenon"})
ROOM_K = 293.15

# Which limits each class of pump has, by the fields of the row.
_LIMITS: Mapping[type[Pump], frozenset[str]] = {
    TurboPump: frozenset({"largest_throughput_pa_m3_s", "tolerable_foreline_pa"}),
    VapourPump: frozenset({"tolerable_foreline_no_load_pa", "tolerable_foreline_full_load_pa"}),
}


def check_gas_limits(draft: Draft) -> Iterator[CatalogFault]:
    """Check every row of ``gas_limits.csv``, and the vapour rates of backing pumps.

    Parameters
    ----------
    draft : Draft
        The tables as read.

    Yields
    ------
    CatalogFault
        One for each breach.
    """
    for _, turbo in draft.of_type(TurboPump):
        yield from _check_rows(draft, turbo)
    for _, jet in draft.of_type(VapourPump):
        yield from _check_rows(draft, jet)
    for row, backing in draft.of_type(BackingPump):
        yield from _check_vapour_rate(row, backing, draft)


def _check_rows(draft: Draft, pump: TurboPump | VapourPump) -> Iterator[CatalogFault]:
    seen: set[str] = set()
    for row, limits in draft.of(GasLimitRow, pump.sku):
        if limits.gas not in SPECIES:
            yield row.fault("gas", f"Unknown gas “{limits.gas[:40]}”. Known: {', '.join(SPECIES)}.")
        if limits.gas in IN_OWN_ROW:
            reason = f"The limits for {limits.gas} stand in the row of {pump.sku} itself."
            yield row.fault("gas", reason)
        if limits.gas in seen:
            yield row.fault("gas", f"{pump.sku} has two rows for {limits.gas}.")
        seen.add(limits.gas)
        yield from _check_limits(row, pump, limits)


def _check_limits(
    row: Row, pump: TurboPump | VapourPump, limits: GasLimitRow
) -> Iterator[CatalogFault]:
    known = _LIMITS[type(pump)]
    if not limits.stated:
        yield row.fault("gas", "The row states no limit.")
    for name, value in limits.stated.items():
        column = name.removesuffix("_pa_m3_s").removesuffix("_pa")
        if name not in known:
            yield row.fault(column, f"{pump.sku} has no such limit; leave the cell empty.")
            continue
        yield from above_zero(row, **{column: value})
        own: float = getattr(pump, name)
        if limits.gas in LIGHT and name != "largest_throughput_pa_m3_s" and value > own:
            reason = f"{pump.sku} holds back {limits.gas} no better than the {own:.4g} Pa for air."
            yield row.fault(column, reason)
        if limits.gas in HEAVY_NOBLE and name == "largest_throughput_pa_m3_s" and value > own:
            reason = f"A rotor takes less {limits.gas} than nitrogen: it is heated more by it."
            yield row.fault(column, reason)
    if isinstance(pump, VapourPump):
        yield from _check_pair(row, limits)


def _check_pair(row: Row, limits: GasLimitRow) -> Iterator[CatalogFault]:
    no_load = limits.tolerable_foreline_no_load_pa
    full_load = limits.tolerable_foreline_full_load_pa
    if (no_load is None) != (full_load is None):
        missing = "no" if no_load is None else "full"
        reason = "A gas has both values, without load and at full load."
        yield row.fault(f"tolerable_foreline_{missing}_load", reason)
    if no_load is not None and full_load is not None and full_load > no_load:
        reason = "The tolerable foreline pressure at full load is above that without load."
        yield row.fault("tolerable_foreline_full_load", reason)


def _check_vapour_rate(row: Row, pump: BackingPump, draft: Draft) -> Iterator[CatalogFault]:
    """Hold a vapour rate against what saturated vapour of room temperature brings to the inlet."""
    points = draft.curves(pump.sku).get(("air", False), [])
    if pump.largest_vapour_kg_s is None or not points:
        return
    fastest = max(point.speed_m3_s for _, point in points)
    per_volume = float(saturation_pressure_pa("water", ROOM_K)) / (GAS_CONSTANT_J_MOL_K * ROOM_K)
    limit = fastest * per_volume * SPECIES["water"].molar_mass_kg_mol
    if pump.largest_vapour_kg_s > limit:
        reason = (
            f"More than the {limit * 3.6e6:.3g} g/h of saturated water vapour of 20 °C that the "
            "pump's highest speed moves."
        )
        yield row.fault("largest_vapour", reason)
