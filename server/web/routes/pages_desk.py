"""One quote over its life: as printed, what can be done with it, its revisions and history."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.errors import DomainError, Fault, InvalidInquiry, NotFound
from server.quoting.desk import use_cases
from server.quoting.desk.actors import Actor
from server.quoting.desk.case import CustomerAnswer, Event, QuoteCase, QuoteLink
from server.quoting.desk.renewal import Difference, Topic, differences
from server.quoting.desk.states import Move, QuoteState
from server.quoting.desk.use_cases import DeskRoom, Seen
from server.quoting.order import PARTY_FIELDS, read_party
from server.quoting.papers.printed import Printed
from server.quoting.reading import CellReader
from server.web.deps import ActorDep, Services, ServicesDep, utc_now
from server.web.desk_view import (
    Desk,
    Earnings,
    RevisionRow,
    by_topic,
    desk_of,
    earnings_of,
    printed_quote,
    revision_rows,
)
from server.web.errors import STATUS_OF
from server.web.forms import Form
from server.web.pages import Renderer, RendererDep
from server.web.typed import Pairs, number_of, word_of

router = APIRouter(prefix="/quotes/{number}")

Number = Annotated[str, Path(min_length=1, max_length=40)]
RevisionNumber = Annotated[int, Path(ge=1, le=10**6)]


@dataclass(frozen=True)
class QuotePage:
    """A quote's current revision, and the seller's desk around it."""

    template: ClassVar[str] = "quote/quote.html"
    view: Printed
    state: QuoteState
    version: int
    """To be named in the next change."""
    desk: Desk
    form: Form
    """What was typed, where it could not be used; else the internal notes as kept."""
    earnings: Earnings
    revisions: Sequence[RevisionRow]
    events: Sequence[Event]
    links: Sequence[QuoteLink]
    answer: CustomerAnswer | None


@dataclass(frozen=True)
class RevisionPage:
    """One revision as it is printed."""

    template: ClassVar[str] = "quote/revision.html"
    view: Printed
    state: QuoteState


@dataclass(frozen=True)
class DifferencesPage:
    """What differs between two revisions, or between then and today."""

    template: ClassVar[str] = "quote/differences.html"
    number: str
    title: str
    lede: str
    then: str
    now: str
    groups: Sequence[tuple[Topic, Sequence[Difference]]]


@dataclass(frozen=True)
class Counter:
    """Who acts on which quote, with what."""

    request: Request
    actor: Actor
    services: Services
    renderer: Renderer
    number: str

    @property
    def room(self) -> DeskRoom:
        """What the use cases work with."""
        return self.services.room

    def page(self, typed: Form | None = None, status: int = 200) -> HTMLResponse:
        """Return the quote's page as it is now, with what was typed and is at fault."""
        case = self.services.desk.get(self.number)
        now = utc_now()
        state = case.state_at(now)
        notes = Form(values={"internal_notes": case.internal_notes})
        form = notes if typed is None else typed.over(notes)
        page = QuotePage(
            view=printed_quote(case.current.content, state),
            state=state,
            version=case.version,
            desk=desk_of(self.actor, case, now),
            form=form,
            earnings=earnings_of(case),
            revisions=revision_rows(case, now),
            events=case.events,
            links=case.links,
            answer=case.answer,
        )
        return self.renderer.page(self.request, page, status)

    def done(self, form: Form, act: Callable[[], QuoteCase]) -> Response:
        """Act and show the quote, or show what is wrong with what was typed still there."""
        try:
            case = act()
        except InvalidInquiry as error:
            return self.page(form.with_faults(error.faults), 422)
        except NotFound:
            raise
        except DomainError as error:  # stale, not in this state, not in this role: no field's fault
            faulty = form.with_faults([Fault("", "", str(error))])
            return self.page(faulty, STATUS_OF.get(type(error), 422))
        return RedirectResponse(f"/quotes/{case.number}", status_code=303)


def counter_of(
    request: Request, number: Number, actor: ActorDep, services: ServicesDep, renderer: RendererDep
) -> Counter:
    """Return who acts on the quote of an address."""
    return Counter(request, actor, services, renderer, number)


CounterDep = Annotated[Counter, Depends(counter_of)]

_Move = Callable[[Actor, DeskRoom, Seen, str], QuoteCase]

_MOVES: Mapping[str, _Move] = {
    Move.ASK_APPROVAL: use_cases.ask_approval,
    Move.APPROVE: use_cases.approve,
    Move.RETURN: use_cases.return_to_draft,
    Move.SEND: use_cases.send,
    Move.REVISE: use_cases.revise,
    Move.WITHDRAW: use_cases.withdraw,
}


@router.get("")
def show_quote(counter: CounterDep) -> HTMLResponse:
    """Show a quote's current revision as it is printed, and what can be done with it."""
    return counter.page()


@router.get("/revisions/{revision}")
def show_revision(counter: CounterDep, revision: RevisionNumber) -> HTMLResponse:
    """Show one revision as it is printed."""
    case = counter.services.desk.get(counter.number)
    state = case.state_of(revision, utc_now().date())
    view = printed_quote(case.revision(revision).content, state)
    return counter.renderer.page(counter.request, RevisionPage(view, state))


@router.get("/revisions/{revision}/against/{other}")
def compare(counter: CounterDep, revision: RevisionNumber, other: RevisionNumber) -> HTMLResponse:
    """Show what differs between two revisions."""
    case = counter.services.desk.get(counter.number)
    found = differences(case.revision(other), case.revision(revision))
    page = DifferencesPage(
        number=counter.number,
        title=f"What changed in revision {revision}",
        lede=f"Revision {revision} of {counter.number} beside revision {other}; what is the same "
        "is left out.",
        then=f"Revision {other}",
        now=f"Revision {revision}",
        groups=by_topic(found),
    )
    return counter.renderer.page(counter.request, page)


@router.get("/today")
def compare_with_today(counter: CounterDep) -> HTMLResponse:
    """Show what would be different if the quote were made today; nothing is changed."""
    found = use_cases.differences_now(counter.actor, counter.room, counter.number)
    page = DifferencesPage(
        number=counter.number,
        title="What would differ today",
        lede=f"{counter.number} worked out with today’s catalogue and engine. The quote itself "
        "stays as it is.",
        then="In the quote",
        now="Today",
        groups=by_topic(found),
    )
    return counter.renderer.page(counter.request, page)


@router.post("/moves")
def move(counter: CounterDep, pairs: Pairs) -> Response:
    """Send, approve, return, revise, withdraw or ask for approval, with a remark."""
    form = Form.from_pairs(pairs)
    wanted = _MOVES.get(word_of(pairs, "move"))
    if wanted is None:
        return counter.page(form.with_faults([Fault("", "", "No button was pressed.")]), 422)
    seen = _seen(counter, pairs)
    return counter.done(
        form, lambda: wanted(counter.actor, counter.room, seen, _text(form, "note"))
    )


@router.post("/renewal")
def renew(counter: CounterDep, pairs: Pairs) -> Response:
    """Price and judge a draft with today's catalogue and engine."""
    seen = _seen(counter, pairs)
    return counter.done(Form(), lambda: use_cases.renew_draft(counter.actor, counter.room, seen))


@router.post("/internal-notes")
def keep_notes(counter: CounterDep, pairs: Pairs) -> Response:
    """Replace the notes for the house, in any state."""
    form, seen = Form.from_pairs(pairs), _seen(counter, pairs)
    return counter.done(
        form,
        lambda: use_cases.write_internal_notes(
            counter.actor, counter.room, seen, _text(form, "internal_notes")
        ),
    )


@router.post("/answer")
def enter_answer(counter: CounterDep, pairs: Pairs) -> Response:
    """Enter the customer's answer as it came by telephone or letter; once."""
    form, seen = Form.from_pairs(pairs), _seen(counter, pairs)
    revision = number_of(pairs, "revision")
    accepted = word_of(pairs, "move") == Move.ACCEPT

    def act() -> QuoteCase:
        reader = CellReader(form.values)
        name = reader.line("answered_by", needed=True)
        if reader.faults:
            raise InvalidInquiry(reader.faults)
        said = CustomerAnswer(accepted, name, utc_now())
        return use_cases.answer(counter.actor, counter.room, seen, revision, said)

    return counter.done(form, act)


@router.post("/clones")
def clone(counter: CounterDep, pairs: Pairs) -> Response:
    """Begin a new quote like this one, for a customer, at today's prices."""
    form = Form.from_pairs(pairs)

    def act() -> QuoteCase:
        customer = read_party({name: form.value(name) for name in PARTY_FIELDS})
        return use_cases.clone(counter.actor, counter.room, counter.number, customer)

    return counter.done(form, act)


@router.post("/reorders")
def reorder(counter: CounterDep) -> Response:
    """Begin a new quote of what was ordered with this one, at today's prices."""
    return counter.done(
        Form(), lambda: use_cases.reorder(counter.actor, counter.room, counter.number)
    )


def _seen(counter: Counter, pairs: list[tuple[str, str]]) -> Seen:
    return Seen(counter.number, number_of(pairs, "version"))


def _text(form: Form, name: str) -> str:
    reader = CellReader(form.values)
    text = reader.text(name)
    if reader.faults:
        raise InvalidInquiry(reader.faults)
    return text
