"""Checks of everything that is not a pump, and of what must fit together across tables."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from server.catalog.check_curves import NORMAL_K
from server.catalog.check_pumps import above_zero
from server.catalog.compatibility import fluid_fits, oil_fits
from server.catalog.draft import Draft
from server.catalog.flanges import Flange, FlangeSystem
from server.catalog.items import (
    OIL_SEALED_KINDS,
    BackingPump,
    CleaningSupply,
    Cooling,
    Filter,
    Fluid,
    FluidService,
    Gauge,
    Interlock,
    InterlockGuard,
    Item,
    LinePart,
    LineShape,
    Spare,
    SparePurpose,
    Trap,
    TrapKind,
    TrapPlace,
    Valve,
    VapourPump,
)
from server.catalog.joining import CLOSED_BY, JOINT_SHAPES
from server.catalog.sheets import Row
from server.errors import CatalogFault
from server.physics.gas import mean_speed_m_s
from server.physics.species import SPECIES

_UN_NUMBER = re.compile(r"UN [0-9]{4}")
_FORELINE_ONLY = frozenset({TrapKind.FORELINE_SORPTION, TrapKind.CONDENSER})
_HIGH_VACUUM_ONLY = frozenset({TrapKind.WATER_BAFFLE, TrapKind.AIR_BAFFLE})


def check_part(row: Row, item: Item) -> Iterator[CatalogFault]:
    """Check what stands in the own row of an item that is not a pump.

    Parameters
    ----------
    row : Row
        Where it stands.
    item : Item
        The item.

    Yields
    ------
    CatalogFault
        One for each breach.
    """
    match item:
        case Fluid():
            yield from _check_fluid(row, item)
        case Trap():
            yield from _check_trap(row, item)
        case Valve():
            yield from _check_conductance(row, item.flange, item)
        case Gauge() if not 0 < item.lowest_pa < item.highest_pa:
            yield row.fault("highest", "The range must go from a lower to a higher pressure.")
        case Interlock():
            yield from _check_interlock(row, item)
        case LinePart():
            yield from _check_line_part(row, item)
        case Filter():
            yield from above_zero(
                row, largest_speed=item.largest_speed_m3_s, element_hours=item.element_hours
            )
        case Spare() if item.every_hours is not None:
            yield from above_zero(row, every_hours=item.every_hours)
        case CleaningSupply():
            yield from _check_cleaning(row, item)


def check_together(draft: Draft) -> Iterator[CatalogFault]:
    """Check what refers to other items: fluids and pumps, spares, filter elements.

    Parameters
    ----------
    draft : Draft
        With all its items read.

    Yields
    ------
    CatalogFault
        One for each breach.
    """
    yield from _check_fluids_used(draft)
    yield from _check_pumps_filled(draft)
    yield from _check_grades(draft)
    for row, spare in draft.of_type(Spare):
        if (spare.purpose is SparePurpose.LIQUID_NITROGEN) != (spare.content_m3 > 0.0):
            yield row.fault("content", "Liquid nitrogen is sold by content, and nothing else is.")
        if not spare.fits:
            yield row.fault("fits", "A spare belongs to at least one SKU.")
        for sku in spare.fits:
            if sku not in draft.entries:
                yield row.fault("fits", f"“{sku[:60]}” is not an item of this catalogue.")
    for row, housing in draft.of_type(Filter):
        entry = draft.entries.get(housing.element_sku)
        element = entry.item if entry is not None else None
        if not isinstance(element, Spare) or element.purpose is not SparePurpose.FILTER_ELEMENT:
            reason = f"“{housing.element_sku[:60]}” is not a filter element of spares.csv."
            yield row.fault("element_sku", reason)


def _check_fluid(row: Row, fluid: Fluid) -> Iterator[CatalogFault]:
    yield from above_zero(
        row,
        container=fluid.container_m3,
        density_kg_m3=fluid.density_kg_m3,
        molar_mass_kg_mol=fluid.molar_mass_kg_mol,
        vapour_pressure_a=fluid.vapour_pressure_a,
        vapour_pressure_b=fluid.vapour_pressure_b_k,
        largest_boiler=fluid.largest_boiler_k,
        life_hours=fluid.life_hours,
    )
    if fluid.vapour_pressure_a - fluid.vapour_pressure_b_k / NORMAL_K > 0:
        reason = "The vapour pressure at 20 °C comes to more than 1 Pa: not a vacuum fluid."
        yield row.fault("vapour_pressure_a", reason)


def _check_trap(row: Row, trap: Trap) -> Iterator[CatalogFault]:
    yield from _check_conductance(row, trap.inlet, trap)
    yield from above_zero(row, surface=trap.surface_k)
    if not 0 < trap.backstreaming_factor <= 1:
        yield row.fault("backstreaming_factor", "A fraction above 0 and up to 1 is wanted.")
    if trap.inlet.bore_m != trap.outlet.bore_m or trap.inlet.system != trap.outlet.system:
        yield row.fault("outlet", "A trap or baffle has the same flange at both ends.")
    misplaced = _FORELINE_ONLY if trap.place is TrapPlace.HIGH_VACUUM else _HIGH_VACUUM_ONLY
    if trap.kind in misplaced:
        yield row.fault(
            "place", f"A {_words(trap.kind)} does not stand in the {_words(trap.place)}."
        )
    if (trap.kind is TrapKind.NITROGEN_TRAP) != (trap.nitrogen_use_m3_s > 0):
        yield row.fault("nitrogen_use", "A trap for liquid nitrogen, and no other, uses nitrogen.")


def _words(value: str) -> str:
    return value.replace("_", " ")


def _check_conductance(row: Row, flange: Flange, part: Trap | Valve) -> Iterator[CatalogFault]:
    yield from above_zero(
        row,
        molecular_conductance=part.molecular_conductance_m3_s,
        equivalent_bore=part.equivalent_bore_m,
        equivalent_length=part.equivalent_length_m,
    )
    mean_speed = float(mean_speed_m_s(NORMAL_K, SPECIES["nitrogen"].molar_mass_kg_mol))
    limit = math.pi / 4 * flange.bore_m**2 * mean_speed / 4
    if part.molecular_conductance_m3_s > limit:
        reason = f"More than the {limit * 1e3:.4g} L/s of a mere hole of {flange} (A·v̄/4, N₂)."
        yield row.fault("molecular_conductance", reason)


def _check_interlock(row: Row, interlock: Interlock) -> Iterator[CatalogFault]:
    watches_flow = interlock.guard is InterlockGuard.COOLING_FLOW
    if watches_flow == (interlock.cooling is Cooling.NONE):
        reason = "A cooling-flow interlock, and no other, names the medium: air or water."
        yield row.fault("cooling", reason)


def _check_line_part(row: Row, part: LinePart) -> Iterator[CatalogFault]:
    if part.pack < 1:
        yield row.fault("pack", "A pack holds at least one piece.")
    if part.shape in JOINT_SHAPES:
        if part.shape not in CLOSED_BY[part.flange_a.system]:
            reason = f"A {_words(part.shape)} does not close a {part.flange_a.system} flange."
            yield row.fault("shape", reason)
    elif part.shape is not LineShape.BLANK:
        yield from _check_two_ends(row, part)
        return
    if part.flange_b is not None:
        yield row.fault("flange_b", f"A {_words(part.shape)} has one flange size only.")


def _check_two_ends(row: Row, part: LinePart) -> Iterator[CatalogFault]:
    yield from above_zero(row, length=part.length_m)
    first, second = part.flange_a, part.flange_b
    if second is None:
        yield row.fault("flange_b", f"A {_words(part.shape)} has two flanges.")
        return
    if part.shape is LineShape.REDUCER and (
        first.nominal == second.nominal or not _same_family(first, second)
    ):
        yield row.fault("flange_b", "A reducer leads to another size of the same flange system.")
    if part.shape is LineShape.ADAPTOR and _same_family(first, second):
        yield row.fault("flange_b", "An adaptor leads to another flange system.")


def _same_family(first: Flange, second: Flange) -> bool:
    iso = {FlangeSystem.ISO_K, FlangeSystem.ISO_F}
    return first.system == second.system or {first.system, second.system} <= iso


def _check_cleaning(row: Row, supply: CleaningSupply) -> Iterator[CatalogFault]:
    if (supply.content_m3 > 0) == (supply.pieces > 0):
        yield row.fault("content", "A cleaning supply is sold either by content or by pieces.")
    if supply.un_number and not _UN_NUMBER.fullmatch(supply.un_number):
        yield row.fault("un_number", "A UN number is written as UN 1090.")
    if supply.un_number and not supply.hazard:
        yield row.fault("hazard", "Dangerous goods need their hazards in words.")


def _check_fluids_used(draft: Draft) -> Iterator[CatalogFault]:
    vapour_pumps = [pump for _, pump in draft.of_type(VapourPump)]
    sealed_pumps = [pump for _, pump in draft.of_type(BackingPump)]
    for row, fluid in draft.of_type(Fluid):
        if fluid.service is FluidService.VAPOUR:
            taken = any(fluid_fits(pump, fluid).allowed for pump in vapour_pumps)
        else:
            taken = any(oil_fits(pump, fluid).allowed for pump in sealed_pumps)
        if not taken:
            yield row.fault("kind", f"No pump of this catalogue takes {fluid.sku}.")


def _check_pumps_filled(draft: Draft) -> Iterator[CatalogFault]:
    fluids = [fluid for _, fluid in draft.of_type(Fluid)]
    for row, pump in draft.of_type(VapourPump):
        if not any(fluid_fits(pump, fluid).allowed for fluid in fluids):
            yield row.fault("fluid_kinds", f"No fluid of this catalogue fits {pump.sku}.")
    for row, sealed in draft.of_type(BackingPump):
        if sealed.kind in OIL_SEALED_KINDS and not any(
            oil_fits(sealed, fluid).allowed for fluid in fluids
        ):
            yield row.fault("oil_kinds", f"No oil of this catalogue fits {sealed.sku}.")


def _check_grades(draft: Draft) -> Iterator[CatalogFault]:
    """Hold containers of one grade against the first of them: the liquid is the same."""
    first_of: dict[str, Fluid] = {}
    for row, fluid in draft.of_type(Fluid):
        first = first_of.setdefault(fluid.grade, fluid)
        for column in ("kind", "service", "density_kg_m3", "molar_mass_kg_mol", "heat_stable"):
            if getattr(fluid, column) != getattr(first, column):
                yield row.fault(column, f"Not as for {first.sku}, which is the same grade.")
        law = (fluid.vapour_pressure_a, fluid.vapour_pressure_b_k)
        if law != (first.vapour_pressure_a, first.vapour_pressure_b_k):
            reason = f"Not as for {first.sku}, which is the same grade."
            yield row.fault("vapour_pressure_a", reason)
