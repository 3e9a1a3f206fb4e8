"""What is asked for in a quote: who, under which conditions; read from what people type."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from server.errors import InvalidInquiry
from server.quoting.desk.texts import USUAL_TEXTS, Texts
from server.quoting.reading import CellReader, Refused, email, percent, whole_number

LARGEST_TAX_PERCENT = Decimal(50)
LARGEST_VALIDITY_DAYS = 365
USUAL_VALIDITY_DAYS = 30
LARGEST_CONSUMABLES_YEARS = 20.0


@dataclass(frozen=True)
class Party:
    """Seller or customer."""

    name: str
    address: str = ""
    contact: str = ""
    email: str = ""


@dataclass(frozen=True)
class QuoteOrder:
    """What a quote is to say beside the stack."""

    customer: Party
    seller: Party
    created_at: datetime
    reference: str = ""
    tax_rate_percent: Decimal = Decimal(0)
    validity_days: int = USUAL_VALIDITY_DAYS
    consumables_years: float = 0.0
    """Consumables offered together with the stack for so many years; zero offers none."""
    notes: str = ""
    advice_token: str = ""
    texts: Texts = USUAL_TEXTS
    locale: str = "en_GB"


PARTY_FIELDS = ("customer", "address", "contact", "email")

FIELDS = (
    *PARTY_FIELDS,
    "reference",
    "tax_rate",
    "validity_days",
    "consumables_years",
    "notes",
)
"""Names of what `read_order` reads."""


def read_order(
    data: Mapping[str, object], *, seller: Party, created_at: datetime, advice_token: str = ""
) -> QuoteOrder:
    """Return the order of what was typed.

    Parameters
    ----------
    data : mapping
        Text (or numbers) by the names in `FIELDS`; only ``customer`` is needed. An empty text
        counts as not given.
    seller : Party
        Who offers.
    created_at : datetime
        Date of the offer, UTC.
    advice_token : str
        Link of the advice the offer rests on.

    Raises
    ------
    InvalidInquiry
        With one fault for each field that cannot be used.
    """
    reader = CellReader(data)
    reader.refuse_unknown(FIELDS)
    customer = _party(reader)
    order = QuoteOrder(
        customer=customer,
        seller=seller,
        created_at=created_at,
        reference=reader.line("reference"),
        tax_rate_percent=reader.value("tax_rate", tax_rate, Decimal(0)),
        validity_days=reader.value("validity_days", validity_days, USUAL_VALIDITY_DAYS),
        consumables_years=reader.value("consumables_years", _years, 0.0),
        notes=reader.text("notes"),
        advice_token=advice_token,
    )
    if reader.faults:
        raise InvalidInquiry(reader.faults)
    return order


def read_party(data: Mapping[str, object]) -> Party:
    """Return a customer of what was typed, by the names in `PARTY_FIELDS`.

    Raises
    ------
    InvalidInquiry
        With one fault for each field that cannot be used.
    """
    reader = CellReader(data)
    reader.refuse_unknown(PARTY_FIELDS)
    party = _party(reader)
    if reader.faults:
        raise InvalidInquiry(reader.faults)
    return party


def _party(reader: CellReader) -> Party:
    return Party(
        name=reader.line("customer", needed=True),
        address=reader.text("address"),
        contact=reader.line("contact"),
        email=reader.line("email", check=email),
    )


tax_rate = percent(Decimal(0), LARGEST_TAX_PERCENT)
validity_days = whole_number(1, LARGEST_VALIDITY_DAYS)


def _years(text: str) -> float:
    accepted = f"years from 0 to {LARGEST_CONSUMABLES_YEARS:g}, such as 1"
    try:
        years = float(text)
    except ValueError:
        raise Refused("This is not a number of years.", accepted) from None
    if not math.isfinite(years) or not 0 <= years <= LARGEST_CONSUMABLES_YEARS:
        raise Refused("This number of years is out of range.", accepted)
    return years
