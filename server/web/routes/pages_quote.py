"""From a stack to paper: the form that begins a quote, the operating card."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.errors import DomainError, Fault, InvalidInquiry
from server.fit.results import StackAdvice
from server.quoting.card import OperatingCard
from server.quoting.consumables import stack_plan
from server.quoting.due_dates import calendar_file
from server.quoting.inquiries import ReceivedInquiry
from server.quoting.operating_card import operating_card
from server.web.deps import ServicesDep, actor_of, offer_and_save
from server.web.forms import Form
from server.web.pages import RendererDep
from server.web.routes.pages_advice import stack_of
from server.web.typed import Pairs

router = APIRouter()


@dataclass(frozen=True)
class QuoteFormPage:
    """Asks for whom the quote is and under which conditions."""

    template: ClassVar[str] = "quote/form.html"
    token: str
    stack: StackAdvice
    form: Form


@dataclass(frozen=True)
class CardPage:
    """How to start, stop, fill and clean one stack."""

    template: ClassVar[str] = "quote/card.html"
    token: str
    rank: int
    card: OperatingCard


@router.get("/advice/{token}/stack/{rank}/quote")
def quote_form(
    request: Request, token: str, rank: int, services: ServicesDep, renderer: RendererDep
) -> HTMLResponse:
    """Ask for customer and conditions."""
    stack = stack_of(services.advices.get(token), rank)
    received = services.inquiries.of_advice(token)
    form = Form() if received is None else customer_form(received)
    return renderer.page(request, QuoteFormPage(token, stack, form))


def customer_form(received: ReceivedInquiry) -> Form:
    """Return the quote's form filled with who sent the inquiry."""
    customer = received.sender.as_customer
    who = {"customer": customer.name, "contact": customer.contact, "email": customer.email}
    return Form().with_values(who)


@router.post("/advice/{token}/stack/{rank}/quote")
def make_quote(
    request: Request,
    token: str,
    rank: int,
    pairs: Pairs,
    services: ServicesDep,
    renderer: RendererDep,
) -> Response:
    """Begin the quote, or show the form again with its faults."""
    stack = stack_of(services.advices.get(token), rank)
    form = Form.from_pairs(pairs)
    try:
        case = offer_and_save(actor_of(request), services, token, rank, form.request())
    except InvalidInquiry as error:
        form = form.with_faults(error.faults)
    except DomainError as error:  # a part that is gone, an amount that is none: no field is wrong
        form = form.with_faults([Fault("", "", str(error))])
    else:
        return RedirectResponse(f"/quotes/{case.number}", status_code=303)
    return renderer.page(request, QuoteFormPage(token, stack, form), 422)


@router.get("/advice/{token}/stack/{rank}/card")
def show_card(
    request: Request, token: str, rank: int, services: ServicesDep, renderer: RendererDep
) -> HTMLResponse:
    """Show the operating card of one stack, from the catalogue its advice rests on."""
    saved = services.advices.get(token)
    stack = stack_of(saved, rank)
    catalog = services.catalogs.version(saved.catalog_version)
    card = operating_card(stack, saved.requirements, catalog)
    return renderer.page(request, CardPage(token, rank, card))


@router.get("/advice/{token}/stack/{rank}/upkeep.ics")
def upkeep_calendar(token: str, rank: int, services: ServicesDep) -> Response:
    """Return when upkeep of a new stack is due, counted from the day of its advice."""
    saved = services.advices.get(token)
    stack = stack_of(saved, rank)
    catalog = services.catalogs.version(saved.catalog_version)
    start, asked = saved.created_at.date(), saved.requirements
    years = asked.commercial.horizon_years
    plan = stack_plan(stack.parts, asked, catalog, years, start)
    headers = {"Content-Disposition": 'attachment; filename="upkeep.ics"'}
    text = calendar_file(plan, start, catalog.items)
    return Response(text, media_type="text/calendar", headers=headers)
