"""Links for the customer, made and ended by the seller; and the events told to the next system."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, ClassVar

from fastapi import APIRouter, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.errors import Conflict, Fault, InvalidInquiry
from server.quoting.desk.case import QuoteCase
from server.quoting.desk.delivery import Delivery, DeliveryCounts
from server.quoting.desk.sharing import (
    USUAL_DAYS,
    ShareLink,
    links_of,
    read_days,
    revoke,
    share,
)
from server.web.deps import ActorDep, ServicesDep, utc_now
from server.web.forms import Form
from server.web.pages import RendererDep
from server.web.routes.pages_shared import PRIVATE, share_room_of
from server.web.typed import Pairs

router = APIRouter()

Number = Annotated[str, Path(min_length=1, max_length=40)]
Digest = Annotated[str, Path(pattern="^[0-9a-f]{64}$")]
Key = Annotated[str, Path(min_length=1, max_length=64)]
RECENT = 100


@dataclass(frozen=True)
class LinksPage:
    """The links of a quote."""

    template: ClassVar[str] = "quote/links.html"
    number: str
    revision: int | None
    """What a new link would show; None before anything was sent."""
    links: tuple[ShareLink, ...]
    now: datetime
    usual_days: int
    form: Form
    made: str = ""
    """The address of a link that was just made; it is shown once."""


@dataclass(frozen=True)
class DeliveriesPage:
    """What was told to the next system, and what could not be."""

    template: ClassVar[str] = "quote/deliveries.html"
    counts: DeliveryCounts
    deliveries: tuple[Delivery, ...]
    target: str
    """Where events go; empty where no target is set."""


@router.get("/quotes/{number}/links")
def show_links(
    request: Request, number: Number, services: ServicesDep, actor: ActorDep, renderer: RendererDep
) -> HTMLResponse:
    """Show the links of a quote."""
    case = services.desk.get(number)
    links = links_of(actor, share_room_of(services), number)
    return renderer.page(request, links_page(case, links, Form()))


@router.post("/quotes/{number}/links")
def make_link(
    request: Request,
    number: Number,
    pairs: Pairs,
    services: ServicesDep,
    actor: ActorDep,
    renderer: RendererDep,
) -> Response:
    """Make a link and show it, this once."""
    form = Form.from_pairs(pairs).only("link")
    room = share_room_of(services)
    case = services.desk.get(number)
    made, status = "", 201
    try:
        new = share(actor, room, number, read_days(form.value("link.days")))
        made = f"{base_of(request)}/q/{new.token}"
    except InvalidInquiry as error:
        form, status = form.with_faults(error.faults), 422
    except Conflict as error:
        form, status = form.with_faults([Fault("", "", str(error))]), 409
    page = links_page(case, links_of(actor, room, number), form, made)
    answer = renderer.page(request, page, status)
    answer.headers.update(PRIVATE)
    return answer


@router.post("/quotes/{number}/links/{digest}/end")
def end_link(number: Number, digest: Digest, services: ServicesDep, actor: ActorDep) -> Response:
    """End a link."""
    revoke(actor, share_room_of(services), number, digest)
    return RedirectResponse(f"/quotes/{number}/links", status_code=303)


@router.get("/deliveries")
def show_deliveries(request: Request, services: ServicesDep, renderer: RendererDep) -> HTMLResponse:
    """Show what was told to the next system."""
    webhook = request.app.state.settings.webhook
    outbox = services.outbox
    target = webhook.url if webhook else ""
    return renderer.page(request, DeliveriesPage(outbox.counts(), outbox.recent(RECENT), target))


@router.post("/deliveries/{key}/again")
def try_again(key: Key, services: ServicesDep) -> Response:
    """Send a stuck event off again."""
    services.outbox.retry(key, utc_now())
    return RedirectResponse("/deliveries", status_code=303)


def links_page(
    case: QuoteCase, links: tuple[ShareLink, ...], form: Form, made: str = ""
) -> LinksPage:
    """Return the page of a quote's links."""
    standing = case.standing
    revision = standing.revision if standing else None
    return LinksPage(case.number, revision, links, utc_now(), USUAL_DAYS, form, made)


def base_of(request: Request) -> str:
    """Return the address that customers reach this server by."""
    public: str | None = request.app.state.settings.public_base_url
    return public or str(request.base_url).rstrip("/")
