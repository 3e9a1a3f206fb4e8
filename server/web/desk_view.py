"""What the seller sees beside a printed quote: what can be done, where each revision stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from server.quoting.desk.actors import Actor
from server.quoting.desk.approval import reasons_for_approval
from server.quoting.desk.case import Event, QuoteCase
from server.quoting.desk.pricing import SellerMargin
from server.quoting.desk.renewal import Difference, Topic
from server.quoting.desk.states import Move, QuoteState
from server.quoting.desk.use_cases import moves_of
from server.quoting.papers.printed import Printed, Wording, printed
from server.quoting.quote import Quote, QuoteLine
from server.web.fields import label_at
from server.web.formatting import duration, ratio
from server.web.words import assumed, words

WORDING = Wording(words=words, ratio=ratio, label=label_at, assumed=assumed, duration=duration)


@dataclass(frozen=True)
class Action:
    """A button: what it does and what follows from it."""

    move: Move
    label: str
    follows: str
    main: bool = False


_ACTIONS: Mapping[Move, tuple[str, str]] = {
    Move.ASK_APPROVAL: (
        "Ask for approval",
        "Somebody with a higher limit looks at it; until then it cannot be changed.",
    ),
    Move.APPROVE: ("Approve", "It can then be sent as it stands."),
    Move.RETURN: ("Back to draft", "It can be changed again, and needs approval anew."),
    Move.SEND: (
        "Mark as sent",
        "It gets today’s date and never changes again; a later wish makes a new revision.",
    ),
    Move.REVISE: (
        "Begin a new revision",
        "A draft at the same prices. What was sent stands until the new one is sent.",
    ),
    Move.WITHDRAW: ("Withdraw", "The quote ends here; it stays in the list."),
}
"""Moves that take nothing but a remark, in the order of their buttons."""

_DROP = ("Drop this draft", "The revision that was sent stands as it is.")
_MAIN = (Move.SEND, Move.APPROVE, Move.ASK_APPROVAL, Move.REVISE)


@dataclass(frozen=True)
class Desk:
    """What the seller can do with a quote, and why not more."""

    actions: tuple[Action, ...]
    can_change: bool
    can_answer: bool
    can_reorder: bool
    approval_reasons: tuple[str, ...]
    """Why who looks at it may not send or approve it; empty when they may."""


def desk_of(actor: Actor, case: QuoteCase, now: datetime) -> Desk:
    """Return what an actor can do with a quote now.

    Parameters
    ----------
    actor : Actor
        Who looks at it.
    case : QuoteCase
        The quote.
    now : datetime
        The time, UTC.
    """
    moves = moves_of(actor, case, now)
    state = case.state_at(now)
    reasons: tuple[str, ...] = ()
    if state in {QuoteState.DRAFT, QuoteState.AWAITING_APPROVAL}:
        reasons = reasons_for_approval(case.current, actor.role)
    refused = {Move.APPROVE, *([Move.SEND] if state is QuoteState.DRAFT else [])}
    possible = [move for move in _ACTIONS if move in moves and not (reasons and move in refused)]
    main = next((move for move in _MAIN if move in possible), None)
    drops = state is not QuoteState.SENT and case.standing is not None
    actions = tuple(
        Action(move, *(_DROP if move is Move.WITHDRAW and drops else _ACTIONS[move]), move is main)
        for move in possible
    )
    return Desk(
        actions=actions,
        can_change=Move.CHANGE in moves,
        can_answer=Move.ACCEPT in moves,
        can_reorder=state is QuoteState.ACCEPTED,
        approval_reasons=reasons,
    )


@dataclass(frozen=True)
class RevisionRow:
    """One revision in brief."""

    revision: int
    state: QuoteState
    made_at: datetime
    made_by: str
    total: Decimal
    currency: str
    is_current: bool


def revision_rows(case: QuoteCase, now: datetime) -> tuple[RevisionRow, ...]:
    """Return the revisions of a quote, newest first."""
    return tuple(
        RevisionRow(
            revision=each.revision,
            state=case.state_of(each.revision, now.date()),
            made_at=each.made_at,
            made_by=each.made_by.name,
            total=each.content.total,
            currency=each.content.currency,
            is_current=each is case.current,
        )
        for each in reversed(case.revisions)
    )


@dataclass(frozen=True)
class Earnings:
    """What an offer leaves, line by line; for the seller only."""

    whole: SellerMargin
    lines: tuple[tuple[QuoteLine, SellerMargin], ...]


def earnings_of(case: QuoteCase) -> Earnings:
    """Return what the current revision leaves; lines that cost nothing are left out."""
    current = case.current
    pairs = zip(current.content.lines, current.line_margins, strict=True)
    lines = tuple((line, margin) for line, margin in pairs if not line.supplied)
    return Earnings(current.margin, lines)


_NOT_AN_OFFER: Mapping[QuoteState, str] = {
    QuoteState.DRAFT: "A draft for internal use; it has not been sent and binds nobody.",
    QuoteState.AWAITING_APPROVAL: "A draft that awaits approval; it binds nobody.",
    QuoteState.APPROVED: "Approved, but not sent yet; it binds nobody.",
    QuoteState.EXPIRED: "Its last day of validity has passed.",
    QuoteState.DECLINED: "Declined or withdrawn.",
    QuoteState.SUPERSEDED: "A later revision has taken its place, or it was withdrawn.",
}


def printed_quote(quote: Quote, state: QuoteState) -> Printed:
    """Return a quote as the pages print it."""
    return printed(quote, WORDING, _NOT_AN_OFFER.get(state, ""))


def events_after(case: QuoteCase, version: int) -> tuple[Event, ...]:
    """Return what happened since somebody saw a version, oldest first; each change is one event."""
    missed = case.version - version
    return case.events[-missed:] if missed > 0 else ()


def by_topic(found: tuple[Difference, ...]) -> tuple[tuple[Topic, tuple[Difference, ...]], ...]:
    """Return differences grouped by topic, in the order of the topics."""
    groups = ((topic, tuple(d for d in found if d.topic is topic)) for topic in Topic)
    return tuple((topic, group) for topic, group in groups if group)
