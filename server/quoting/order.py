"""What is asked for in a quote: who, under which conditions; read from what people type."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import TypeVar

from server.errors import Fault, InvalidInquiry

ValueT = TypeVar("ValueT")

LONGEST_LINE = 200
LONGEST_TEXT = 4000
LARGEST_TAX_PERCENT = Decimal(50)
LARGEST_VALIDITY_DAYS = 365
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
    validity_days: int = 30
    consumables_years: float = 0.0
    """Consumables offered together with the stack for so many years; zero offers none."""
    notes: str = ""
    advice_token: str = ""


FIELDS = (
    "customer",
    "address",
    "contact",
    "email",
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
    reader = _Reader(data)
    reader.refuse_unknown()
    customer = Party(
        name=reader.line("customer", needed=True),
        address=reader.text("address", LONGEST_TEXT),
        contact=reader.line("contact"),
        email=reader.line("email", check=_check_email),
    )
    order = QuoteOrder(
        customer=customer,
        seller=seller,
        created_at=created_at,
        reference=reader.line("reference"),
        tax_rate_percent=reader.value("tax_rate", _tax_rate, Decimal(0)),
        validity_days=reader.value("validity_days", _validity_days, 30),
        consumables_years=reader.value("consumables_years", _years, 0.0),
        notes=reader.text("notes", LONGEST_TEXT),
        advice_token=advice_token,
    )
    if reader.faults:
        raise InvalidInquiry(reader.faults)
    return order


class _Refused(ValueError):
    """A value that cannot be used: why, and what would be accepted."""

    def __init__(self, message: str, accepted: str) -> None:
        super().__init__(message)
        self.message = message
        self.accepted = accepted


class _Reader:
    """Reads fields and collects what is wrong with them."""

    def __init__(self, data: Mapping[str, object]) -> None:
        self._data = data
        self.faults: list[Fault] = []

    def refuse_unknown(self) -> None:
        for name in self._data:
            if name not in FIELDS:
                shown = str(name)[:100]
                fault = Fault(shown, "", "There is no such field.", ", ".join(FIELDS))
                self.faults.append(fault)

    def line(
        self, name: str, *, needed: bool = False, check: Callable[[str], None] | None = None
    ) -> str:
        text = " ".join(self.text(name, LONGEST_LINE).split())
        already = any(fault.field == name for fault in self.faults)
        if needed and not text and not already:
            self._refuse(name, _Refused("This is needed.", "a name"))
        if text and check is not None:
            try:
                check(text)
            except _Refused as refused:
                self._refuse(name, refused)
        return text

    def text(self, name: str, longest: int) -> str:
        typed = self._data.get(name)
        if typed is None:
            return ""
        if not isinstance(typed, str):
            self._refuse(name, _Refused("Text is wanted here.", "text"))
            return ""
        if len(typed) > longest:
            message = f"This is too long: {len(typed)} characters."
            self._refuse(name, _Refused(message, f"up to {longest} characters"))
            return ""
        return _printable(typed).strip()

    def value(self, name: str, read: Callable[[str], ValueT], default: ValueT) -> ValueT:
        typed = self._data.get(name)
        is_number = isinstance(typed, int | float | Decimal) and not isinstance(typed, bool)
        text = str(typed)[:LONGEST_LINE].strip() if is_number or isinstance(typed, str) else ""
        if typed is None or typed == "" or (isinstance(typed, str) and not text):
            return default
        try:
            if not text:
                raise _Refused("A number is wanted here.", "a number")
            return read(text)
        except _Refused as refused:
            self._refuse(name, refused)
            return default

    def _refuse(self, name: str, refused: _Refused) -> None:
        typed = self._data.get(name)
        shown = _printable(str(typed))[:100] if isinstance(typed, str | int | float) else ""
        self.faults.append(Fault(name, shown, refused.message, refused.accepted))


def _printable(text: str) -> str:
    """Drop what cannot be printed: control, private and unpaired characters; keep line breaks."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    kept = (c for c in text if c == "\n" or unicodedata.category(c) not in {"Cc", "Cs", "Co", "Cn"})
    return "".join(kept)


def _check_email(text: str) -> None:
    if not re.fullmatch(r"[^@\s]+@[^@\s]+\.[^@\s]+", text):
        raise _Refused("This is not an e-mail address.", "name@example.org")


def _tax_rate(text: str) -> Decimal:
    accepted = f"a rate from 0 to {LARGEST_TAX_PERCENT} %, such as 19 or 8.1 %"
    try:
        rate = Decimal(text.removesuffix("%").strip())
    except InvalidOperation:
        raise _Refused("This is not a tax rate.", accepted) from None
    if not rate.is_finite() or not 0 <= rate <= LARGEST_TAX_PERCENT:
        raise _Refused("This tax rate is out of range.", accepted)
    if rate != round(rate, 3):
        raise _Refused("A tax rate has at most three decimals.", accepted)
    return rate


def _validity_days(text: str) -> int:
    accepted = f"whole days from 1 to {LARGEST_VALIDITY_DAYS}"
    if not re.fullmatch(r"[0-9]{1,6}(\.0)?", text):
        raise _Refused("This is not a number of days.", accepted)
    days = int(float(text))
    if not 1 <= days <= LARGEST_VALIDITY_DAYS:
        raise _Refused("A quote cannot stay valid for this long.", accepted)
    return days


def _years(text: str) -> float:
    accepted = f"years from 0 to {LARGEST_CONSUMABLES_YEARS:g}, such as 1"
    try:
        years = float(text)
    except ValueError:
        raise _Refused("This is not a number of years.", accepted) from None
    if not math.isfinite(years) or not 0 <= years <= LARGEST_CONSUMABLES_YEARS:
        raise _Refused("This number of years is out of range.", accepted)
    return years
