"""The JSON API for programs: advice, check of a chosen stack, the catalogue."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields, is_dataclass
from decimal import Decimal
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, ConfigDict
from starlette.responses import Response

from server.catalog.flanges import Flange
from server.catalog.items import Catalog, Item
from server.errors import Fault, InvalidInquiry, NotFound, UnknownName
from server.fit.choice import StackChoice
from server.fit.inquiry import InquiryIn, to_requirements
from server.fit.inquiry_types import TextOf
from server.fit.letter.reader import read_letter
from server.fit.ports import SavedAdvice
from server.web.api_letter import LetterOut
from server.web.api_models import (
    AdviceOut,
    CatalogIdentityOut,
    CatalogOut,
    Errors,
    ItemOut,
    StackOut,
)
from server.web.deps import CatalogDep, ServicesDep, advise_and_save

REFUSALS: dict[int | str, dict[str, Any]] = {
    400: {"model": Errors, "description": "The request is not for this server."},
    413: {"model": Errors, "description": "The body is too large."},
    422: {"model": Errors, "description": "One entry per fault."},
}
MISSING: dict[int | str, dict[str, Any]] = {404: {"model": Errors, "description": "Not kept here."}}

router = APIRouter(prefix="/api/v1", tags=["api"], responses=REFUSALS)

Sku = Annotated[str, TextOf(40)]
Token = Annotated[str, Path(min_length=1, max_length=40)]
SkuPath = Annotated[str, Path(min_length=1, max_length=40)]


class StackIn(BaseModel):
    """A customer's own choice, by SKU; null leaves a part out, a fluid to the usual one."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    high_vacuum_pump: Sku | None = None
    booster: Sku | None = None
    backing_pump: Sku | None = None
    fluid: Sku | None = None
    trap: Sku | None = None


class LetterIn(BaseModel):
    """A customer's letter as plain text."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    text: str


class CheckIn(BaseModel):
    """What is wanted, and the stack to judge."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    requirements: InquiryIn
    stack: StackIn


@router.post("/advice", response_model=AdviceOut)
def advise(inquiry: InquiryIn, services: ServicesDep) -> Response:
    """Rank the stacks of the catalogue for an inquiry, and keep the answer."""
    return as_json(advice_out(advise_and_save(services, inquiry)))


@router.get("/advice/{token}", response_model=AdviceOut, responses=MISSING)
def saved_advice(token: Token, services: ServicesDep) -> Response:
    """Return an answer given earlier, unchanged."""
    return as_json(advice_out(services.advices.get(token)))


@router.post("/check", response_model=StackOut)
def check(request: CheckIn, services: ServicesDep, catalog: CatalogDep) -> Response:
    """Judge one chosen stack, whether or not it fits."""
    choice = StackChoice(**request.stack.model_dump())
    try:
        requirements = to_requirements(request.requirements, currency=catalog.currency)
    except InvalidInquiry as error:
        raise InvalidInquiry([_inside("requirements", fault) for fault in error.faults]) from None
    try:
        stack = services.engine.check(requirements, catalog, choice)
    except UnknownName as error:
        raise InvalidInquiry([_unknown_sku(choice, error)]) from None
    return as_json(StackOut.model_validate(stack))


@router.post("/read-inquiry", response_model=LetterOut)
def read_inquiry(request: LetterIn) -> Response:
    """Find the requirements that a letter states, each with the words it came from."""
    return as_json(LetterOut.model_validate(read_letter(request.text)))


@router.get("/catalog", response_model=CatalogOut)
def catalog_items(
    catalog: CatalogDep,
    kind: Annotated[str | None, Query(max_length=40)] = None,
    type: Annotated[str | None, Query(max_length=40)] = None,
) -> Response:
    """List what can be sold, with curves and limits, all of it or by kind or type."""
    shown = [item_out(item) for item in catalog.items.values()]
    if kind is not None:
        shown = [item for item in shown if (item.model_extra or {}).get("kind") == kind]
    if type is not None:
        shown = [item for item in shown if item.type == type]
    identity = CatalogIdentityOut(name=catalog.name, version=catalog.version)
    return as_json(CatalogOut(catalog=identity, currency=catalog.currency, items=shown))


@router.get("/catalog/{sku}", response_model=ItemOut, responses=MISSING)
def catalog_item(sku: SkuPath, catalog: CatalogDep) -> Response:
    """Return one item with its curves and limits."""
    return as_json(item_out(item_of(catalog, sku)))


def advice_out(saved: SavedAdvice) -> AdviceOut:
    """Return the answer's shape for programs."""
    advice = {f.name: getattr(saved.advice, f.name) for f in fields(saved.advice)}
    kept = {"token": saved.token, "created_at": saved.created_at, "title": saved.title}
    return AdviceOut.model_validate({**advice, **kept})


def item_of(catalog: Catalog, sku: str) -> Item:
    """Return an item of any class.

    Raises
    ------
    NotFound
        When the catalogue has no such SKU.
    """
    item = catalog.items.get(sku)
    if item is None:
        raise NotFound(f"The catalogue has no item “{sku[:40]}”.")
    return item


def item_out(item: Item) -> ItemOut:
    """Return an item without its cost price, every other field by its name."""
    told = {f.name: _plain(getattr(item, f.name)) for f in fields(item) if f.name != "cost_price"}
    return ItemOut.model_validate({**told, "type": _type_name(item), "price": item.price})


def as_json(answer: BaseModel) -> Response:
    """Return an answer as JSON, written here in the worker thread and not on the event loop."""
    return Response(answer.model_dump_json(by_alias=True), media_type="application/json")


def _type_name(item: Item) -> str:
    name = type(item).__name__
    return "".join(f"_{char.lower()}" if char.isupper() else char for char in name).lstrip("_")


def _plain(value: object) -> object:
    if isinstance(value, Flange | Decimal):
        return str(value)
    if is_dataclass(value) and not isinstance(value, type):
        return {key: _plain(inner) for key, inner in asdict(value).items()}
    if isinstance(value, Mapping):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(inner) for inner in value]
    if isinstance(value, frozenset | set):
        return sorted(str(inner) for inner in value)
    return value


def _inside(group: str, fault: Fault) -> Fault:
    return Fault(f"{group}.{fault.field}", fault.typed, fault.message, fault.accepted)


def _unknown_sku(choice: StackChoice, error: UnknownName) -> Fault:
    named = [name for name, sku in asdict(choice).items() if sku == error.wanted]
    field = f"stack.{named[0]}" if named else "stack"
    return Fault(field, error.wanted[:100], str(error), ", ".join(error.known[:40]))
