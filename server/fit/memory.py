"""What was worked out for one inquiry and holds for the next: parts, prices, upkeep of pumps.

Every key names all that its value depends on, so that nothing can be out of date; a catalogue that
changes has another version and starts with nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, TypeVar, cast

from server.catalog.items import Catalog

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
    _given: int = 0

    def once(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """Return the value of a key, made when it is not there."""
        try:
            return cast(Value, self._values[key])
        except KeyError:
            pass
        value = make()
        self.keep(key, value)
        return value

    def each(
        self, asked: Mapping[Key, Asked], make: Callable[[list[Asked]], Iterable[Value]]
    ) -> list[Value]:
        """Return the values of several keys; those that are not there are made in one go."""
        found = {key: self._values[key] for key in asked if key in self._values}
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
            self._given += 1
            number = self._numbers.setdefault(terms, self._given)
        return number


@dataclass(frozen=True)
class _Key:
    """Equal for equal catalogue contents."""

    version: str
    catalog: Catalog = field(compare=False)


def memory_of(catalog: Catalog) -> Memory:
    """Return what is remembered of a catalogue."""
    return _memory(_Key(catalog.version, catalog))


@lru_cache(maxsize=4)
def _memory(_key: _Key) -> Memory:
    return Memory()
