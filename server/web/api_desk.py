"""The shapes of the quote desk's JSON API: a quote over its life, what is sent to change it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from server.quoting.desk.actors import Actor, Role
from server.quoting.desk.approval import reasons_for_approval
from server.quoting.desk.case import QuoteCase
from server.quoting.desk.renewal import Topic
from server.quoting.desk.states import Move, QuoteState
from server.quoting.desk.use_cases import moves_of
from server.web.api_base import Out
from server.web.api_models import Money, QuoteOut

Cell = str | float | int | None
"""A cell as people type it; it is read, and refused by name, further in."""

Version = Annotated[int, Field(ge=1, le=10**9, description="The version that was seen.")]


class ActorOut(Out):
    """Who acted."""

    name: str
    role: Role


class EventOut(Out):
    """Something that happened to a quote."""

    at: datetime
    actor: ActorOut
    what: str
    note: str


class QuoteLinkOut(Out):
    """Another quote that this one comes from."""

    kind: str
    number: str


class AnswerOut(Out):
    """What the customer said."""

    accepted: bool
    name: str
    at: datetime
    note: str
    revision: int


class SellerMarginOut(Out):
    """What is left after the goods' cost; for the seller only."""

    cost: Money
    net: Money
    amount: Money
    percent: Money | None


class RevisionOut(Out):
    """One revision in brief."""

    revision: int
    state: QuoteState
    made_by: ActorOut
    made_at: datetime
    valid_until: date
    currency: str
    total: Money
    catalog_version: str
    engine_version: str


class CurrentQuoteOut(QuoteOut):
    """A quote's current revision as it is printed, and where it stands."""

    state: QuoteState
    version: int
    """To be named in the next change."""


class CaseOut(BaseModel):
    """A quote over its life, for the seller."""

    number: str
    version: int
    state: QuoteState
    revision: int
    """The current one."""
    revisions: list[RevisionOut]
    events: list[EventOut]
    internal_notes: str
    links: list[QuoteLinkOut]
    answer: AnswerOut | None
    margin: SellerMarginOut
    line_margins: list[SellerMarginOut]
    """In the order of the quote's lines."""
    moves: list[Move]
    """What who asks can do now."""
    approval_reasons: list[str]
    """Why who asks may not send it without approval; empty when they may."""
    quote: QuoteOut


class HeadingOut(Out):
    """A quote's line in a list."""

    number: str
    revision: int
    state: QuoteState
    customer: str
    title: str
    reference: str
    currency: str
    total: Money
    created_at: datetime
    changed_at: datetime
    valid_until: date


class QuotePageOut(Out):
    """One page of what was found, newest first."""

    headings: list[HeadingOut]
    found: int
    page: int
    pages: int
    page_size: int
    sums: Mapping[str, Money]
    """Currency → sum of the totals, on all pages."""


class DifferenceOut(Out):
    """One thing that would be different today."""

    topic: Topic
    what: str
    then: str
    now: str


class DifferencesOut(Out):
    """What would be different if the quote were made today."""

    number: str
    differences: list[DifferenceOut]


class Sent(BaseModel):
    """What every change names."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    version: Version


class NoteIn(Sent):
    """A move, and what is said about it."""

    note: Cell = None


class InternalNotesIn(Sent):
    """Notes for the house."""

    internal_notes: Cell = None


class AnswerIn(Sent):
    """The customer's answer to a revision."""

    revision: Annotated[int, Field(ge=1, le=10**6)]
    accepted: bool
    name: Cell = None
    note: Cell = None


class CloneIn(BaseModel):
    """For whom the copy is."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    customer: Cell = None
    address: Cell = None
    contact: Cell = None
    email: Cell = None


class LineIn(BaseModel):
    """One line: an item by ``sku``, or a service by ``name`` and ``unit_price``."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    sku: Cell = None
    name: Cell = None
    quantity: Cell = None
    unit_price: Cell = None
    unit_cost: Cell = None
    discount: Cell = None
    choice: Cell = None
    tax_rate: Cell = None
    note: Cell = None
    group: Cell = None


class ChangeIn(Sent):
    """What is to be different in a draft; what is left out stays as it is."""

    customer: Cell = None
    address: Cell = None
    contact: Cell = None
    email: Cell = None
    reference: Cell = None
    lines: list[LineIn] | None = None
    discount: Cell = None
    freight: Cell = None
    tax_rate: Cell = None
    price_list: Cell = None
    validity_days: Cell = None
    payment: Cell = None
    delivery: Cell = None
    warranty: Cell = None
    validity: Cell = None
    notes: Cell = None
    internal_notes: Cell = None


class SearchIn(BaseModel):
    """Which quotes are looked for; what is left out excludes none."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    text: str | None = None
    customer: str | None = None
    state: list[str] | None = None
    since: str | None = None
    until: str | None = None
    least: str | None = None
    largest: str | None = None
    currency: str | None = None
    page: str | None = None
    page_size: str | None = None


def current_out(case: QuoteCase, now: datetime) -> CurrentQuoteOut:
    """Return a quote's current revision, its state and version."""
    told = QuoteOut.model_validate(case.current.content)
    return CurrentQuoteOut(
        **{name: getattr(told, name) for name in QuoteOut.model_fields},
        state=case.state_at(now),
        version=case.version,
    )


def case_out(case: QuoteCase, actor: Actor, now: datetime) -> CaseOut:
    """Return a quote over its life, as a seller sees it."""
    current = case.current
    return CaseOut(
        number=case.number,
        version=case.version,
        state=case.state_at(now),
        revision=current.revision,
        revisions=[_revision_out(case, each.revision, now) for each in case.revisions],
        events=[EventOut.model_validate(each) for each in case.events],
        internal_notes=case.internal_notes,
        links=[QuoteLinkOut.model_validate(each) for each in case.links],
        answer=None if case.answer is None else AnswerOut.model_validate(case.answer),
        margin=SellerMarginOut.model_validate(current.margin),
        line_margins=[SellerMarginOut.model_validate(each) for each in current.line_margins],
        moves=list(moves_of(actor, case, now)),
        approval_reasons=list(reasons_for_approval(current, actor.role)),
        quote=QuoteOut.model_validate(current.content),
    )


def _revision_out(case: QuoteCase, number: int, now: datetime) -> RevisionOut:
    revision = case.revision(number)
    content = revision.content
    return RevisionOut(
        revision=number,
        state=case.state_of(number, now.date()),
        made_by=ActorOut.model_validate(revision.made_by),
        made_at=revision.made_at,
        valid_until=content.valid_until,
        currency=content.currency,
        total=content.total,
        catalog_version=revision.catalog_version,
        engine_version="" if revision.basis is None else revision.basis.engine_version,
    )
