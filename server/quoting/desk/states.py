"""The life of a quote's revision: its states, the moves between them, and who may make them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from server.errors import Conflict, NotAllowed
from server.quoting.desk.actors import APPROVERS, SELLERS, Role


class QuoteState(StrEnum):
    """Where a revision stands."""

    DRAFT = "draft"
    AWAITING_APPROVAL = "awaiting_approval"
    APPROVED = "approved"
    SENT = "sent"
    ACCEPTED = "accepted"
    DECLINED = "declined"
    EXPIRED = "expired"
    """Follows from the clock: a sent revision past its last day; never kept as such."""
    SUPERSEDED = "superseded"
    """A later revision was sent; or this one was dropped before it was sent."""


class Move(StrEnum):
    """What can be done with a revision."""

    CHANGE = "change"
    ASK_APPROVAL = "ask_approval"
    APPROVE = "approve"
    RETURN = "return"
    """Back to draft: by the approver with a note, or by who wants to change it after all."""
    SEND = "send"
    ACCEPT = "accept"
    DECLINE = "decline"
    WITHDRAW = "withdraw"
    """The seller takes it back: a draft beside a sent revision is dropped, anything else ends as
    declined, without a customer's answer."""
    REVISE = "revise"
    """A new revision is begun as a draft; the sent one stands until the new one is sent."""


FROZEN = frozenset(
    {
        QuoteState.SENT,
        QuoteState.ACCEPTED,
        QuoteState.DECLINED,
        QuoteState.EXPIRED,
        QuoteState.SUPERSEDED,
    }
)
"""States whose revision never changes again."""

PAST_TENSE: dict[Move, str] = {
    Move.CHANGE: "changed",
    Move.ASK_APPROVAL: "put forward for approval",
    Move.APPROVE: "approved",
    Move.RETURN: "returned to draft",
    Move.SEND: "sent",
    Move.ACCEPT: "accepted",
    Move.DECLINE: "declined",
    Move.WITHDRAW: "withdrawn",
    Move.REVISE: "revised",
}

_STATE_WORDS: dict[QuoteState, str] = {
    QuoteState.DRAFT: "still a draft",
    QuoteState.AWAITING_APPROVAL: "awaiting approval",
    QuoteState.APPROVED: "approved but not sent",
    QuoteState.SENT: "sent already",
    QuoteState.ACCEPTED: "accepted already",
    QuoteState.DECLINED: "declined or withdrawn",
    QuoteState.EXPIRED: "no longer valid",
    QuoteState.SUPERSEDED: "superseded by a later revision",
}

_ROLE_WORDS: dict[Role, str] = {
    Role.SALES_ENGINEER: "a sales engineer",
    Role.SALES_MANAGER: "a sales manager",
    Role.ADMINISTRATOR: "an administrator",
    Role.CUSTOMER: "the customer",
}


@dataclass(frozen=True)
class Rule:
    """From which states a move leads, where to, and who may make it."""

    before: frozenset[QuoteState]
    after: QuoteState
    roles: frozenset[Role]


_S = QuoteState
_ANYBODY = SELLERS | {Role.CUSTOMER}

RULES: dict[Move, Rule] = {
    Move.CHANGE: Rule(frozenset({_S.DRAFT}), _S.DRAFT, SELLERS),
    Move.ASK_APPROVAL: Rule(frozenset({_S.DRAFT}), _S.AWAITING_APPROVAL, SELLERS),
    Move.APPROVE: Rule(frozenset({_S.AWAITING_APPROVAL}), _S.APPROVED, APPROVERS),
    Move.RETURN: Rule(frozenset({_S.AWAITING_APPROVAL, _S.APPROVED}), _S.DRAFT, SELLERS),
    Move.SEND: Rule(frozenset({_S.DRAFT, _S.APPROVED}), _S.SENT, SELLERS),
    # Sellers may enter an answer that came by telephone or letter; the event names them.
    Move.ACCEPT: Rule(frozenset({_S.SENT}), _S.ACCEPTED, _ANYBODY),
    Move.DECLINE: Rule(frozenset({_S.SENT}), _S.DECLINED, _ANYBODY),
    Move.WITHDRAW: Rule(
        frozenset({_S.DRAFT, _S.AWAITING_APPROVAL, _S.APPROVED, _S.SENT}), _S.DECLINED, SELLERS
    ),
    Move.REVISE: Rule(frozenset({_S.SENT, _S.EXPIRED, _S.DECLINED}), _S.DRAFT, SELLERS),
}


def state_on(state: QuoteState, valid_until: date, today: date) -> QuoteState:
    """Return the state on a day: a sent revision has expired after its last day.

    Parameters
    ----------
    state : QuoteState
        As kept.
    valid_until : date
        Last day of validity, counted in.
    today : date
        The day that counts.
    """
    return QuoteState.EXPIRED if state is QuoteState.SENT and today > valid_until else state


def moves_from(state: QuoteState, role: Role) -> tuple[Move, ...]:
    """Return the moves that a role can make in a state, in the order of `Move`."""
    return tuple(
        move for move, rule in RULES.items() if state in rule.before and role in rule.roles
    )


def after_move(move: Move, state: QuoteState, role: Role) -> QuoteState:
    """Return the state after a move.

    Parameters
    ----------
    move : Move
        What is to be done.
    state : QuoteState
        The state today, see `state_on`.
    role : Role
        Who wants it.

    Raises
    ------
    NotAllowed
        When the role may not do this in any state.
    Conflict
        When it cannot be done in this state.
    """
    rule = RULES[move]
    if role not in rule.roles:
        allowed = ", ".join(_ROLE_WORDS[each] for each in Role if each in rule.roles)
        raise NotAllowed(
            f"This quote can be {PAST_TENSE[move]} by {allowed}; you act as {_ROLE_WORDS[role]}."
        )
    if state not in rule.before:
        raise Conflict(f"This quote cannot be {PAST_TENSE[move]}: it is {_STATE_WORDS[state]}.")
    return rule.after
