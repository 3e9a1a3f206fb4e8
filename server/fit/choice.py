"""A customer's own choice of pumps, to be judged as it is."""

from __future__ import annotations

from dataclasses import dataclass

from server.catalog.items import (
    HIGH_VACUUM_KINDS,
    BackingPump,
    CapturePump,
    Catalog,
    Fluid,
    Pump,
    PumpKind,
    RootsBooster,
    Trap,
    TrapPlace,
    TurboPump,
    VapourPump,
)
from server.errors import Fault, InvalidInquiry, UnknownName
from server.fit.candidates import (
    Back,
    Field,
    HighVacuumPump,
    grades_for,
    make_back,
    make_front,
    usual_fill,
)
from server.fit.requirements import Requirements


@dataclass(frozen=True)
class StackChoice:
    """SKUs of a stack; None leaves a part out, and takes the usual fluid of a vapour pump."""

    high_vacuum_pump: str | None = None
    booster: str | None = None
    backing_pump: str | None = None
    fluid: str | None = None
    trap: str | None = None


def field_of_choice(choice: StackChoice, requirements: Requirements, catalog: Catalog) -> Field:
    """Return the one combination of a choice; a fluid left open is the usual one.

    Raises
    ------
    UnknownName
        When a SKU is not in the catalogue or not of the kind its role asks for.
    InvalidInquiry
        When no backing pump is named, or a part has no place in this stack.
    """
    if choice.backing_pump is None:
        raise _fault("backing_pump", "", "Choose the pump that exhausts to atmosphere.")
    backing = catalog.get(choice.backing_pump, BackingPump)
    trap = None if choice.trap is None else catalog.get(choice.trap, Trap)
    booster = None if choice.booster is None else _booster(choice.booster, catalog)
    line_trap = trap if trap is not None and trap.place is TrapPlace.FORELINE else None
    back = make_back(backing, booster, line_trap, requirements, catalog)
    if choice.high_vacuum_pump is None:
        return _rough_field(choice, back, line_trap)
    pump = _high_vacuum_pump(choice.high_vacuum_pump, catalog)
    if isinstance(booster, TurboPump) and pump.kind is not PumpKind.SPUTTER_ION:
        raise _fault("booster", booster.sku, "A turbomolecular pump boosts sputter-ion pumps only.")
    inlet_trap = None if line_trap is trap else trap
    fluid = _fluid(choice, pump, requirements, catalog)
    return Field((make_front(pump, fluid, inlet_trap, requirements),), (back,))


def _rough_field(choice: StackChoice, back: Back, line_trap: Trap | None) -> Field:
    if choice.fluid is not None:
        raise _fault("fluid", choice.fluid, "A stack without a vapour pump takes no pump fluid.")
    if choice.trap is not None and line_trap is None:
        raise _fault("trap", choice.trap, "This trap belongs in front of a high-vacuum pump.")
    if isinstance(back.booster, TurboPump):
        raise _fault(
            "booster", back.booster.sku, "Name the turbomolecular pump as the high-vacuum pump."
        )
    return Field((None,), (back,))


def _fluid(
    choice: StackChoice, pump: HighVacuumPump, requirements: Requirements, catalog: Catalog
) -> Fluid | None:
    if not isinstance(pump, VapourPump):
        if choice.fluid is not None:
            raise _fault("fluid", choice.fluid, f"{pump.name} takes no pump fluid.")
        return None
    if choice.fluid is not None:
        return catalog.get(choice.fluid, Fluid)
    usual = usual_fill(pump, grades_for(pump, catalog), requirements, catalog)
    if usual is None:
        raise _fault("fluid", "", f"The catalogue has no fluid for {pump.name}.")
    return usual


def _booster(sku: str, catalog: Catalog) -> RootsBooster | TurboPump:
    item = catalog.items.get(sku)
    if isinstance(item, RootsBooster | TurboPump):
        return item
    raise UnknownName("booster", sku, [pump.sku for pump in catalog.of_type(RootsBooster)])


def _high_vacuum_pump(sku: str, catalog: Catalog) -> HighVacuumPump:
    item = catalog.items.get(sku)
    if isinstance(item, VapourPump | TurboPump | CapturePump):
        return item
    known = [pump.sku for pump in catalog.of_type(Pump) if pump.kind in HIGH_VACUUM_KINDS]
    raise UnknownName("high-vacuum pump", sku, known)


def _fault(field: str, typed: str, message: str) -> InvalidInquiry:
    return InvalidInquiry([Fault(f"stack.{field}", typed, message)])
