"""Money: minor units against the common locale data, rounding against ISO 80000-1 rule B."""

from __future__ import annotations

from decimal import Decimal

import pytest
from babel.numbers import get_currency_precision, list_currencies
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange, UnknownName
from server.fit.money import (
    known_currencies,
    minor_digits,
    round_money,
    sum_money,
    tax_on,
)

amounts = st.decimals("0.00", "99999.99", places=2)

# The common locale data (CLDR) shows the dinar in everyday use without the minor unit that ISO 4217
# defines for it.
_SHOWN_WHOLE = {"RSD"}


@pytest.mark.parametrize("currency", known_currencies())
def test_minor_units_agree_with_the_common_locale_data(currency: str) -> None:
    assert currency in list_currencies()
    if currency not in _SHOWN_WHOLE:
        assert minor_digits(currency) == get_currency_precision(currency)


@pytest.mark.parametrize(
    ("amount", "currency", "rounded"),
    [
        ("2.345", "EUR", "2.35"),
        ("2.344999", "EUR", "2.34"),
        ("-2.345", "EUR", "-2.35"),
        ("1234.5", "JPY", "1235"),
        ("1.0005", "KWD", "1.001"),
    ],
)
def test_halves_are_rounded_away_from_zero(amount: str, currency: str, rounded: str) -> None:
    assert str(round_money(Decimal(amount), currency)) == rounded


@given(st.lists(amounts, max_size=30))
def test_sums_are_exact_in_minor_units(prices: list[Decimal]) -> None:
    cents = sum(int(price * 100) for price in prices)
    assert sum_money(prices, "EUR") * 100 == cents


@given(amounts, st.decimals("0", "100", places=2))
def test_tax_is_within_half_a_cent(net: Decimal, rate: Decimal) -> None:
    assert abs(tax_on(net, rate, "EUR") - net * rate / 100) <= Decimal("0.005")


def test_an_unknown_currency_is_refused() -> None:
    with pytest.raises(UnknownName, match="Unknown currency"):
        minor_digits("EURO")


def test_an_endless_amount_is_refused() -> None:
    with pytest.raises(OutOfRange, match="not an amount"):
        round_money(Decimal("NaN"), "EUR")
