"""The catalogue and, in one place for importing, every record that it holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeVar, cast

from server.catalog.parts import (
    CleaningSupply,
    Filter,
    FilterRole,
    Fluid,
    FluidService,
    Gauge,
    Interlock,
    InterlockGuard,
    LinePart,
    LineShape,
    OxidationStability,
    Spare,
    SparePurpose,
    Trap,
    TrapKind,
    TrapPlace,
    Valve,
    ValveRole,
)
from server.catalog.pumps import (
    BACKING_KINDS,
    CAPTURE_KINDS,
    DRY_BACKING_KINDS,
    HIGH_VACUUM_KINDS,
    OIL_SEALED_KINDS,
    SILICONE_FLUIDS,
    TURBO_KINDS,
    VAPOUR_KINDS,
    BackingPump,
    CapturePump,
    CompressionCurve,
    Cooling,
    FluidKind,
    Item,
    Pump,
    PumpKind,
    RootsBooster,
    SpeedCurve,
    SuppliedFor,
    SuppliedPart,
    TurboPump,
    VapourPump,
)
from server.errors import UnknownName

__all__ = [
    "BACKING_KINDS",
    "CAPTURE_KINDS",
    "DRY_BACKING_KINDS",
    "HIGH_VACUUM_KINDS",
    "OIL_SEALED_KINDS",
    "SILICONE_FLUIDS",
    "TURBO_KINDS",
    "VAPOUR_KINDS",
    "BackingPump",
    "CapturePump",
    "Catalog",
    "CleaningSupply",
    "CompressionCurve",
    "Cooling",
    "Filter",
    "FilterRole",
    "Fluid",
    "FluidKind",
    "FluidService",
    "Gauge",
    "Interlock",
    "InterlockGuard",
    "Item",
    "LinePart",
    "LineShape",
    "OxidationStability",
    "Pump",
    "PumpKind",
    "RootsBooster",
    "Spare",
    "SparePurpose",
    "SpeedCurve",
    "SuppliedFor",
    "SuppliedPart",
    "Trap",
    "TrapKind",
    "TrapPlace",
    "TurboPump",
    "Valve",
    "ValveRole",
    "VapourPump",
]

ItemT = TypeVar("ItemT", bound=Item)


@dataclass(frozen=True, kw_only=True)
class Catalog:
    """A whole catalogue, checked; ``version`` is a hash of its tables."""

    name: str
    currency: str
    version: str
    note: str
    items: Mapping[str, Item]
    _sorted: dict[type[Item], tuple[Item, ...]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def of_type(self, kind: type[ItemT]) -> tuple[ItemT, ...]:
        """Return the items of one class, in the order of the tables; sorted out once."""
        if kind not in self._sorted:
            self._sorted[kind] = tuple(
                item for item in self.items.values() if isinstance(item, kind)
            )
        return cast(tuple[ItemT, ...], self._sorted[kind])

    def get(self, sku: str, kind: type[ItemT]) -> ItemT:
        """Return one item of a class.

        Raises
        ------
        UnknownName
            When no item of that class has the SKU.
        """
        item = self.items.get(sku)
        if not isinstance(item, kind):
            raise UnknownName("item", sku, [known.sku for known in self.of_type(kind)])
        return item
