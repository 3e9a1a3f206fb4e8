"""Every page, put together; the app includes this one router."""

from __future__ import annotations

from fastapi import APIRouter

from server.web.routes import (
    pages_advice,
    pages_catalog,
    pages_charts,
    pages_check,
    pages_consumables,
    pages_desk,
    pages_draft,
    pages_home,
    pages_inquiry,
    pages_links,
    pages_papers,
    pages_quote,
    pages_quotes,
    pages_received,
    pages_shared,
)

router = APIRouter(include_in_schema=False)
for part in (
    pages_home,
    pages_inquiry,
    pages_advice,
    pages_quote,
    pages_quotes,
    pages_desk,
    pages_papers,
    pages_draft,
    pages_check,
    pages_received,
    pages_links,
    pages_shared,
    pages_consumables,
    pages_catalog,
    pages_charts,
):
    router.include_router(part.router)
