"""The parts of a judged stack, looked up in the catalogue again."""

from __future__ import annotations

from collections.abc import Iterable
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
from server.fit.results import Part, Role

_PUMP_ROLES = (Role.HIGH_VACUUM_PUMP, Role.BOOSTER, Role.BACKING_PUMP)


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


def stack_items(parts: Iterable[Part], catalog: Catalog) -> StackItems:
    """Look a stack's parts up.

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
    pumps = []
    for role in _PUMP_ROLES:
        for part, item in items:
            if part.role is role and isinstance(item, Pump):
                wanted = Role.OIL if isinstance(item, BackingPump) else Role.FLUID
                fluid = next((i for p, i in items if p.role is wanted), None)
                fitted: tuple[Item, ...] = before if role is Role.HIGH_VACUUM_PUMP else ()
                if role is Role.BACKING_PUMP:
                    fitted = (*behind, *filters)
                filled = fluid if isinstance(fluid, Fluid) and role is not Role.BOOSTER else None
                pumps.append(StackPump(role, item, part.quantity, filled, fitted))
    supplied = tuple(part for part in listed if not part.sku)
    return StackItems(tuple(pumps), tuple(traps), supplied)
