"""What was worked out for one inquiry and holds for the next: parts, prices, upkeep, speed tables.

Every key names all that its value depends on, so that nothing can be out of date; a catalogue that
changes has another version and starts with nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import count
from threading import Lock
from typing import Any, TypeVar, cast

from server.catalog.items import Catalog
from server.physics.arrays import FloatArray, IntArray
from server.physics.line_table import LineTable
from server.physics.speedtable import SpeedTable

MOST_ENTRIES = 50_000
"""More than twenty quite different inquiries leave behind; beyond it the memory starts anew."""

Value = TypeVar("Value")
Asked = TypeVar("Asked")
Key = TypeVar("Key", bound=Hashable)


@dataclass
class Memory:
    """Values by their keys, of one catalogue; never holds more than ``MOST_ENTRIES``."""

    _values: dict[Hashable, Any] = field(default_factory=dict)
    _numbers: dict[Hashable, int] = field(default_factory=dict)
    _unused: Iterator[int] = field(default_factory=lambda: count(1))
    """No number is given twice, not even to two inquiries that ask at once."""

    def once(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """Return the value of a key, made when it is not there."""
        try:
            known: Value = self._values[key]
        except KeyError:
            pass
        else:
            return known
        value = make()
        self.keep(key, value)
        return value

    def each(
        self, asked: Mapping[Key, Asked], make: Callable[[list[Asked]], Iterable[Value]]
    ) -> list[Value]:
        """Return the values of several keys; those that are not there are made in one go."""
        values = self._values  # another inquiry may let the memory start anew meanwhile
        found = {key: values[key] for key in asked if key in values}
        missing = {key: one for key, one in asked.items() if key not in found}
        if missing:
            made = make(list(missing.values()))
            for key, value in zip(missing, made, strict=True):
                found[key] = value
                self.keep(key, value)
        return [found[key] for key in asked]

    def keep(self, key: Hashable, value: object) -> None:
        """Remember a value that was worked out in another way, such as many of them at once."""
        if len(self._values) >= MOST_ENTRIES:
            self._values = {}
        self._values[key] = value

    def number(self, terms: Hashable) -> int:
        """Return a number that stands for terms in keys, the same for equal terms."""
        number = self._numbers.get(terms)
        if number is None:
            if len(self._numbers) >= MOST_ENTRIES:
                self._numbers = {}
            number = self._numbers.setdefault(terms, next(self._unused))
        return number


def memory_of(catalog: Catalog) -> Memory:
    """Return what is remembered of a catalogue."""
    return _memory(catalog.version)


@lru_cache(maxsize=4)
def _memory(_version: str) -> Memory:
    return Memory()


class Terms:
    """Many terms as one part of keys, hashed once for all of them."""

    def __init__(self, terms: Iterable[Hashable]) -> None:
        self._terms = tuple(terms)
        self._hash = hash(self._terms)

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Terms) and other._terms == self._terms


MOST_BYTES = 12_000_000
"""All tables together that are kept for inquiries to come: ours, little beside a large field."""
LARGEST_SHARE = 0.125
"""A table that takes more of that is not kept: it would push too many others out."""

Kept = TypeVar("Kept", SpeedTable, LineTable, IntArray, FloatArray)


class Shelf:
    """Arrays by their keys; where room is short, those not asked for longest go first.

    Parameters
    ----------
    most_bytes : int
        Room for all of them.
    """

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._most_bytes = most_bytes
        self._bytes = 0
        self._kept: dict[Hashable, SpeedTable | LineTable | IntArray | FloatArray] = {}
        self._lock = Lock()

    def once(self, key: Hashable, make: Callable[[], Kept]) -> Kept:
        """Return the array of a key, made when it is not there; nobody may write into it."""
        with self._lock:
            known = self._kept.pop(key, None)
            if known is not None:
                self._kept[key] = known  # behind all others, in the order of their last use
                return cast(Kept, known)
        made = make()
        _protect(made)
        if _size(made) <= LARGEST_SHARE * self._most_bytes:
            self._keep(key, made)
        return made

    def _keep(self, key: Hashable, made: SpeedTable | LineTable | IntArray | FloatArray) -> None:
        with self._lock:
            if key not in self._kept:
                self._bytes += _size(made)
            self._kept[key] = made
            while self._bytes > self._most_bytes:
                self._bytes -= _size(self._kept.pop(next(iter(self._kept))))


def _protect(made: SpeedTable | LineTable | IntArray | FloatArray) -> None:
    """Let nobody write into what others are given too."""
    if isinstance(made, SpeedTable):
        made.speed_m3_s.setflags(write=False)
    elif isinstance(made, LineTable):
        made.of.setflags(write=False)
        made.narrowest_m.setflags(write=False)
    else:
        made.setflags(write=False)


def _size(made: SpeedTable | LineTable | IntArray | FloatArray) -> int:
    """Bytes at most: a table comes to hold its largest throughputs too, a key takes its share."""
    return 1000 + (2 * made.speed_m3_s.nbytes if isinstance(made, SpeedTable) else made.nbytes)


@lru_cache(maxsize=1)
def shelf() -> Shelf:
    """Return the one shelf for the tables of all catalogues."""
    return Shelf()
