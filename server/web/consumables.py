"""Consumables of pumps that a customer names, for a page or a program: read and answered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from server.catalog.items import Catalog
from server.errors import Fault, InvalidInquiry, OutOfRange, UnknownName
from server.fit.faults import faults_of
from server.fit.fluid_use import Exposure
from server.fit.inquiry import to_duty
from server.fit.inquiry_in import DutyIn, HorizonYears
from server.fit.inquiry_types import TextOf, read_number
from server.fit.requirements import Assumption, Hazard
from server.fit.running import Use
from server.quoting.consumables import ConsumablesBill, PumpToKeep, consumables_bill

Sku = Annotated[str, TextOf(40)]

DEFAULT_HORIZON_YEARS = 1.0


class PumpIn(BaseModel):
    """Pumps of one kind, with their fluid and what is fitted to them."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    sku: Sku
    quantity: Annotated[int, Field(ge=1, le=1000)] = 1
    fluid: Sku | None = None
    fitted: Annotated[list[Sku], Field(max_length=10)] = []


class ConsumablesIn(BaseModel):
    """Pumps, how they are used, and the period to count."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    pumps: Annotated[list[PumpIn], Field(min_length=1, max_length=50)]
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
    pumps = [PumpToKeep(p.sku, p.quantity, p.fluid, tuple(p.fitted)) for p in request.pumps]
    faults = [
        fault for row, pump in enumerate(pumps) for fault in _pump_faults(row, pump, use, catalog)
    ]
    if faults:
        raise InvalidInquiry(faults)
    return ConsumablesAnswer(consumables_bill(pumps, use, catalog), tuple(assumptions))


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


def _pump_faults(row: int, pump: PumpToKeep, use: Use, catalog: Catalog) -> list[Fault]:
    """Return what is wrong with one row, at the cell that is at fault."""
    try:
        consumables_bill([pump], use, catalog)
    except UnknownName as error:
        cell = {pump.sku: "sku", pump.fluid: "fluid"}.get(error.wanted, "fitted")
        known = ", ".join(error.known[:40])
        message = f"The catalogue has no such {'pump' if cell == 'sku' else cell}."
        if cell == "fitted":
            message = "The catalogue has no such filter or trap."
        return [Fault(f"pumps.{row}.{cell}", error.wanted[:100], message, known)]
    except OutOfRange as error:
        return [Fault(f"pumps.{row}.fluid", pump.fluid or "", str(error), "a fluid that suits it")]
    return []
