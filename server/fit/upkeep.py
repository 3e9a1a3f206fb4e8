"""What is used up over the horizon: fluids, service parts, filters, sorbents, cleaning supplies.

Whole packs are bought; what is left in one is used for the next change. Reasons are sentences for
the customer. Counts follow from hours and openings; where a share or habit comes in, it is common
practice with no published source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from server.catalog.items import (
    SILICONE_FLUIDS,
    Catalog,
    CleaningSupply,
    Filter,
    Fluid,
    FluidKind,
    Item,
    Pump,
    Spare,
    SparePurpose,
    Trap,
    VapourPump,
)
from server.errors import OutOfRange
from server.fit.fluid_use import (
    Exposure,
    charge_m3,
    containers_of,
    exposure_of,
    first_charge_supplied,
    fluid_life,
    loss_m3_s,
    usual_grade,
    volume_text,
)
from server.fit.packing import Pack, cheapest_cover
from server.fit.running import Use, energy_kwh_per_year, running_hours_per_year

__all__ = [
    "Exposure",
    "UpkeepGroup",
    "UpkeepLine",
    "Use",
    "energy_kwh_per_year",
    "exposure_of",
    "running_hours_per_year",
    "upkeep_lines",
]

_SECONDS_PER_HOUR = 3600.0
_CM3 = 1e6
NITROGEN_LATENT_J_M3 = 1.606e8
"""Heat that a volume of liquid nitrogen takes up boiling at 1 atm: 199.2 kJ/kg × 806.1 kg/m³."""
# Share of the charge that may be missing before a pump is topped up.
_LOSS_BETWEEN_MARKS = 0.1


class UpkeepGroup(StrEnum):
    """Headings of the list of consumables."""

    FLUIDS = "fluids and oils"
    SERVICE = "service parts and seals"
    FILTERS = "filter elements and sorbents"
    COOLANT = "liquid nitrogen"
    CLEANING = "cleaning supplies"


@dataclass(frozen=True)
class UpkeepLine:
    """One thing used up: packs of one SKU over the horizon, and why."""

    sku: str
    name: str
    group: UpkeepGroup
    pieces: int
    """Packs over the horizon, the first ones included."""
    of_which_first: int
    """Packs bought together with the pump."""
    unit_price: Decimal
    total: Decimal
    reason: str

    @property
    def first_total(self) -> Decimal:
        """Price of the packs bought together with the pump."""
        return self.unit_price * self.of_which_first


@dataclass(frozen=True)
class _Job:
    """One kind of pump whose upkeep is counted."""

    pump: Pump
    use: Use
    catalog: Catalog
    quantity: int
    fitted: tuple[Item, ...]

    @property
    def hours(self) -> float:
        return self.use.hours(self.pump.kind)

    def changes(self, every_hours: float) -> int:
        return self.use.replacements(self.pump.kind, every_hours)


def upkeep_lines(
    pump: Pump,
    use: Use,
    catalog: Catalog,
    *,
    fluid_grade: str | None = None,
    quantity: int = 1,
    fitted: Sequence[Item] = (),
) -> tuple[UpkeepLine, ...]:
    """Return what one kind of pump uses up over the horizon.

    Parameters
    ----------
    pump : Pump
        The pump.
    use : Use
        Duty, horizon and exposure.
    catalog : Catalog
        Where the consumables come from.
    fluid_grade : str or None
        Grade of its fluid or oil; None takes the usual one.
    quantity : int
        How many such pumps. [1]
    fitted : sequence of Item
        Filters and traps at this pump, whose elements and fillings are counted with it.

    Returns
    -------
    tuple of UpkeepLine
        Every line with at least one pack.

    Raises
    ------
    OutOfRange
        When the quantity is not positive, or no fluid suits the pump.
    UnknownName
        When the grade is not in the catalogue.
    """
    if quantity < 1:
        raise OutOfRange("Consumables are counted for at least one pump.")
    job = _Job(pump, use, catalog, quantity, tuple(fitted))
    lines: list[UpkeepLine] = []
    strip_downs = 0
    kind: FluidKind | None = None
    if charge_m3(pump) > 0:
        grade = fluid_grade or usual_grade(pump, use.exposure, catalog)
        containers = containers_of(grade, catalog)
        kind = containers[0].kind
        fluid, strip_downs = _fluid_lines(job, containers)
        lines += fluid
    if not isinstance(pump, VapourPump):
        strip_downs = 0
    lines += _spare_lines(job, strip_downs)
    lines += _fitted_lines(job)
    lines += _nitrogen_lines(job)
    lines += _cleaning_lines(job, strip_downs, kind)
    return tuple(line for line in lines if line.pieces)


def _fluid_lines(job: _Job, containers: Sequence[Fluid]) -> tuple[list[UpkeepLine], int]:
    """Return the lines of a fluid and the number of changes."""
    fluid = containers[0]
    life = fluid_life(fluid, job.use.duty, job.use.exposure)
    changes = job.changes(life.hours)
    charge = charge_m3(job.pump) * job.quantity
    top_up = _top_up_m3(job, fluid, changes)
    first = 0.0 if job.use.installed else charge
    if first and first_charge_supplied(job.pump, fluid.kind):
        first = 0.0
    later = changes * charge + top_up
    sizes = [Pack(max(1, round(c.container_m3 * _CM3)), c.price) for c in containers]
    first_cm3 = math.ceil(round(first * _CM3, 6))
    first_packs = cheapest_cover(first_cm3, sizes)
    spare_cm3 = _content(first_packs, sizes) - first_cm3
    later_packs = cheapest_cover(math.ceil(round(later * _CM3, 6)) - spare_cm3, sizes)
    story = _fluid_story(job, first, changes, top_up)
    if life.reasons and changes:
        story += f"; a change every {life.hours:.0f} h: {', '.join(life.reasons)}"
    if changes:
        story += _age(job, life.hours)
    lines = []
    for item, early, late in zip(containers, first_packs, later_packs, strict=True):
        reason = f"{story} → {early + late} × {volume_text(item.container_m3)}"
        lines.append(_line(item, UpkeepGroup.FLUIDS, early + late, early, reason))
    return lines, changes


def _top_up_m3(job: _Job, fluid: Fluid, changes: int) -> float:
    """Return what is topped up; a loss between the fill marks is left to the next change."""
    trap = next((item for item in job.fitted if isinstance(item, Trap)), None)
    lost = loss_m3_s(job.pump, fluid, trap) * job.hours * _SECONDS_PER_HOUR
    between_marks = _LOSS_BETWEEN_MARKS * charge_m3(job.pump)
    return 0.0 if lost / (changes + 1) < between_marks else lost * job.quantity


def _fluid_story(job: _Job, first: float, changes: int, top_up: float) -> str:
    charge = charge_m3(job.pump)
    each = f" × {job.quantity} pumps" if job.quantity > 1 else ""
    terms = []
    total = first + changes * charge * job.quantity
    if first:
        terms.append(f"first charge {volume_text(charge)}{each}")
    elif not job.use.installed:
        terms.append("first charge supplied with the pump")
    if changes:
        word = "change" if changes == 1 else "changes"
        terms.append(f"{changes} {word} × {volume_text(charge)}{each}")
    if top_up:
        total += top_up
        terms.append(f"top-up {volume_text(top_up)}")
    return f"{' + '.join(terms)} = {volume_text(total)}" if total else " + ".join(terms)


def _spare_lines(job: _Job, strip_downs: int) -> list[UpkeepLine]:
    """Return service kits and seal sets by hours or openings, and the heater kept in reserve."""
    lines = []
    for spare in job.catalog.of_type(Spare):
        if job.pump.sku not in spare.fits:
            continue
        if spare.purpose is SparePurpose.HEATER and spare.every_hours is None:
            reason = "one kept in reserve: a burnt-out heater stops the pump"
            lines.append(_line(spare, UpkeepGroup.SERVICE, 1, 0, reason))
        elif spare.purpose is not SparePurpose.JET_ASSEMBLY:
            count, reason = _by_hours_or_openings(job, spare, strip_downs)
            lines.append(_line(spare, UpkeepGroup.SERVICE, count * job.quantity, 0, reason))
    return lines


def _by_hours_or_openings(job: _Job, spare: Spare, strip_downs: int) -> tuple[int, str]:
    by_hours = 0 if spare.every_hours is None else job.changes(spare.every_hours)
    opens = strip_downs if spare.purpose is SparePurpose.SEAL_SET else 0
    if opens > by_hours or spare.every_hours is None:
        return opens, f"one at each of {opens} openings for a fluid change"
    return by_hours, _hours_reason(job, spare.every_hours)


def _hours_reason(job: _Job, every_hours: float) -> str:
    return f"every {every_hours:.0f} h in {job.hours:.0f} h of running{_age(job, every_hours)}"


def _age(job: _Job, every_hours: float) -> str:
    """Return what is known of the age of installed parts, as the end of a sentence."""
    since = job.use.hours_since_service
    if not job.use.installed:
        return ""
    if since is None:
        return "; age unknown, the first may be due at once"
    late = ", overdue" if since > every_hours else ""
    return f"; {since:.0f} h since the last service{late}"


def _fitted_lines(job: _Job) -> list[UpkeepLine]:
    """Return the elements of filters and the fillings of traps at this pump."""
    lines = []
    for item in job.fitted:
        for spare in job.catalog.of_type(Spare):
            every = spare.every_hours
            if isinstance(item, Filter):
                belongs, every = spare.sku == item.element_sku, item.element_hours
            else:
                belongs = item.sku in spare.fits
            if belongs and every is not None:
                count = job.changes(every) * job.quantity
                reason = _hours_reason(job, every)
                lines.append(_line(spare, UpkeepGroup.FILTERS, count, 0, reason))
    return lines


def _nitrogen_lines(job: _Job) -> list[UpkeepLine]:
    """Return the liquid nitrogen that cold traps boil off, at rest and by freezing vapour."""
    lines = []
    for trap in job.fitted:
        if not isinstance(trap, Trap) or trap.nitrogen_use_m3_s <= 0.0:
            continue
        at_rest = trap.nitrogen_use_m3_s * job.hours * _SECONDS_PER_HOUR
        frozen = job.use.exposure.frozen_j_per_day * job.use.duty.days_per_year
        by_vapour = frozen * job.use.horizon_years / NITROGEN_LATENT_J_M3
        boiled = (at_rest + by_vapour) * job.quantity
        for spare in job.catalog.of_type(Spare):
            if spare.purpose is SparePurpose.LIQUID_NITROGEN and trap.sku in spare.fits:
                count = math.ceil(round(boiled / spare.content_m3, 9))
                reason = f"{trap.name}: {volume_text(at_rest)} boil off in {job.hours:.0f} h"
                if by_vapour > 0.0:
                    reason += f", {volume_text(by_vapour)} more by the vapour that freezes"
                lines.append(_line(spare, UpkeepGroup.COOLANT, count, 0, reason))
                break
    return lines


def _cleaning_lines(job: _Job, strip_downs: int, kind: FluidKind | None) -> list[UpkeepLine]:
    """Return solvents, wipes and gloves for the strip-downs of a pump, in order of use."""
    times = strip_downs * job.quantity
    groups: dict[tuple[int, str, float, int], list[CleaningSupply]] = {}
    for supply in job.catalog.of_type(CleaningSupply):
        use = (supply.use_per_strip_down_m3, supply.use_per_strip_down_pieces)
        groups.setdefault((supply.step, supply.substance, *use), []).append(supply)
    lines: list[UpkeepLine] = []
    if not times or kind is None:
        return lines
    for (_, substance, volume, pieces), supplies in sorted(groups.items()):
        if _cleans(substance, volume, kind):
            lines += _supply_lines(supplies, times, volume, pieces)
    return lines


def _cleans(substance: str, volume_m3: float, kind: FluidKind) -> bool:
    """Say whether a solvent takes the fluid off; what is no solvent is always of use.

    Ethanol does not cut silicone fluid, and no common solvent cuts perfluoropolyether.
    """
    if volume_m3 <= 0:
        return True
    if kind is FluidKind.PERFLUOROPOLYETHER:
        return False
    return not (kind in SILICONE_FLUIDS and substance.lower() == "ethanol")


def _supply_lines(
    supplies: Sequence[CleaningSupply], times: int, volume_m3: float, pieces: int
) -> Iterable[UpkeepLine]:
    if volume_m3 > 0:
        sizes = [Pack(max(1, round(s.content_m3 * _CM3)), s.price) for s in supplies]
        need, each = math.ceil(round(volume_m3 * times * _CM3, 6)), volume_text(volume_m3)
    elif pieces > 0:
        sizes = [Pack(max(1, s.pieces), s.price) for s in supplies]
        need, each = pieces * times, f"{pieces} {'piece' if pieces == 1 else 'pieces'}"
    else:
        cheapest = min(supplies, key=lambda supply: (supply.price, supply.sku))
        yield _line(cheapest, UpkeepGroup.CLEANING, 1, 0, "one kept at hand for strip-downs")
        return
    word = "strip-down" if times == 1 else "strip-downs"
    for supply, count in zip(supplies, cheapest_cover(need, sizes), strict=True):
        what = f"step {supply.step} of cleaning" if supply.step else "before cleaning"
        reason = f"{what}: {times} {word} × {each}"
        yield _line(supply, UpkeepGroup.CLEANING, count, 0, reason)


def _line(item: Item, group: UpkeepGroup, pieces: int, first: int, reason: str) -> UpkeepLine:
    return UpkeepLine(
        item.sku, item.name, group, pieces, first, item.price, item.price * pieces, reason
    )


def _content(counts: Sequence[int], packs: Sequence[Pack]) -> int:
    return sum(count * pack.size for count, pack in zip(counts, packs, strict=True))
