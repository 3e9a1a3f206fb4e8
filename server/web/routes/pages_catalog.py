"""The catalogue: browse, narrow down, and one item with its curves and limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.catalog.items import Fluid, Item, Pump
from server.errors import NotFound
from server.web.deps import CatalogDep
from server.web.item_charts import fluid_chart, pump_chart
from server.web.item_facts import Fact, facts_of, group_of, has_words, summary_of
from server.web.pages import ChartView, RendererDep
from server.web.routes.pages_check import place_of

router = APIRouter(prefix="/catalog")


@dataclass(frozen=True)
class ListedItem:
    """One line of the list."""

    sku: str
    name: str
    summary: str
    item: Item


@dataclass(frozen=True)
class CatalogPage:
    """The list, narrowed down by group and words."""

    template: ClassVar[str] = "catalog/list.html"
    name: str
    version: str
    note: str
    currency: str
    groups: Sequence[tuple[str, int]]
    group: str
    words_typed: str
    found: Sequence[tuple[str, Sequence[ListedItem]]]
    found_number: int


@dataclass(frozen=True)
class ItemPage:
    """One item."""

    template: ClassVar[str] = "catalog/item.html"
    item: Item
    currency: str
    group: str
    facts: Sequence[Fact]
    charts: tuple[ChartView, ...]
    supplied: Sequence[tuple[str, int, str]]
    can_be_checked: bool


@router.get("")
def browse(request: Request, catalog: CatalogDep, renderer: RendererDep) -> HTMLResponse:
    """List the catalogue, all of it or what was asked for."""
    group = request.query_params.get("group", "")
    typed = request.query_params.get("q", "")[:100].strip()
    numbers: dict[str, int] = {}
    found: dict[str, list[ListedItem]] = {}
    for item in catalog.items.values():
        its_group = group_of(item)
        numbers[its_group] = numbers.get(its_group, 0) + 1
        listed = ListedItem(item.sku, item.name, summary_of(item), item)
        if group in {"", its_group} and has_words(item, typed):
            found.setdefault(its_group, []).append(listed)
    page = CatalogPage(
        name=catalog.name,
        version=catalog.version,
        note=catalog.note,
        currency=catalog.currency,
        groups=tuple(numbers.items()),
        group=group,
        words_typed=typed,
        found=tuple(found.items()),
        found_number=sum(len(items) for items in found.values()),
    )
    return renderer.page(request, page)


@router.get("/{sku}")
def show_item(
    request: Request, sku: str, catalog: CatalogDep, renderer: RendererDep
) -> HTMLResponse:
    """Show one item with its limits and curves, without its cost price."""
    item = catalog.items.get(sku)
    if item is None:
        raise NotFound(f"The catalogue has no item “{sku[:40]}”.")
    charts = []
    if isinstance(item, Pump) and (chart := pump_chart(item)) is not None:
        charts.append(chart)
    if isinstance(item, Fluid):
        charts.append(fluid_chart(item))
    supplied = item.supplied if isinstance(item, Pump) else ()
    page = ItemPage(
        item=item,
        currency=catalog.currency,
        group=group_of(item),
        facts=facts_of(item),
        charts=renderer.views(charts),
        supplied=[(part.name, part.quantity, part.note) for part in supplied],
        can_be_checked=bool(place_of(item)),
    )
    return renderer.page(request, page)
