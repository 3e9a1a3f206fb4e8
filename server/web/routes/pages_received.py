"""A check becomes an inquiry: sent by a customer, read and opened by an engineer."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.errors import Fault, InvalidInquiry
from server.quoting.inquiries import ReceivedInquiry, Sender, must_be_small, read_sender
from server.web.deps import ActorDep, CatalogDep, ServicesDep, utc_now
from server.web.forms import Form
from server.web.pages import RendererDep
from server.web.routes.pages_check import check_page, choice_of, judged
from server.web.summary import asked_in_words
from server.web.tries import AddressDep, TriesDep
from server.web.typed import Pairs

router = APIRouter()

RECENT = 100
TRAP = "sender.more"
"""Name of a field that people do not see; programs that fill in everything give themselves away."""


@dataclass(frozen=True)
class SentPage:
    """Thanks a customer for an inquiry."""

    template: ClassVar[str] = "inquiry/sent.html"


@dataclass(frozen=True)
class ReceivedListPage:
    """The inquiries that were sent, newest first."""

    template: ClassVar[str] = "inquiry/received_list.html"
    inquiries: tuple[ReceivedInquiry, ...]


@dataclass(frozen=True)
class ReceivedPage:
    """One inquiry as it was sent, and what became of it."""

    template: ClassVar[str] = "inquiry/received.html"
    inquiry: ReceivedInquiry
    chosen: tuple[tuple[str, str], ...]
    """Role and name of the pumps that were checked."""
    typed: tuple[tuple[str, str], ...]
    """Path and text of what was typed."""


@router.post("/check/inquiry")
def send(  # noqa: PLR0913 (each one is given by the framework)
    request: Request,
    pairs: Pairs,
    services: ServicesDep,
    catalog: CatalogDep,
    renderer: RendererDep,
    tries: TriesDep,
    address: AddressDep,
) -> Response:
    """Keep a checked choice as an inquiry, or show the check again with its faults."""
    tries.must_be_left("inquiry", address)
    form = Form.from_pairs(pairs)
    sender, faults = sender_of(form, pairs)
    answered = judged(form, services, catalog)
    if isinstance(answered, Form) or sender is None:
        page = check_page(form.with_faults(faults), answered, catalog, renderer)
        return renderer.page(request, page, 422)
    _stack, requirements = answered
    choice, _ = choice_of(form)
    inquiry = ReceivedInquiry(
        token=secrets.token_urlsafe(12),
        received_at=utc_now(),
        sender=sender,
        title=asked_in_words(requirements),
        typed=requirements_of(form),
        choice=choice,
    )
    tries.count("inquiry", address)
    services.inquiries.add(inquiry)
    return RedirectResponse("/check/sent", status_code=303)


@router.get("/check/sent")
def sent(request: Request, renderer: RendererDep) -> HTMLResponse:
    """Thank the customer."""
    return renderer.page(request, SentPage())


@router.get("/inquiries")
def list_received(request: Request, services: ServicesDep, renderer: RendererDep) -> HTMLResponse:
    """Show the inquiries that were sent."""
    return renderer.page(request, ReceivedListPage(services.inquiries.recent(RECENT)))


@router.get("/inquiries/{token}")
def show_received(
    request: Request, token: str, services: ServicesDep, catalog: CatalogDep, renderer: RendererDep
) -> HTMLResponse:
    """Show one inquiry as it was sent."""
    inquiry = services.inquiries.get(token)
    chosen = tuple(
        (role, catalog.items[sku].name if sku in catalog.items else sku)
        for role, sku in vars(inquiry.choice).items()
        if sku
    )
    typed = Form.from_request(inquiry.typed).pairs()
    return renderer.page(request, ReceivedPage(inquiry, chosen, typed))


@router.post("/inquiries/{token}/open")
def open_received(token: str, services: ServicesDep, actor: ActorDep) -> Response:
    """Note who looks after the inquiry, and go on to the form filled with it."""
    services.inquiries.open(token, actor.name, utc_now())
    return RedirectResponse(f"/inquiry?received={token}", status_code=303)


def sender_of(form: Form, pairs: Pairs) -> tuple[Sender | None, list[Fault]]:
    """Return who sends an inquiry, or None and what is wrong with what they typed."""
    faults: list[Fault] = []
    if any(name == TRAP and value for name, value in pairs):
        faults.append(Fault("", "", "Something filled in a field that people do not see."))
    typed = {
        path.removeprefix("sender."): text for path, text in form.only("sender").values.items()
    }
    try:
        sender = read_sender(typed)
        must_be_small(requirements_of(form))
    except InvalidInquiry as error:
        return None, [*faults, *error.faults]
    return (None, faults) if faults else (sender, [])


def requirements_of(form: Form) -> dict[str, object]:
    """Return the requirements that a check's form holds, as typed."""
    return form.without("stack").without("sender").request("chamber")
