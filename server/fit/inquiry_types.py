"""The kinds of cell a person fills in: a quantity, a plain number, money, a name, a line of text.

Each checks what was typed and keeps it as typed; a fault says in a sentence what is
wrong and what would be accepted.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from server.errors import DomainError, QuantityError
from server.units import Dimension, accepted_examples, format_quantity, parse_quantity

LONGEST_QUANTITY = 100
LONGEST_NAME = 60


def fault(message: str, accepted: str = "") -> PydanticCustomError:
    """Return the error the checker of a request turns into one ``Fault``."""
    return PydanticCustomError("fault", "{message}", {"message": message, "accepted": accepted})


@dataclass(frozen=True)
class _Cell:
    """Base of the annotations: a check, and how the cell looks in the API's schema."""

    def check(self, typed: Any) -> Any:
        """Return what was typed, or raise ``fault``."""
        raise NotImplementedError

    def shape(self) -> JsonSchemaValue:
        """Return the JSON schema of the cell."""
        raise NotImplementedError

    def __get_pydantic_core_schema__(
        self, _source: object, _handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(
            self.check, serialization=core_schema.plain_serializer_function_ser_schema(lambda v: v)
        )

    def __get_pydantic_json_schema__(
        self, _schema: CoreSchema, _handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return self.shape()


@dataclass(frozen=True)
class QuantityOf(_Cell):
    """A quantity with a unit, or a bare number in SI, between two bounds given in SI."""

    dimension: Dimension
    low: float
    high: float
    low_allowed: bool = True

    def check(self, typed: Any) -> str | float | int:
        """Return the quantity as typed when it can be read and is within the bounds."""
        if isinstance(typed, bool) or not isinstance(typed, str | int | float):
            raise fault("A quantity is wanted here.", self.accepted)
        try:
            value = parse_quantity(typed, self.dimension)
        except QuantityError as error:
            raise fault(error.problem, error.accepted) from None
        self._refuse_absurd(value)
        return typed

    def _refuse_absurd(self, value: float) -> None:
        # a border typed in another unit may be off by rounding
        if value < self.low * (1.0 - 1e-9) or (value == self.low and not self.low_allowed):
            problem = "not above" if not self.low_allowed else "below"
            shown = format_quantity(self.low, self.dimension)
            raise fault(
                f"This is {problem} the smallest value that makes sense, {shown}.", self.accepted
            )
        if value > self.high * (1.0 + 1e-9):
            shown = format_quantity(self.high, self.dimension)
            raise fault(
                f"This is above the largest value that makes sense, {shown}.", self.accepted
            )

    @property
    def accepted(self) -> str:
        """What would be read here."""
        return accepted_examples(self.dimension)

    def shape(self) -> JsonSchemaValue:
        """Return the JSON schema: text with a unit, or a number in SI."""
        bound = "minimum" if self.low_allowed else "exclusiveMinimum"
        return {
            "anyOf": [
                {"type": "string", "minLength": 1, "maxLength": LONGEST_QUANTITY},
                {"type": "number", bound: self.low, "maximum": self.high},
            ],
            "description": f"{self.dimension} with a unit, or a number in SI: {self.accepted}",
        }


@dataclass(frozen=True)
class NumberOf(_Cell):
    """A plain number between two bounds."""

    low: float
    high: float
    low_allowed: bool = True

    def check(self, typed: Any) -> str | float | int:
        """Return the number as typed when it is one and is within the bounds."""
        value = read_number(typed, self.accepted)
        if not self.low <= value <= self.high or (value == self.low and not self.low_allowed):
            raise fault("This number is outside what makes sense here.", self.accepted)
        return typed  # type: ignore[no-any-return]

    @property
    def accepted(self) -> str:
        """What would be read here."""
        lower = "from" if self.low_allowed else "above"
        return f"a number {lower} {self.low:g} up to {self.high:g}"

    def shape(self) -> JsonSchemaValue:
        """Return the JSON schema: a number, or the same as text."""
        bound = "minimum" if self.low_allowed else "exclusiveMinimum"
        return {
            "anyOf": [
                {"type": "number", bound: self.low, "maximum": self.high},
                {"type": "string", "minLength": 1, "maxLength": LONGEST_QUANTITY},
            ]
        }


@dataclass(frozen=True)
class MoneyOf(_Cell):
    """An amount of money, exact, without a currency sign."""

    high: Decimal
    zero_allowed: bool = True

    def check(self, typed: Any) -> str | float | int:
        """Return the amount as typed when it is one and is within the bounds."""
        value = read_money(typed, self.accepted)
        if value > self.high or value < 0 or (value == 0 and not self.zero_allowed):
            raise fault("This amount is outside what makes sense here.", self.accepted)
        return typed  # type: ignore[no-any-return]

    @property
    def accepted(self) -> str:
        """What would be read here."""
        lower = "from 0" if self.zero_allowed else "above 0"
        return f"an amount {lower} up to {self.high:,f}, such as 0.24 or 12500"

    def shape(self) -> JsonSchemaValue:
        """Return the JSON schema: a decimal string or a number."""
        return {
            "anyOf": [
                {"type": "string", "pattern": r"^[0-9]{1,9}(\.[0-9]{1,6})?$"},
                {"type": "number", "minimum": 0, "maximum": float(self.high)},
            ]
        }


@dataclass(frozen=True)
class NameOf(_Cell):
    """A name that a function knows; ``resolve`` raises a ``DomainError`` for others."""

    resolve: Callable[[str], object]
    what: str
    examples: tuple[str, ...]

    def check(self, typed: Any) -> str:
        """Return the name as typed when it is known."""
        accepted = "; ".join(self.examples)
        if not isinstance(typed, str) or not typed.strip():
            raise fault(f"The name of a {self.what} is wanted here.", accepted)
        if len(typed) > LONGEST_NAME:
            raise fault(f"This is too long for the name of a {self.what}.", accepted)
        try:
            self.resolve(typed)
        except DomainError as error:
            raise fault(str(error), accepted) from None
        return typed

    def shape(self) -> JsonSchemaValue:
        """Return the JSON schema: a short text with examples."""
        return {
            "type": "string",
            "minLength": 1,
            "maxLength": LONGEST_NAME,
            "examples": list(self.examples),
        }


@dataclass(frozen=True)
class TextOf(_Cell):
    """One line of text without control characters."""

    longest: int = 200

    def check(self, typed: Any) -> str:
        """Return the text, trimmed."""
        accepted = f"one line of text, up to {self.longest} characters"
        if not isinstance(typed, str):
            raise fault("A line of text is wanted here.", accepted)
        if len(typed) > self.longest:
            raise fault(f"This text has {len(typed)} characters, which is too long.", accepted)
        # Control characters and lone surrogates cannot be stored or printed.
        if any(unicodedata.category(char) in {"Cc", "Cs"} for char in typed):
            raise fault("This text holds characters that cannot be printed.", accepted)
        return typed.strip()

    def shape(self) -> JsonSchemaValue:
        """Return the JSON schema: a text with its longest length."""
        return {"type": "string", "maxLength": self.longest}


def read_number(typed: object, accepted: str) -> float:
    """Return a plain number; a decimal comma is understood.

    Raises
    ------
    PydanticCustomError
        When the cell holds no finite number.
    """
    if isinstance(typed, bool) or not isinstance(typed, str | int | float):
        raise fault("A number is wanted here.", accepted)
    if isinstance(typed, str) and len(typed) > LONGEST_QUANTITY:
        raise fault("This is too long for a number.", accepted)
    try:
        value = float(_decimal_point(typed) if isinstance(typed, str) else typed)
    except (ValueError, OverflowError):
        raise fault("This cannot be read as a number.", accepted) from None
    if not math.isfinite(value):
        raise fault("This is not a finite number.", accepted)
    return value


def read_money(typed: object, accepted: str) -> Decimal:
    """Return an exact amount; a decimal comma is understood.

    Raises
    ------
    PydanticCustomError
        When the cell holds no finite amount.
    """
    if isinstance(typed, bool) or not isinstance(typed, str | int | float | Decimal):
        raise fault("An amount of money is wanted here.", accepted)
    text = str(typed)
    if len(text) > LONGEST_QUANTITY:
        raise fault("This is too long for an amount.", accepted)
    try:
        value = Decimal(_decimal_point(text))
    except InvalidOperation:
        raise fault("This cannot be read as an amount of money.", accepted) from None
    if not value.is_finite():
        raise fault("This is not a finite amount.", accepted)
    return value


def _decimal_point(text: str) -> str:
    """Return the text with one decimal comma made a point; leave anything ambiguous to fail."""
    stripped = text.strip()
    whole, comma, rest = stripped.partition(",")
    # "1,000" may be one thousand or one: three digits after a comma are refused, not guessed.
    if comma and "." not in stripped and "," not in rest and len(rest) != 3:
        return f"{whole}.{rest}"
    return "" if "_" in stripped else stripped
