"""What installed pumps use up: the form, the list, and the list as a file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from server.catalog.items import Catalog, Pump
from server.errors import DomainError, Fault, InvalidInquiry
from server.fit.requirements import Assumption
from server.fit.upkeep import UpkeepGroup, UpkeepLine
from server.quoting.consumables import ConsumablesBill
from server.quoting.documents import bill_csv
from server.quoting.due_dates import DueDate, calendar_file
from server.quoting.installed import InstalledTable
from server.web.choices import Choice, Group, consumables_choices, form_choices
from server.web.consumables import ConsumablesAnswer, consumables_for, read_consumables
from server.web.deps import CatalogDep
from server.web.fields import ROWS
from server.web.forms import Form
from server.web.pages import RendererDep
from server.web.typed import PairsWithFile, action_of

router = APIRouter(prefix="/consumables")


@dataclass(frozen=True)
class ConsumablesPage:
    """The form and, once asked, the list."""

    template: ClassVar[str] = "consumables.html"
    form: Form
    choices: Mapping[str, Sequence[Choice]]
    pump_choices: Mapping[str, Sequence[Group]]
    bill: ConsumablesBill | None = None
    groups: Sequence[tuple[UpkeepGroup, tuple[UpkeepLine, ...]]] = ()
    assumptions: tuple[Assumption, ...] = ()
    due: tuple[DueDate, ...] = ()
    table: InstalledTable | None = None


@router.get("")
def empty_form(request: Request, catalog: CatalogDep, renderer: RendererDep) -> HTMLResponse:
    """Show the form, with a pump of the catalogue chosen when one is named."""
    form = Form()
    item = catalog.items.get(request.query_params.get("sku", ""))
    if isinstance(item, Pump):
        form = Form(values={"pumps.0.sku": item.sku})
    choices = consumables_choices(catalog)
    return renderer.page(request, ConsumablesPage(form, form_choices(), choices))


@router.post("")
def send_form(
    request: Request, pairs: PairsWithFile, catalog: CatalogDep, renderer: RendererDep
) -> Response:
    """List what is used up as a page or a file, or show the form again with its faults."""
    form = Form.from_pairs(pairs)
    action = action_of(pairs)
    choices, pumps = form_choices(), consumables_choices(catalog)
    if action.startswith("row:") and action.removeprefix("row:") in ROWS:
        form = form.with_row(action.removeprefix("row:"))
        return renderer.page(request, ConsumablesPage(form, choices, pumps))
    answer = counted(form, catalog)
    if isinstance(answer, Form):
        return renderer.page(request, ConsumablesPage(answer, choices, pumps), 422)
    if action == "csv":
        return _file("consumables.csv", bill_csv(answer.bill), "text/csv")
    if action == "ics":
        text = calendar_file(answer.due, answer.as_of, catalog.items)
        return _file("upkeep.ics", text, "text/calendar")
    bill = answer.bill
    groups = [(group, bill.lines_of(group)) for group in UpkeepGroup if bill.lines_of(group)]
    page = ConsumablesPage(
        form, choices, pumps, bill, groups, answer.assumptions, answer.due, answer.table
    )
    return renderer.page(request, page)


def _file(name: str, text: str, media_type: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(text, media_type=media_type, headers=headers)


def counted(form: Form, catalog: Catalog) -> ConsumablesAnswer | Form:
    """Return the bill, or the form with its faults.

    Parameters
    ----------
    form : Form
        As typed.
    catalog : Catalog
        Where pumps and consumables come from.

    Returns
    -------
    ConsumablesAnswer or Form
        A form only when it has faults.
    """
    asked = form.request()
    if "pumps" not in asked and "table" not in asked:
        return form.with_faults([Fault("pumps.0.sku", "", "Choose at least one pump.")])
    try:
        return consumables_for(read_consumables(asked), catalog)
    except InvalidInquiry as error:
        return form.with_faults(error.faults)
    except DomainError as error:  # a model's limit: no single field is wrong
        return form.with_faults([Fault("", "", str(error))])
