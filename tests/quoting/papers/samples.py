"""Quotes to be printed: everything in use, and as many lines as wanted."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from server.fit.results import Role
from server.quoting.desk.goods import DangerousGoods
from server.quoting.desk.lines import LineChoice
from server.quoting.desk.pricing import Terms, line_total, rounding_rule, sums_of
from server.quoting.desk.texts import USUAL_TEXTS
from server.quoting.drafting import draft_quote
from server.quoting.order import Party
from server.quoting.papers.printed import Printed, Wording, printed
from server.quoting.quote import LineGroup, Quote, QuoteLine
from server.units import format_duration
from tests.quoting.stacks import order, requirements, stock, vapour_stack

WORDING = Wording(
    words=lambda identifier: str(identifier).replace("_", " "),
    ratio=lambda value: f"{value:.2f}×",
    label=lambda path: path.replace(".", ", "),
    assumed=str,
    duration=format_duration,
)
STOCK = stock()


def a_quote(**changes: object) -> Quote:
    """Return an issued quote of a stack with a vapour-jet pump."""
    made = draft_quote(vapour_stack(), requirements(), STOCK, order(consumables_years=2.0))
    return replace(made.numbered("Q-2026-0001"), **changes)  # type: ignore[arg-type]


def a_line(number: int, **changes: object) -> QuoteLine:
    """Return one of many different lines."""
    group = (LineGroup.PUMPS, LineGroup.LINE, LineGroup.VALVES, LineGroup.GAUGES)[number % 4]
    price, quantity = Decimal(f"{137 * (number + 1) % 4000}.{number % 100:02}"), 1 + number % 7
    line = QuoteLine(
        group=group,
        sku=f"PART-{number:04}",
        name=f"Centring ring with outer ring and FKM seal, size {number}",
        quantity=quantity,
        unit_price=price,
        total=line_total(price, quantity, Decimal(0), "EUR"),
        lead_time_days=(0, 14, 35)[number % 3],
        note="joint at ISO-K 160 between the chamber and the isolation valve" * (number % 2),
        from_stock=quantity if number % 3 == 0 else 0,
    )
    return replace(line, **changes)  # type: ignore[arg-type]


def summed(quote: Quote) -> Quote:
    """Return a quote with its sums worked out."""
    terms = Terms(quote.currency, quote.discount_percent, quote.freight, quote.tax_rate_percent)
    lines = tuple(
        replace(
            line,
            total=line_total(line.unit_price, line.quantity, line.discount_percent, quote.currency),
        )
        for line in quote.lines
    )
    sums = sums_of(lines, terms)
    return replace(
        quote,
        lines=lines,
        net=sums.net,
        discount=sums.discount,
        freight=sums.freight,
        taxes=sums.taxes,
        tax=sums.tax,
        total=sums.total,
        lead_time_days=max((line.lead_time_days for line in quote.included), default=0),
        rounding=rounding_rule(quote.currency),
    )


def a_full_quote(lines: int = 20) -> Quote:
    """Return a quote that uses every field; the lines beyond the stack's own are invented."""
    bare = a_quote()
    more = [a_line(number) for number in range(max(0, lines - len(bare.lines) - 4))]
    solvent = a_line(
        900, group=LineGroup.FIRST_CONSUMABLES, sku="ACETONE-1L", name="Acetone, technical, 1 L"
    )
    apart = [
        a_line(901, choice=LineChoice.OPTIONAL, discount_percent=Decimal("12.5")),
        a_line(902, choice=LineChoice.OPTIONAL, group=LineGroup.SERVICES, sku="", name="Training"),
        a_line(903, choice=LineChoice.ALTERNATIVE, tax_rate_percent=Decimal("8.1")),
    ]
    return summed(
        replace(
            bare,
            customer=Party(
                "Institute for Thin Films", "Glassworks Lane 3\n9999 Sandhill", "A. Person",
                "person@example.org",
            ),
            lines=(bare.lines[0], *more, *bare.lines[1:], solvent, *apart),
            revision=2,
            discount_percent=Decimal("3.25"),
            freight=Decimal("185.00"),
            price_list="Universities 2026",
            texts=USUAL_TEXTS,
            notes="Thank you for your inquiry.\nWe measured your chamber drawing at 180 L.",
            dangerous_goods=(DangerousGoods("UN 1090", "acetone", "3", "II", ("ACETONE-1L",)),),
            export_hints=("Vapour jet 400: ask your compliance officer before you ship.",),
        )
    )  # fmt: skip


def a_view(quote: Quote | None = None, standing: str = "") -> Printed:
    """Return a quote as it is printed."""
    return printed(quote or a_full_quote(), WORDING, standing)


def stack_parts() -> tuple[Role, ...]:
    """Return the roles of the stack on offer."""
    return tuple(part.role for part in vapour_stack().parts)
