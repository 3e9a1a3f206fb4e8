"""A table of installed pumps, as a lab keeps it: read row by row, nothing lost.

Columns by their headings, in any order: pump (stock number or the words of its class), quantity,
fluid, last service, hours a year, label. Cells are separated by commas, semicolons or tabs.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from server.catalog.items import Catalog, Fluid, Pump
from server.errors import DomainError, Fault, InvalidInquiry, OutOfRange
from server.units.numerals import NumberProblem, clean, read_number

MOST_ROWS = 500
LONGEST_TABLE = 200_000
LONGEST_CELL = 200
MOST_HOURS = 8784.0

_HEADINGS: Mapping[str, frozenset[str]] = {
    "pump": frozenset({"pump", "sku", "stock number", "kind", "type", "model"}),
    "quantity": frozenset({"quantity", "pieces", "qty", "number", "count"}),
    "fluid": frozenset({"fluid", "oil", "fluid or oil"}),
    "last_service": frozenset({"last service", "last serviced", "serviced", "service date"}),
    "hours_per_year": frozenset({"hours a year", "hours per year", "hours/year", "h/year"}),
    "label": frozenset({"label", "name", "place", "room", "where"}),
}
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})")
_SPELLED = ("%d %B %Y", "%d %b %Y", "%B %d, %Y", "%b %d, %Y")


@dataclass(frozen=True)
class InstalledPump:
    """Pumps of one kind at one place."""

    sku: str
    quantity: int = 1
    fluid: str | None = None
    last_service: date | None = None
    hours_per_year: float | None = None
    label: str = ""


@dataclass(frozen=True)
class TableRow:
    """A row of the table: as typed, and either its pump or what is wrong with it.

    Attributes
    ----------
    number : int
        Line of the table, the heading being 1.
    cells : tuple of str
        As typed.
    pump : InstalledPump or None
        None where the row cannot be used.
    faults : tuple of Fault
        One for each cell that cannot be read; the field is the column.
    """

    number: int
    cells: tuple[str, ...]
    pump: InstalledPump | None
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True)
class InstalledTable:
    """A table that was read."""

    columns: tuple[str, ...]
    rows: tuple[TableRow, ...]

    @property
    def pumps(self) -> tuple[InstalledPump, ...]:
        """The rows that can be used."""
        return tuple(row.pump for row in self.rows if row.pump is not None)

    @property
    def refused(self) -> tuple[TableRow, ...]:
        """The rows that cannot be used, each with its faults."""
        return tuple(row for row in self.rows if row.pump is None)


def read_installed(text: str, catalog: Catalog) -> InstalledTable:
    """Read a table of installed pumps.

    Parameters
    ----------
    text : str
        CSV with headings in its first row, at most 500 pumps.
    catalog : Catalog
        Where stock numbers and classes are looked up.

    Raises
    ------
    InvalidInquiry
        When the table as a whole cannot be read: empty, too long, no column for the pump.
    """
    body = text.removeprefix("\ufeff").strip("\r\n")
    if not body.strip():
        raise _unreadable("The table is empty.", "headings in the first row, a pump in each other")
    if "\ufffd" in body:
        raise _unreadable(
            "This is no text, or too much of it: save the spreadsheet as CSV.", "a CSV file"
        )
    if len(body) > LONGEST_TABLE:
        raise _unreadable("The table is too long.", f"up to {LONGEST_TABLE:,} characters")
    lines = _lines(body)
    columns = _columns(lines[0])
    rows = [
        _row(number, cells, columns, catalog)
        for number, cells in enumerate(lines[1:], start=2)
        if any(cell.strip() for cell in cells)
    ]
    if not rows:
        raise _unreadable("The table has headings and no pumps.", "a pump in each further row")
    if len(rows) > MOST_ROWS:
        raise _unreadable(f"The table has {len(rows)} pumps.", f"up to {MOST_ROWS} rows")
    return InstalledTable(tuple(cell.strip() for cell in lines[0]), tuple(rows))


def read_date(typed: str) -> date:
    """Return a day: 2025-03-01, 1.3.2025, 1 March 2025.

    Raises
    ------
    OutOfRange
        When it is no day, or one that reads differently in different countries.
    """
    text = " ".join(typed.split())
    try:
        return date.fromisoformat(text)
    except ValueError:
        pass
    if dotted := _DOTTED.fullmatch(text):
        day, month, year = (int(part) for part in dotted.groups())
        try:
            return date(year, month, day)
        except ValueError:
            raise OutOfRange("There is no such day.") from None
    for spelled in _SPELLED:
        try:
            return datetime.strptime(text, spelled).date()  # noqa: DTZ007 (a day has no zone)
        except ValueError:
            continue
    if re.fullmatch(r"\d{1,2}/\d{1,2}/\d{2,4}", text):
        raise OutOfRange("Day and month read differently in different countries.")
    raise OutOfRange("This is no date.")


def _unreadable(message: str, accepted: str) -> InvalidInquiry:
    return InvalidInquiry([Fault("table", "", message, accepted)])


def _lines(body: str) -> list[list[str]]:
    head = body.splitlines()[0]
    separator = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(body, newline=""), delimiter=separator)
    try:
        return [row for row in reader if row]
    except csv.Error:
        raise _unreadable(
            "The table is no CSV.", "cells between commas, quoted where needed"
        ) from None


def _columns(headings: Sequence[str]) -> dict[str, int]:
    """Return where each column stands.

    Raises
    ------
    InvalidInquiry
        When there is no column for the pump, one is not known, or one comes twice.
    """
    found: dict[str, int] = {}
    accepted = "pump, quantity, fluid, last service, hours a year, label"
    for place, heading in enumerate(headings):
        plain = " ".join(heading.replace("_", " ").lower().split())
        name = next((name for name, known in _HEADINGS.items() if plain in known), None)
        if name is None and plain:
            raise _unreadable(f"The column “{heading.strip()[:60]}” is not known.", accepted)
        if name in found:
            raise _unreadable(f"Two columns stand for {plain}.", accepted)
        if name is not None:
            found[name] = place
    if "pump" not in found:
        raise _unreadable("The first row has no heading “pump”.", accepted)
    return found


def _row(
    number: int, cells: Sequence[str], columns: Mapping[str, int], catalog: Catalog
) -> TableRow:
    typed = {
        name: cells[place].strip() if place < len(cells) else "" for name, place in columns.items()
    }
    values: dict[str, object] = {}
    faults: list[Fault] = []
    for name, cell in typed.items():
        try:
            values[name] = _cell(name, cell, catalog)
        except DomainError as error:
            faults.append(Fault(name, cell[:100], str(error)))
    if len(cells) > max(columns.values()) + 1 and any(c.strip() for c in cells[len(columns) :]):
        faults.append(Fault("row", "", "The row has more cells than there are headings."))
    shown = tuple(cell[:LONGEST_CELL] for cell in cells)
    if faults:
        return TableRow(number, shown, None, tuple(faults))
    return TableRow(number, shown, _pump(values))


def _pump(values: Mapping[str, object]) -> InstalledPump:
    given = {name: value for name, value in values.items() if value is not None}
    sku = given.pop("pump")
    return InstalledPump(sku=str(sku), **given)  # type: ignore[arg-type]


def _cell(name: str, cell: str, catalog: Catalog) -> object:
    if len(cell) > LONGEST_CELL:
        raise OutOfRange(f"A cell has at most {LONGEST_CELL} characters.")
    if name == "pump":
        return find_pump(cell, catalog).sku
    if not cell:
        return None
    if name == "quantity":
        return _quantity(cell)
    if name == "fluid":
        return _fluid(cell, catalog)
    if name == "last_service":
        return read_date(cell)
    if name == "hours_per_year":
        return _hours(cell)
    return cell


def _quantity(cell: str) -> int:
    if not re.fullmatch(r"[1-9]\d{0,2}", cell):
        raise OutOfRange("A whole number from 1 to 999 is wanted.")
    return int(cell)


def _hours(cell: str) -> float:
    try:
        hours, rest = read_number(clean(cell))
    except NumberProblem as problem:
        raise OutOfRange(str(problem)) from None
    if rest not in {"", "h"}:
        raise OutOfRange("Hours a year are a plain number, such as 1800.")
    if not 0 < hours <= MOST_HOURS:
        raise OutOfRange(f"A year has up to {MOST_HOURS:.0f} hours, and a pump runs some of them.")
    return hours


def _fluid(cell: str, catalog: Catalog) -> str:
    fluids = catalog.of_type(Fluid)
    for fluid in fluids:
        if cell.casefold() in {fluid.sku.casefold(), fluid.grade.casefold(), fluid.name.casefold()}:
            return fluid.sku
    found = sorted({fluid.grade for fluid in fluids})
    raise OutOfRange(f"The catalogue has no such fluid. Known: {', '.join(found[:20])}.")


def find_pump(words: str, catalog: Catalog) -> Pump:
    """Return the pump that a stock number or the words of a class name.

    Parameters
    ----------
    words : str
        ``VANE2-0400``, or ``two-stage vane pump 16 m3/h``: every word must stand in the pump's
        name, kind or stock number.
    catalog : Catalog
        Where pumps are looked up.

    Raises
    ------
    OutOfRange
        When no pump, or more than one, is meant; names the nearest.
    """
    pumps = catalog.of_type(Pump)
    if not words.strip():
        raise OutOfRange("A pump is wanted: its stock number or the words of its class.")
    exact = [pump for pump in pumps if pump.sku.casefold() == words.casefold()]
    if exact:
        return exact[0]
    wanted = set(_words(words)) - {"pump", "pumps"}
    found = [pump for pump in pumps if wanted and wanted <= set(_words(_described(pump)))]
    if len(found) == 1:
        return found[0]
    if found:
        some = "; ".join(f"{pump.name} ({pump.sku})" for pump in found[:8])
        raise OutOfRange(f"These words fit {len(found)} pumps: {some}.")
    shared = {pump.sku: len(wanted & set(_words(_described(pump)))) for pump in pumps}
    near = sorted((pump for pump in pumps if shared[pump.sku]), key=lambda pump: -shared[pump.sku])
    some = "; ".join(f"{pump.name} ({pump.sku})" for pump in near[:3])
    nearest = f" Nearest: {some}." if some else ""
    raise OutOfRange(f"The catalogue has no such pump.{nearest}")


def _described(pump: Pump) -> str:
    return f"{pump.sku} {pump.name} {pump.kind.value}"


def _words(text: str) -> Iterator[str]:
    folded = text.casefold().replace("³", "3").replace("_", " ")
    return (word for word in re.findall(r"[a-z0-9./]+", folded))
