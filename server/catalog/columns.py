"""What a table's columns are and how a cell becomes a value: both read off the records' fields.

A field's name ends in its SI unit; the column drops that ending and each cell carries a unit of the
trade (``ultimate_pa`` is the column ``ultimate`` with cells such as ``5e-4 mbar``). Fields whose
ending is not a kind of quantity known to `server.units` (``service_hours``, ``density_kg_m3``) keep
their name, and their cells are bare numbers.
"""

from __future__ import annotations

import dataclasses
import re
import types
import typing
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cache, lru_cache, partial
from typing import Any

from server.catalog.flanges import Flange, parse_flange
from server.errors import DomainError, QuantityError
from server.units import Dimension, accepted_examples, parse_quantity
from server.units.numerals import NumberProblem, clean, read_number

# The longest ending decides; ``None`` marks a unit that stays in the column's name.
_ENDINGS: tuple[tuple[str, Dimension | None], ...] = (
    ("_pa_m3_s", Dimension.THROUGHPUT),
    ("_kg_m2_s", None),
    ("_kg_mol", None),
    ("_kg_m3", None),
    ("_pa_m3", None),
    ("_m3_s", Dimension.SPEED),
    ("_kg_s", Dimension.MASS_RATE),
    ("_m3", Dimension.VOLUME),
    ("_pa", Dimension.PRESSURE),
    ("_kg", Dimension.MASS),
    ("_m", Dimension.LENGTH),
    ("_s", Dimension.TIME),
    ("_k", Dimension.TEMPERATURE),
    ("_w", Dimension.POWER),
)
_MONEY = re.compile(r"(-?)([0-9]{1,9})(?:[.,]([0-9]{1,20}))?")
_YES = frozenset({"yes", "true", "1"})
_NO = frozenset({"no", "false", "0"})


class CellProblem(ValueError):
    """A cell that cannot be read; the message is a sentence for the user."""


@dataclass(frozen=True)
class Column:
    """One column of a table and the field it fills."""

    name: str
    field: str
    read: Callable[[str], Any]
    required: bool


def columns_of(record: type, left_out: frozenset[str] = frozenset()) -> tuple[Column, ...]:
    """Return the columns that fill a record's fields.

    Parameters
    ----------
    record : type
        A dataclass.
    left_out : frozenset of str
        Fields that come from other tables.

    Returns
    -------
    tuple of Column
        In the order of the fields.
    """
    hints = typing.get_type_hints(record)
    return tuple(
        _column(field, hints[field.name])
        for field in dataclasses.fields(record)
        if field.name not in left_out
    )


def read_cell(column: Column, text: str) -> Any:
    """Return a cell's value.

    Raises
    ------
    CellProblem
        When it cannot be read.
    """
    try:
        return column.read(text)
    except QuantityError as error:
        raise CellProblem(f"“{text[:60]}”: {error}") from None
    except DomainError as error:
        raise CellProblem(str(error)) from None


def read_decimal(text: str) -> Decimal:
    """Read an amount of money, with a point or a comma before at most two decimals.

    Raises
    ------
    CellProblem
        When it is not a number, negative, or has more than two decimals.
    """
    match = _MONEY.fullmatch(text)
    if match is None:
        raise CellProblem(f"“{text[:60]}” is not an amount of money such as 1249.50.")
    sign, whole, decimals = match.groups(default="")
    if len(decimals) > 2:
        raise CellProblem(f"“{text[:60]}” has more than two decimals.")
    amount = Decimal(f"{whole}.{decimals}".rstrip(".")).quantize(Decimal("0.01"))
    if sign and amount:
        raise CellProblem("An amount of money cannot be negative.")
    return amount


def _column(field: dataclasses.Field[Any], hint: Any) -> Column:
    ending, dimension = next(
        ((ending, kind) for ending, kind in _ENDINGS if field.name.endswith(ending)), ("", None)
    )
    name = field.name.removesuffix(ending) if dimension is not None else field.name
    required = field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
    return Column(name, field.name, _remembering_reader(hint, dimension), required)


@cache
def _remembering_reader(hint: Any, dimension: Dimension | None) -> Callable[[str], Any]:
    """Return the reader of a kind of cells; the same cells come again, and at every import."""
    return lru_cache(maxsize=16384)(_reader(hint, dimension))


def _reader(hint: Any, dimension: Dimension | None) -> Callable[[str], Any]:
    """Return what turns a filled cell into a value of the field's type."""
    if isinstance(hint, types.UnionType):  # an optional field: an empty cell never gets here
        hint = next(member for member in typing.get_args(hint) if member is not types.NoneType)
    origin = typing.get_origin(hint)
    if origin in {tuple, frozenset}:
        member = _reader(typing.get_args(hint)[0], None)
        collect: Callable[[Iterable[Any]], Any] = tuple if origin is tuple else frozenset
        return lambda text: collect(member(word) for word in text.replace(";", " ").split())
    if hint is float and dimension is not None:
        return partial(_read_with_unit, dimension=dimension)
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        return lambda text: _read_word(hint, text)
    return _PLAIN[hint]


def _read_with_unit(text: str, dimension: Dimension) -> float:
    value = parse_quantity(text, dimension)
    if text[-1:].isalpha():  # so it ends in a unit, as nearly every cell does
        return value
    try:
        _, unit = read_number(clean(text))
    except NumberProblem:  # a sum such as 1 h 30 min: it has its units
        return value
    if not unit:
        raise CellProblem(f"“{text}” needs its unit. Accepted: {accepted_examples(dimension)}.")
    return value


def _read_word(words: type[StrEnum], text: str) -> StrEnum:
    try:
        return words(text)
    except ValueError:
        known = ", ".join(word.value for word in words)
        raise CellProblem(f"“{text[:60]}” is not one of: {known}.") from None


def _read_float(text: str) -> float:
    try:
        number, rest = read_number(clean(text))
    except NumberProblem as problem:
        raise CellProblem(f"“{text[:60]}”: {problem}") from None
    if rest:
        raise CellProblem(f"“{text[:60]}” must be a bare number in the unit of the column's name.")
    if not 0 <= number < float("inf"):
        raise CellProblem(f"“{text[:60]}” must be a number of at least zero.")
    return number


def _read_int(text: str) -> int:
    number = _read_float(text)
    if number != int(number) or number > 1e9:
        raise CellProblem(f"“{text[:60]}” is not a whole number.")
    return int(number)


def _read_bool(text: str) -> bool:
    word = text.lower()
    if word not in _YES | _NO:
        raise CellProblem(f"“{text[:60]}” is neither yes nor no.")
    return word in _YES


_PLAIN: dict[Any, Callable[[str], Any]] = {
    str: str,
    float: _read_float,
    int: _read_int,
    bool: _read_bool,
    Decimal: read_decimal,
    Flange: parse_flange,
}
