"""Catalogue tables for the tests: the demo's, a small cut of it, and edits of single cells."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType

import pytest

from server.catalog.items import Catalog
from server.catalog.tables import ITEM_TABLES, SIDE_TABLES, build_catalog, read_folder
from server.errors import CatalogFault, InvalidCatalog

DEMO = Path(__file__).parents[2] / "catalog_demo"
Files = Mapping[str, bytes]
Cells = list[list[str]]

# One pump of each class and what it needs; everything else of the demo is left out.
KEPT_PUMPS = frozenset(
    {
        "VAPOURJET-050-A",
        "VAPOURJET-050-A-HIGHLOAD",
        "TURBO-065-IK",
        "CRYO-200",
        "IONPUMP-020-CF40",
        "VANE2-0090",
        "SCROLL-0060",
        "ROOTS-0150",
    }
)
KEPT_OTHERS = frozenset(
    {
        "FLUID-PENTAPHENYL-70ML",
        "FLUID-PENTAPHENYL-250ML",
        "FLUID-MINERAL-MEDIUM-100ML",
        "FLUID-VANE-MINERAL-1L",
        "BAFFLE-WATER-KF50",
        "TRAP-NITROGEN-KF50",
        "TRAP-SORPTION-KF25",
        "GATE-HAND-KF50",
        "VENT-KF16",
        "GAUGE-PIRANI-KF16",
        "INTERLOCK-FLOW-AIR",
        "INTERLOCK-TEMPERATURE-BODY",
        "FILTER-MIST-KF25",
        "ELEMENT-MIST-KF25",
        "SORBENT-KF25",
        "KIT-VANE2-0090",
        "HEATER-VAPOURJET-050-A",
        "CLEAN-ACETONE-1L",
        "CLEAN-WIPES",
    }
)
KEPT_FLANGES = frozenset({"KF 16", "KF 25", "KF 40", "KF 50", "ISO-K 63", "ISO-K 200", "CF 40"})


@cache
def demo_files() -> Files:
    return MappingProxyType(dict(read_folder(DEMO)))


def cells(content: bytes) -> Cells:
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def as_bytes(rows: Iterable[Iterable[str]], *, separator: str = ",", ending: str = "\n") -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator, lineterminator=ending).writerows(rows)
    return out.getvalue().encode()


@cache
def small_files() -> Files:
    kept = KEPT_PUMPS | KEPT_OTHERS | _kept_line_parts()
    files = dict(demo_files())
    for name in (*ITEM_TABLES, *SIDE_TABLES):
        header, *rows = cells(files[name])
        place = header.index("sku")
        files[name] = as_bytes([header, *(row for row in rows if row[place] in kept)])
    return MappingProxyType(files)


def _kept_line_parts() -> frozenset[str]:
    header, *rows = cells(demo_files()["line_parts.csv"])
    first, second = header.index("flange_a"), header.index("flange_b")
    wanted = KEPT_FLANGES | {""}
    return frozenset(row[0] for row in rows if row[first] in wanted and row[second] in wanted)


def row_of(files: Files, name: str, sku: str, occurrence: int = 0) -> int:
    """Return the number of a row, as a spreadsheet counts; negative occurrences from the end."""
    rows = cells(files[name])
    place = rows[0].index("sku")
    numbers = [number for number, row in enumerate(rows, start=1) if row[place] == sku]
    return numbers[occurrence]


def changed(files: Files, name: str, row: int, column: str, value: str) -> Files:
    """Return the files with one cell changed (row 1 is the header)."""
    rows = cells(files[name])
    rows[row - 1][rows[0].index(column)] = value
    return {**files, name: as_bytes(rows)}


def without_rows(files: Files, name: str, unwanted: Callable[[dict[str, str]], bool]) -> Files:
    """Return the files without the rows of one table that a condition picks."""
    header, *rows = cells(files[name])
    left = [row for row in rows if not unwanted(dict(zip(header, row, strict=True)))]
    assert len(left) < len(rows), "nothing was taken out"
    return {**files, name: as_bytes([header, *left])}


def faults_of(files: Files) -> tuple[CatalogFault, ...]:
    """Return the faults for which the files are refused."""
    with pytest.raises(InvalidCatalog) as caught:
        build_catalog(files)
    return caught.value.faults


def outcome(files: Files) -> tuple[Catalog | None, tuple[CatalogFault, ...]]:
    """Return the catalogue, or the faults for which the files are refused."""
    try:
        return build_catalog(files), ()
    except InvalidCatalog as refused:
        return None, refused.faults
