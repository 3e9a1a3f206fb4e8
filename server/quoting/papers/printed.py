"""What a printed quote says, in order: one view that every kind of document is made from.

A field that quotes gain is added here once. Costs and internal notes are not in a `Quote`, and so
in no document.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from babel.dates import format_date
from babel.numbers import format_currency, format_decimal

from server.quoting.desk.lines import LineChoice
from server.quoting.quote import LineGroup, Quote, QuoteLine


@dataclass(frozen=True)
class Wording:
    """Words that the pages use too; given by who shows the document."""

    words: Callable[[object], str]
    """From an identifier of the records to its words."""
    ratio: Callable[[float], str]
    label: Callable[[str], str]
    """From a field of the inquiry to its label."""
    assumed: Callable[[object], str]
    """From an assumed value as kept to how it is shown."""
    duration: Callable[[float], str]


@dataclass(frozen=True)
class Figures:
    """How a locale writes amounts and dates."""

    currency: str
    locale: str

    def money(self, amount: Decimal) -> str:
        """Return an amount with its currency."""
        return format_currency(amount, self.currency, locale=self.locale)

    def bare(self, amount: Decimal) -> str:
        """Return an amount without its currency."""
        return format_currency(amount, self.currency, format="#,##0.00", locale=self.locale)

    def percent(self, rate: Decimal) -> str:
        """Return a percentage."""
        return f"{format_decimal(rate, format='0.###', locale=self.locale)} %"

    def day(self, when: date) -> str:
        """Return a date."""
        return format_date(when, "long", locale=self.locale)


@dataclass(frozen=True)
class PrintedLine:
    """A line with its place in the document."""

    position: str
    line: QuoteLine
    ships: str
    """When its pieces can be sent."""

    @property
    def has_price(self) -> bool:
        """Whether it costs something; supplied parts do not."""
        return self.line.group is not LineGroup.SUPPLIED


@dataclass(frozen=True)
class Block:
    """Lines under one heading."""

    title: str
    lines: tuple[PrintedLine, ...]


@dataclass(frozen=True)
class Apart:
    """Lines that are shown with their price and not added in."""

    choice: LineChoice
    title: str
    text: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class SumRow:
    """One row below the lines."""

    label: str
    amount: Decimal
    strong: bool = False


@dataclass(frozen=True)
class MarginRow:
    """A margin in brief."""

    name: str
    explanation: str
    ratio: float
    threshold: float
    shown_ratio: str
    shown_threshold: str
    verdict: str
    """``pass``, ``marginal`` or ``fail``."""
    shown_verdict: str


@dataclass(frozen=True)
class Printed:
    """A quote as it is printed."""

    quote: Quote
    figures: Figures
    title: str
    standing: str
    """Why this is not an offer (a draft, say); empty when it is one."""
    facts: tuple[tuple[str, str], ...]
    blocks: tuple[Block, ...]
    apart: tuple[Apart, ...]
    sums: tuple[SumRow, ...]
    terms: tuple[tuple[str, str], ...]
    shipments: tuple[tuple[str, int, tuple[str, ...]], ...]
    """(Day, pieces, how many of each stock number)."""
    goods: tuple[str, ...]
    margins: tuple[MarginRow, ...]
    assumptions: tuple[tuple[str, str, str], ...]

    @property
    def name(self) -> str:
        """Name of a file, without its ending."""
        quote = self.quote
        revision = f"-r{quote.revision}" if quote.revision > 1 else ""
        return f"quote-{quote.number or 'draft'}{revision}"

    @property
    def lines(self) -> tuple[PrintedLine, ...]:
        """Every line in the order of its position."""
        apart = (block for part in self.apart for block in part.blocks)
        return tuple(line for block in (*self.blocks, *apart) for line in block.lines)


_APART = (
    (
        LineChoice.OPTIONAL,
        "Options",
        "Not in the sums above. Each can be added at the price stated.",
    ),
    (
        LineChoice.ALTERNATIVE,
        "Alternatives",
        "Not in the sums above. Each can take the place of an item above at the price stated.",
    ),
)


def printed(quote: Quote, wording: Wording, standing: str = "") -> Printed:
    """Return a quote as it is printed.

    Parameters
    ----------
    quote : Quote
        The offer, or a draft of one.
    wording : Wording
        Words of the pages.
    standing : str
        What the reader must know of a quote that is no offer; empty when it is one.
    """
    counter = iter(range(1, len(quote.lines) + 1))
    blocks = _blocks(quote.included, counter)
    apart = tuple(
        Apart(choice, title, text, _blocks(quote.chosen(choice), counter))
        for choice, title, text in _APART
        if quote.chosen(choice)
    )
    figures = Figures(quote.currency, quote.locale)
    return Printed(
        quote=quote,
        figures=figures,
        title=_title(quote),
        standing=standing,
        facts=tuple(_facts(quote, figures)),
        blocks=blocks,
        apart=apart,
        sums=tuple(_sums(quote, figures)),
        terms=_terms(quote),
        shipments=tuple(_shipments(quote, figures)),
        goods=tuple(each.sentence for each in quote.dangerous_goods),
        margins=tuple(_margins(quote, wording)),
        assumptions=tuple(
            (wording.label(each.field), wording.assumed(each.value), each.reason)
            for each in quote.assumptions
        ),
    )


def _title(quote: Quote) -> str:
    revision = f", revision {quote.revision}" if quote.revision > 1 else ""
    return f"Quote {quote.number or '(draft)'}{revision}"


def _blocks(lines: Iterable[QuoteLine], counter: Iterator[int]) -> tuple[Block, ...]:
    listed = tuple(lines)
    blocks = []
    for group in LineGroup:
        own = tuple(
            PrintedLine(str(next(counter)), line, _ships(line))
            for line in listed
            if line.group is group
        )
        if own:
            blocks.append(Block(_capital(group.value), own))
    return tuple(blocks)


def _ships(line: QuoteLine) -> str:
    if line.group is LineGroup.SUPPLIED:
        return "with its pump"
    if not line.sku:
        return ""
    if not line.lead_time_days:
        return "from stock"
    later = f"in {line.lead_time_days} days"
    return f"{line.from_stock} from stock, the rest {later}" if line.from_stock else later


def _facts(quote: Quote, figures: Figures) -> Iterator[tuple[str, str]]:
    yield "Date", figures.day(quote.day)
    yield "Valid until", figures.day(quote.valid_until)
    yield "Ships complete by", figures.day(quote.ships_complete_on)
    yield "Total", figures.money(quote.total)
    if quote.reference:
        yield "Your reference", quote.reference
    if quote.price_list:
        yield "Price list", quote.price_list


def _sums(quote: Quote, figures: Figures) -> Iterator[SumRow]:
    whole = len(quote.included) == len(quote.lines)
    word = "Sum of all lines" if whole else "Sum of the lines under “What is offered”"
    yield SumRow(word, quote.lines_total)
    if quote.discount:
        yield SumRow(f"Discount, {figures.percent(quote.discount_percent)}", -quote.discount)
    if quote.freight:
        yield SumRow("Freight", quote.freight)
    if quote.discount or quote.freight:
        yield SumRow("Net", quote.net + quote.freight)
    for each in quote.taxes_by_rate:
        on = f" on {figures.money(each.base)}" if len(quote.taxes_by_rate) > 1 else ""
        yield SumRow(f"Tax, {figures.percent(each.rate_percent)}{on}", each.tax)
    yield SumRow("Total", quote.total, strong=True)


def _terms(quote: Quote) -> tuple[tuple[str, str], ...]:
    texts = quote.texts
    told = (
        ("Payment", texts.payment),
        ("Delivery", texts.delivery),
        ("Warranty", texts.warranty),
        ("Validity", texts.validity),
    )
    return tuple((word, text) for word, text in told if text)


def _shipments(quote: Quote, figures: Figures) -> Iterator[tuple[str, int, tuple[str, ...]]]:
    found = quote.shipments
    if len(found) < 2:
        return
    for shipment in found:
        pieces = sum(count for _, count in shipment.pieces)
        what = tuple(f"{count} × {sku}" for sku, count in shipment.pieces)
        yield figures.day(shipment.day), pieces, what


def _margins(quote: Quote, wording: Wording) -> Iterator[MarginRow]:
    for margin in quote.margins:
        yield MarginRow(
            name=_capital(wording.words(margin.key)),
            explanation=margin.explanation,
            ratio=margin.ratio,
            threshold=margin.threshold,
            shown_ratio=wording.ratio(margin.ratio),
            shown_threshold=wording.ratio(margin.threshold),
            verdict=margin.verdict.value,
            shown_verdict=wording.words(margin.verdict),
        )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
