"""Bills of consumables: for a stack on offer, and for pumps a customer names."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from server.catalog.compatibility import fluid_fits, oil_fits
from server.catalog.items import (
    BackingPump,
    CapturePump,
    Catalog,
    Filter,
    Fluid,
    Item,
    Pump,
    Trap,
    VapourPump,
)
from server.errors import OutOfRange, UnknownName
from server.fit.fluid_use import charge_m3
from server.fit.money import sum_money
from server.fit.requirements import Requirements
from server.fit.results import Part
from server.fit.stack_use import only_roughing, use_of
from server.fit.upkeep import UpkeepGroup, UpkeepLine, Use, upkeep_lines
from server.quoting.stack_items import stack_items


@dataclass(frozen=True)
class PumpToKeep:
    """Pumps of one kind whose consumables are wanted."""

    sku: str
    quantity: int = 1
    fluid: str | None = None
    """SKU of its fluid or oil in any container; None takes the usual one."""
    fitted: tuple[str, ...] = ()
    """SKUs of the filters and traps at the pump."""


@dataclass(frozen=True)
class ConsumablesBill:
    """Consumables over a horizon."""

    currency: str
    horizon_years: float
    lines: tuple[UpkeepLine, ...]

    @property
    def total(self) -> Decimal:
        """Price of all lines."""
        return sum_money((line.total for line in self.lines), self.currency)

    def lines_of(self, group: UpkeepGroup) -> tuple[UpkeepLine, ...]:
        """Return the lines under one heading."""
        return tuple(line for line in self.lines if line.group is group)


def consumables_bill(pumps: Sequence[PumpToKeep], use: Use, catalog: Catalog) -> ConsumablesBill:
    """Return what the named pumps use up over the horizon.

    Parameters
    ----------
    pumps : sequence of PumpToKeep
        At least one.
    use : Use
        Duty, horizon, exposure, and whether the pumps stand there already.
    catalog : Catalog
        Where pumps and consumables come from.

    Raises
    ------
    UnknownName
        When a SKU is no pump, fluid, filter or trap of the catalogue.
    OutOfRange
        When no pump is named, a fluid does not suit its pump, or the duty does not fit into a day.
    """
    if not pumps:
        raise OutOfRange("At least one pump must be named.")
    lines: list[UpkeepLine] = []
    for wanted in pumps:
        pump = catalog.get(wanted.sku, Pump)
        lines += upkeep_lines(
            pump,
            use,
            catalog,
            fluid_grade=_grade(pump, wanted.fluid, catalog),
            quantity=wanted.quantity,
            fitted=[_fitted(sku, catalog) for sku in wanted.fitted],
        )
    return ConsumablesBill(catalog.currency, use.horizon_years, merged(lines))


def stack_consumables(
    parts: Iterable[Part], requirements: Requirements, catalog: Catalog, horizon_years: float
) -> tuple[UpkeepLine, ...]:
    """Return what a stack uses up over a horizon, the first charges included.

    Parameters
    ----------
    parts : iterable of Part
        The stack's parts.
    requirements : Requirements
        Duty and exposure.
    catalog : Catalog
        Where the consumables come from.
    horizon_years : float
        Period counted. [year]
    """
    use = use_of(requirements, horizon_years)
    pumps = stack_items(parts, catalog, use.exposure).pumps
    captured = any(isinstance(entry.pump, CapturePump) for entry in pumps)
    behind = only_roughing(use, requirements) if captured else use
    lines: list[UpkeepLine] = []
    for entry in pumps:
        lines += upkeep_lines(
            entry.pump,
            use if isinstance(entry.pump, CapturePump) else behind,
            catalog,
            fluid_grade=entry.fluid.grade if entry.fluid is not None else None,
            quantity=entry.quantity,
            fitted=entry.fitted,
        )
    return merged(lines)


def merged(lines: Iterable[UpkeepLine]) -> tuple[UpkeepLine, ...]:
    """Put lines of the same SKU together, under their headings in order."""
    found: dict[tuple[UpkeepGroup, str], UpkeepLine] = {}
    for line in lines:
        key = (line.group, line.sku)
        old = found.get(key)
        found[key] = line if old is None else _sum(old, line)
    order = list(UpkeepGroup)
    return tuple(sorted(found.values(), key=lambda line: order.index(line.group)))


def later_lines(lines: Iterable[UpkeepLine]) -> tuple[UpkeepLine, ...]:
    """Return the lines without the packs that are bought together with the pumps."""
    later = []
    for line in lines:
        pieces = line.pieces - line.of_which_first
        if pieces:
            first = (
                f" (of which {line.of_which_first} with the pump)" if line.of_which_first else ""
            )
            later.append(
                replace(
                    line,
                    pieces=pieces,
                    of_which_first=0,
                    total=line.unit_price * pieces,
                    reason=line.reason + first,
                )
            )
    return tuple(later)


def _sum(old: UpkeepLine, new: UpkeepLine) -> UpkeepLine:
    reason = old.reason if new.reason == old.reason else f"{old.reason}; {new.reason}"
    return replace(
        old,
        pieces=old.pieces + new.pieces,
        of_which_first=old.of_which_first + new.of_which_first,
        total=old.total + new.total,
        reason=reason,
    )


def _grade(pump: Pump, sku: str | None, catalog: Catalog) -> str | None:
    if not sku:
        return None
    fluid = catalog.get(sku, Fluid)
    if charge_m3(pump) <= 0:
        raise OutOfRange(f"{pump.name} is not filled with any fluid or oil.")
    if isinstance(pump, VapourPump):
        rule = fluid_fits(pump, fluid)
    elif isinstance(pump, BackingPump):
        rule = oil_fits(pump, fluid)
    else:
        return fluid.grade
    if not rule.allowed:
        raise OutOfRange(rule.reason)
    return fluid.grade


def _fitted(sku: str, catalog: Catalog) -> Item:
    item = catalog.items.get(sku)
    if isinstance(item, Filter | Trap):
        return item
    known = (*catalog.of_type(Filter), *catalog.of_type(Trap))
    raise UnknownName("filter or trap", sku, [each.sku for each in known])
