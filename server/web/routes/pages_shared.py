"""The customer's side of a quote: seen, downloaded and answered by whoever has its link."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Path, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.errors import Conflict, Fault, InvalidInquiry, NotFound
from server.quoting.card import OperatingCard
from server.quoting.desk.case import CustomerAnswer
from server.quoting.desk.sharing import (
    NOWHERE,
    SharedQuote,
    ShareRoom,
    answered,
    opened,
    read_answer,
)
from server.quoting.desk.states import QuoteState
from server.quoting.operating_card import operating_card
from server.quoting.papers.printed import Printed, printed
from server.web.deps import Services, ServicesDep
from server.web.desk_view import WORDING
from server.web.forms import Form
from server.web.pages import RendererDep
from server.web.papers import Paper, print_room_of, quote_card, quote_paper
from server.web.tries import AddressDep, TriesDep
from server.web.typed import Pairs, action_of

router = APIRouter(prefix="/q/{token}")

Token = Annotated[str, Path(max_length=200)]
RevisionNumber = Annotated[int | None, Query(ge=1, le=10**6)]

# The address is the key: no search engine may keep it, no cache in between the page.
PRIVATE = {"X-Robots-Tag": "noindex, nofollow", "Cache-Control": "private, no-store"}


class Choice(StrEnum):
    """What the customer can press."""

    ACCEPT = "accept"
    DECLINE = "decline"


STANDING: Mapping[QuoteState, str] = {
    QuoteState.ACCEPTED: "This quote has been accepted.",
    QuoteState.DECLINED: "This quote has been declined or withdrawn; it can no longer be accepted.",
    QuoteState.EXPIRED: "The last day of this quote’s validity has passed: ask for a new one.",
    QuoteState.SUPERSEDED: "A later revision has taken the place of this one; it can no longer be "
    "accepted.",
}


@dataclass(frozen=True)
class SharedPage:
    """A quote as the customer sees it."""

    template: ClassVar[str] = "customer/quote.html"
    path: str
    view: Printed
    answer: CustomerAnswer | None
    can_be_answered: bool
    has_card: bool
    later: int | None
    later_is_shared: bool
    form: Form


@dataclass(frozen=True)
class SharedCardPage:
    """The operating card of a quote as the customer sees it."""

    template: ClassVar[str] = "customer/card.html"
    path: str
    revision: int
    title: str
    card: OperatingCard


@dataclass(frozen=True)
class Visit:
    """Who comes with which link."""

    token: str
    room: ShareRoom
    revision: int | None

    def shared(self) -> SharedQuote:
        """Return what the link leads to."""
        return opened(self.room, self.token, self.revision)


def visit_of(
    token: Token,
    services: ServicesDep,
    tries: TriesDep,
    address: AddressDep,
    revision: RevisionNumber = None,
) -> Visit:
    """Return the visit of somebody whose link works, within the tries their address has.

    Raises
    ------
    NotFound
        For every link that does not work, in the same words.
    TooMany
        When the address has tried too many of them.
    """
    tries.must_be_left("link", address)
    visit = Visit(token, share_room_of(services), revision)
    try:
        visit.shared()
    except NotFound:
        tries.count("link", address)
        raise
    return visit


def share_room_of(services: Services) -> ShareRoom:
    """Return what sharing works with."""
    return ShareRoom(services.room, services.links)


VisitDep = Annotated[Visit, Depends(visit_of)]


@router.get("")
def show(request: Request, visit: VisitDep, renderer: RendererDep) -> Response:
    """Show the quote."""
    page = shared_page(visit.token, visit.shared(), Form())
    return private(renderer.page(request, page))


@router.post("/answer")
def give_answer(request: Request, visit: VisitDep, pairs: Pairs, renderer: RendererDep) -> Response:
    """Record the customer's answer, or show the quote again and say why not."""
    form = Form.from_pairs(pairs).only("answer")
    shared = visit.shared()
    typed = {path.removeprefix("answer."): text for path, text in form.values.items()}
    status = 422
    try:
        said = read_answer(typed, accepted=chosen(action_of(pairs)) is Choice.ACCEPT)
        answered(visit.room, visit.token, shared.revision.revision, said)
    except InvalidInquiry as error:
        form = form.with_faults(error.faults)
    except Conflict as error:
        form, status = form.with_faults([Fault("", "", str(error))]), 409
    else:
        where = f"/q/{visit.token}?revision={shared.revision.revision}"
        return private(RedirectResponse(where, status_code=303))
    return private(renderer.page(request, shared_page(visit.token, visit.shared(), form), status))


@router.get("/card")
def show_card(
    request: Request, visit: VisitDep, services: ServicesDep, renderer: RendererDep
) -> Response:
    """Show the operating card of the stack on offer."""
    revision = visit.shared().revision
    basis = revision.basis
    if basis is None:
        raise NotFound(NOWHERE)
    catalog = services.catalogs.version(basis.catalog_version)
    card = operating_card(basis.stack, basis.requirements, catalog)
    path = f"/q/{visit.token}"
    page = SharedCardPage(path, revision.revision, revision.content.title, card)
    return private(renderer.page(request, page))


@router.get("/card.pdf")
def card_as_pdf(request: Request, visit: VisitDep) -> Response:
    """Return the operating card as PDF."""
    shared = visit.shared()
    return private(quote_card(shared.case, shared.revision.revision, print_room_of(request)))


@router.get("/quote.{ending}")
def quote_as_file(request: Request, visit: VisitDep, ending: Paper) -> Response:
    """Return the quote as a file."""
    shared = visit.shared()
    room = print_room_of(request)
    return private(quote_paper(shared.case, shared.revision.revision, ending, room))


def shared_page(token: str, shared: SharedQuote, form: Form) -> SharedPage:
    """Return the customer's page: what is printed, and nothing else of what is kept."""
    view = printed(shared.revision.content, WORDING, STANDING.get(shared.state, ""))
    return SharedPage(
        path=f"/q/{token}",
        view=view,
        answer=shared.answer,
        can_be_answered=shared.can_be_answered,
        has_card=shared.revision.basis is not None,
        later=shared.later,
        later_is_shared=shared.later_is_shared,
        form=form,
    )


def chosen(action: str) -> Choice:
    """Return which button was pressed.

    Raises
    ------
    InvalidInquiry
        When it was neither of them.
    """
    if action not in set(Choice):
        raise InvalidInquiry([Fault("", action[:40], "Press “Accept” or “Decline”.")])
    return Choice(action)


def private(answer: HTMLResponse | Response) -> Response:
    """Return an answer that nobody but the customer may keep."""
    answer.headers.update(PRIVATE)
    return answer
