"""A quote over its life: revisions, where each stands, what happened, what was answered."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime

from server.errors import NotFound, OutOfRange
from server.quoting.desk.actors import Actor
from server.quoting.desk.revision import Revision
from server.quoting.desk.states import FROZEN, QuoteState, state_on


@dataclass(frozen=True)
class Event:
    """Something that happened, who did it, and what they said about it."""

    at: datetime
    actor: Actor
    what: str
    note: str = ""


@dataclass(frozen=True)
class CustomerAnswer:
    """What the customer said, recorded once."""

    accepted: bool
    name: str
    at: datetime
    note: str = ""
    revision: int = 1
    """The revision that was answered."""


@dataclass(frozen=True)
class QuoteLink:
    """Another quote that this one comes from or led to."""

    kind: str
    """``clone of``, ``cloned as``, ``reorder of``, ``reordered as``."""
    number: str


@dataclass(frozen=True)
class QuoteCase:
    """Everything about one quote; changed by making another one and saving it."""

    number: str
    """Empty until it is first kept."""
    version: int
    """Grows with every change; who changes names the version they saw."""
    revisions: tuple[Revision, ...]
    """In order of their numbers; at least one."""
    standings: tuple[QuoteState, ...]
    """The state of each revision."""
    events: tuple[Event, ...] = ()
    internal_notes: str = ""
    links: tuple[QuoteLink, ...] = ()
    answer: CustomerAnswer | None = None

    @property
    def current(self) -> Revision:
        """The accepted revision; else the newest that was not superseded or dropped."""
        return self.revisions[self._at]

    @property
    def state(self) -> QuoteState:
        """The current revision's state as kept; `state_at` also looks at the clock."""
        return self.standings[self._at]

    @property
    def customer(self) -> str:
        """Name of the customer."""
        return self.current.content.customer.name

    @property
    def created_at(self) -> datetime:
        """When the first revision was begun."""
        return self.revisions[0].made_at

    @property
    def changed_at(self) -> datetime:
        """When something last happened."""
        return self.events[-1].at if self.events else self.revisions[-1].made_at

    @property
    def standing(self) -> Revision | None:
        """The revision the customer holds: the last that was sent, whatever became of it."""
        for revision, state in zip(reversed(self.revisions), reversed(self.standings), strict=True):
            if state in FROZEN and state is not QuoteState.SUPERSEDED:
                return revision
        return None

    @property
    def _at(self) -> int:
        if QuoteState.ACCEPTED in self.standings:
            return self.standings.index(QuoteState.ACCEPTED)
        last = len(self.standings) - 1
        alive = (i for i in range(last, -1, -1) if self.standings[i] is not QuoteState.SUPERSEDED)
        return next(alive, last)

    def state_at(self, now: datetime) -> QuoteState:
        """Return the current revision's state at a time."""
        return self.state_of(self.current.revision, now.date())

    def state_of(self, revision: int, today: date) -> QuoteState:
        """Return the state of one revision on a day; raises ``NotFound``."""
        valid_until = self.revision(revision).content.valid_until
        return state_on(self.standings[revision - 1], valid_until, today)

    def revision(self, number: int) -> Revision:
        """Return one revision.

        Raises
        ------
        NotFound
            When the quote has no such revision.
        """
        if not 1 <= number <= len(self.revisions):
            raise NotFound(f"The quote {self.number} has no revision {number}.")
        return self.revisions[number - 1]

    def numbered(self, number: str) -> QuoteCase:
        """Return this new case under the number it is kept by.

        Raises
        ------
        OutOfRange
            When it has a number already.
        """
        if self.number:
            raise OutOfRange(f"The quote {self.number} has a number already.")
        revisions = tuple(
            replace(each, number=number, content=each.content.numbered(number))
            for each in self.revisions
        )
        return replace(self, number=number, version=1, revisions=revisions)

    def saved_after(self, seen_version: int) -> QuoteCase:
        """Return the case as it is kept after a change to the version that was seen."""
        return replace(self, version=seen_version + 1)

    def with_revision(self, revision: Revision, state: QuoteState) -> QuoteCase:
        """Return the case with a revision put in its place, or added as the next."""
        at = revision.revision - 1
        revisions = (*self.revisions[:at], revision, *self.revisions[at + 1 :])
        standings = (*self.standings[:at], state, *self.standings[at + 1 :])
        return replace(self, revisions=revisions, standings=standings)

    def with_state(self, revision: int, state: QuoteState) -> QuoteCase:
        """Return the case with one revision in another state."""
        return self.with_revision(self.revision(revision), state)

    def with_event(self, event: Event) -> QuoteCase:
        """Return the case with one more event."""
        return replace(self, events=(*self.events, event))
