"""What is alike is worked out once: few tables, few rows, and which of them belongs to each."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from server.catalog.arrays import GRID
from server.physics.arrays import IntArray
from server.physics.speedtable import SpeedTable
from server.physics.steady import SteadyState, steady_state

Speeds = Mapping[str, SpeedTable]
"""One table for each species."""


@dataclass(frozen=True)
class Groups:
    """Members that are alike, group by group, in the order in which they first appear."""

    first: IntArray
    """A member of each group."""
    of: IntArray
    """Group of each member."""

    @classmethod
    def by(cls, keys: Iterable[Hashable]) -> Groups:
        """Group members by their keys."""
        known: dict[Hashable, int] = {}
        of = np.array([known.setdefault(key, len(known)) for key in keys], dtype=np.intp)
        first = np.empty(len(known), dtype=np.intp)
        first[of[::-1]] = np.arange(len(of))[::-1]
        return cls(first, of)

    @classmethod
    def by_number(cls, *numbers: IntArray) -> Groups:
        """Group members by one or several numbers of each, none below zero."""
        code = numbers[0]
        for number in numbers[1:]:
            code = code * (1 + int(number.max(initial=0))) + number
        _, first, of = np.unique(code, return_index=True, return_inverse=True)
        return cls(first, of.ravel())


class MadeWhenAsked(Speeds):
    """Tables by species, each made when it is first asked for."""

    def __init__(self, species: Sequence[str], make: Callable[[str], SpeedTable]) -> None:
        self._made: dict[str, SpeedTable | None] = dict.fromkeys(species)
        self._make = make

    def __getitem__(self, gas: str) -> SpeedTable:
        table = self._made[gas]
        if table is None:
            table = self._made[gas] = self._make(gas)
        return table

    def __contains__(self, gas: object) -> bool:
        return gas in self._made

    def __iter__(self) -> Iterator[str]:
        return iter(self._made)

    def __len__(self) -> int:
        return len(self._made)


@dataclass(frozen=True)
class SharedSpeeds:
    """Speed tables in which several pumps share a row."""

    tables: Speeds
    rows: IntArray
    """The rows in use, each once: what has a row of its own is solved for these."""
    of: IntArray
    """Position in ``rows`` of each pump."""
    _settled: dict[tuple[tuple[str, float], ...], SteadyState] = field(
        default_factory=dict, init=False, repr=False
    )

    @classmethod
    def made(
        cls, groups: Groups, species: Sequence[str], make: Callable[[str], SpeedTable]
    ) -> SharedSpeeds:
        """Return tables with a row for each group, made species by species when asked for."""
        return cls(MadeWhenAsked(species, make), np.arange(len(groups.first)), groups.of)

    def settled(self, load_pa_m3_s: Mapping[str, float]) -> SteadyState:
        """Return where each pump settles under a load, solved once for each load."""
        key = tuple(load_pa_m3_s.items())
        if key not in self._settled:
            found = steady_state(load_pa_m3_s, self.tables, self.rows)
            self._settled[key] = found.only(self.of)
        return self._settled[key]

    @cached_property
    def first(self) -> IntArray:
        """A pump of each row in use."""
        found = np.empty(len(self.rows), dtype=np.intp)
        found[self.of[::-1]] = np.arange(len(self.of))[::-1]
        return found

    @cached_property
    def each(self) -> Speeds:
        """The same with a row for every pump."""
        row = self.rows[self.of]
        return MadeWhenAsked(
            tuple(self.tables),
            lambda gas: SpeedTable(GRID, self.tables[gas].speed_m3_s[row]),
        )

    def only(self, pumps: IntArray) -> SharedSpeeds:
        """Return the tables for some of the pumps."""
        kept, of = np.unique(self.of[pumps], return_inverse=True)
        return SharedSpeeds(self.tables, self.rows[kept], of.ravel())
