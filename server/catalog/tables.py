"""Reads a catalogue's tables into checked records; a catalogue with any fault is refused whole.

``load_catalog`` reads a folder, ``build_catalog`` the same tables as uploaded files. Both raise
`InvalidCatalog` with every fault found: file, row, column, reason.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from server.catalog.checks import check_draft
from server.catalog.columns import CellProblem, Column, columns_of, read_cell
from server.catalog.draft import (
    About,
    CapacityRow,
    CompressionRow,
    Draft,
    Entry,
    GasLimitRow,
    PriceRow,
    SideTable,
    SpeedRow,
    StageRow,
    SuppliedRow,
)
from server.catalog.items import (
    BackingPump,
    CapturePump,
    Catalog,
    CleaningSupply,
    CompressionCurve,
    Filter,
    Fluid,
    Gauge,
    Interlock,
    Item,
    LinePart,
    Pump,
    RootsBooster,
    Spare,
    SpeedCurve,
    SuppliedPart,
    Trap,
    TurboPump,
    Valve,
    VapourPump,
)
from server.catalog.sheets import Row, read_sheet
from server.errors import CatalogFault, InvalidCatalog

ITEM_TABLES: Mapping[str, type[Item]] = {
    "pumps_vapour.csv": VapourPump,
    "pumps_turbo.csv": TurboPump,
    "pumps_capture.csv": CapturePump,
    "pumps_backing.csv": BackingPump,
    "pumps_booster.csv": RootsBooster,
    "fluids.csv": Fluid,
    "traps.csv": Trap,
    "valves.csv": Valve,
    "gauges.csv": Gauge,
    "interlocks.csv": Interlock,
    "line_parts.csv": LinePart,
    "filters.csv": Filter,
    "spares.csv": Spare,
    "cleaning.csv": CleaningSupply,
}
SIDE_TABLES: Mapping[str, type[SideTable]] = {
    "price_list.csv": PriceRow,
    "speed_points.csv": SpeedRow,
    "compression.csv": CompressionRow,
    "compression_booster.csv": StageRow,
    "capacity.csv": CapacityRow,
    "gas_limits.csv": GasLimitRow,
    "supplied_parts.csv": SuppliedRow,
}
ABOUT_TABLE = "about.csv"
TABLES = (ABOUT_TABLE, *ITEM_TABLES, *SIDE_TABLES)
MAY_BE_LEFT_OUT = frozenset({"gas_limits.csv"})
"""Tables without which a catalogue is complete: those of refinements."""

_LIMIT_BY_GAS = {
    "largest_throughput_pa_m3_s": "largest_throughput_by_gas_pa_m3_s",
    "tolerable_foreline_pa": "tolerable_foreline_by_gas_pa",
    "tolerable_foreline_no_load_pa": "tolerable_foreline_no_load_by_gas_pa",
    "tolerable_foreline_full_load_pa": "tolerable_foreline_full_load_by_gas_pa",
}
_FROM_OTHER_TABLES = frozenset(
    {
        *_LIMIT_BY_GAS.values(),
        "price",
        "cost_price",
        "stock",
        "lead_time_days",
        "curves",
        "supplied",
        "compression",
        "capacity_pa_m3",
        "compression_pressure_pa",
        "compression_k0",
        "compression_by_gas",
    }
)


def load_catalog(folder: Path) -> Catalog:
    """Read and check the catalogue in a folder of CSV tables.

    Parameters
    ----------
    folder : Path
        With all the files of ``TABLES``.

    Returns
    -------
    Catalog
        Checked, its version a hash of the tables.

    Raises
    ------
    InvalidCatalog
        With every fault.
    """
    return build_catalog(read_folder(folder))


def read_folder(folder: Path) -> Mapping[str, bytes]:
    """Return the CSV files of a folder by name.

    Raises
    ------
    InvalidCatalog
        When the folder or a file cannot be read.
    """
    try:
        return {path.name: path.read_bytes() for path in sorted(folder.glob("*.csv"))}
    except OSError as error:
        reason = f"The file cannot be read ({error.strerror})."
        name = Path(str(error.filename)).name
        raise InvalidCatalog([CatalogFault(name, 1, "(file)", reason)]) from None


def build_catalog(files: Mapping[str, bytes]) -> Catalog:
    """Read and check a catalogue given as files.

    Parameters
    ----------
    files : mapping of file name to content
        All the files of ``TABLES`` and no others.

    Returns
    -------
    Catalog
        Checked, its version a hash of the tables.

    Raises
    ------
    InvalidCatalog
        With every fault.
    """
    draft, faults = read_tables(files)
    faults = [*faults, *check_draft(draft)]
    if faults or draft.about is None:
        raise InvalidCatalog(_sorted(faults))
    about = draft.about
    items = {sku: _joined(draft, entry) for sku, entry in draft.entries.items()}
    return Catalog(
        name=about.name,
        currency=about.currency,
        version=draft.version,
        note=about.note,
        items=items,
    )


def read_tables(files: Mapping[str, bytes]) -> tuple[Draft, list[CatalogFault]]:
    """Read a catalogue's files into records without judging what they say.

    Parameters
    ----------
    files : mapping of file name to content
        Any files.

    Returns
    -------
    draft : Draft
        What could be read; entries whose own row is faulty are left out.
    faults : list of CatalogFault
        Cells, rows and files that could not be read.
    """
    reader = _Reader(files)
    reader.faults.extend(
        CatalogFault(name, 1, "(file)", f"Unknown table. Known: {', '.join(TABLES)}.")
        for name in files
        if name not in TABLES
    )
    about = reader.records(ABOUT_TABLE, columns_of(About), About)
    if len(about) != 1 and ABOUT_TABLE in files:
        reader.faults.append(CatalogFault(ABOUT_TABLE, 2, "(row)", "Exactly one row is wanted."))
    sides: dict[type[SideTable], list[tuple[Row, Any]]] = {
        record: reader.records(name, columns_of(record), record)
        for name, record in SIDE_TABLES.items()
    }
    prices = _first_of_each(sides[PriceRow], reader.faults)
    entries: dict[str, Entry] = {}
    for name, record in ITEM_TABLES.items():
        reader.entries(name, record, prices, entries)
    draft = Draft(
        about=about[0][1] if about else None,
        version=reader.digest.hexdigest()[:12],
        entries=entries,
        seen=frozenset(reader.seen),
        all_rows_read=not reader.lost_rows,
        complete=not any(fault.file in (*ITEM_TABLES, "price_list.csv") for fault in reader.faults),
        prices=prices,
        sides=sides,
    )
    return draft, reader.faults


@dataclass
class _Reader:
    """Reads table after table, collecting faults and the hash of all that was read."""

    files: Mapping[str, bytes]
    faults: list[CatalogFault] = field(default_factory=list)
    seen: set[str] = field(default_factory=set)
    """Every SKU of the item tables."""
    seen_lower: set[str] = field(default_factory=set)
    lost_rows: bool = False
    """Whether an item table, or a row of one, could not be read at all."""
    digest: Any = field(default_factory=hashlib.sha256)

    def rows(self, name: str, columns: Sequence[Column]) -> tuple[Row, ...]:
        """Return a table's rows of text."""
        if name not in self.files:
            if name in MAY_BE_LEFT_OUT:
                return ()
            self.faults.append(CatalogFault(name, 1, "(file)", "The table is missing."))
            self.lost_rows |= name in ITEM_TABLES
            return ()
        names = [column.name for column in columns]
        may_lack = frozenset(column.name for column in columns if not column.required)
        sheet = read_sheet(name, self.files[name], names, may_lack)
        self.faults.extend(sheet.faults)
        self.lost_rows |= bool(sheet.faults) and name in ITEM_TABLES
        for row in sheet.rows:
            # Cells, not bytes: the version stays when a spreadsheet saves the same table anew.
            # A column left out is left out here too: a later release may know more columns.
            filled = (f"{column}={cell}" for column in names if (cell := row.cells.get(column)))
            line = "\x1f".join([name, *filled])
            self.digest.update(line.encode() + b"\x1e")
        return sheet.rows

    def values(self, row: Row, columns: Iterable[Column]) -> dict[str, Any] | None:
        """Return a row's values by field, or None after noting its faults."""
        values: dict[str, Any] = {}
        faults: list[CatalogFault] = []
        for column in columns:
            text = row.cells.get(column.name)
            if not text:
                if column.required:
                    faults.append(row.fault(column.name, "The cell must not be empty."))
                continue
            try:
                values[column.field] = read_cell(column, text)
            except CellProblem as problem:
                faults.append(row.fault(column.name, str(problem)))
        self.faults.extend(faults)
        return None if faults else values

    def records(
        self, name: str, columns: Sequence[Column], record: type[Any]
    ) -> list[tuple[Row, Any]]:
        """Return the readable rows of a table as records."""
        read = ((row, self.values(row, columns)) for row in self.rows(name, columns))
        return [(row, record(**values)) for row, values in read if values is not None]

    def entries(
        self,
        name: str,
        record: type[Item],
        prices: Mapping[str, tuple[Row, PriceRow]],
        into: dict[str, Entry],
    ) -> None:
        """Read an item table and join each row with its price."""
        columns = columns_of(record, _FROM_OTHER_TABLES)
        for row in self.rows(name, columns):
            sku = row.cells["sku"]
            values = self.values(row, columns)
            if sku.lower() in self.seen_lower:
                self.faults.append(row.fault("sku", f"The SKU “{sku[:60]}” stands there twice."))
                continue
            priced = prices.get(sku)
            if sku:
                self.seen.add(sku)
                self.seen_lower.add(sku.lower())
                if priced is None:
                    reason = f"“{sku[:60]}” has no row in price_list.csv that can be read."
                    self.faults.append(row.fault("sku", reason))
            if values is None or priced is None:
                continue
            price = priced[1]
            item = record(
                **values,
                price=price.price,
                cost_price=price.cost_price,
                stock=price.stock,
                lead_time_days=price.lead_time_days,
            )
            into[sku] = Entry(row, item)


def _first_of_each(
    rows: Iterable[tuple[Row, PriceRow]], faults: list[CatalogFault]
) -> dict[str, tuple[Row, PriceRow]]:
    prices: dict[str, tuple[Row, PriceRow]] = {}
    for row, price in rows:
        if price.sku in prices:
            faults.append(row.fault("sku", f"“{price.sku[:60]}” has two prices."))
        else:
            prices[price.sku] = (row, price)
    return prices


def _joined(draft: Draft, entry: Entry) -> Item:
    """Return the item with what the side tables say of it."""
    item = entry.item
    if not isinstance(item, Pump):
        return item
    supplied = tuple(
        SuppliedPart(part.name, part.quantity, part.note, part.serves, part.fluid)
        for _, part in draft.of(SuppliedRow, item.sku)
    )
    curves = tuple(
        SpeedCurve(
            gas=gas,
            pressure_pa=tuple(point.pressure_pa for _, point in points),
            speed_m3_s=tuple(point.speed_m3_s for _, point in points),
            with_ballast=with_ballast,
        )
        for (gas, with_ballast), points in draft.curves(item.sku).items()
    )
    pump = replace(item, supplied=supplied, curves=curves)
    return replace(pump, **_by_gas(draft, pump))


def _by_gas(draft: Draft, pump: Pump) -> dict[str, Any]:
    """Return the fields that the side tables fill gas by gas."""
    if isinstance(pump, TurboPump):
        rows = draft.of(CompressionRow, pump.sku)
        compression = {row.gas: row.compression for _, row in rows}
        return {"compression": compression, **_limits(draft, pump)}
    if isinstance(pump, VapourPump):
        return _limits(draft, pump)
    if isinstance(pump, CapturePump):
        held = draft.of(CapacityRow, pump.sku)
        return {"capacity_pa_m3": {row.gas: row.capacity_pa_m3 for _, row in held}}
    if isinstance(pump, RootsBooster):
        curves = {
            gas: CompressionCurve(
                tuple(row.pressure_pa for _, row in rows), tuple(row.compression for _, row in rows)
            )
            for gas, rows in draft.stages(pump.sku).items()
        }
        air = curves.pop("air")
        return {
            "compression_pressure_pa": air.pressure_pa,
            "compression_k0": air.compression,
            "compression_by_gas": curves,
        }
    return {}


def _limits(draft: Draft, pump: Pump) -> dict[str, dict[str, float]]:
    """Return a pump's limits gas by gas, each under the name of the field it belongs to."""
    found: dict[str, dict[str, float]] = {}
    for _, row in draft.of(GasLimitRow, pump.sku):
        for name, value in row.stated.items():
            found.setdefault(_LIMIT_BY_GAS[name], {})[row.gas] = value
    return found


def _sorted(faults: Iterable[CatalogFault]) -> list[CatalogFault]:
    order = {name: place for place, name in enumerate(TABLES)}
    unique = dict.fromkeys(faults)
    return sorted(unique, key=lambda fault: (order.get(fault.file, len(order)), fault.row))
