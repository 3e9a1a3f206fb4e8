"""A customer's own choice of pumps, judged by the same margins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.catalog.items import HIGH_VACUUM_KINDS, Catalog, Item, Pump, RootsBooster, Trap
from server.errors import DomainError, Fault, InvalidInquiry, UnknownName
from server.fit.choice import StackChoice
from server.fit.inquiry import read_inquiry
from server.fit.requirements import Assumption, Requirements
from server.fit.results import StackAdvice
from server.quoting.inquiries import CONSENT
from server.web.charts import stack_charts
from server.web.choices import Choice, Group, check_choices, form_choices
from server.web.deps import CatalogDep, Services, ServicesDep
from server.web.fields import ROWS
from server.web.forms import Form
from server.web.pages import ChartView, Renderer, RendererDep
from server.web.remedy_list import StackGroup, offers_in_check
from server.web.summary import Stage, asked_in_words, stages_of
from server.web.typed import Pairs, action_of

router = APIRouter(prefix="/check")


@dataclass(frozen=True)
class CheckPage:
    """The short form and, once asked, one stack with its margins."""

    template: ClassVar[str] = "check.html"
    form: Form
    choices: Mapping[str, Sequence[Choice]]
    stack_choices: Mapping[str, Sequence[Group]]
    stack: StackAdvice | None = None
    asked: str = ""
    flow: tuple[Stage, ...] = ()
    charts: tuple[ChartView, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    remedies: tuple[StackGroup, ...] = ()
    consent: str = CONSENT


@router.get("")
def empty_form(request: Request, catalog: CatalogDep, renderer: RendererDep) -> HTMLResponse:
    """Show the short form, with a pump of the catalogue chosen when one is named."""
    form = Form()
    item = catalog.items.get(request.query_params.get("sku", ""))
    if item is not None and (path := place_of(item)):
        form = Form(values={path: item.sku})
    return renderer.page(request, CheckPage(form, form_choices(), check_choices(catalog)))


@router.post("")
def send_form(
    request: Request,
    pairs: Pairs,
    services: ServicesDep,
    catalog: CatalogDep,
    renderer: RendererDep,
) -> HTMLResponse:
    """Judge the choice, or show the form again with its faults."""
    form = Form.from_pairs(pairs)
    action = action_of(pairs)
    if action.startswith("row:") and action.removeprefix("row:") in ROWS:
        form = form.with_row(action.removeprefix("row:"))
        return renderer.page(request, CheckPage(form, form_choices(), check_choices(catalog)))
    answered = judged(form, services, catalog)
    return renderer.page(
        request, check_page(form, answered, catalog, renderer), 422 if is_faulty(answered) else 200
    )


Judged = tuple[StackAdvice, Requirements]
"""A stack, and what it was judged by."""


def is_faulty(answered: Judged | Form) -> bool:
    """Say whether an answer is a form with faults."""
    return isinstance(answered, Form)


def check_page(
    form: Form, answered: Judged | Form, catalog: Catalog, renderer: Renderer
) -> CheckPage:
    """Return the page of an answer: the judged stack, or the form with its faults."""
    choices, stack_choices = form_choices(), check_choices(catalog)
    if isinstance(answered, Form):
        shown = form.with_faults([*answered.faults, *form.faults])
        return CheckPage(shown, choices, stack_choices)
    stack, requirements = answered
    return CheckPage(
        form,
        choices,
        stack_choices,
        stack=stack,
        asked=asked_in_words(requirements),
        flow=stages_of(stack.parts),
        charts=renderer.views(stack_charts(stack, requirements)),
        assumptions=requirements.assumptions,
        remedies=offers_in_check(stack.remedies, form.without("sender")),
    )


def judged(form: Form, services: Services, catalog: Catalog) -> Judged | Form:
    """Return the judged stack with what it was judged by, or the form with its faults.

    Parameters
    ----------
    form : Form
        As typed.
    services : Services
        For the engine.
    catalog : Catalog
        Where the chosen pumps come from.

    Returns
    -------
    tuple or Form
        A form only when it has faults.
    """
    form = form.without("sender")
    choice, faults = choice_of(form)
    try:
        asked = form.without("stack").request("chamber")
        requirements = read_inquiry(asked, currency=catalog.currency)
    except InvalidInquiry as error:
        return form.with_faults([*faults, *error.faults])
    if faults:
        return form.with_faults(faults)
    try:
        return services.engine.check(requirements, catalog, choice), requirements
    except InvalidInquiry as error:
        return form.with_faults(error.faults)
    except UnknownName as error:
        return form.with_faults([Fault(path_of(form, error.wanted), error.wanted, str(error))])
    except DomainError as error:  # a model's limit: no single field is wrong
        return form.with_faults([Fault("", "", str(error))])


def choice_of(form: Form) -> tuple[StackChoice, list[Fault]]:
    """Return the choice of pumps and what is wrong with it.

    Parameters
    ----------
    form : Form
        As typed.

    Returns
    -------
    choice : StackChoice
        None where nothing was chosen.
    faults : list of Fault
        One when no backing pump was chosen.
    """
    chosen = {f.name: form.value(f"stack.{f.name}") or None for f in fields(StackChoice)}
    choice = StackChoice(**chosen)
    if choice.backing_pump:
        return choice, []
    message = "Choose the pump that exhausts to atmosphere."
    return choice, [Fault("stack.backing_pump", "", message)]


def path_of(form: Form, sku: str) -> str:
    """Return the field in which an SKU was chosen, empty when none holds it."""
    paths = (f"stack.{f.name}" for f in fields(StackChoice))
    return next((path for path in paths if form.value(path) == sku), "")


def place_of(item: Item) -> str:
    """Return the field of a stack choice that an item belongs to, empty for none."""
    if isinstance(item, RootsBooster):
        return "stack.booster"
    if isinstance(item, Pump):
        high = item.kind in HIGH_VACUUM_KINDS
        return "stack.high_vacuum_pump" if high else "stack.backing_pump"
    if isinstance(item, Trap):
        return "stack.trap"
    return ""
