"""The JSON API for programs: consumables of pumps, quotes of stacks."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from server.quoting.documents import bill_csv, quote_csv, quote_json
from server.quoting.due_dates import calendar_file
from server.web.api_desk import CurrentQuoteOut, current_out
from server.web.api_models import (
    AssumptionOut,
    CatalogIdentityOut,
    ConsumablesOut,
    DueOut,
    QuoteOut,
    RefusedRowOut,
    UpkeepLineOut,
)
from server.web.consumables import ConsumablesIn, consumables_for
from server.web.deps import ActorDep, CatalogDep, ServicesDep, offer_and_save, utc_now
from server.web.routes.api import MISSING, REFUSALS, as_json

router = APIRouter(prefix="/api/v1", tags=["api"], responses=REFUSALS)


def as_text(media_type: str) -> dict[int | str, dict[str, Any]]:
    """Return how an answer that is a text file is described."""
    return {200: {"content": {media_type: {"schema": {"type": "string"}}}}}


Cell = str | float | int | None
Number = Annotated[str, Path(min_length=1, max_length=40)]


class QuoteIn(BaseModel):
    """A stack of a saved advice, and to whom it is offered; the cells as people type them."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    advice: Annotated[str, Field(min_length=1, max_length=40)]
    rank: Annotated[int, Field(ge=1, le=50)]
    customer: Cell = None
    address: Cell = None
    contact: Cell = None
    email: Cell = None
    reference: Cell = None
    tax_rate: Cell = None
    validity_days: Cell = None
    consumables_years: Cell = None
    notes: Cell = None


@router.post("/consumables", response_model=ConsumablesOut)
def consumables(request: ConsumablesIn, catalog: CatalogDep) -> Response:
    """List what pumps use up over a period, with the reason for every quantity."""
    answer = consumables_for(request, catalog)
    bill = answer.bill
    told = ConsumablesOut(
        catalog=CatalogIdentityOut(name=catalog.name, version=catalog.version),
        currency=bill.currency,
        horizon_years=bill.horizon_years,
        assumptions=[AssumptionOut.model_validate(each) for each in answer.assumptions],
        lines=[UpkeepLineOut.model_validate(line) for line in bill.lines],
        total=bill.total,
        as_of=answer.as_of,
        due=[DueOut.model_validate(each) for each in answer.due],
        refused=[
            RefusedRowOut.model_validate(row)
            for row in (answer.table.refused if answer.table else ())
        ],
    )
    return as_json(told)


@router.post("/consumables.csv", response_class=Response, responses=as_text("text/csv"))
def consumables_as_csv(request: ConsumablesIn, catalog: CatalogDep) -> Response:
    """Return what pumps use up as a table for spreadsheets."""
    answer = consumables_for(request, catalog)
    return Response(bill_csv(answer.bill), media_type="text/csv")


@router.post("/consumables.ics", response_class=Response, responses=as_text("text/calendar"))
def consumables_as_calendar(request: ConsumablesIn, catalog: CatalogDep) -> Response:
    """Return the days on which upkeep is due, as a calendar file (RFC 5545)."""
    answer = consumables_for(request, catalog)
    text = calendar_file(answer.due, answer.as_of, catalog.items)
    return Response(text, media_type="text/calendar")


@router.post("/quotes", response_model=CurrentQuoteOut, status_code=201, responses=MISSING)
def offer(request: QuoteIn, services: ServicesDep, actor: ActorDep) -> Response:
    """Begin a quote of one stack of a saved advice, under the next number of the year."""
    typed = request.model_dump(exclude={"advice", "rank"}, exclude_none=True)
    case = offer_and_save(actor, services, request.advice, request.rank, typed)
    answer = as_json(current_out(case, utc_now()))
    answer.status_code = 201
    answer.headers["Location"] = f"/api/v1/quotes/{case.number}"
    return answer


@router.get(
    "/quotes/{number}.csv",
    response_class=Response,
    responses={**MISSING, 200: {"content": {"text/csv": {"schema": {"type": "string"}}}}},
)
def quote_as_csv(number: Number, services: ServicesDep) -> Response:
    """Return a quote as a table for spreadsheets."""
    quote = services.desk.get(number).current.content
    return Response(
        quote_csv(quote), headers=attachment(f"{quote.number}.csv"), media_type="text/csv"
    )


@router.get("/quotes/{number}.json", response_model=QuoteOut, responses=MISSING)
def quote_as_file(number: Number, services: ServicesDep) -> Response:
    """Return a quote as a file for programs."""
    quote = services.desk.get(number).current.content
    return Response(
        quote_json(quote),
        headers=attachment(f"{quote.number}.json"),
        media_type="application/json",
    )


@router.get("/quotes/{number}", response_model=CurrentQuoteOut, responses=MISSING)
def quote(number: Number, services: ServicesDep) -> Response:
    """Return a quote's current revision as it is printed, with its state and version."""
    return as_json(current_out(services.desk.get(number), utc_now()))


def attachment(name: str) -> dict[str, str]:
    """Return the header that makes a browser save an answer under a name."""
    return {"Content-Disposition": f'attachment; filename="quote-{name}"'}
