"""What breaks physics or sense in a catalogue: every breach as file, row, column and reason."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from functools import cache

from server.catalog.check_curves import check_curves
from server.catalog.check_gas_limits import check_gas_limits
from server.catalog.check_parts import check_part, check_together
from server.catalog.check_pumps import check_pump
from server.catalog.draft import (
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
    Item,
    Pump,
    RootsBooster,
    SuppliedFor,
    TurboPump,
    VapourPump,
)
from server.catalog.joining import Joints
from server.catalog.sheets import Row
from server.errors import CatalogFault

_SKU = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")
_CURRENCY = re.compile(r"[A-Z]{3}")
_OWNERS: Mapping[type[SideTable], tuple[tuple[type[Item], ...], str]] = {
    PriceRow: ((Item,), "an item"),
    SpeedRow: (
        (VapourPump, TurboPump, CapturePump, BackingPump),
        "a pump with a speed of its own",
    ),
    CompressionRow: ((TurboPump,), "a turbomolecular pump"),
    StageRow: ((RootsBooster,), "a Roots booster"),
    CapacityRow: ((CapturePump,), "a cryo- or sputter-ion pump"),
    GasLimitRow: ((VapourPump, TurboPump), "a vapour pump or a turbomolecular pump"),
    SuppliedRow: ((Pump,), "a pump"),
}
LONGEST_NAME = 120


def check_draft(draft: Draft) -> list[CatalogFault]:
    """Return every breach of physics or sense in what could be read of a catalogue.

    Items are held against one another (a fluid that no pump takes, a spare that fits nothing) only
    when all of them could be read: otherwise one faulty cell would show up in many places.

    Parameters
    ----------
    draft : Draft
        The tables as read.

    Returns
    -------
    list of CatalogFault
        Empty for a sound catalogue.
    """
    faults: list[CatalogFault] = []
    passes: list[Callable[[Draft], Iterator[CatalogFault]]] = [
        _check_about,
        _check_items,
        _check_side_tables,
        check_curves,
        check_gas_limits,
    ]
    if draft.complete:
        passes += [_check_joints, check_together]
    for check in passes:
        faults.extend(check(draft))
    return faults


def _check_about(draft: Draft) -> Iterator[CatalogFault]:
    if draft.about is not None and not _CURRENCY.fullmatch(draft.about.currency):
        reason = f"“{draft.about.currency[:20]}” is not an ISO 4217 code such as EUR."
        yield CatalogFault("about.csv", 2, "currency", reason)


def _check_items(draft: Draft) -> Iterator[CatalogFault]:
    for entry in draft.entries.values():
        yield from _check_entry(entry, draft)
        if isinstance(entry.item, Pump):
            yield from check_pump(entry.row, entry.item, draft)
        else:
            yield from check_part(entry.row, entry.item)


def _check_entry(entry: Entry, draft: Draft) -> Iterator[CatalogFault]:
    row, item = entry.row, entry.item
    if not _SKU.fullmatch(item.sku):
        reason = "A SKU has up to 40 letters, digits, hyphens, points or underscores."
        yield row.fault("sku", reason)
    if len(item.name) > LONGEST_NAME:
        yield row.fault("name", f"The name has more than {LONGEST_NAME} characters.")
    if item.mass_kg <= 0:
        yield row.fault("mass", "The mass must be above zero.")
    price_row, _ = draft.prices[item.sku]
    if item.price <= 0:
        yield price_row.fault("price", f"The price of {item.sku} must be above zero.")
    if item.cost_price > item.price:
        reason = f"{item.sku} is sold at {item.price}, below its cost of {item.cost_price}."
        yield price_row.fault("cost_price", reason)


def _check_side_tables(draft: Draft) -> Iterator[CatalogFault]:
    for table, rows in draft.sides.items():
        for row, record in rows:
            yield from _check_owner(draft, table, row, record.sku)
            if isinstance(record, SuppliedRow) and record.quantity < 1:
                yield row.fault("quantity", "At least one piece is supplied.")
            if isinstance(record, SuppliedRow) and _charge_of_nothing(record):
                reason = "A first charge names its fluid, and nothing else has one."
                yield row.fault("fluid", reason)


def _charge_of_nothing(record: SuppliedRow) -> bool:
    return (SuppliedFor.FIRST_CHARGE in record.serves) != (record.fluid is not None)


def _check_owner(
    draft: Draft, table: type[SideTable], row: Row, sku: str
) -> Iterator[CatalogFault]:
    if sku not in draft.seen:
        if draft.all_rows_read:  # else its own row may be the one that was lost
            yield row.fault("sku", f"“{sku[:60]}” is not an item of this catalogue.")
        return
    entry = draft.entries.get(sku)
    owners, word = _OWNERS[table]
    if entry is not None and not isinstance(entry.item, owners):
        yield row.fault("sku", f"“{sku}” is not {word}; this table is for those only.")


def _check_joints(draft: Draft) -> Iterator[CatalogFault]:
    """Find flanges that nothing closes and pump flanges that no line part leads on from."""
    joints = Joints.of(draft)
    missing = cache(joints.missing)
    leads_on = cache(joints.leads_on)
    for entry in draft.entries.values():
        for column, flange in joints.flanges_of(entry.item):
            if lacking := missing(flange):
                reason = f"No joint at {flange} can be closed: no {' and no '.join(lacking)}."
                yield entry.row.fault(column, reason)
            elif isinstance(entry.item, Pump) and not leads_on(flange):
                reason = f"No tube, hose, elbow, reducer or adaptor mates with {flange}."
                yield entry.row.fault(column, reason)
