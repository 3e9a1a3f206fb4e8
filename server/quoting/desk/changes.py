"""Changes of a draft: read from what people type, then worked into the offer."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal

from server.catalog.items import Catalog, Item, Pump
from server.errors import Fault, InvalidInquiry
from server.fit.money import round_money
from server.quoting.desk.lines import LineChoice
from server.quoting.desk.texts import Texts
from server.quoting.drafting import item_line, reckoned
from server.quoting.order import USUAL_VALIDITY_DAYS, Party, tax_rate, validity_days
from server.quoting.quote import LineGroup, Quote, QuoteLine
from server.quoting.reading import CellReader, email, money, one_of, percent, whole_number

MOST_LINES = 500
LARGEST_QUANTITY = 10_000
LARGEST_PRICE = Decimal(10) ** 9

LINE_FIELDS = (
    "sku", "name", "quantity", "unit_price", "unit_cost", "discount", "choice", "tax_rate", "note",
    "group",
)  # fmt: skip
"""Names of what a line is read from; ``sku`` or, for a line in one's own words, ``name``."""

FIELDS = (
    "customer", "address", "contact", "email", "reference", "lines", "discount", "freight",
    "tax_rate", "price_list", "validity_days", "payment", "delivery", "warranty", "validity",
    "notes", "internal_notes",
)  # fmt: skip
"""Names of what a change is read from; what is not sent stays as it is."""


@dataclass(frozen=True)
class LineWish:
    """A line as it is to be: an item of the catalogue by SKU, or a service in one's own words."""

    quantity: int
    sku: str = ""
    name: str = ""
    """For a line without SKU."""
    unit_price: Decimal = Decimal(0)
    """For a line without SKU; an item has its list price."""
    unit_cost: Decimal = Decimal(0)
    """For a line without SKU."""
    discount_percent: Decimal = Decimal(0)
    choice: LineChoice = LineChoice.INCLUDED
    tax_rate_percent: Decimal | None = None
    note: str = ""
    group: LineGroup | None = None
    """None: the heading of the item's kind."""


@dataclass(frozen=True)
class DraftChange:
    """What is to be different; None leaves a thing as it is."""

    customer: Party | None = None
    reference: str | None = None
    lines: tuple[LineWish, ...] | None = None
    """All lines anew; parts that come with the pumps are added by themselves."""
    discount_percent: Decimal | None = None
    freight: Decimal | None = None
    tax_rate_percent: Decimal | None = None
    price_list: str | None = None
    validity_days: int | None = None
    texts: Texts | None = None
    notes: str | None = None
    internal_notes: str | None = None


def read_change(typed: Mapping[str, object], was: Quote) -> DraftChange:
    """Return the change of what was typed.

    Parameters
    ----------
    typed : mapping
        Text or numbers by the names in `FIELDS`, ``lines`` as a list of mappings by those in
        `LINE_FIELDS`. A field that is missing stays as it is; an empty one is emptied.
    was : Quote
        The draft as it is.

    Raises
    ------
    InvalidInquiry
        With one fault for each cell that cannot be used, named as ``lines.3.quantity``.
    """
    reader = CellReader(typed)
    reader.refuse_unknown(FIELDS)
    line_faults: list[Fault] = []
    wishes = _read_lines(typed["lines"], was.currency, line_faults) if "lines" in typed else None
    change = DraftChange(
        customer=_read_customer(reader, was.customer),
        reference=_line(reader, "reference"),
        lines=wishes,
        discount_percent=_number(reader, "discount", percent(Decimal(0), Decimal(100))),
        freight=_number(reader, "freight", money(was.currency, LARGEST_PRICE)),
        tax_rate_percent=_number(reader, "tax_rate", tax_rate),
        price_list=_line(reader, "price_list"),
        validity_days=_days(reader),
        texts=_read_texts(reader, was.texts),
        notes=_text(reader, "notes"),
        internal_notes=_text(reader, "internal_notes"),
    )
    faults = (*reader.faults, *line_faults)
    if faults:
        raise InvalidInquiry(faults)
    return change


def changed(was: Quote, change: DraftChange, catalog: Catalog) -> Quote:
    """Return a draft with a change worked in and everything reckoned anew.

    Parameters
    ----------
    was : Quote
        The draft as it is.
    change : DraftChange
        What is to be different.
    catalog : Catalog
        The catalogue whose prices the draft has.

    Raises
    ------
    InvalidInquiry
        When a line names an item that the catalogue does not have.
    OutOfRange
        When an amount is none.
    """
    lines = was.lines if change.lines is None else _lines_of(change.lines, was, catalog)
    days = was.validity_days if change.validity_days is None else change.validity_days
    terms = {
        name: value
        for name in (
            "customer", "reference", "discount_percent", "freight", "tax_rate_percent",
            "price_list", "texts", "notes",
        )
        if (value := getattr(change, name)) is not None
    }  # fmt: skip
    until = was.day + timedelta(days=days)
    return reckoned(replace(was, lines=lines, valid_until=until, **terms), catalog)


def unit_costs(
    lines: Iterable[QuoteLine], catalog: Catalog, own: Mapping[str, Decimal]
) -> tuple[Decimal, ...]:
    """Return what a piece of each line costs the seller: by the catalogue, or by ``own`` words."""
    return tuple(
        catalog.get(line.sku, Item).cost_price if line.sku else own.get(line.name, Decimal(0))
        for line in lines
    )


def own_costs(wishes: Iterable[LineWish]) -> dict[str, Decimal]:
    """Return the costs of the lines in one's own words, by their words."""
    return {wish.name: wish.unit_cost for wish in wishes if not wish.sku}


def wishes_of(quote: Quote, costs: Sequence[Decimal]) -> tuple[LineWish, ...]:
    """Return the wishes that make an offer's lines, to be edited or repeated."""
    return tuple(
        LineWish(
            quantity=line.quantity,
            sku=line.sku,
            name="" if line.sku else line.name,
            unit_price=Decimal(0) if line.sku else line.unit_price,
            unit_cost=Decimal(0) if line.sku else cost,
            discount_percent=line.discount_percent,
            choice=line.choice,
            tax_rate_percent=line.tax_rate_percent,
            note=line.note,
            group=line.group,
        )
        for line, cost in zip(quote.lines, costs, strict=True)
        if not line.supplied
    )


def _lines_of(wishes: Sequence[LineWish], was: Quote, catalog: Catalog) -> tuple[QuoteLine, ...]:
    faults = [
        Fault(f"lines.{at}.sku", wish.sku, "The catalogue has no such item.", "a SKU of it")
        for at, wish in enumerate(wishes)
        if wish.sku and wish.sku not in catalog.items
    ]
    if faults:
        raise InvalidInquiry(faults)
    lines = tuple(_line_of(wish, was.currency, catalog) for wish in wishes)
    return (*lines, *_still_supplied(lines, was, catalog))


def _line_of(wish: LineWish, currency: str, catalog: Catalog) -> QuoteLine:
    if wish.sku:
        item = catalog.get(wish.sku, Item)
        line = item_line(item, wish.quantity, currency, wish.note, wish.group)
    else:
        price = round_money(wish.unit_price, currency)
        heading = wish.group or LineGroup.SERVICES
        line = QuoteLine(heading, "", wish.name, wish.quantity, price, price, 0, wish.note)
    return replace(
        line,
        choice=wish.choice,
        discount_percent=wish.discount_percent,
        tax_rate_percent=wish.tax_rate_percent,
    )


def _still_supplied(
    lines: Iterable[QuoteLine], was: Quote, catalog: Catalog
) -> tuple[QuoteLine, ...]:
    """Return the parts that come with the pumps which are still on the offer."""
    pumps = (catalog.items.get(line.sku) for line in lines)
    supplied = {p.name for pump in pumps if isinstance(pump, Pump) for p in pump.supplied}
    return tuple(line for line in was.lines if line.supplied and line.name in supplied)


def _read_customer(reader: CellReader, was: Party) -> Party | None:
    if not any(reader.gives(name) for name in ("customer", "address", "contact", "email")):
        return None
    name = reader.line("customer", needed=True) if reader.gives("customer") else was.name
    return Party(
        name=name,
        address=reader.text("address") if reader.gives("address") else was.address,
        contact=reader.line("contact") if reader.gives("contact") else was.contact,
        email=reader.line("email", check=email) if reader.gives("email") else was.email,
    )


def _read_texts(reader: CellReader, was: Texts) -> Texts | None:
    names = ("payment", "delivery", "warranty", "validity")
    sent = {name: reader.text(name) for name in names if reader.gives(name)}
    return replace(was, **sent) if sent else None


def _read_lines(typed: object, currency: str, faults: list[Fault]) -> tuple[LineWish, ...] | None:
    if typed is None:
        return None
    if not isinstance(typed, list | tuple) or not typed:
        faults.append(Fault("lines", "", "At least one line is needed.", "a list of lines"))
        return None
    if len(typed) > MOST_LINES:
        message = f"These are too many lines: {len(typed)}."
        faults.append(Fault("lines", "", message, f"up to {MOST_LINES} lines"))
        return None
    return tuple(_read_line(at, cells, currency, faults) for at, cells in enumerate(typed))


def _read_line(at: int, cells: object, currency: str, faults: list[Fault]) -> LineWish:
    if not isinstance(cells, Mapping):
        faults.append(Fault(f"lines.{at}", "", "A group of named fields is wanted here."))
        return LineWish(1)
    reader = CellReader(cells, f"lines.{at}.")
    reader.refuse_unknown(LINE_FIELDS)
    sku = reader.line("sku")
    price = money(currency, LARGEST_PRICE)
    nothing = Decimal(0)
    own = not sku
    wish = LineWish(
        quantity=reader.value("quantity", whole_number(1, LARGEST_QUANTITY), 1),
        sku=sku,
        name=reader.line("name", needed=True) if own else "",
        unit_price=reader.value("unit_price", price, nothing) if own else nothing,
        unit_cost=reader.value("unit_cost", price, nothing) if own else nothing,
        discount_percent=reader.value("discount", percent(nothing, Decimal(100)), nothing),
        choice=reader.value("choice", one_of(LineChoice), LineChoice.INCLUDED),
        tax_rate_percent=reader.value("tax_rate", tax_rate, None),
        note=reader.text("note"),
        group=reader.value("group", one_of(LineGroup), None),
    )
    faults += reader.faults
    if wish.group is LineGroup.SUPPLIED:
        message = "What comes with a pump is added by itself."
        faults.append(Fault(f"lines.{at}.group", wish.group, message, "another heading"))
    return wish


def _line(reader: CellReader, name: str) -> str | None:
    return reader.line(name) if reader.gives(name) else None


def _text(reader: CellReader, name: str) -> str | None:
    return reader.text(name) if reader.gives(name) else None


def _days(reader: CellReader) -> int | None:
    given = reader.gives("validity_days")
    return reader.value("validity_days", validity_days, USUAL_VALIDITY_DAYS) if given else None


def _number(reader: CellReader, name: str, read: Callable[[str], Decimal]) -> Decimal | None:
    return reader.value(name, read, Decimal(0)) if reader.gives(name) else None
