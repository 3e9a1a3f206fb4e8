"""What the next system is told of a quote: events as JSON, never costs or internal notes."""

from __future__ import annotations

from datetime import datetime

from pydantic_core import to_json

from server.quoting.desk.case import QuoteCase
from server.quoting.desk.outbox import OutboxMessage
from server.quoting.desk.states import Move

_KINDS = {
    Move.SEND: "quote.sent",
    Move.ACCEPT: "quote.accepted",
    Move.DECLINE: "quote.declined",
    Move.WITHDRAW: "quote.withdrawn",
}


def messages_of(case: QuoteCase, move: Move, revision: int, at: datetime) -> list[OutboxMessage]:
    """Return what the outside is told after a move; nothing for what stays in the house.

    Parameters
    ----------
    case : QuoteCase
        As it is after the move.
    move : Move
        What was done.
    revision : int
        To which revision.
    at : datetime
        When, UTC.
    """
    if move not in _KINDS:
        return []
    content = case.revision(revision).content
    told = {
        "event": _KINDS[move],
        "at": at,
        "number": case.number,
        "revision": revision,
        "state": case.standings[revision - 1],
        "answer": case.answer,
        "quote": content,
    }
    body = to_json(told, inf_nan_mode="null").decode()
    return [OutboxMessage(_KINDS[move], case.number, at, body)]
