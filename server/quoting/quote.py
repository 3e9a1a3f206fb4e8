"""A chosen stack becomes an offer: grouped lines, exact sums, lead time, what was assumed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum

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
from server.errors import OutOfRange
from server.fit.money import round_money, sum_money, tax_on
from server.fit.requirements import Assumption, Requirements
from server.fit.results import Margin, Part, StackAdvice
from server.quoting.cautions import Caution, cautions_for
from server.quoting.consumables import later_lines, stack_consumables
from server.quoting.order import Party, QuoteOrder


class LineGroup(StrEnum):
    """Headings of a quote, in the order they are printed."""

    PUMPS = "pumps"
    FLUIDS = "fluids and oils"
    LINE = "line parts and joints"
    VALVES = "valves"
    GAUGES = "gauges and interlocks"
    TRAPS = "traps and filters"
    FIRST_CONSUMABLES = "first consumables"
    SUPPLIED = "supplied with the pumps"


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


@dataclass(frozen=True)
class QuoteLine:
    """One line of an offer."""

    group: LineGroup
    sku: str
    """Empty for supplied parts, which cannot be ordered."""
    name: str
    quantity: int
    unit_price: Decimal
    total: Decimal
    lead_time_days: int
    """Zero when the stock covers everything the quote asks for."""
    note: str


@dataclass(frozen=True)
class Quote:
    """An offer; an issued one never changes."""

    number: str
    """Empty for a draft."""
    created_at: datetime
    valid_until: date
    seller: Party
    customer: Party
    reference: str
    title: str
    stack_title: str
    currency: str
    lines: tuple[QuoteLine, ...]
    net: Decimal
    tax_rate_percent: Decimal
    tax: Decimal
    total: Decimal
    lead_time_days: int
    """The longest of the lines, stock taken into account."""
    margins: tuple[Margin, ...]
    flags: tuple[str, ...]
    cautions: tuple[Caution, ...]
    assumptions: tuple[Assumption, ...]
    notes: str
    catalog_version: str
    advice_token: str = ""
    """Link of the advice the offer rests on."""
    stack_rank: int = 0

    @property
    def day(self) -> date:
        """Date printed on the offer."""
        return self.created_at.date()

    def lines_of(self, group: LineGroup) -> tuple[QuoteLine, ...]:
        """Return the lines under one heading."""
        return tuple(line for line in self.lines if line.group is group)

    @property
    def groups(self) -> tuple[LineGroup, ...]:
        """Headings that have lines, in order."""
        return tuple(group for group in LineGroup if self.lines_of(group))

    def numbered(self, number: str) -> Quote:
        """Return this draft as the issued offer of a number.

        Raises
        ------
        OutOfRange
            When the quote has a number already.
        """
        if self.number:
            raise OutOfRange(f"The quote {self.number} has been issued already.")
        return replace(self, number=number)


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
    currency = catalog.currency
    lines = list(_part_lines(stack.parts, catalog))
    lines += _consumable_lines(stack, requirements, catalog, order)
    lines += [_supplied_line(part, currency) for part in stack.parts if not part.sku]
    priced = _with_lead_times(lines, catalog)
    net = sum_money((line.total for line in priced), currency)
    tax = tax_on(net, order.tax_rate_percent, currency)
    return Quote(
        number="",
        created_at=order.created_at,
        valid_until=order.created_at.date() + timedelta(days=order.validity_days),
        seller=order.seller,
        customer=order.customer,
        reference=order.reference,
        title=requirements.title,
        stack_title=stack.title,
        currency=currency,
        lines=priced,
        net=net,
        tax_rate_percent=order.tax_rate_percent,
        tax=tax,
        total=sum_money((net, tax), currency),
        lead_time_days=max((line.lead_time_days for line in priced), default=0),
        margins=stack.margins,
        flags=stack.flags,
        cautions=cautions_for(stack.parts, requirements, catalog),
        assumptions=requirements.assumptions,
        notes=order.notes,
        catalog_version=catalog.version,
        advice_token=order.advice_token,
        stack_rank=stack.rank,
    )


def quote_number(year: int, serial: int) -> str:
    """Return the number of the ``serial``-th quote of a year, such as ``2026-0017``."""
    return f"{year}-{serial:04d}"


def _part_lines(parts: Iterable[Part], catalog: Catalog) -> Iterable[QuoteLine]:
    merged: dict[str, tuple[int, str]] = {}
    for part in parts:
        if part.sku:
            had, note = merged.get(part.sku, (0, ""))
            notes = [note] if part.note in note else [note, part.note]
            merged[part.sku] = (had + part.quantity, "; ".join(filter(None, notes)))
    for sku, (quantity, note) in merged.items():
        item = catalog.get(sku, Item)
        yield _line(_group_of(item), item, quantity, note, catalog.currency)


def _consumable_lines(
    stack: StackAdvice, requirements: Requirements, catalog: Catalog, order: QuoteOrder
) -> list[QuoteLine]:
    if order.consumables_years <= 0:
        return []
    years = order.consumables_years
    period = "one year" if years == 1 else f"{years:g} years"
    found = stack_consumables(stack.parts, requirements, catalog, years)
    return [
        _line(
            LineGroup.FIRST_CONSUMABLES,
            catalog.get(line.sku, Item),
            line.pieces,
            f"for {period}: {line.reason}",
            catalog.currency,
        )
        for line in later_lines(found)
    ]


def _group_of(item: Item) -> LineGroup:
    for kind, group in _GROUP_OF:
        if isinstance(item, kind):
            return group
    return LineGroup.FIRST_CONSUMABLES


def _line(group: LineGroup, item: Item, quantity: int, note: str, currency: str) -> QuoteLine:
    unit_price = round_money(item.price, currency)
    total = round_money(unit_price * quantity, currency)
    return QuoteLine(group, item.sku, item.name, quantity, unit_price, total, 0, note)


def _supplied_line(part: Part, currency: str) -> QuoteLine:
    zero = round_money(Decimal(0), currency)
    note = (
        part.note
        if part.note.startswith("supplied with")
        else "; ".join(filter(None, (_KEEP, part.note)))
    )
    return QuoteLine(LineGroup.SUPPLIED, "", part.name, part.quantity, zero, zero, 0, note)


def _with_lead_times(lines: Iterable[QuoteLine], catalog: Catalog) -> tuple[QuoteLine, ...]:
    """Set each line's lead time: none where the stock covers all pieces asked for of its SKU."""
    order = list(LineGroup)
    asked: dict[str, int] = {}
    kept = sorted(lines, key=lambda line: order.index(line.group))
    for line in kept:
        asked[line.sku] = asked.get(line.sku, 0) + line.quantity
    return tuple(
        replace(line, lead_time_days=_lead_time(catalog.get(line.sku, Item), asked[line.sku]))
        if line.sku
        else line
        for line in kept
    )


def _lead_time(item: Item, quantity: int) -> int:
    return 0 if item.stock >= quantity else item.lead_time_days
