"""What can be done at the desk.

Each use case takes who acts first. Each change names the version that was seen; a stale one raises
``Conflict``, and nothing is overwritten. What happened is told as an event of the quote; what the
outside must hear of is kept in the same step.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime

from server.errors import Conflict, NotAllowed
from server.fit.ports import CatalogStore, Engine
from server.quoting.desk.actors import Actor
from server.quoting.desk.approval import reasons_for_approval
from server.quoting.desk.case import CustomerAnswer, Event, QuoteCase, QuoteLink
from server.quoting.desk.changes import DraftChange, changed, own_costs, unit_costs
from server.quoting.desk.messages import messages_of
from server.quoting.desk.ports import QuoteDesk
from server.quoting.desk.renewal import Difference, differences_today, renewed
from server.quoting.desk.revision import Basis, Revision
from server.quoting.desk.states import (
    PAST_TENSE,
    Move,
    QuoteState,
    after_move,
    moves_from,
)
from server.quoting.drafting import draft_quote
from server.quoting.order import Party, QuoteOrder


@dataclass(frozen=True)
class DeskRoom:
    """What the use cases work with."""

    desk: QuoteDesk
    catalogs: CatalogStore
    engine: Engine
    clock: Callable[[], datetime]
    """The time, UTC."""


@dataclass(frozen=True)
class Seen:
    """A quote as somebody saw it before they acted."""

    number: str
    version: int


def create_draft(actor: Actor, room: DeskRoom, basis: Basis, order: QuoteOrder) -> QuoteCase:
    """Begin a quote on a stack; it is kept as a draft under the next number of the year.

    Parameters
    ----------
    actor : Actor
        One of the seller's people.
    room : DeskRoom
        Stores, engine, clock.
    basis : Basis
        The stack on offer and what it was judged against.
    order : QuoteOrder
        Customer and conditions.

    Raises
    ------
    NotAllowed
        When a customer asks.
    UnknownName
        When the catalogue no longer has one of the parts.
    """
    _must_sell(actor)
    catalog = room.catalogs.version(basis.catalog_version)
    content = draft_quote(basis.stack, basis.requirements, catalog, order)
    costs = unit_costs(content.lines, catalog, {})
    first = Revision("", 1, content, basis, costs, actor, order.created_at)
    return _open(actor, room, first, "begun", ())


def change_draft(actor: Actor, room: DeskRoom, seen: Seen, change: DraftChange) -> QuoteCase:
    """Change a draft; its prices stay those of its catalogue.

    Raises
    ------
    Conflict
        When somebody changed it meanwhile, or it is no draft any more.
    InvalidInquiry
        When a line names an item that its catalogue does not have.
    """
    case = _seen_case(room, seen)
    state = _moved(actor, room, case, Move.CHANGE)
    was = case.current
    catalog = room.catalogs.version(was.catalog_version)
    content = changed(was.content, change, catalog)
    if change.lines is None:
        costs = was.unit_costs
    else:
        costs = unit_costs(content.lines, catalog, own_costs(change.lines))
    now = room.clock()
    draft = replace(was, content=content, unit_costs=costs, made_by=actor, made_at=now)
    case = case.with_revision(draft, state)
    if change.internal_notes is not None:
        case = replace(case, internal_notes=change.internal_notes)
    return _keep(actor, room, case, seen, _Done(PAST_TENSE[Move.CHANGE]))


def renew_draft(actor: Actor, room: DeskRoom, seen: Seen) -> QuoteCase:
    """Price and judge a draft with today's catalogue and engine.

    Raises
    ------
    Conflict
        When somebody changed it meanwhile, or it is no draft any more.
    UnknownName
        When the catalogue no longer has one of the parts.
    """
    case = _seen_case(room, seen)
    state = _moved(actor, room, case, Move.CHANGE)
    today = renewed(case.current, room.catalogs.current(), room.engine, room.clock())
    case = case.with_revision(replace(today, made_by=actor), state)
    return _keep(actor, room, case, seen, _Done("brought up to today's catalogue"))


def write_internal_notes(actor: Actor, room: DeskRoom, seen: Seen, notes: str) -> QuoteCase:
    """Replace the internal notes, in any state; they are never printed."""
    _must_sell(actor)
    case = replace(_seen_case(room, seen), internal_notes=notes)
    return _keep(actor, room, case, seen, _Done("internal notes written"))


def ask_approval(actor: Actor, room: DeskRoom, seen: Seen, note: str = "") -> QuoteCase:
    """Put a draft forward for approval."""
    return _move(actor, room, seen, Move.ASK_APPROVAL, note)


def approve(actor: Actor, room: DeskRoom, seen: Seen, note: str = "") -> QuoteCase:
    """Approve a draft that was put forward.

    Raises
    ------
    NotAllowed
        When the discounts or the margin are outside the approver's own limits as well.
    """
    case = _seen_case(room, seen)
    _moved(actor, room, case, Move.APPROVE)
    _must_be_within_limits(actor, case.current)
    return _move(actor, room, seen, Move.APPROVE, note)


def return_to_draft(actor: Actor, room: DeskRoom, seen: Seen, note: str = "") -> QuoteCase:
    """Return what awaits approval, or is approved, to draft."""
    return _move(actor, room, seen, Move.RETURN, note)


def send(actor: Actor, room: DeskRoom, seen: Seen, note: str = "") -> QuoteCase:
    """Send a revision: from now on it never changes. An earlier sent one is superseded.

    The offer gets the day it is sent, and is valid for as many days from it.

    Raises
    ------
    NotAllowed
        When a draft is outside the sender's limits and was not approved.
    Conflict
        When somebody changed it meanwhile, or it cannot be sent as it stands.
    """
    case = _seen_case(room, seen)
    state = _moved(actor, room, case, Move.SEND)
    if case.state is QuoteState.DRAFT:
        _must_be_within_limits(actor, case.current)
    now = room.clock()
    sent = replace(case.current, content=case.current.content.dated(now))
    for earlier in case.revisions[: sent.revision - 1]:
        if case.standings[earlier.revision - 1] is QuoteState.SENT:
            case = case.with_state(earlier.revision, QuoteState.SUPERSEDED)
    case = case.with_revision(sent, state)
    done = _Done(PAST_TENSE[Move.SEND], note, Move.SEND, sent.revision)
    return _keep(actor, room, case, seen, done)


def answer(
    actor: Actor, room: DeskRoom, seen: Seen, revision: int, said: CustomerAnswer
) -> QuoteCase:
    """Record the customer's answer to a revision, once.

    The revision names what the customer saw; the version is the one that is read when the answer
    comes, so that a note written in the house meanwhile does not turn the customer away.

    Parameters
    ----------
    actor : Actor
        The customer, or a seller who enters what came by telephone or letter.
    room : DeskRoom
        Stores, engine, clock.
    seen : Seen
        The quote as it was shown.
    revision : int
        The revision that was shown.
    said : CustomerAnswer
        Accepted or declined, by whom; its time and revision are set here.

    Raises
    ------
    Conflict
        When the revision was answered already, is no longer valid, or is not the one that stands.
    """
    case = _seen_case(room, seen)
    now = room.clock()
    move = Move.ACCEPT if said.accepted else Move.DECLINE
    state = after_move(move, case.state_of(revision, now.date()), actor.role)
    given = replace(said, at=now, revision=revision)
    case = replace(case.with_state(revision, state), answer=given)
    if said.accepted:
        for later in case.revisions[revision:]:  # drafts that have become idle
            case = case.with_state(later.revision, QuoteState.SUPERSEDED)
    done = _Done(f"{PAST_TENSE[move]} by {said.name}", said.note, move, revision)
    return _keep(actor, room, case, seen, done)


def withdraw(actor: Actor, room: DeskRoom, seen: Seen, note: str = "") -> QuoteCase:
    """Take a quote back; a draft beside a sent revision is dropped, and the sent one stands."""
    case = _seen_case(room, seen)
    state = _moved(actor, room, case, Move.WITHDRAW)
    at = case.current.revision
    if case.state is not QuoteState.SENT and case.standing is not None:
        dropped = case.with_state(at, QuoteState.SUPERSEDED)
        done = _Done(f"draft of revision {at} dropped", note)
        return _keep(actor, room, dropped, seen, done)
    case = case.with_state(at, state)
    done = _Done(PAST_TENSE[Move.WITHDRAW], note, Move.WITHDRAW, at)
    return _keep(actor, room, case, seen, done)


def revise(actor: Actor, room: DeskRoom, seen: Seen, note: str = "") -> QuoteCase:
    """Begin the next revision as a draft, a copy of the one that stands, at the same prices.

    The sent one stands until the new one is sent. `renew_draft` takes today's prices.
    """
    case = _seen_case(room, seen)
    state = _moved(actor, room, case, Move.REVISE)
    now = room.clock()
    number = len(case.revisions) + 1
    content = replace(case.current.content.dated(now), revision=number)
    draft = replace(case.current, revision=number, content=content, made_by=actor, made_at=now)
    case = case.with_revision(draft, state)
    return _keep(actor, room, case, seen, _Done(f"revision {number} begun", note))


def clone(actor: Actor, room: DeskRoom, number: str, customer: Party) -> QuoteCase:
    """Begin a new quote like another one, for a customer, at today's prices.

    Lines, discounts and texts are taken over; reference, notes and history are not.

    Raises
    ------
    UnknownName
        When the catalogue no longer has one of the parts.
    """
    _must_sell(actor)
    return _copied(actor, room, number, customer, "clone of")


def reorder(actor: Actor, room: DeskRoom, number: str) -> QuoteCase:
    """Begin a new quote of what a customer ordered before, at today's prices.

    Raises
    ------
    Conflict
        When the quote was not accepted.
    UnknownName
        When the catalogue no longer has one of the parts.
    """
    _must_sell(actor)
    case = room.desk.get(number)
    if case.state is not QuoteState.ACCEPTED:
        raise Conflict(f"The quote {number} was not accepted: clone it instead.")
    return _copied(actor, room, number, case.current.content.customer, "reorder of")


def differences_now(actor: Actor, room: DeskRoom, number: str) -> tuple[Difference, ...]:
    """Return what would be different if the quote were made today; nothing is changed."""
    _must_sell(actor)
    case = room.desk.get(number)
    return differences_today(case.current, room.catalogs.current(), room.engine, room.clock())


def moves_of(actor: Actor, case: QuoteCase, now: datetime) -> tuple[Move, ...]:
    """Return what an actor can do with a quote's current revision now, limits left aside."""
    return moves_from(case.state_at(now), actor.role)


def _copied(actor: Actor, room: DeskRoom, number: str, customer: Party, kind: str) -> QuoteCase:
    source = room.desk.get(number).current
    today = renewed(source, room.catalogs.current(), room.engine, room.clock())
    content = replace(
        today.content, number="", revision=1, customer=customer, reference="", notes=""
    )
    first = replace(today, number="", revision=1, content=content, made_by=actor)
    return _open(actor, room, first, f"begun as {kind} {number}", (QuoteLink(kind, number),))


def _open(
    actor: Actor, room: DeskRoom, first: Revision, what: str, links: tuple[QuoteLink, ...]
) -> QuoteCase:
    event = Event(first.made_at, actor, what)
    case = QuoteCase("", 0, (first,), (QuoteState.DRAFT,), (event,), links=links)
    return room.desk.open_case(case)


def _seen_case(room: DeskRoom, seen: Seen) -> QuoteCase:
    case = room.desk.get(seen.number)
    if case.version != seen.version:
        raise Conflict(stale(case))
    return case


def stale(case: QuoteCase) -> str:
    """Return the sentence for somebody whose view of a quote is no longer the newest."""
    last = case.events[-1]
    return (
        f"The quote {case.number} was changed since you opened it: {last.what} by "
        f"{last.actor.name}, {last.at:%Y-%m-%d %H:%M} UTC. Nothing of yours was kept and nothing "
        "was overwritten: look at it as it is now, then do it again."
    )


def _moved(actor: Actor, room: DeskRoom, case: QuoteCase, move: Move) -> QuoteState:
    return after_move(move, case.state_at(room.clock()), actor.role)


@dataclass(frozen=True)
class _Done:
    """What was done to a quote, for its events and for the outside."""

    what: str
    note: str = ""
    told: Move | None = None
    """The move that the outside may hear of."""
    revision: int = 0


def _keep(actor: Actor, room: DeskRoom, case: QuoteCase, seen: Seen, done: _Done) -> QuoteCase:
    now = room.clock()
    kept = case.with_event(Event(now, actor, done.what, done.note))
    messages = [] if done.told is None else messages_of(kept, done.told, done.revision, now)
    return room.desk.save(kept, seen.version, messages)


def _move(actor: Actor, room: DeskRoom, seen: Seen, move: Move, note: str) -> QuoteCase:
    case = _seen_case(room, seen)
    state = _moved(actor, room, case, move)
    at = case.current.revision
    done = _Done(PAST_TENSE[move], note, move, at)
    return _keep(actor, room, case.with_state(at, state), seen, done)


def _must_sell(actor: Actor) -> None:
    if not actor.sells:
        raise NotAllowed("This is for the seller's people.")


def _must_be_within_limits(actor: Actor, revision: Revision) -> None:
    reasons = reasons_for_approval(revision, actor.role)
    if reasons:
        raise NotAllowed(" ".join((*reasons, "Somebody with a higher limit must approve it.")))
