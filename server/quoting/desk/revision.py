"""A revision of a quote: what is printed, and everything it rests on, kept together."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from server.fit.money import round_money, sum_money
from server.fit.requirements import Requirements
from server.fit.results import StackAdvice
from server.quoting.desk.actors import Actor
from server.quoting.desk.lines import LineChoice
from server.quoting.desk.pricing import Discount, SellerMargin, deepest_discount
from server.quoting.desk.texts import Texts
from server.quoting.quote import Quote


@dataclass(frozen=True)
class Basis:
    """What an offer was worked out from."""

    requirements: Requirements
    stack: StackAdvice
    """The advice on the stack on offer: parts, margins, states, curves, workings."""
    catalog_version: str
    engine_version: str


@dataclass(frozen=True)
class Revision:
    """One version of a quote; from the moment it is sent it never changes."""

    number: str
    """Of the quote, such as ``Q-2026-0007``."""
    revision: int
    """From 1."""
    content: Quote
    """What is printed."""
    basis: Basis | None
    """None only for an offer of an earlier release whose advice is not kept."""
    unit_costs: tuple[Decimal, ...]
    """What a piece of each line costs the seller, in the order of the lines; never printed."""
    made_by: Actor
    made_at: datetime

    @property
    def texts(self) -> Texts:
        """Payment, delivery, warranty, validity."""
        return self.content.texts

    @property
    def locale(self) -> str:
        """How amounts and dates are written."""
        return self.content.locale

    @property
    def catalog_version(self) -> str:
        """Catalogue whose prices these are."""
        return self.content.catalog_version

    @property
    def line_margins(self) -> tuple[SellerMargin, ...]:
        """What each line leaves, before the overall discount; for the seller only."""
        currency = self.content.currency
        return tuple(
            SellerMargin(round_money(cost * line.quantity, currency), line.total)
            for line, cost in zip(self.content.lines, self.unit_costs, strict=True)
        )

    @property
    def margin(self) -> SellerMargin:
        """What the included lines leave after the overall discount; freight is passed on."""
        costs = (
            margin.cost
            for line, margin in zip(self.content.lines, self.line_margins, strict=True)
            if line.choice is LineChoice.INCLUDED
        )
        return SellerMargin(sum_money(costs, self.content.currency), self.content.net)

    @property
    def deepest_discount_percent(self) -> Decimal:
        """Largest discount on a line that costs something, the overall one included [%].

        Optional and alternative lines count: the customer may take them at their price. The
        overall discount is on included lines only.
        """
        overall = self.content.discount_percent
        others = [
            Discount(line.discount_percent).percent
            for line in self.content.lines
            if line.choice is not LineChoice.INCLUDED
        ]
        included = [line.discount_percent for line in self.content.included if not line.supplied]
        return max([deepest_discount(included, overall), *others])
