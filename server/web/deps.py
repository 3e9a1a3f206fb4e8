"""What routes are given: the engine and the stores, typed by their ports."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated

from fastapi import Depends, Request

from server.catalog.items import Catalog
from server.errors import Fault, InvalidInquiry
from server.fit.inquiry import InquiryIn, to_requirements
from server.fit.ports import AdviceStore, CatalogStore, Engine, SavedAdvice
from server.quoting.desk.actors import Actor, Role
from server.quoting.desk.case import QuoteCase
from server.quoting.desk.delivery import Outbox
from server.quoting.desk.ports import QuoteDesk
from server.quoting.desk.revision import Basis
from server.quoting.desk.sharing import ShareLinks
from server.quoting.desk.use_cases import DeskRoom, create_draft
from server.quoting.inquiries import InquiryBox
from server.quoting.order import Party, read_order


@dataclass(frozen=True)
class Services:
    """Everything that the routes use; made once, in ``web/app.py`` or by a test."""

    engine: Engine
    advices: AdviceStore
    catalogs: CatalogStore
    outbox: Outbox
    desk: QuoteDesk
    inquiries: InquiryBox
    links: ShareLinks

    @property
    def room(self) -> DeskRoom:
        """What the use cases of the quote desk work with."""
        return DeskRoom(self.desk, self.catalogs, self.engine, utc_now)


def utc_now() -> datetime:
    """Return the time, UTC."""
    return datetime.now(UTC)


def actor_of(_request: Request) -> Actor:
    """Return who acts; one local user until people sign in."""
    return Actor("local user", Role.SALES_MANAGER)


def services_of(request: Request) -> Services:
    """Return the services of the running app."""
    services: Services = request.app.state.services
    return services


def catalog_of(request: Request) -> Catalog:
    """Return the catalogue that new advice rests on."""
    return services_of(request).catalogs.current()


ServicesDep = Annotated[Services, Depends(services_of)]
CatalogDep = Annotated[Catalog, Depends(catalog_of)]
ActorDep = Annotated[Actor, Depends(actor_of)]


def advise_and_save(services: Services, inquiry: InquiryIn) -> SavedAdvice:
    """Return the advice on an inquiry, kept under a new link.

    Parameters
    ----------
    services : Services
        Engine and stores.
    inquiry : InquiryIn
        A checked inquiry, as typed.

    Raises
    ------
    InvalidInquiry
        When cells contradict each other or the catalogue.
    """
    catalog = services.catalogs.current()
    requirements = to_requirements(inquiry, currency=catalog.currency)
    advice = services.engine.advise(requirements, catalog)
    saved = SavedAdvice(
        token=secrets.token_urlsafe(12),
        created_at=datetime.now(UTC),
        title=requirements.title,
        inquiry=as_typed(inquiry),
        requirements=requirements,
        advice=advice,
    )
    services.advices.add(saved)
    return saved


def as_typed(inquiry: InquiryIn) -> Mapping[str, object]:
    """Return the request as it was typed, without what was not given."""
    typed: dict[str, object] = inquiry.model_dump(mode="json", exclude_none=True)
    return typed


def seller_of(catalog: Catalog) -> Party:
    """Return who offers: the distributor the catalogue is named after."""
    if catalog.name == "demo":
        return Party("Demonstration distributor (invented)")
    return Party(catalog.name)


def offer_and_save(
    actor: Actor, services: Services, token: str, rank: int, typed: Mapping[str, object]
) -> QuoteCase:
    """Return a new quote, a draft, on one stack of a saved advice.

    Parameters
    ----------
    actor : Actor
        Who begins it.
    services : Services
        Stores.
    token : str
        Link of the advice.
    rank : int
        Which of its stacks.
    typed : mapping
        Customer and conditions as typed, by the names in ``quoting.order.FIELDS``.

    Raises
    ------
    NotFound
        When there is no such advice, or its catalogue can no longer be read.
    InvalidInquiry
        When the advice has no stack of this rank, or a condition cannot be used.
    """
    saved = services.advices.get(token)
    stack = next((each for each in saved.advice.stacks if each.rank == rank), None)
    if stack is None:
        ranks = ", ".join(str(each.rank) for each in saved.advice.stacks) or "none"
        raise InvalidInquiry(
            [Fault("rank", str(rank), "The advice has no stack of this rank.", ranks)]
        )
    # The prices are those the advice was computed with, whatever has been loaded since.
    catalog = services.catalogs.version(saved.catalog_version)
    order = read_order(typed, seller=seller_of(catalog), created_at=utc_now(), advice_token=token)
    basis = Basis(saved.requirements, stack, saved.catalog_version, saved.engine_version)
    case = create_draft(actor, services.room, basis, order)
    services.inquiries.note_quote(token, case.number)
    return case
