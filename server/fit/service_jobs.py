"""What is due at a pump, and after how many running hours: the calendar behind the counts.

The intervals are those that the list of consumables is counted from (``fit/upkeep.py``).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from server.catalog.items import Catalog, Filter, Item, Pump, Spare, SparePurpose
from server.fit.fluid_use import charge_m3, containers_of, fluid_life, usual_grade, volume_text
from server.fit.running import Use


@dataclass(frozen=True)
class ServiceJob:
    """Work that comes back at a pump.

    Attributes
    ----------
    what : str
        What is done, as an order: ``Change the oil``.
    sku : str
        What is used for it; for a fluid its smallest container.
    every_hours : float
        Running hours between two times. [h]
    due_hours : tuple of float
        Running hours from now, rising, within the horizon. [h]
    why : str
        Where the interval comes from.
    """

    what: str
    sku: str
    every_hours: float
    due_hours: tuple[float, ...]
    why: str


def service_jobs(
    pump: Pump,
    use: Use,
    catalog: Catalog,
    *,
    fluid_grade: str | None = None,
    fitted: Sequence[Item] = (),
) -> tuple[ServiceJob, ...]:
    """Return what is due at a pump within the horizon.

    Parameters
    ----------
    pump : Pump
        The pump.
    use : Use
        Duty, horizon, exposure and age.
    catalog : Catalog
        Where the intervals come from.
    fluid_grade : str or None
        Grade of its fluid or oil; None takes the usual one.
    fitted : sequence of Item
        Filters and traps at this pump.

    Raises
    ------
    OutOfRange
        When no fluid suits the pump.
    UnknownName
        When the grade is not in the catalogue.
    """
    found = (
        *_fluid_changes(pump, use, catalog, fluid_grade),
        *_spares(pump, catalog),
        *_elements(fitted, catalog),
    )
    return tuple(
        ServiceJob(what, sku, every, due, why)
        for what, sku, every, why in found
        if (due := use.due_hours(pump.kind, every))
    )


_Interval = tuple[str, str, float, str]


def _fluid_changes(
    pump: Pump, use: Use, catalog: Catalog, grade: str | None
) -> Iterator[_Interval]:
    charge = charge_m3(pump)
    if charge <= 0:
        return
    fluid = containers_of(grade or usual_grade(pump, use.exposure, catalog), catalog)[0]
    life = fluid_life(fluid, use.duty, use.exposure)
    why = f"its life in this service: {life.hours:.0f} h of running"
    if life.reasons:
        why += f" ({', '.join(life.reasons)})"
    yield f"Change the fluid, {volume_text(charge)}", fluid.sku, life.hours, why


def _spares(pump: Pump, catalog: Catalog) -> Iterator[_Interval]:
    """Yield service kits and seal sets; heaters and jets are replaced when they fail."""
    kept = {SparePurpose.HEATER, SparePurpose.JET_ASSEMBLY}
    for spare in catalog.of_type(Spare):
        if pump.sku in spare.fits and spare.every_hours is not None and spare.purpose not in kept:
            why = f"every {spare.every_hours:.0f} h of running"
            yield f"Fit {spare.name}", spare.sku, spare.every_hours, why


def _elements(fitted: Sequence[Item], catalog: Catalog) -> Iterator[_Interval]:
    """Yield the elements of filters and the fillings of traps."""
    for item in fitted:
        for spare in catalog.of_type(Spare):
            every = spare.every_hours
            if isinstance(item, Filter):
                belongs, every = spare.sku == item.element_sku, item.element_hours
            else:
                belongs = item.sku in spare.fits
            if belongs and every is not None:
                why = f"every {every:.0f} h of running"
                yield f"Renew {spare.name} in {item.name}", spare.sku, every, why
