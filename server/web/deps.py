"""What routes are given: the engine and the stores, typed by their ports."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

from fastapi import Depends, Request

from server.catalog.items import Catalog
from server.fit.inquiry import InquiryIn, to_requirements
from server.fit.ports import AdviceStore, CatalogStore, Engine, SavedAdvice
from server.web.settings import Settings

if TYPE_CHECKING:
    from server.quoting.ports import QuoteStore


@dataclass(frozen=True)
class Services:
    """Everything that the routes use; made once, in ``web/app.py`` or by a test."""

    engine: Engine
    advices: AdviceStore
    catalogs: CatalogStore
    quotes: QuoteStore


def services_of(request: Request) -> Services:
    """Return the services of the running app."""
    services: Services = request.app.state.services
    return services


def settings_of(request: Request) -> Settings:
    """Return the settings of the running app."""
    settings: Settings = request.app.state.settings
    return settings


def catalog_of(request: Request) -> Catalog:
    """Return the catalogue that new advice rests on."""
    return services_of(request).catalogs.current()


ServicesDep = Annotated[Services, Depends(services_of)]
SettingsDep = Annotated[Settings, Depends(settings_of)]
CatalogDep = Annotated[Catalog, Depends(catalog_of)]


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
