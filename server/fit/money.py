"""Money: exact decimals, rounded to the currency's minor unit, in one place."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal

from server.errors import OutOfRange, UnknownName

# Digits after the decimal point by ISO 4217:2015, list one (from memory; the tests compare them
# with the common locale data). Only currencies listed here are traded in: others are refused.
_MINOR_DIGITS = {
    "AED": 2, "AUD": 2, "BGN": 2, "BHD": 3, "BRL": 2, "CAD": 2, "CHF": 2, "CLP": 0, "CNY": 2,
    "CZK": 2, "DKK": 2, "EUR": 2, "GBP": 2, "HKD": 2, "HUF": 2, "IDR": 2, "ILS": 2, "INR": 2,
    "ISK": 0, "JOD": 3, "JPY": 0, "KRW": 0, "KWD": 3, "MXN": 2, "MYR": 2, "NOK": 2, "NZD": 2,
    "OMR": 3, "PLN": 2, "RON": 2, "RSD": 2, "SAR": 2, "SEK": 2, "SGD": 2, "THB": 2, "TND": 3,
    "TRY": 2, "TWD": 2, "UAH": 2, "USD": 2, "VND": 0, "ZAR": 2,
}  # fmt: skip

LARGEST_AMOUNT = Decimal(10) ** 12
"""Amounts above this are a typing error, not an offer."""


def known_currencies() -> tuple[str, ...]:
    """Return the ISO 4217 codes that can be used."""
    return tuple(_MINOR_DIGITS)


def minor_digits(currency: str) -> int:
    """Return the digits after the decimal point of a currency.

    Raises
    ------
    UnknownName
        When the code is not one of `known_currencies`.
    """
    try:
        return _MINOR_DIGITS[currency]
    except KeyError:
        raise UnknownName("currency", currency, known_currencies()) from None


def round_money(amount: Decimal, currency: str) -> Decimal:
    """Round an amount to the currency's minor unit, halves away from zero.

    Raises
    ------
    OutOfRange
        When the amount is not a finite number or above `LARGEST_AMOUNT`.
    """
    if not amount.is_finite() or abs(amount) > LARGEST_AMOUNT:
        raise OutOfRange(f"{amount} {currency} is not an amount that can be offered.")
    return amount.quantize(Decimal(1).scaleb(-minor_digits(currency)), rounding=ROUND_HALF_UP)


def sum_money(amounts: Iterable[Decimal], currency: str) -> Decimal:
    """Add amounts exactly; the sum of nothing is zero in the currency's minor unit."""
    return round_money(sum(amounts, Decimal(0)), currency)


def tax_on(net: Decimal, rate_percent: Decimal, currency: str) -> Decimal:
    """Return the tax on a net sum, rounded once, on the total."""
    return round_money(net * rate_percent / 100, currency)
