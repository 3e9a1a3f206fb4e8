"""Documents of quotes: PDF for people, spreadsheets, XML for other programs."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from server.web.deps import ServicesDep
from server.web.papers import MEDIA_TYPES, Paper, print_room_of, quote_card, quote_paper
from server.web.routes.api import MISSING, REFUSALS

router = APIRouter(prefix="/api/v1/quotes", tags=["api"], responses=REFUSALS)

Number = Annotated[str, Path(min_length=1, max_length=40)]
RevisionNumber = Annotated[int | None, Query(ge=1, le=10**6)]


def _told(paper: Paper) -> dict[int | str, dict[str, Any]]:
    binary = {"schema": {"type": "string", "format": "binary"}}
    return {**MISSING, 200: {"content": {MEDIA_TYPES[paper]: binary}}}


@router.get("/{number}.pdf", response_class=Response, responses=_told(Paper.PDF))
def quote_as_pdf(
    request: Request, number: Number, services: ServicesDep, revision: RevisionNumber = None
) -> Response:
    """Return a quote as a tagged PDF; without a revision, the current one."""
    return _answer(request, number, services, revision, Paper.PDF)


@router.get("/{number}.xlsx", response_class=Response, responses=_told(Paper.XLSX))
def quote_as_xlsx(
    request: Request, number: Number, services: ServicesDep, revision: RevisionNumber = None
) -> Response:
    """Return a quote as a spreadsheet; without a revision, the current one."""
    return _answer(request, number, services, revision, Paper.XLSX)


@router.get("/{number}.xml", response_class=Response, responses=_told(Paper.XML))
def quote_as_xml(
    request: Request, number: Number, services: ServicesDep, revision: RevisionNumber = None
) -> Response:
    """Return a quote as a Quotation of ISO/IEC 19845; without a revision, the current one."""
    return _answer(request, number, services, revision, Paper.XML)


@router.get("/{number}/card.pdf", response_class=Response, responses=_told(Paper.PDF))
def card_as_pdf(
    request: Request, number: Number, services: ServicesDep, revision: RevisionNumber = None
) -> Response:
    """Return the operating card of the stack on offer as PDF."""
    case = services.desk.get(number)
    return quote_card(case, revision or case.current.revision, print_room_of(request))


def _answer(
    request: Request, number: str, services: ServicesDep, revision: int | None, paper: Paper
) -> Response:
    case = services.desk.get(number)
    return quote_paper(case, revision or case.current.revision, paper, print_room_of(request))
