"""The parts of a judged stack, looked up in the catalogue again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from server.catalog.items import (
    BackingPump,
    Catalog,
    Filter,
    Fluid,
    Item,
    Pump,
    Trap,
    TrapPlace,
)
from server.errors import OutOfRange
from server.fit.fluid_use import NO_EXPOSURE, Exposure, charge_m3, containers_of, usual_grade
from server.fit.results import Part, Role


@dataclass(frozen=True)
class StackPump:
    """A pump of a stack with what belongs to it."""

    role: Role
    pump: Pump
    quantity: int
    fluid: Fluid | None
    """Fluid of the high-vacuum pump, oil of a sealed pump."""
    fitted: tuple[Item, ...]
    """Filters and traps at this pump."""

    @property
    def grade(self) -> str | None:
        """Grade of its fluid, None where it has none."""
        return None if self.fluid is None else self.fluid.grade


@dataclass(frozen=True)
class StackItems:
    """A stack's items; pumps in the order high-vacuum pump, booster, backing pump."""

    pumps: tuple[StackPump, ...]
    traps: tuple[Trap, ...]
    supplied: tuple[Part, ...]

    def pump_of(self, role: Role) -> Pump | None:
        """Return the pump in a role, None where the stack has none."""
        return next((entry.pump for entry in self.pumps if entry.role is role), None)

    def fluid_of(self, role: Role) -> Fluid | None:
        """Return the fluid or oil of the pump in a role."""
        return next((entry.fluid for entry in self.pumps if entry.role is role), None)


def stack_items(
    parts: Iterable[Part], catalog: Catalog, exposure: Exposure = NO_EXPOSURE
) -> StackItems:
    """Look a stack's parts up.

    Parameters
    ----------
    parts : iterable of Part
        The stack's parts.
    catalog : Catalog
        Where they are looked up.
    exposure : Exposure
        Decides the oil of a pump whose first charge comes with it and is no part to be sold.

    Raises
    ------
    UnknownName
        When the catalogue no longer has one of them.
    """
    listed = tuple(parts)
    items = [(part, catalog.get(part.sku, Item)) for part in listed if part.sku]
    traps = [item for _, item in items if isinstance(item, Trap)]
    filters = [item for _, item in items if isinstance(item, Filter)]
    before = tuple(trap for trap in traps if trap.place is TrapPlace.HIGH_VACUUM)
    behind = tuple(trap for trap in traps if trap.place is TrapPlace.FORELINE)
    fitted_at: dict[Role, tuple[Item, ...]] = {
        Role.HIGH_VACUUM_PUMP: before,
        Role.BOOSTER: (),
        Role.BACKING_PUMP: (*behind, *filters),
    }
    pumps = [
        StackPump(role, item, part.quantity, _fluid(item, items, catalog, exposure), fitted)
        for role, fitted in fitted_at.items()
        for part, item in items
        if part.role is role and isinstance(item, Pump)
    ]
    supplied = tuple(part for part in listed if not part.sku)
    return StackItems(tuple(pumps), tuple(traps), supplied)


def _fluid(
    pump: Pump, items: Sequence[tuple[Part, Item]], catalog: Catalog, exposure: Exposure
) -> Fluid | None:
    """Return what a pump is filled with: the part that was sold for it, else the usual one."""
    if charge_m3(pump) <= 0:
        return None
    role = Role.OIL if isinstance(pump, BackingPump) else Role.FLUID
    sold = next((i for p, i in items if p.role is role and isinstance(i, Fluid)), None)
    if sold is not None:
        return sold
    try:
        return containers_of(usual_grade(pump, exposure, catalog), catalog)[0]
    except OutOfRange:
        return None  # a stack that was judged unfit: nothing may be filled in
