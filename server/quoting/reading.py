"""Reading what people type into the cells of a quote: a fault for each that cannot be used."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import TypeVar

from server.errors import Fault
from server.fit.money import minor_digits, round_money

ValueT = TypeVar("ValueT")
WordT = TypeVar("WordT", bound=StrEnum)

LONGEST_LINE = 200
LONGEST_TEXT = 5000


class Refused(ValueError):
    """A value that cannot be used: why, and what would be accepted."""

    def __init__(self, message: str, accepted: str) -> None:
        super().__init__(message)
        self.message = message
        self.accepted = accepted


class CellReader:
    """Reads fields and collects what is wrong with them.

    Parameters
    ----------
    data : mapping
        Text or numbers by field.
    place : str
        What the fields' names begin with in faults, such as ``lines.3.``.
    """

    def __init__(self, data: Mapping[str, object], place: str = "") -> None:
        self._data = data
        self._place = place
        self.faults: list[Fault] = []

    def refuse_unknown(self, known: Iterable[str]) -> None:
        """Note a fault for each field that is not one of those known."""
        names = tuple(known)
        for name in self._data:
            if name not in names:
                shown = self._place + printable(str(name))[:100]
                self.faults.append(Fault(shown, "", "There is no such field.", ", ".join(names)))

    def gives(self, name: str) -> bool:
        """Say whether a field was sent at all, be it empty."""
        return self._data.get(name) is not None

    def line(
        self, name: str, *, needed: bool = False, check: Callable[[str], None] | None = None
    ) -> str:
        """Return a text of one line."""
        text = " ".join(self.text(name, LONGEST_LINE).split())
        already = any(fault.field == self._place + name for fault in self.faults)
        if needed and not text and not already:
            self.refuse(name, Refused("This is needed.", "a name"))
        if text and check is not None:
            try:
                check(text)
            except Refused as refused:
                self.refuse(name, refused)
        return text

    def text(self, name: str, longest: int = LONGEST_TEXT) -> str:
        """Return a text of any number of lines, without what cannot be printed."""
        typed = self._data.get(name)
        if typed is None:
            return ""
        if not isinstance(typed, str):
            self.refuse(name, Refused("Text is wanted here.", "text"))
            return ""
        if len(typed) > longest:
            message = f"This is too long: {len(typed)} characters."
            self.refuse(name, Refused(message, f"up to {longest} characters"))
            return ""
        return printable(typed).strip()

    def value(self, name: str, read: Callable[[str], ValueT], default: ValueT) -> ValueT:
        """Return what a reader makes of a cell; the default where it is empty or refused."""
        typed = self._data.get(name)
        is_number = isinstance(typed, int | float | Decimal) and not isinstance(typed, bool)
        text = str(typed)[:LONGEST_LINE].strip() if is_number or isinstance(typed, str) else ""
        if typed is None or typed == "" or (isinstance(typed, str) and not text):
            return default
        try:
            if not text:
                raise Refused("A number is wanted here.", "a number")
            return read(text)
        except Refused as refused:
            self.refuse(name, refused)
            return default

    def refuse(self, name: str, refused: Refused) -> None:
        """Note a fault of a field."""
        typed = self._data.get(name)
        shown = printable(str(typed))[:100] if isinstance(typed, str | int | float) else ""
        self.faults.append(Fault(self._place + name, shown, refused.message, refused.accepted))


def printable(text: str) -> str:
    """Drop what cannot be printed or what reorders the text around it; keep line breaks.

    Control, private, unpaired and unassigned characters, and the controls that override the
    direction of writing: letters that run from right to left do so without them.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(c for c in text if c == "\n" or _is_plain(c))


_OVERRIDES = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def _is_plain(char: str) -> bool:
    return unicodedata.category(char) not in {"Cc", "Cs", "Co", "Cn"} and char not in _OVERRIDES


def email(text: str) -> None:
    """Refuse what is not an e-mail address."""
    if not re.fullmatch(r"[^@\s]+@[^@\s]+\.[^@\s]+", text):
        raise Refused("This is not an e-mail address.", "name@example.org")


def one_of(words: type[WordT]) -> Callable[[str], WordT]:
    """Return a reader of the words of an enumeration."""
    known = {str(word): word for word in words}
    accepted = ", ".join(known)

    def read(text: str) -> WordT:
        if text not in known:
            raise Refused("This is none of the words that can stand here.", accepted)
        return known[text]

    return read


def decimal_of(text: str, accepted: str) -> Decimal:
    """Return the finite decimal of a text with a decimal point, without an exponent's excess."""
    try:
        found = Decimal(text)
    except InvalidOperation:
        raise Refused("This is not a number.", accepted) from None
    if not found.is_finite() or abs(found.adjusted()) > 20:
        raise Refused("This number is out of range.", accepted)
    return found


def percent(least: Decimal, largest: Decimal) -> Callable[[str], Decimal]:
    """Return a reader of percentages in a range, with at most three decimals."""
    accepted = f"from {least} to {largest} %, such as 5 or 8.1 %"

    def read(text: str) -> Decimal:
        found = decimal_of(text.removesuffix("%").strip(), accepted)
        if not least <= found <= largest:
            raise Refused("This percentage is out of range.", accepted)
        if found != round(found, 3):
            raise Refused("A percentage has at most three decimals.", accepted)
        return found

    return read


def whole_number(least: int, largest: int) -> Callable[[str], int]:
    """Return a reader of whole numbers in a range."""
    accepted = f"a whole number from {least} to {largest}"

    def read(text: str) -> int:
        if not re.fullmatch(r"[+-]?[0-9]{1,12}(\.0+)?", text):
            raise Refused("This is not a whole number.", accepted)
        found = int(text.partition(".")[0])
        if not least <= found <= largest:
            raise Refused("This number is out of range.", accepted)
        return found

    return read


def money(currency: str, largest: Decimal) -> Callable[[str], Decimal]:
    """Return a reader of amounts from zero, with the decimals the currency has."""
    digits = minor_digits(currency)
    accepted = f"an amount from 0 to {largest} {currency}, with at most {digits} decimals"

    def read(text: str) -> Decimal:
        found = decimal_of(text.removesuffix(currency).strip(), accepted)
        if not 0 <= found <= largest:
            raise Refused("This amount is out of range.", accepted)
        if found != round(found, digits):
            raise Refused("This amount has too many decimals.", accepted)
        return round_money(found, currency)

    return read
