"""A chosen stack becomes an offer: which lines, at which prices, from stock or later."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

from server.catalog.items import (
    Catalog,
    Filter,
    Fluid,
    Gauge,
    Interlock,
    Item,
    LinePart,
    Pump,
    Trap,
    Valve,
)
from server.fit.money import round_money
from server.fit.requirements import Requirements
from server.fit.results import Part, StackAdvice
from server.quoting.cautions import cautions_for
from server.quoting.consumables import later_lines, stack_consumables
from server.quoting.desk.goods import Wanted, dangerous_goods, export_hints, pieces_from_stock
from server.quoting.desk.lines import LineChoice
from server.quoting.desk.pricing import Terms, line_total, rounding_rule, sums_of
from server.quoting.order import QuoteOrder
from server.quoting.quote import LineGroup, Quote, QuoteLine

_GROUP_OF: tuple[tuple[type[Item], LineGroup], ...] = (
    (Pump, LineGroup.PUMPS),
    (Fluid, LineGroup.FLUIDS),
    (LinePart, LineGroup.LINE),
    (Valve, LineGroup.VALVES),
    (Gauge, LineGroup.GAUGES),
    (Interlock, LineGroup.GAUGES),
    (Trap, LineGroup.TRAPS),
    (Filter, LineGroup.TRAPS),
)

_KEEP = "supplied with the pump: keep it"


def draft_quote(
    stack: StackAdvice, requirements: Requirements, catalog: Catalog, order: QuoteOrder
) -> Quote:
    """Return the offer of a stack, without a number.

    Parameters
    ----------
    stack : StackAdvice
        The stack chosen from an advice or a check.
    requirements : Requirements
        What it was judged against.
    catalog : Catalog
        Prices and stock; its version is named on the offer.
    order : QuoteOrder
        Customer, taxes, validity and what else is wanted.

    Raises
    ------
    UnknownName
        When the catalogue no longer has one of the parts.
    OutOfRange
        When an amount is none.
    """
    lines = list(_part_lines(stack.parts, catalog))
    lines += _consumable_lines(stack, requirements, catalog, order)
    lines += [_supplied_line(part, catalog.currency) for part in stack.parts if not part.sku]
    nothing = round_money(Decimal(0), catalog.currency)
    bare = Quote(
        number="",
        created_at=order.created_at,
        valid_until=order.created_at.date() + timedelta(days=order.validity_days),
        seller=order.seller,
        customer=order.customer,
        reference=order.reference,
        title=requirements.title,
        stack_title=stack.title,
        currency=catalog.currency,
        lines=tuple(lines),
        net=nothing,
        tax_rate_percent=order.tax_rate_percent,
        tax=nothing,
        total=nothing,
        lead_time_days=0,
        margins=stack.margins,
        flags=stack.flags,
        cautions=cautions_for(stack.parts, requirements, catalog),
        assumptions=requirements.assumptions,
        notes=order.notes,
        catalog_version=catalog.version,
        advice_token=order.advice_token,
        stack_rank=stack.rank,
        texts=order.texts,
        locale=order.locale,
    )
    return reckoned(bare, catalog)


def reckoned(quote: Quote, catalog: Catalog) -> Quote:
    """Return an offer with everything that follows from its lines and terms worked out anew.

    Line totals, sums and taxes; what leaves from stock and when; dangerous goods and export hints.
    Lines are put under their headings, in the order they have.

    Parameters
    ----------
    quote : Quote
        Lines with pieces, unit prices, discounts and choices; terms.
    catalog : Catalog
        Stock, lead times and what the goods are.

    Raises
    ------
    UnknownName
        When the catalogue does not have a line's SKU.
    OutOfRange
        When an amount is none, or a discount is not from 0 to 100 %.
    """
    headings = list(LineGroup)
    kept = sorted(quote.lines, key=lambda line: headings.index(line.group))
    items = {line.sku: catalog.get(line.sku, Item) for line in kept if line.sku}
    wanted = [Wanted(x.sku, x.quantity, x.choice is LineChoice.INCLUDED) for x in kept]
    at_once = pieces_from_stock(wanted, catalog)
    lines = tuple(
        _reckoned_line(line, items.get(line.sku), pieces, quote.currency)
        for line, pieces in zip(kept, at_once, strict=True)
    )
    terms = Terms(quote.currency, quote.discount_percent, quote.freight, quote.tax_rate_percent)
    sums = sums_of(lines, terms)
    included = [line for line in lines if line.choice is LineChoice.INCLUDED]
    return replace(
        quote,
        lines=lines,
        net=sums.net,
        discount=sums.discount,
        freight=sums.freight,
        taxes=sums.taxes,
        tax=sums.tax,
        total=sums.total,
        lead_time_days=max((line.lead_time_days for line in included), default=0),
        rounding=rounding_rule(quote.currency),
        dangerous_goods=dangerous_goods(items.values()),
        export_hints=export_hints(items.values()),
    )


def item_line(
    item: Item, quantity: int, currency: str, note: str = "", group: LineGroup | None = None
) -> QuoteLine:
    """Return the line of an item at its list price, under a heading or that of its kind."""
    unit_price = round_money(item.price, currency)
    total = round_money(unit_price * quantity, currency)
    heading = group or group_of(item)
    return QuoteLine(heading, item.sku, item.name, quantity, unit_price, total, 0, note)


def group_of(item: Item) -> LineGroup:
    """Return the heading an item stands under by its kind."""
    for kind, group in _GROUP_OF:
        if isinstance(item, kind):
            return group
    return LineGroup.FIRST_CONSUMABLES


def _reckoned_line(line: QuoteLine, item: Item | None, at_once: int, currency: str) -> QuoteLine:
    days = 0 if item is None or at_once == line.quantity else item.lead_time_days
    total = line_total(line.unit_price, line.quantity, line.discount_percent, currency)
    return replace(line, total=total, lead_time_days=days, from_stock=at_once)


def _part_lines(parts: Iterable[Part], catalog: Catalog) -> Iterable[QuoteLine]:
    merged: dict[str, tuple[int, str]] = {}
    for part in parts:
        if part.sku:
            had, note = merged.get(part.sku, (0, ""))
            notes = [note] if part.note in note else [note, part.note]
            merged[part.sku] = (had + part.quantity, "; ".join(filter(None, notes)))
    for sku, (quantity, note) in merged.items():
        yield item_line(catalog.get(sku, Item), quantity, catalog.currency, note)


def _consumable_lines(
    stack: StackAdvice, requirements: Requirements, catalog: Catalog, order: QuoteOrder
) -> list[QuoteLine]:
    if order.consumables_years <= 0:
        return []
    years = order.consumables_years
    period = "one year" if years == 1 else f"{years:g} years"
    found = stack_consumables(stack.parts, requirements, catalog, years)
    return [
        item_line(
            catalog.get(line.sku, Item),
            line.pieces,
            catalog.currency,
            f"for {period}: {line.reason}",
            LineGroup.FIRST_CONSUMABLES,
        )
        for line in later_lines(found)
    ]


def _supplied_line(part: Part, currency: str) -> QuoteLine:
    zero = round_money(Decimal(0), currency)
    note = (
        part.note
        if part.note.startswith("supplied with")
        else "; ".join(filter(None, (_KEEP, part.note)))
    )
    return QuoteLine(LineGroup.SUPPLIED, "", part.name, part.quantity, zero, zero, 0, note)
