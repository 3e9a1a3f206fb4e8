"""The operating card of a stack as PDF, before there is a quote."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from server.quoting.desk.revision import Basis
from server.web.deps import ServicesDep, seller_of
from server.web.papers import CardIssue, card_paper, print_room_of
from server.web.routes.pages_advice import stack_of

router = APIRouter()


@router.get("/advice/{token}/stack/{rank}/card.pdf")
def card_as_pdf(request: Request, token: str, rank: int, services: ServicesDep) -> Response:
    """Return the operating card of one stack as PDF."""
    saved = services.advices.get(token)
    stack = stack_of(saved, rank)
    basis = Basis(saved.requirements, stack, saved.catalog_version, saved.engine_version)
    author = seller_of(services.catalogs.version(saved.catalog_version)).name
    return card_paper(
        basis, CardIssue(author, saved.created_at, f"stack-{rank}"), print_room_of(request)
    )
