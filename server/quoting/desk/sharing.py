"""Links by which a customer sees a quote and answers it; only a fingerprint of each is kept.

Who has a link may see one revision, and a later one once that was shared as well. A database that
leaks gives nobody a link: it holds SHA-256 of 256 random bits.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Protocol

from server.errors import Conflict, InvalidInquiry, NotAllowed, NotFound
from server.quoting.desk.actors import Actor, Role
from server.quoting.desk.case import CustomerAnswer, QuoteCase
from server.quoting.desk.revision import Revision
from server.quoting.desk.states import FROZEN, QuoteState
from server.quoting.desk.use_cases import DeskRoom, Seen, answer
from server.quoting.reading import CellReader, whole_number

TOKEN_BYTES = 32
SHORTEST_DAYS = 1
LONGEST_DAYS = 365
USUAL_DAYS = 60
NOWHERE = "There is nothing at this address. Links to quotes end after a time; ask for a new one."
"""Said of every link that does not work, whatever the reason."""
ROUNDS = 5
"""How often an answer is tried while somebody at the desk keeps changing the quote's notes."""


@dataclass(frozen=True)
class ShareLink:
    """A link as it is kept."""

    digest: str
    """SHA-256 of the token, in hexadecimal."""
    number: str
    revision: int
    made_by: str
    made_at: datetime
    expires_at: datetime
    revoked_at: datetime | None = None

    def works_at(self, now: datetime) -> bool:
        """Say whether the link leads anywhere at a time."""
        return self.revoked_at is None and now < self.expires_at


class ShareLinks(Protocol):
    """Keeps links; nothing is deleted."""

    def add(self, link: ShareLink) -> None:
        """Keep a link."""
        ...

    def by_digest(self, digest: str) -> ShareLink | None:
        """Return the link of a fingerprint."""
        ...

    def of_quote(self, number: str) -> tuple[ShareLink, ...]:
        """Return the links of a quote, newest first."""
        ...

    def revoke(self, digest: str, now: datetime) -> None:
        """End a link; the first end stays; raises ``NotFound``."""
        ...


@dataclass(frozen=True)
class ShareRoom:
    """What the use cases of this module work with."""

    desk: DeskRoom
    links: ShareLinks


@dataclass(frozen=True)
class NewLink:
    """A link that was just made: the only time its token is known."""

    token: str
    link: ShareLink


@dataclass(frozen=True)
class SharedQuote:
    """What a link leads to."""

    case: QuoteCase
    revision: Revision
    state: QuoteState
    """Of the revision, today."""
    later: int | None
    """A later revision that was sent."""
    later_is_shared: bool

    @property
    def answer(self) -> CustomerAnswer | None:
        """What the customer said to this revision."""
        said = self.case.answer
        return said if said is not None and said.revision == self.revision.revision else None

    @property
    def can_be_answered(self) -> bool:
        """Whether the customer can accept or decline now."""
        return self.state is QuoteState.SENT


def digest_of(token: str) -> str:
    """Return the fingerprint of a token."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def read_days(typed: str) -> int:
    """Return for how many days a link is wanted; the usual number for an empty text.

    Raises
    ------
    InvalidInquiry
        When the text is no such number.
    """
    reader = CellReader({"days": typed}, "link.")
    days = reader.value("days", whole_number(SHORTEST_DAYS, LONGEST_DAYS), USUAL_DAYS)
    if reader.faults:
        raise InvalidInquiry(reader.faults)
    return days


def read_answer(typed: Mapping[str, object], *, accepted: bool) -> CustomerAnswer:
    """Return what a customer says; the time is set where it is recorded.

    Parameters
    ----------
    typed : mapping
        ``name`` and ``note``.
    accepted : bool
        Which of the two they chose.

    Raises
    ------
    InvalidInquiry
        With one fault for each field that cannot be used.
    """
    reader = CellReader(typed, "answer.")
    reader.refuse_unknown(("name", "note"))
    name, note = reader.line("name", needed=True), reader.text("note")
    if reader.faults:
        raise InvalidInquiry(reader.faults)
    return CustomerAnswer(accepted, name, datetime.now(UTC), note)


def share(actor: Actor, room: ShareRoom, number: str, days: int = USUAL_DAYS) -> NewLink:
    """Make a link to the revision of a quote that the customer holds.

    Parameters
    ----------
    actor : Actor
        One of the seller's people.
    room : ShareRoom
        Stores and clock.
    number : str
        Of the quote.
    days : int
        After so many days the link ends.

    Raises
    ------
    NotAllowed
        When a customer asks.
    Conflict
        When no revision was sent, or the days are out of range.
    NotFound
        When there is no such quote.
    """
    _must_sell(actor)
    if not SHORTEST_DAYS <= days <= LONGEST_DAYS:
        raise Conflict(f"A link lasts from {SHORTEST_DAYS} to {LONGEST_DAYS} days.")
    standing = room.desk.desk.get(number).standing
    if standing is None:
        raise Conflict("Only a quote that was sent can be shared: send it first.")
    now = room.desk.clock()
    token = secrets.token_urlsafe(TOKEN_BYTES)
    link = ShareLink(
        digest=digest_of(token),
        number=number,
        revision=standing.revision,
        made_by=actor.name,
        made_at=now,
        expires_at=now + timedelta(days=days),
    )
    room.links.add(link)
    return NewLink(token, link)


def revoke(actor: Actor, room: ShareRoom, number: str, digest: str) -> None:
    """End a link of a quote.

    Raises
    ------
    NotAllowed
        When a customer asks.
    NotFound
        When the quote has no such link.
    """
    _must_sell(actor)
    if all(link.digest != digest for link in room.links.of_quote(number)):
        raise NotFound(f"The quote {number[:40]} has no such link.")
    room.links.revoke(digest, room.desk.clock())


def links_of(actor: Actor, room: ShareRoom, number: str) -> tuple[ShareLink, ...]:
    """Return the links of a quote, newest first; for the seller's people."""
    _must_sell(actor)
    return room.links.of_quote(number)


def opened(room: ShareRoom, token: str, wanted: int | None = None) -> SharedQuote:
    """Return what a link leads to.

    Parameters
    ----------
    room : ShareRoom
        Stores and clock.
    token : str
        As it came with the address.
    wanted : int or None
        A later revision that the customer was told of; None: the link's own.

    Raises
    ------
    NotFound
        For a link that was never made, has ended or was revoked, and for a revision that it does
        not open: always with the same words.
    """
    now = room.desk.clock()
    digest = digest_of(token)
    link = room.links.by_digest(digest)
    if link is None or not hmac.compare_digest(link.digest, digest) or not link.works_at(now):
        raise NotFound(NOWHERE)
    case = room.desk.desk.get(link.number)
    later = _later(case, link.revision)
    shared = later is not None and any(
        each.revision == later and each.works_at(now) for each in room.links.of_quote(link.number)
    )
    shown = link.revision if wanted is None else wanted
    if shown != link.revision and not (shared and shown == later):
        raise NotFound(NOWHERE)
    return SharedQuote(
        case=case,
        revision=case.revision(shown),
        state=case.state_of(shown, now.date()),
        later=later if shown != later else None,
        later_is_shared=shared,
    )


def answered(room: ShareRoom, token: str, revision: int, said: CustomerAnswer) -> SharedQuote:
    """Record the customer's answer, once, and return the quote as it stands then.

    Parameters
    ----------
    room : ShareRoom
        Stores and clock.
    token : str
        As it came with the address.
    revision : int
        The revision that was shown to the customer.
    said : CustomerAnswer
        Accepted or declined, by whom.

    Raises
    ------
    NotFound
        As for `opened`.
    Conflict
        When it was answered already, is no longer valid or was superseded.
    """
    customer = Actor(said.name, Role.CUSTOMER)
    for left in reversed(range(ROUNDS)):
        case = opened(room, token, revision).case
        try:
            answer(customer, room.desk, Seen(case.number, case.version), revision, said)
        except Conflict:
            # Notes written at the desk between the two steps are nothing to the customer.
            if left and room.desk.desk.get(case.number).version != case.version:
                continue
            raise
        break
    return opened(room, token, revision)


def _later(case: QuoteCase, revision: int) -> int | None:
    """Return the newest revision after one that was sent."""
    sent = (
        each.revision
        for each, state in zip(case.revisions, case.standings, strict=True)
        if each.revision > revision and state in FROZEN and state is not QuoteState.SUPERSEDED
    )
    return max(sent, default=None)


def _must_sell(actor: Actor) -> None:
    if not actor.sells:
        raise NotAllowed("This is for the seller's people.")
