"""Money adds up to the minor unit, whatever the lines, discounts, rates and currency."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from babel.numbers import get_currency_precision
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.quoting.desk.lines import LineChoice
from server.quoting.desk.pricing import (
    Discount,
    SellerMargin,
    Terms,
    deepest_discount,
    line_total,
    rounding_rule,
    sums_of,
)


@dataclass(frozen=True)
class Line:
    """The least a line can be."""

    total: Decimal
    choice: LineChoice = LineChoice.INCLUDED
    tax_rate_percent: Decimal | None = None


# Digits after the point: JPY none, EUR two, KWD three (ISO 4217; checked against Babel below).
CURRENCIES = {"JPY": 0, "EUR": 2, "KWD": 3}
percents = st.decimals(0, 100, places=3)
rates = st.sampled_from([Decimal(0), Decimal(7), Decimal("8.1"), Decimal(19)])


@st.composite
def offers(draw: st.DrawFn) -> tuple[list[Line], Terms]:
    currency = draw(st.sampled_from(sorted(CURRENCIES)))
    places = CURRENCIES[currency]
    amounts = st.decimals(0, 10**6, places=places)
    row = st.tuples(
        amounts,
        st.integers(1, 10_000),
        percents,
        st.sampled_from(LineChoice),
        st.none() | rates,
    )
    rows = draw(st.lists(row, max_size=12))
    lines = [
        Line(line_total(price, count, percent, currency), choice, rate)
        for price, count, percent, choice, rate in rows
    ]
    terms = Terms(currency, draw(percents), draw(amounts), draw(rates))
    return lines, terms


@pytest.mark.parametrize("currency", sorted(CURRENCIES))
def test_the_currencies_have_the_digits_of_the_common_locale_data(currency: str) -> None:
    assert get_currency_precision(currency) == CURRENCIES[currency]


@given(offers())
def test_every_sum_is_exact(offer: tuple[list[Line], Terms]) -> None:
    lines, terms = offer
    sums = sums_of(lines, terms)
    included = [line.total for line in lines if line.choice is LineChoice.INCLUDED]
    assert sums.lines == sum(included, Decimal(0))
    assert sums.net == sums.lines - sums.discount
    assert sums.tax == sum((each.tax for each in sums.taxes), Decimal(0))
    assert sum((each.base for each in sums.taxes), Decimal(0)) == sums.net + sums.freight
    assert sums.total == sums.net + sums.freight + sums.tax
    unit = Decimal(1).scaleb(-CURRENCIES[terms.currency])
    for amount in (sums.lines, sums.discount, sums.net, sums.freight, sums.tax, sums.total):
        assert amount.as_tuple().exponent == unit.as_tuple().exponent


@given(offers())
def test_what_is_rounded_is_off_by_half_a_unit_at_most(offer: tuple[list[Line], Terms]) -> None:
    lines, terms = offer
    sums = sums_of(lines, terms)
    half = Fraction(1, 2 * 10 ** CURRENCIES[terms.currency])
    for each in sums.taxes:
        exact = Fraction(each.base) * Fraction(each.rate_percent) / 100
        assert abs(Fraction(each.tax) - exact) <= half
    exact = Fraction(sums.lines) * Fraction(terms.discount_percent) / 100
    assert abs(Fraction(sums.discount) - exact) <= half * len(sums.taxes)


@given(price=st.decimals(0, 10**6, places=2), count=st.integers(1, 10_000), percent=percents)
def test_a_line_is_rounded_once(price: Decimal, count: int, percent: Decimal) -> None:
    exact = price * count * (100 - percent) / 100  # exact: 17 digits at most
    expected = exact.quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)
    assert line_total(price, count, percent, "EUR") == expected
    assert 0 <= expected <= price * count


def test_an_offer_by_hand() -> None:
    # 3 × 19.99 less 5 % = 56.9715 → 56.97; 1 × 100 at 7 %; 250 optional. 10 % overall: at 19 %
    # 5.697 → 5.70, at 7 % 10.00. Freight 12.50 at 19 %.
    lines = [
        Line(line_total(Decimal("19.99"), 3, Decimal(5), "EUR")),
        Line(Decimal("100.00"), tax_rate_percent=Decimal(7)),
        Line(Decimal("250.00"), LineChoice.OPTIONAL),
    ]
    sums = sums_of(lines, Terms("EUR", Decimal(10), Decimal("12.50"), Decimal(19)))
    assert (sums.lines, sums.discount, sums.net) == (
        Decimal("156.97"), Decimal("15.70"), Decimal("141.27"),
    )  # fmt: skip
    # 51.27 + 12.50 = 63.77 at 19 % = 12.1163 → 12.12; 90.00 at 7 % = 6.30.
    assert [(t.base, t.tax) for t in sums.taxes] == [
        (Decimal("63.77"), Decimal("12.12")), (Decimal("90.00"), Decimal("6.30")),
    ]  # fmt: skip
    assert sums.total == Decimal("172.19")


@pytest.mark.parametrize("percent", ["-0.001", "100.01", "NaN", "Infinity"])
def test_a_discount_is_from_nothing_to_everything(percent: str) -> None:
    with pytest.raises(OutOfRange, match="0 to 100 %"):
        Discount(Decimal(percent))


def test_two_discounts_in_a_row_are_one() -> None:
    # 10 % off, then 20 % off what is left: 28 % in all.
    assert Discount(Decimal(10)).then(Discount(Decimal(20))).percent == 28
    assert deepest_discount([Decimal(0), Decimal(10)], Decimal(20)) == 28
    assert deepest_discount([], Decimal(5)) == 5


def test_an_offer_beyond_all_measure_is_refused() -> None:
    with pytest.raises(OutOfRange, match="not an amount"):
        line_total(Decimal(10**9), 10_000, Decimal(0), "EUR")


def test_the_rule_of_rounding_names_the_unit() -> None:
    assert "0.01 EUR" in rounding_rule("EUR")
    assert "to 1 JPY" in rounding_rule("JPY")
    assert "0.001 KWD" in rounding_rule("KWD")


def test_a_margin_is_what_is_left_of_the_net() -> None:
    margin = SellerMargin(Decimal("750.00"), Decimal("1000.00"))
    assert (margin.amount, margin.percent) == (Decimal("250.00"), Decimal("25.0"))
    assert SellerMargin(Decimal(5), Decimal(0)).percent is None
