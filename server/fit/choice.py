"""A customer's own choice of pumps, to be judged as it is."""

from __future__ import annotations

from collections.abc import Iterable
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
from server.fit.results import Part, Role


@dataclass(frozen=True)
class StackChoice:
    """SKUs of a stack; None leaves a part out, and takes the usual fluid of a vapour pump."""

    high_vacuum_pump: str | None = None
    booster: str | None = None
    backing_pump: str | None = None
    fluid: str | None = None
    trap: str | None = None
    line_trap: str | None = None
    """In the line to the backing pump; needed only where `trap` stands in front of the pump."""


def choice_of(parts: Iterable[Part]) -> StackChoice:
    """Return the choice that a stack's parts come from, to judge the stack again."""
    skus: dict[str, str] = {}
    for part in parts:
        if part.role in {Role.TRAP, Role.BAFFLE}:
            in_front = part.place == TrapPlace.HIGH_VACUUM
            skus["trap" if in_front else "line_trap"] = part.sku
        elif part.role in _CHOSEN_ROLES:
            skus[part.role.value] = part.sku
    return StackChoice(**skus)


_CHOSEN_ROLES = frozenset({Role.HIGH_VACUUM_PUMP, Role.BOOSTER, Role.BACKING_PUMP, Role.FLUID})


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
    behind = None if choice.line_trap is None else _line_trap(choice.line_trap, catalog)
    booster = None if choice.booster is None else _booster(choice.booster, catalog)
    stands_behind = trap is not None and trap.place is TrapPlace.FORELINE
    if stands_behind and behind is not None:
        raise _fault("line_trap", behind.sku, "The line to the backing pump takes one trap.")
    line_trap = trap if stands_behind else behind
    back = make_back(backing, booster, line_trap, requirements, catalog)
    if choice.high_vacuum_pump is None:
        return _rough_field(choice, back, line_trap)
    pump = _high_vacuum_pump(choice.high_vacuum_pump, catalog)
    if isinstance(booster, TurboPump) and pump.kind is not PumpKind.SPUTTER_ION:
        raise _fault("booster", booster.sku, "A turbomolecular pump boosts sputter-ion pumps only.")
    inlet_trap = None if stands_behind else trap
    fluid = _fluid(choice, pump, requirements, catalog)
    return Field((make_front(pump, fluid, inlet_trap, requirements),), (back,))


def _rough_field(choice: StackChoice, back: Back, line_trap: Trap | None) -> Field:
    if choice.fluid is not None:
        raise _fault("fluid", choice.fluid, "A stack without a vapour pump takes no pump fluid.")
    if choice.trap is not None and (line_trap is None or line_trap.sku != choice.trap):
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


def _line_trap(sku: str, catalog: Catalog) -> Trap:
    trap = catalog.get(sku, Trap)
    if trap.place is not TrapPlace.FORELINE:
        raise _fault("line_trap", sku, "This trap belongs in front of a high-vacuum pump.")
    return trap


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
