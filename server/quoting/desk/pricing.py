"""Discounts, sums, taxes and limits of an offer: exact, rounded once each, added to the cent."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

from server.errors import OutOfRange
from server.fit.money import minor_digits, round_money, sum_money, tax_on
from server.quoting.desk.actors import Role
from server.quoting.desk.lines import LineChoice

WHOLE = Decimal(100)

DISCOUNT_LIMITS: dict[Role, Decimal] = {
    Role.SALES_ENGINEER: Decimal(10),
    Role.SALES_MANAGER: Decimal(30),
    Role.ADMINISTRATOR: WHOLE,
    Role.CUSTOMER: Decimal(0),
}
"""Largest discount on any line, the overall one included, that a role may send by itself [%];
common practice, no source."""


@dataclass(frozen=True)
class Discount:
    """A share taken off.

    Raises
    ------
    OutOfRange
        When it is not from 0 to 100 %.
    """

    percent: Decimal

    def __post_init__(self) -> None:
        if not self.percent.is_finite() or not 0 <= self.percent <= WHOLE:
            raise OutOfRange(f"A discount of {self.percent} % is not from 0 to 100 %.")

    def amount(self, of: Decimal, currency: str) -> Decimal:
        """Return what is taken off an amount, rounded to the minor unit."""
        return round_money(of * self.percent / WHOLE, currency)

    def left(self, of: Decimal, currency: str) -> Decimal:
        """Return what is left of an amount, rounded to the minor unit."""
        return round_money(of * (WHOLE - self.percent) / WHOLE, currency)

    def then(self, other: Discount) -> Discount:
        """Return the one discount that two in a row make."""
        return Discount(WHOLE - (WHOLE - self.percent) * (WHOLE - other.percent) / WHOLE)


def line_total(
    unit_price: Decimal, quantity: int, discount_percent: Decimal, currency: str
) -> Decimal:
    """Return the total of a line: unit price times pieces less the discount, rounded once."""
    return Discount(discount_percent).left(unit_price * quantity, currency)


class PricedLine(Protocol):
    """What the sums need to know of a line."""

    @property
    def total(self) -> Decimal:
        """Total after the line's own discount, rounded."""
        ...

    @property
    def choice(self) -> LineChoice:
        """Whether it counts."""
        ...

    @property
    def tax_rate_percent(self) -> Decimal | None:
        """Its own rate; None takes the quote's."""
        ...


@dataclass(frozen=True)
class TaxLine:
    """The tax of one rate: on what, and how much."""

    rate_percent: Decimal
    base: Decimal
    tax: Decimal


@dataclass(frozen=True)
class Terms:
    """What the sums need beside the lines."""

    currency: str
    discount_percent: Decimal
    """Overall, on the included lines; not on freight."""
    freight: Decimal
    tax_rate_percent: Decimal
    """For lines without a rate of their own, and for freight."""


@dataclass(frozen=True)
class Sums:
    """The foot of an offer.

    ``net`` = ``lines`` − ``discount``; ``total`` = ``net`` + ``freight`` + ``tax``; the bases of
    the taxes add up to ``net`` + ``freight``; all to the cent.
    """

    lines: Decimal
    discount: Decimal
    net: Decimal
    freight: Decimal
    taxes: tuple[TaxLine, ...]
    tax: Decimal
    total: Decimal


def sums_of(lines: Iterable[PricedLine], terms: Terms) -> Sums:
    """Add up an offer.

    Each line total, the overall discount on the lines of each tax rate, and the tax of each rate
    is rounded once; everything else is an exact sum.

    Parameters
    ----------
    lines : iterable of PricedLine
        Only included lines count.
    terms : Terms
        Overall discount, freight, tax rate, currency.

    Raises
    ------
    OutOfRange
        When an amount is none, or a discount is not from 0 to 100 %.
    """
    currency = terms.currency
    by_rate: dict[Decimal, Decimal] = {}
    for line in lines:
        if line.choice is LineChoice.INCLUDED:
            own = line.tax_rate_percent
            rate = terms.tax_rate_percent if own is None else own
            by_rate[rate] = by_rate.get(rate, Decimal(0)) + line.total
    overall = Discount(terms.discount_percent)
    off = {rate: overall.amount(amount, currency) for rate, amount in by_rate.items()}
    bases = {rate: amount - off[rate] for rate, amount in by_rate.items()}
    freight = round_money(terms.freight, currency)
    if freight or not bases:
        bases[terms.tax_rate_percent] = bases.get(terms.tax_rate_percent, Decimal(0)) + freight
    taxes = tuple(
        TaxLine(rate, round_money(base, currency), tax_on(base, rate, currency))
        for rate, base in sorted(bases.items(), reverse=True)
    )
    gross = sum_money(by_rate.values(), currency)
    discount = sum_money(off.values(), currency)
    net = gross - discount
    tax = sum_money((each.tax for each in taxes), currency)
    return Sums(
        lines=gross,
        discount=discount,
        net=net,
        freight=freight,
        taxes=taxes,
        tax=tax,
        total=sum_money((net, freight, tax), currency),
    )


def rounding_rule(currency: str) -> str:
    """Return the sentence on the quote that says how its amounts are rounded."""
    unit = Decimal(1).scaleb(-minor_digits(currency))
    return (
        f"Each line total, the overall discount and the tax of each rate is rounded once to "
        f"{unit:f} {currency}, halves away from zero; all other amounts are exact sums of these."
    )


@dataclass(frozen=True)
class SellerMargin:
    """What is left of an offer's net after the goods' cost; for the seller's eyes only."""

    cost: Decimal
    net: Decimal

    @property
    def amount(self) -> Decimal:
        """What is left."""
        return self.net - self.cost

    @property
    def percent(self) -> Decimal | None:
        """Share of the net that is left, to a tenth; None when there is no net."""
        return None if not self.net else (self.amount / self.net * WHOLE).quantize(Decimal("0.1"))


def deepest_discount(line_percents: Sequence[Decimal], overall_percent: Decimal) -> Decimal:
    """Return the largest discount on any line, the overall one included [%]."""
    overall = Discount(overall_percent)
    each = (Discount(percent).then(overall).percent for percent in line_percents)
    return max(each, default=overall.percent)
