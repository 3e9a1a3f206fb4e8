"""Checks of the pumps' own rows, class by class."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from server.catalog.check_curves import throat_limit_m3_s
from server.catalog.draft import Draft
from server.catalog.items import (
    BACKING_KINDS,
    CAPTURE_KINDS,
    OIL_SEALED_KINDS,
    TURBO_KINDS,
    VAPOUR_KINDS,
    BackingPump,
    CapturePump,
    Cooling,
    Pump,
    PumpKind,
    RootsBooster,
    TurboPump,
    VapourPump,
)
from server.catalog.sheets import Row
from server.catalog.words import HAZARDS
from server.errors import CatalogFault
from server.physics.constants import ATMOSPHERE_PA

_KINDS: Mapping[type[Pump], frozenset[PumpKind]] = {
    VapourPump: VAPOUR_KINDS,
    TurboPump: TURBO_KINDS,
    CapturePump: CAPTURE_KINDS,
    BackingPump: BACKING_KINDS,
    RootsBooster: frozenset({PumpKind.ROOTS_BOOSTER}),
}
LOWEST_VOLTAGE, HIGHEST_VOLTAGE = 12, 1000


def check_pump(row: Row, pump: Pump, draft: Draft) -> Iterator[CatalogFault]:
    """Check what stands in a pump's own row.

    Parameters
    ----------
    row : Row
        Where it stands.
    pump : Pump
        The pump.
    draft : Draft
        For the pump that a variant belongs to.

    Yields
    ------
    CatalogFault
        One for each breach.
    """
    yield from _check_any(row, pump)
    yield from _check_supply(row, pump)
    if isinstance(pump, VapourPump):
        yield from _check_vapour(row, pump)
        yield from _check_variant(row, pump, draft)
    elif isinstance(pump, TurboPump):
        yield from above_zero(
            row,
            tolerable_foreline=pump.tolerable_foreline_pa,
            run_up=pump.run_up_s,
            start_pressure=pump.start_pressure_pa,
            largest_throughput=pump.largest_throughput_pa_m3_s,
        )
    elif isinstance(pump, CapturePump):
        yield from _check_capture(row, pump)
    elif isinstance(pump, BackingPump):
        yield from _check_backing(row, pump)
    elif isinstance(pump, RootsBooster):
        yield from _check_booster(row, pump)


def above_zero(row: Row, **values: float) -> Iterator[CatalogFault]:
    """Yield a fault for every named column whose value is not above zero."""
    for column, value in values.items():
        if value <= 0:
            yield row.fault(column, "The value must be above zero.")


def _check_any(row: Row, pump: Pump) -> Iterator[CatalogFault]:
    kinds = _KINDS[type(pump)]
    if pump.kind not in kinds:
        known = ", ".join(sorted(kinds))
        yield row.fault(
            "kind", f"“{pump.kind}” does not belong in this table; one of {known} does."
        )
    yield from above_zero(row, ultimate=pump.ultimate_pa, service_hours=pump.service_hours)
    if pump.ultimate_pa >= ATMOSPHERE_PA:
        yield row.fault("ultimate", "The ultimate pressure must be below atmospheric pressure.")
    if pump.largest_inlet_pa is not None and pump.largest_inlet_pa <= pump.ultimate_pa:
        reason = "The largest inlet pressure must be above the ultimate pressure."
        yield row.fault("largest_inlet", reason)
    if unknown := sorted(pump.prepared_for - HAZARDS):
        reason = f"“{unknown[0][:40]}” is not one of: {', '.join(sorted(HAZARDS))}."
        yield row.fault("prepared_for", reason)
    if pump.outlet is None and not isinstance(pump, CapturePump):
        yield row.fault("outlet", "Only cryo- and sputter-ion pumps have no outlet.")


def _check_supply(row: Row, pump: Pump) -> Iterator[CatalogFault]:
    if pump.phases not in {1, 3}:
        yield row.fault("phases", "A pump has 1 or 3 phases.")
    voltages = pump.mains_voltages
    if not voltages or not all(LOWEST_VOLTAGE <= volt <= HIGHEST_VOLTAGE for volt in voltages):
        yield row.fault("mains_voltages", "One or more voltages from 12 to 1000 V are wanted.")
    yield from above_zero(row, power=pump.power_w)
    needs_water = pump.cooling is Cooling.WATER
    if needs_water and pump.cooling_water_m3_s <= 0:
        yield row.fault("cooling_water", "A water-cooled pump needs a flow of cooling water.")
    if not needs_water and pump.cooling_water_m3_s > 0:
        yield row.fault("cooling_water", "Only a water-cooled pump has a flow of cooling water.")


def _check_vapour(row: Row, pump: VapourPump) -> Iterator[CatalogFault]:
    yield from above_zero(
        row,
        throat=pump.throat_m,
        charge=pump.charge_m3,
        boiler=pump.boiler_k,
        warm_up=pump.warm_up_s,
        cool_down=pump.cool_down_s,
        tolerable_foreline_full_load=pump.tolerable_foreline_full_load_pa,
        knee=pump.knee_pa,
        largest_throughput=pump.largest_throughput_pa_m3_s,
        backstreaming_kg_m2_s=pump.backstreaming_kg_m2_s,
    )
    if pump.tolerable_foreline_full_load_pa > pump.tolerable_foreline_no_load_pa:
        reason = "The tolerable foreline pressure at full load is above that without load."
        yield row.fault("tolerable_foreline_full_load", reason)
    if pump.largest_inlet_pa is None:
        yield row.fault("largest_inlet", "A vapour pump has a largest continuous inlet pressure.")
    elif pump.largest_inlet_pa >= pump.tolerable_foreline_full_load_pa:
        reason = "The largest inlet pressure must be below the tolerable foreline pressure."
        yield row.fault("largest_inlet", reason)
    elif pump.largest_inlet_pa < pump.knee_pa:
        yield row.fault("knee", "The knee must not be above the largest inlet pressure.")
    if pump.vent_below_k >= pump.boiler_k:
        yield row.fault("vent_below", "Air may be let in only well below the boiler temperature.")
    if not pump.fluid_kinds:
        yield row.fault("fluid_kinds", "At least one kind of fluid is wanted.")


def _check_variant(row: Row, pump: VapourPump, draft: Draft) -> Iterator[CatalogFault]:
    if pump.variant_of is None:
        return
    if not pump.needs_heat_stable_fluid:
        reason = "A high-load variant runs hotter: it takes heat-stable fluids only."
        yield row.fault("needs_heat_stable_fluid", reason)
    if pump.variant_of not in draft.seen:
        reason = f"“{pump.variant_of[:60]}” is not an item of this catalogue."
        yield row.fault("variant_of", reason)
        return
    entry = draft.entries.get(pump.variant_of)
    if entry is None:  # its own row is faulty and reported
        return
    base = entry.item
    if not isinstance(base, VapourPump) or base.variant_of is not None:
        yield row.fault("variant_of", f"“{base.sku}” is not a standard vapour pump.")
        return
    if pump.inlet != base.inlet or pump.throat_m != base.throat_m:
        yield row.fault("variant_of", f"Inlet and throat must be those of {base.sku}.")
    largest, of_base = pump.largest_inlet_pa or 0.0, base.largest_inlet_pa or 0.0
    if largest <= of_base:
        reason = f"A high-load variant must take a higher inlet pressure than {base.sku}."
        yield row.fault("largest_inlet", reason)


def _check_capture(row: Row, pump: CapturePump) -> Iterator[CatalogFault]:
    yield from above_zero(
        row,
        start_pressure=pump.start_pressure_pa,
        cool_down=pump.cool_down_s,
        largest_throughput=pump.largest_throughput_pa_m3_s,
    )
    if pump.kind is PumpKind.CRYO:
        yield from above_zero(row, regeneration=pump.regeneration_s)
    if pump.burst_pa_m3 is not None:
        yield from above_zero(row, burst_pa_m3=pump.burst_pa_m3)
        if pump.kind is not PumpKind.CRYO:
            reason = "Only a cryopump absorbs a burst of gas at once."
            yield row.fault("burst_pa_m3", reason)


def _check_backing(row: Row, pump: BackingPump) -> Iterator[CatalogFault]:
    if pump.exhaust_valve_pa < ATMOSPHERE_PA:
        reason = "The exhaust valve opens at or above 1013.25 mbar, against the atmosphere."
        yield row.fault("exhaust_valve", reason)
    if pump.ballast_m3_s > 0 and (pump.ultimate_ballast_pa or 0.0) < pump.ultimate_pa:
        reason = "With ballast the ultimate pressure is at least as high as without."
        yield row.fault("ultimate_ballast", reason)
    if pump.ballast_m3_s <= 0 and pump.ultimate_ballast_pa is not None:
        yield row.fault("ultimate_ballast", "The pump has no gas ballast.")
    sealed = pump.kind in OIL_SEALED_KINDS
    if sealed and (pump.oil_charge_m3 <= 0 or not pump.oil_kinds):
        yield row.fault("oil_charge", "An oil-sealed pump needs an oil charge and kinds of oil.")
    if not sealed and (pump.oil_charge_m3 > 0 or pump.oil_kinds):
        yield row.fault("oil_charge", "A dry pump has no oil in the pumped space.")
    if pump.largest_vapour_kg_s is not None:
        yield from above_zero(row, largest_vapour=pump.largest_vapour_kg_s)
        if sealed:
            reason = "Vapour stays in the oil of a sealed pump: its gas ballast sets the limit."
            yield row.fault("largest_vapour", reason)


def _check_booster(row: Row, pump: RootsBooster) -> Iterator[CatalogFault]:
    yield from above_zero(
        row,
        displacement=pump.displacement_m3_s,
        largest_difference=pump.largest_difference_pa,
        cut_in=pump.cut_in_pa,
    )
    limit = throat_limit_m3_s(pump, "air")
    if pump.displacement_m3_s > limit:
        reason = f"More than the {limit * 3600:.4g} m³/h that molecules carry into the inlet."
        yield row.fault("displacement", reason)
