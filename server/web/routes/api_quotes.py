"""The JSON API of the quote desk: search, changes, approval, sending, answers, copies."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from starlette.responses import Response

from server.errors import InvalidInquiry
from server.quoting.desk import use_cases
from server.quoting.desk.actors import Actor
from server.quoting.desk.case import CustomerAnswer, QuoteCase
from server.quoting.desk.changes import read_change
from server.quoting.desk.queries import read_query
from server.quoting.desk.use_cases import DeskRoom, Seen
from server.quoting.documents import quote_json
from server.quoting.order import read_party
from server.quoting.reading import CellReader
from server.web.api_desk import (
    AnswerIn,
    CaseOut,
    ChangeIn,
    CloneIn,
    DifferenceOut,
    DifferencesOut,
    InternalNotesIn,
    NoteIn,
    QuotePageOut,
    SearchIn,
    case_out,
)
from server.web.api_models import Errors, QuoteOut
from server.web.deps import ActorDep, Services, ServicesDep, utc_now
from server.web.routes.api import MISSING, REFUSALS, as_json

STALE: dict[int | str, dict[str, Any]] = {
    **MISSING,
    403: {"model": Errors, "description": "Not in this role."},
    409: {"model": Errors, "description": "Changed meanwhile, or not in this state."},
}

router = APIRouter(prefix="/api/v1/quotes", tags=["api"], responses=REFUSALS)

Number = Annotated[str, Path(min_length=1, max_length=40)]
RevisionNumber = Annotated[int, Path(ge=1, le=10**6)]


@router.get("", response_model=QuotePageOut)
def search(services: ServicesDep, query: Annotated[SearchIn, Query()]) -> Response:
    """Find quotes by customer, state, date of creation, value and text, newest first."""
    wanted = read_query(query.model_dump(exclude_none=True))
    found = services.desk.search(wanted, utc_now().date())
    return as_json(QuotePageOut.model_validate(found))


@router.get("/{number}/case", response_model=CaseOut, responses=MISSING)
def case(number: Number, services: ServicesDep, actor: ActorDep) -> Response:
    """Return a quote over its life: revisions, events, internal notes, margin."""
    return _told(services.desk.get(number), actor)


@router.get("/{number}/revisions/{revision}", response_model=QuoteOut, responses=MISSING)
def revision(number: Number, revision: RevisionNumber, services: ServicesDep) -> Response:
    """Return one revision as it is printed."""
    content = services.desk.get(number).revision(revision).content
    return Response(quote_json(content), media_type="application/json")


@router.get("/{number}/differences", response_model=DifferencesOut, responses=STALE)
def differences(number: Number, services: ServicesDep, actor: ActorDep) -> Response:
    """Tell what would be different if the quote were made today; nothing is changed."""
    found = use_cases.differences_now(actor, services.room, number)
    told = [DifferenceOut.model_validate(each) for each in found]
    return as_json(DifferencesOut(number=number, differences=told))


@router.post("/{number}/changes", response_model=CaseOut, responses=STALE)
def change(number: Number, sent: ChangeIn, services: ServicesDep, actor: ActorDep) -> Response:
    """Change a draft; what is left out stays as it is, ``lines`` replaces all lines."""
    typed = sent.model_dump(exclude={"version"}, exclude_none=True)
    wanted = read_change(typed, services.desk.get(number).current.content)
    seen = Seen(number, sent.version)
    return _told(use_cases.change_draft(actor, services.room, seen, wanted), actor)


@router.post("/{number}/renewal", response_model=CaseOut, responses=STALE)
def renew(number: Number, sent: NoteIn, services: ServicesDep, actor: ActorDep) -> Response:
    """Price and judge a draft with today's catalogue and engine."""
    kept = use_cases.renew_draft(actor, services.room, Seen(number, sent.version))
    return _told(kept, actor)


@router.post("/{number}/internal-notes", response_model=CaseOut, responses=STALE)
def internal_notes(
    number: Number, sent: InternalNotesIn, services: ServicesDep, actor: ActorDep
) -> Response:
    """Replace the notes for the house, in any state."""
    notes = _text(sent.model_dump(), "internal_notes")
    seen = Seen(number, sent.version)
    return _told(use_cases.write_internal_notes(actor, services.room, seen, notes), actor)


@router.post("/{number}/approval-request", response_model=CaseOut, responses=STALE)
def ask_approval(number: Number, sent: NoteIn, services: ServicesDep, actor: ActorDep) -> Response:
    """Put a draft forward for approval."""
    return _moved(use_cases.ask_approval, number, sent, services, actor)


@router.post("/{number}/approval", response_model=CaseOut, responses=STALE)
def approve(number: Number, sent: NoteIn, services: ServicesDep, actor: ActorDep) -> Response:
    """Approve what was put forward."""
    return _moved(use_cases.approve, number, sent, services, actor)


@router.post("/{number}/return", response_model=CaseOut, responses=STALE)
def return_to_draft(
    number: Number, sent: NoteIn, services: ServicesDep, actor: ActorDep
) -> Response:
    """Return what awaits approval, or is approved, to draft."""
    return _moved(use_cases.return_to_draft, number, sent, services, actor)


@router.post("/{number}/sending", response_model=CaseOut, responses=STALE)
def send(number: Number, sent: NoteIn, services: ServicesDep, actor: ActorDep) -> Response:
    """Send the current revision: from now on it never changes."""
    return _moved(use_cases.send, number, sent, services, actor)


@router.post("/{number}/withdrawal", response_model=CaseOut, responses=STALE)
def withdraw(number: Number, sent: NoteIn, services: ServicesDep, actor: ActorDep) -> Response:
    """Take a quote back, or drop a draft beside a revision that was sent."""
    return _moved(use_cases.withdraw, number, sent, services, actor)


@router.post("/{number}/revisions", response_model=CaseOut, status_code=201, responses=STALE)
def revise(number: Number, sent: NoteIn, services: ServicesDep, actor: ActorDep) -> Response:
    """Begin the next revision as a draft; the sent one stands until the new one is sent."""
    note = _text(sent.model_dump(exclude_none=True), "note")
    seen = Seen(number, sent.version)
    return _told(use_cases.revise(actor, services.room, seen, note), actor, 201)


@router.post("/{number}/answer", response_model=CaseOut, responses=STALE)
def answer(number: Number, sent: AnswerIn, services: ServicesDep, actor: ActorDep) -> Response:
    """Enter the customer's answer, as it came by telephone or letter; once."""
    reader = CellReader(sent.model_dump(exclude_none=True))
    said = CustomerAnswer(
        accepted=sent.accepted,
        name=reader.line("name", needed=True),
        at=utc_now(),
        note=reader.text("note"),
    )
    if reader.faults:
        raise InvalidInquiry(reader.faults)
    seen = Seen(number, sent.version)
    return _told(use_cases.answer(actor, services.room, seen, sent.revision, said), actor)


@router.post("/{number}/clones", response_model=CaseOut, status_code=201, responses=STALE)
def clone(number: Number, sent: CloneIn, services: ServicesDep, actor: ActorDep) -> Response:
    """Begin a new quote like this one, for a customer, at today's prices."""
    customer = read_party(sent.model_dump(exclude_none=True))
    return _told(use_cases.clone(actor, services.room, number, customer), actor, 201)


@router.post("/{number}/reorders", response_model=CaseOut, status_code=201, responses=STALE)
def reorder(number: Number, services: ServicesDep, actor: ActorDep) -> Response:
    """Begin a new quote of what was ordered with this one, at today's prices."""
    return _told(use_cases.reorder(actor, services.room, number), actor, 201)


def _told(kept: QuoteCase, actor: Actor, status: int = 200) -> Response:
    answer = as_json(case_out(kept, actor, utc_now()))
    answer.status_code = status
    if status == 201:
        answer.headers["Location"] = f"/api/v1/quotes/{kept.number}"
    return answer


_Move = Callable[[Actor, DeskRoom, Seen, str], QuoteCase]


def _moved(move: _Move, number: str, sent: NoteIn, services: Services, actor: Actor) -> Response:
    note = _text(sent.model_dump(exclude_none=True), "note")
    return _told(move(actor, services.room, Seen(number, sent.version), note), actor)


def _text(typed: Mapping[str, object], name: str) -> str:
    reader = CellReader(typed)
    text = reader.text(name)
    if reader.faults:
        raise InvalidInquiry(reader.faults)
    return text
