"""Bills of consumables: for a stack on offer, and for pumps a customer names."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
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
from server.fit.service_jobs import service_jobs
from server.fit.stack_use import only_roughing, use_of
from server.fit.upkeep import UpkeepGroup, UpkeepLine, Use, upkeep_lines
from server.quoting.due_dates import DueDate, due_dates, in_order
from server.quoting.stack_items import StackPump, stack_items


@dataclass(frozen=True)
class PumpToKeep:
    """Pumps of one kind whose consumables are wanted."""

    sku: str
    quantity: int = 1
    fluid: str | None = None
    """SKU of its fluid or oil in any container; None takes the usual one."""
    fitted: tuple[str, ...] = ()
    """SKUs of the filters and traps at the pump."""
    last_service: date | None = None
    """When everything on it was last renewed; None: not known."""
    hours_per_year: float | None = None
    """Running hours; None: as long as the duty has pumps running. [h]"""
    label: str = ""
    """What its owner calls it."""


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


def consumables_bill(
    pumps: Sequence[PumpToKeep], use: Use, catalog: Catalog, as_of: date | None = None
) -> ConsumablesBill:
    """Return what the named pumps use up over the horizon.

    Parameters
    ----------
    pumps : sequence of PumpToKeep
        At least one.
    use : Use
        Duty, horizon, exposure, and whether the pumps stand there already.
    catalog : Catalog
        Where pumps and consumables come from.
    as_of : date or None
        The day the horizon begins; needed where a last service is given.

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
            own_use(wanted, pump, use, as_of),
            catalog,
            fluid_grade=_grade(pump, wanted.fluid, catalog),
            quantity=wanted.quantity,
            fitted=[_fitted(sku, catalog) for sku in wanted.fitted],
        )
    return ConsumablesBill(catalog.currency, use.horizon_years, merged(lines))


def own_use(wanted: PumpToKeep, pump: Pump, use: Use, as_of: date | None) -> Use:
    """Return how one of the named pumps is used: its own hours and age where they are given.

    Raises
    ------
    OutOfRange
        When its hours do not fit into a year, or its last service lies in the future.
    """
    own = use
    if wanted.hours_per_year is not None:
        if not 0 < wanted.hours_per_year <= _LONGEST_YEAR_DAYS * 24:
            raise OutOfRange("A pump runs between no and 8784 hours a year.")
        a_day_s = wanted.hours_per_year * 3600 / _LONGEST_YEAR_DAYS
        own = replace(
            own,
            duty=replace(own.duty, days_per_year=_LONGEST_YEAR_DAYS),
            run_s_per_day=a_day_s,
        )
    if wanted.last_service is not None and as_of is not None and own.installed:
        days = (as_of - wanted.last_service).days
        if days < 0:
            raise OutOfRange("The last service lies after the day that is counted from.")
        a_day = own.hours(pump.kind) / (own.horizon_years * _DAYS_PER_YEAR)
        own = replace(own, hours_since_service=days * a_day)
    return own


_LONGEST_YEAR_DAYS = 366.0
_DAYS_PER_YEAR = 365.25


def due_plan(
    pumps: Sequence[PumpToKeep], use: Use, catalog: Catalog, as_of: date
) -> tuple[DueDate, ...]:
    """Return the days on which upkeep of the named pumps is due, within the horizon.

    Raises
    ------
    UnknownName, OutOfRange
        As `consumables_bill` and `due_dates`.
    """
    found: list[DueDate] = []
    for wanted in pumps:
        pump = catalog.get(wanted.sku, Pump)
        own = own_use(wanted, pump, use, as_of)
        jobs = service_jobs(
            pump,
            own,
            catalog,
            fluid_grade=_grade(pump, wanted.fluid, catalog),
            fitted=[_fitted(sku, catalog) for sku in wanted.fitted],
        )
        a_year = own.hours(pump.kind) / own.horizon_years
        found += due_dates(jobs, pump, as_of, a_year, quantity=wanted.quantity, label=wanted.label)
    return in_order(found)


def stack_plan(
    parts: Iterable[Part],
    requirements: Requirements,
    catalog: Catalog,
    horizon_years: float,
    start: date,
) -> tuple[DueDate, ...]:
    """Return the days on which upkeep of a new stack is due.

    Parameters
    ----------
    parts : iterable of Part
        The stack's parts.
    requirements : Requirements
        Duty and exposure.
    catalog : Catalog
        Where the intervals come from.
    horizon_years : float
        Period counted. [year]
    start : date
        The day it is put to work.
    """
    found: list[DueDate] = []
    for entry, use in _pumps_in_use(parts, requirements, catalog, horizon_years):
        a_year = use.hours(entry.pump.kind) / horizon_years
        if a_year > 0:
            jobs = service_jobs(
                entry.pump, use, catalog, fluid_grade=entry.grade, fitted=entry.fitted
            )
            found += due_dates(jobs, entry.pump, start, a_year, quantity=entry.quantity)
    return in_order(found)


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
    lines: list[UpkeepLine] = []
    for entry, use in _pumps_in_use(parts, requirements, catalog, horizon_years):
        lines += upkeep_lines(
            entry.pump,
            use,
            catalog,
            fluid_grade=entry.grade,
            quantity=entry.quantity,
            fitted=entry.fitted,
        )
    return merged(lines)


def _pumps_in_use(
    parts: Iterable[Part], requirements: Requirements, catalog: Catalog, horizon_years: float
) -> Iterator[tuple[StackPump, Use]]:
    """Yield a stack's pumps and how each is used; behind a capture pump they only rough."""
    use = use_of(requirements, horizon_years)
    pumps = stack_items(parts, catalog, use.exposure).pumps
    captured = any(isinstance(entry.pump, CapturePump) for entry in pumps)
    behind = only_roughing(use, requirements) if captured else use
    for entry in pumps:
        yield entry, use if isinstance(entry.pump, CapturePump) else behind


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
