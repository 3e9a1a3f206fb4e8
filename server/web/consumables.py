"""Consumables of pumps that a customer names, for a page or a program: read and answered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from server.catalog.items import Catalog
from server.errors import Fault, InvalidInquiry, OutOfRange, UnknownName
from server.fit.faults import faults_of
from server.fit.fluid_use import Exposure
from server.fit.inquiry import to_duty
from server.fit.inquiry_in import DutyIn, HorizonYears
from server.fit.inquiry_types import NameOf, NumberOf, TextOf, read_number
from server.fit.requirements import Assumption, Hazard
from server.fit.running import Use
from server.quoting.consumables import ConsumablesBill, PumpToKeep, consumables_bill, due_plan
from server.quoting.due_dates import DueDate
from server.quoting.installed import (
    MOST_HOURS,
    InstalledPump,
    InstalledTable,
    read_date,
    read_installed,
)

Sku = Annotated[str, TextOf(40)]
Label = Annotated[str, TextOf(100)]
Day = Annotated[str, NameOf(read_date, "date", ("2025-03-01", "1 March 2025"))]
HoursPerYear = Annotated[str | float | int, NumberOf(0.0, MOST_HOURS, low_allowed=False)]

DEFAULT_HORIZON_YEARS = 1.0


class PumpIn(BaseModel):
    """Pumps of one kind, with their fluid and what is fitted to them."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    sku: Sku
    quantity: Annotated[int, Field(ge=1, le=1000)] = 1
    fluid: Sku | None = None
    fitted: Annotated[list[Sku], Field(max_length=10)] = []
    last_service: Day | None = None
    hours_per_year: HoursPerYear | None = None
    label: Label = ""


class ConsumablesIn(BaseModel):
    """Pumps, how they are used, and the period to count."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    pumps: Annotated[list[PumpIn], Field(max_length=50)] = []
    table: str | None = None
    """More pumps, as CSV: pump, quantity, fluid, last service, hours a year, label."""
    as_of: Day | None = None
    """The day the years are counted from."""
    duty: DutyIn | None = None
    horizon_years: HorizonYears | None = None
    installed: bool | None = None
    hazards: Annotated[list[Hazard], Field(max_length=20)] | None = None
    vapour: bool | None = None


@dataclass(frozen=True)
class ConsumablesAnswer:
    """The bill, and the defaults it rests on."""

    bill: ConsumablesBill
    assumptions: tuple[Assumption, ...]
    due: tuple[DueDate, ...]
    as_of: date
    table: InstalledTable | None = None


def read_consumables(data: Mapping[str, object]) -> ConsumablesIn:
    """Return a checked request.

    Raises
    ------
    InvalidInquiry
        With one fault per field that cannot be used.
    """
    try:
        return ConsumablesIn.model_validate(data)
    except ValidationError as error:
        raise InvalidInquiry(faults_of(error.errors(include_url=False))) from None


def consumables_for(request: ConsumablesIn, catalog: Catalog) -> ConsumablesAnswer:
    """Return what the named pumps use up.

    Parameters
    ----------
    request : ConsumablesIn
        Checked.
    catalog : Catalog
        Where pumps and consumables come from.

    Raises
    ------
    InvalidInquiry
        When a SKU is not in the catalogue, or a fluid does not suit its pump.
    """
    duty, assumed = to_duty(request.duty)
    assumptions = [*assumed, *_assumptions(request)]
    years = (
        DEFAULT_HORIZON_YEARS
        if request.horizon_years is None
        else read_number(request.horizon_years, "a number of years")
    )
    use = Use(
        duty=duty,
        horizon_years=years,
        exposure=Exposure(frozenset(request.hazards or ()), bool(request.vapour)),
        installed=request.installed is not False,
    )
    as_of = datetime.now(UTC).date() if request.as_of is None else read_date(request.as_of)
    if request.as_of is None:
        assumptions.append(Assumption("as_of", as_of.isoformat(), "counted from today"))
    pumps = [_pump(typed) for typed in request.pumps]
    faults = [
        fault
        for row, pump in enumerate(pumps)
        for fault in _pump_faults(f"pumps.{row}.", pump, use, catalog, as_of)
    ]
    if faults:
        raise InvalidInquiry(faults)
    table = None
    if request.table is not None and request.table.strip():
        table = _suiting(read_installed(request.table, catalog), use, catalog, as_of)
        pumps += [_listed(pump) for pump in table.pumps]
    if not pumps:
        raise InvalidInquiry(_nothing_left(table))
    try:
        due = due_plan(pumps, use, catalog, as_of)
    except OutOfRange as error:
        raise InvalidInquiry([Fault("horizon_years", "", str(error), "fewer years")]) from None
    bill = consumables_bill(pumps, use, catalog, as_of)
    return ConsumablesAnswer(bill, tuple(assumptions), due, as_of, table)


def _pump(typed: PumpIn) -> PumpToKeep:
    return PumpToKeep(
        sku=typed.sku,
        quantity=typed.quantity,
        fluid=typed.fluid,
        fitted=tuple(typed.fitted),
        last_service=None if typed.last_service is None else read_date(typed.last_service),
        hours_per_year=(
            None
            if typed.hours_per_year is None
            else read_number(typed.hours_per_year, "hours a year")
        ),
        label=typed.label,
    )


def _listed(pump: InstalledPump) -> PumpToKeep:
    return PumpToKeep(
        sku=pump.sku,
        quantity=pump.quantity,
        fluid=pump.fluid,
        last_service=pump.last_service,
        hours_per_year=pump.hours_per_year,
        label=pump.label,
    )


def _suiting(table: InstalledTable, use: Use, catalog: Catalog, as_of: date) -> InstalledTable:
    """Return the table with the rows refused whose cells do not go together."""
    rows = []
    for row in table.rows:
        faults: list[Fault] = []
        if row.pump is not None:
            faults = _pump_faults("", _listed(row.pump), use, catalog, as_of)
        rows.append(replace(row, pump=None, faults=tuple(faults)) if faults else row)
    return replace(table, rows=tuple(rows))


def _nothing_left(table: InstalledTable | None) -> list[Fault]:
    if table is None:
        message = "Name at least one pump, or paste a table of pumps."
        return [Fault("pumps", "", message, "a stock number of the catalogue")]
    return [
        Fault("table", fault.typed, f"Row {row.number}, {fault.field}: {fault.message}")
        for row in table.refused
        for fault in row.faults
    ]


def _assumptions(request: ConsumablesIn) -> list[Assumption]:
    found = []
    if request.horizon_years is None:
        years = f"{DEFAULT_HORIZON_YEARS:g}"
        found.append(Assumption("horizon_years", years, "one year of supplies"))
    if request.installed is None:
        found.append(Assumption("installed", "yes", "the pumps are taken to stand there already"))
    if not request.hazards:
        found.append(Assumption("hazards", "none", "no hazard was named"))
    if request.vapour is None:
        found.append(Assumption("vapour", "no", "no condensable vapour was mentioned"))
    return found


def _pump_faults(
    prefix: str, pump: PumpToKeep, use: Use, catalog: Catalog, as_of: date
) -> list[Fault]:
    """Return what is wrong with one row, at the cell that is at fault."""
    try:
        consumables_bill([pump], use, catalog, as_of)
    except UnknownName as error:
        cell = {pump.sku: "sku", pump.fluid: "fluid"}.get(error.wanted, "fitted")
        known = ", ".join(error.known[:40])
        message = f"The catalogue has no such {'pump' if cell == 'sku' else cell}."
        if cell == "fitted":
            message = "The catalogue has no such filter or trap."
        return [Fault(f"{prefix}{cell}", error.wanted[:100], message, known)]
    except OutOfRange as error:
        if pump.last_service is not None and pump.last_service > as_of:
            typed = pump.last_service.isoformat()
            return [Fault(f"{prefix}last_service", typed, str(error), "a day before it")]
        return [Fault(f"{prefix}fluid", pump.fluid or "", str(error), "a fluid that suits it")]
    return []
