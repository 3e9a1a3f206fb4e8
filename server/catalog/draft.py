"""A catalogue as read from its tables and not yet checked: every record still knows its row."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any, TypeVar

from server.catalog.items import FluidKind, Item, SuppliedFor
from server.catalog.sheets import Row

SideT = TypeVar("SideT", bound="SideTable")
ItemT = TypeVar("ItemT", bound=Item)


@dataclass(frozen=True)
class About:
    """The catalogue itself (``about.csv``)."""

    name: str
    currency: str
    note: str = ""


@dataclass(frozen=True)
class SideTable:
    """A row of a table that says more of an item."""

    sku: str


@dataclass(frozen=True)
class PriceRow(SideTable):
    """A row of ``price_list.csv``."""

    price: Decimal
    cost_price: Decimal
    stock: int
    lead_time_days: int


@dataclass(frozen=True)
class SpeedRow(SideTable):
    """A row of ``speed_points.csv``."""

    gas: str
    pressure_pa: float
    speed_m3_s: float
    with_ballast: bool = False


@dataclass(frozen=True)
class CompressionRow(SideTable):
    """A row of ``compression.csv``: turbomolecular pumps, zero flow."""

    gas: str
    compression: float


@dataclass(frozen=True)
class StageRow(SideTable):
    """A row of ``compression_booster.csv``: zero flow, against foreline pressure."""

    pressure_pa: float
    compression: float
    gas: str = "air"


@dataclass(frozen=True)
class CapacityRow(SideTable):
    """A row of ``capacity.csv``."""

    gas: str
    capacity_pa_m3: float


@dataclass(frozen=True)
class GasLimitRow(SideTable):
    """A row of ``gas_limits.csv``: where a pump's limits for a gas differ from its own row's."""

    gas: str
    largest_throughput_pa_m3_s: float | None = None
    tolerable_foreline_pa: float | None = None
    tolerable_foreline_no_load_pa: float | None = None
    tolerable_foreline_full_load_pa: float | None = None

    @property
    def stated(self) -> dict[str, float]:
        """The limits that the row states, by their field."""
        limits = {
            "largest_throughput_pa_m3_s": self.largest_throughput_pa_m3_s,
            "tolerable_foreline_pa": self.tolerable_foreline_pa,
            "tolerable_foreline_no_load_pa": self.tolerable_foreline_no_load_pa,
            "tolerable_foreline_full_load_pa": self.tolerable_foreline_full_load_pa,
        }
        return {name: value for name, value in limits.items() if value is not None}


@dataclass(frozen=True)
class SuppliedRow(SideTable):
    """A row of ``supplied_parts.csv``."""

    name: str
    quantity: int
    note: str = ""
    serves: tuple[SuppliedFor, ...] = ()
    fluid: FluidKind | None = None


@dataclass(frozen=True)
class Entry:
    """An item and the row it stands in."""

    row: Row
    item: Item


@dataclass(frozen=True)
class Draft:
    """All that could be read of a catalogue."""

    about: About | None
    version: str
    entries: Mapping[str, Entry]
    seen: frozenset[str]
    """SKUs of all item rows, the faulty ones included."""
    all_rows_read: bool
    """Whether ``seen`` is complete: no row of an item table was lost as a whole."""
    complete: bool
    """Whether every item could be read, so that items can be held against one another."""
    prices: Mapping[str, tuple[Row, PriceRow]]
    sides: Mapping[type[SideTable], list[tuple[Row, Any]]]

    def of_type(self, kind: type[ItemT]) -> Iterator[tuple[Row, ItemT]]:
        """Return the items of one class with their rows."""
        for entry in self.entries.values():
            if isinstance(entry.item, kind):
                yield entry.row, entry.item

    def of(self, table: type[SideT], sku: str) -> list[tuple[Row, SideT]]:
        """Return the rows of a side table that belong to an item, in the order of the table."""
        return self._by_sku.get((table, sku), [])

    def curves(self, sku: str) -> dict[tuple[str, bool], list[tuple[Row, SpeedRow]]]:
        """Return an item's speed points by gas and ballast, in the order of the table."""
        return self._curves.get(sku, {})

    @cached_property
    def _curves(self) -> dict[str, dict[tuple[str, bool], list[tuple[Row, SpeedRow]]]]:
        found: dict[str, dict[tuple[str, bool], list[tuple[Row, SpeedRow]]]] = {}
        for row, point in self.sides.get(SpeedRow, ()):
            curves = found.setdefault(point.sku, {})
            curves.setdefault((point.gas, point.with_ballast), []).append((row, point))
        return found

    def stages(self, sku: str) -> dict[str, list[tuple[Row, StageRow]]]:
        """Return a booster's compressions by gas, in the order of the table."""
        stages: dict[str, list[tuple[Row, StageRow]]] = {}
        for row, stage in self.of(StageRow, sku):
            stages.setdefault(stage.gas, []).append((row, stage))
        return stages

    @cached_property
    def _by_sku(self) -> dict[tuple[type[SideTable], str], list[tuple[Row, Any]]]:
        found: dict[tuple[type[SideTable], str], list[tuple[Row, Any]]] = {}
        for table, rows in self.sides.items():
            for row, record in rows:
                found.setdefault((table, record.sku), []).append((row, record))
        return found
