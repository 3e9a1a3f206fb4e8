"""An offer as it is printed: grouped lines, exact sums, lead times, texts, what was assumed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum

from server.errors import OutOfRange
from server.fit.requirements import Assumption
from server.fit.results import Margin
from server.quoting.cautions import Caution
from server.quoting.desk.goods import DangerousGoods, Shipment, shipments
from server.quoting.desk.lines import LineChoice
from server.quoting.desk.pricing import TaxLine
from server.quoting.desk.texts import NO_TEXTS, Texts
from server.quoting.order import Party


class LineGroup(StrEnum):
    """Headings of a quote, in the order they are printed."""

    PUMPS = "pumps"
    FLUIDS = "fluids and oils"
    LINE = "line parts and joints"
    VALVES = "valves"
    GAUGES = "gauges and interlocks"
    TRAPS = "traps and filters"
    FIRST_CONSUMABLES = "first consumables"
    SERVICES = "services and other"
    SUPPLIED = "supplied with the pumps"


@dataclass(frozen=True)
class QuoteLine:
    """One line of an offer."""

    group: LineGroup
    sku: str
    """Empty for supplied parts, which cannot be ordered, and for services."""
    name: str
    quantity: int
    unit_price: Decimal
    """Before any discount."""
    total: Decimal
    """After the line's own discount, rounded."""
    lead_time_days: int
    """Zero when the stock covers every piece of the line."""
    note: str
    choice: LineChoice = LineChoice.INCLUDED
    discount_percent: Decimal = Decimal(0)
    tax_rate_percent: Decimal | None = None
    """None where the quote's rate holds."""
    from_stock: int = 0
    """Pieces that can leave at once."""

    @property
    def supplied(self) -> bool:
        """Whether it comes with a pump and costs nothing."""
        return self.group is LineGroup.SUPPLIED


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
    """Totals of the included lines less the overall discount; without freight."""
    tax_rate_percent: Decimal
    tax: Decimal
    total: Decimal
    """Net, freight and tax."""
    lead_time_days: int
    """The longest of the included lines, stock taken into account."""
    margins: tuple[Margin, ...]
    flags: tuple[str, ...]
    cautions: tuple[Caution, ...]
    assumptions: tuple[Assumption, ...]
    notes: str
    catalog_version: str
    advice_token: str = ""
    """Link of the advice the offer rests on."""
    stack_rank: int = 0
    revision: int = 1
    discount_percent: Decimal = Decimal(0)
    """Overall, on the included lines."""
    discount: Decimal = Decimal(0)
    """The overall discount's amount."""
    freight: Decimal = Decimal(0)
    taxes: tuple[TaxLine, ...] = ()
    """By rate; their sum is ``tax``."""
    price_list: str = ""
    """Name of the price list, shown where the seller has more than one."""
    texts: Texts = NO_TEXTS
    rounding: str = ""
    """The sentence that says how amounts are rounded."""
    dangerous_goods: tuple[DangerousGoods, ...] = ()
    export_hints: tuple[str, ...] = ()
    locale: str = "en_GB"

    @property
    def day(self) -> date:
        """Date printed on the offer."""
        return self.created_at.date()

    @property
    def validity_days(self) -> int:
        """Days from the date to the last one of validity."""
        return (self.valid_until - self.day).days

    @property
    def taxes_by_rate(self) -> tuple[TaxLine, ...]:
        """Taxes by rate; quotes of earlier releases have one, on everything."""
        one = TaxLine(self.tax_rate_percent, self.net + self.freight, self.tax)
        return self.taxes or (one,)

    @property
    def included(self) -> tuple[QuoteLine, ...]:
        """Lines that count in the sums."""
        return self.chosen(LineChoice.INCLUDED)

    @property
    def lines_total(self) -> Decimal:
        """Sum of the included lines, before the overall discount."""
        return self.net + self.discount

    @property
    def ships_complete_on(self) -> date:
        """Earliest day on which everything that is included can leave, ordered on the day."""
        return self.day + timedelta(days=self.lead_time_days)

    @property
    def shipments(self) -> tuple[Shipment, ...]:
        """Part shipments of what is included: what can leave when, earliest first."""
        return shipments(
            self.day,
            (
                (line.sku, line.quantity, line.from_stock, line.lead_time_days)
                for line in self.included
                if line.sku
            ),
        )

    def chosen(self, choice: LineChoice) -> tuple[QuoteLine, ...]:
        """Return the lines of one choice."""
        return tuple(line for line in self.lines if line.choice is choice)

    def dated(self, at: datetime) -> Quote:
        """Return the same offer of another day, valid for as many days from it."""
        until = at.date() + timedelta(days=self.validity_days)
        return replace(self, created_at=at, valid_until=until)

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


def quote_number(year: int, serial: int) -> str:
    """Return the number of the ``serial``-th quote of a year, such as ``Q-2026-0017``."""
    return f"Q-{year}-{serial:04d}"
