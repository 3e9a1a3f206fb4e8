"""Reads one catalogue table: bytes of a CSV file to rows of text cells, with every fault named.

Spreadsheets save CSV in several ways; all of these are read: UTF-8 with or without a byte order
mark, commas or semicolons between cells, any line ending, empty rows anywhere.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from server.errors import CatalogFault

LARGEST_FILE_BYTES = 20_000_000
LONGEST_CELL = 1000
MOST_ROWS = 200_000
MOST_COLUMNS = 100

# A spreadsheet runs a cell that starts with one of these; a signed number is harmless.
_RUNS = re.compile(r"[=@+\-]")
_SIGNED_NUMBER = re.compile(
    r"[+-][0-9][0-9.,]*(e[+-]?[0-9]+)?( ?[A-Za-z°µ%/*·²³0-9]+)*", re.IGNORECASE
)
_BETWEEN = "\ue000"
# Anything that may be wrong with a cell of a row, its cells joined by the sign above.
_SUSPECT = re.compile(rf"(?:^|{_BETWEEN})[=@+\-]|[\x00-\x1f\x7f\u2028\u2029]")
_CONTROL = re.compile(r"[\x00-\x1f\x7f\u2028\u2029]")


@dataclass(frozen=True)
class Row:
    """One row of a table; ``number`` as a spreadsheet counts (the header is row 1)."""

    file: str
    number: int
    cells: Mapping[str, str]

    def fault(self, column: str, reason: str) -> CatalogFault:
        """Return a fault of one cell of this row."""
        return CatalogFault(self.file, self.number, column, reason)


@dataclass(frozen=True)
class Sheet:
    """A table as text: the rows that could be read and the faults of those that could not."""

    file: str
    rows: tuple[Row, ...]
    faults: tuple[CatalogFault, ...]


def read_sheet(
    file: str, content: bytes, columns: Sequence[str], may_lack: Collection[str] = ()
) -> Sheet:
    """Split a CSV file into rows of stripped text cells.

    Parameters
    ----------
    file : str
        Name, for the faults.
    content : bytes
        The file.
    columns : sequence of str
        The columns it may have, in any order, and no others.
    may_lack : collection of str
        Those of them that a table may leave out as a whole.

    Returns
    -------
    Sheet
        Rows with one cell per column of the table, and the faults.
    """
    text, problem = _decode(content)
    if problem:
        return Sheet(file, (), (CatalogFault(file, 1, "(file)", problem),))
    records, problem = _records(text)
    if problem:
        return Sheet(file, (), (CatalogFault(file, len(records) + 1, "(row)", problem),))
    if not records:
        return Sheet(file, (), (CatalogFault(file, 1, "(file)", "The table is empty."),))
    if len(records) > MOST_ROWS or len(records[0]) > MOST_COLUMNS:
        problem = f"The table has more than {MOST_ROWS} rows or {MOST_COLUMNS} columns."
        return Sheet(file, (), (CatalogFault(file, 1, "(file)", problem),))
    header = [cell.strip() for cell in records[0]]
    faults = _header_faults(file, header, columns, may_lack)
    if faults:
        return Sheet(file, (), tuple(faults))
    rows: list[Row] = []
    for number, record in enumerate(records[1:], start=2):
        cells = [cell.strip() for cell in record]
        if not any(cells):
            continue
        row = Row(file, number, dict(zip(header, cells, strict=False)))
        row_faults = _row_faults(row, cells, header)
        faults.extend(row_faults)
        if not row_faults:
            rows.append(row)
    return Sheet(file, tuple(rows), tuple(faults))


def _decode(content: bytes) -> tuple[str, str]:
    if len(content) > LARGEST_FILE_BYTES:
        return "", f"The file is larger than {LARGEST_FILE_BYTES // 1_000_000} MB."
    try:
        return content.decode("utf-8-sig"), ""
    except UnicodeDecodeError as error:
        return "", (
            f"The file is not in UTF-8 (byte {error.start + 1}): save it as “CSV UTF-8” from the "
            "spreadsheet."
        )


def _records(text: str) -> tuple[list[list[str]], str]:
    header = text.partition("\n")[0]
    separator = ";" if header.count(";") > header.count(",") else ","
    lines = io.StringIO(text, newline="")
    records: list[list[str]] = []
    try:
        records.extend(csv.reader(lines, delimiter=separator, strict=True))
    except csv.Error as error:
        return records, f"The row cannot be read as CSV ({error})."
    return records, ""


def _header_faults(
    file: str, header: list[str], columns: Sequence[str], may_lack: Collection[str]
) -> list[CatalogFault]:
    faults = [
        CatalogFault(file, 1, column, "The column is missing.")
        for column in columns
        if column not in header and column not in may_lack
    ]
    for place, column in enumerate(header):
        shown = column[:60] or f"(column {place + 1})"
        if column not in columns:
            reason = f"Unknown column. Known: {', '.join(columns)}."
            faults.append(CatalogFault(file, 1, shown, reason))
        elif column in header[:place]:
            faults.append(CatalogFault(file, 1, shown, "The column stands there twice."))
    return faults


def _row_faults(row: Row, cells: Sequence[str], header: Sequence[str]) -> list[CatalogFault]:
    if len(cells) != len(header):
        reason = (
            f"The row has {len(cells)} cells, the header {len(header)}; a comma inside a cell "
            "needs quotation marks around the cell."
        )
        return [row.fault("(row)", reason)]
    joined = _BETWEEN.join(cells)
    if len(joined) <= LONGEST_CELL and not _SUSPECT.search(joined):
        return []  # one look at the row spares one at each of its cells
    return [
        row.fault(column, problem)
        for column, cell in row.cells.items()
        if (problem := _cell_problem(cell))
    ]


def _cell_problem(cell: str) -> str:
    if len(cell) > LONGEST_CELL:
        return f"The cell has more than {LONGEST_CELL} characters."
    if _CONTROL.search(cell):
        return "The cell holds a line break or another control character."
    if _RUNS.match(cell) and not _SIGNED_NUMBER.fullmatch(cell):
        return "The cell looks like a formula; only text and numbers are read."
    return ""
