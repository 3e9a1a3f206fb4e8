"""Due dates of pumps' upkeep, and the calendar file that carries them (RFC 5545)."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from server.catalog.items import Item, Pump
from server.errors import OutOfRange
from server.fit.running import HOURS_PER_YEAR
from server.fit.service_jobs import ServiceJob

_HOURS_PER_DAY = HOURS_PER_YEAR / 365.25
# Dates of upkeep beyond this are no plan any more: a pump that runs an hour a year.
_MOST_DATES = 5000
_LONGEST_LINE = 75
"""Octets of a line without its break (RFC 5545, section 3.1)."""


@dataclass(frozen=True)
class DueDate:
    """One piece of work on one day.

    Attributes
    ----------
    day : date
        When it is due.
    what : str
        What is done.
    pump, sku, label : str
        At which pump: its name, its stock number, what its owner calls it.
    quantity : int
        At how many such pumps. [1]
    part_sku : str
        What is used.
    number : int
        First, second … time from the day counted from. [1]
    why : str
        Where the interval comes from.
    """

    day: date
    what: str
    pump: str
    sku: str
    label: str
    quantity: int
    part_sku: str
    number: int
    why: str

    @property
    def uid(self) -> str:
        """Return a name that stays when the plan is made anew: pump, work and its number."""
        named = "|".join((self.sku, self.label, self.what, self.part_sku, str(self.number)))
        return f"{hashlib.sha256(named.encode()).hexdigest()[:32]}@pumpwright"


def due_dates(
    jobs: Iterable[ServiceJob],
    pump: Pump,
    start: date,
    hours_per_year: float,
    *,
    quantity: int = 1,
    label: str = "",
) -> tuple[DueDate, ...]:
    """Return the days on which the work at a pump is due.

    Parameters
    ----------
    jobs : iterable of ServiceJob
        What is due after how many running hours.
    pump : Pump
        The pump.
    start : date
        The day the running hours are counted from.
    hours_per_year : float
        Running hours, taken as spread evenly over the year. [h]
    quantity : int
        How many such pumps. [1]
    label : str
        What its owner calls it.

    Raises
    ------
    OutOfRange
        When the pump does not run, or a date lies beyond the calendar.
    """
    if not hours_per_year > 0:
        raise OutOfRange("A pump that never runs has no due dates.")
    found = []
    for job in jobs:
        for number, hours in enumerate(job.due_hours, start=1):
            days = int(hours / hours_per_year * HOURS_PER_YEAR / _HOURS_PER_DAY)
            try:
                day = start + timedelta(days=days)
            except OverflowError:
                raise OutOfRange("A due date lies beyond the calendar.") from None
            found.append(
                DueDate(
                    day, job.what, pump.name, pump.sku, label, quantity, job.sku, number, job.why
                )
            )
    if len(found) > _MOST_DATES:
        raise OutOfRange(f"More than {_MOST_DATES} due dates are no plan: count fewer years.")
    return in_order(found)


def in_order(dates: Iterable[DueDate]) -> tuple[DueDate, ...]:
    """Return due dates by day, then by pump."""
    return tuple(sorted(dates, key=lambda due: (due.day, due.pump, due.label, due.what)))


def calendar_file(dates: Sequence[DueDate], made_on: date, items: Mapping[str, Item]) -> str:
    """Return due dates as an iCalendar file (RFC 5545).

    Parameters
    ----------
    dates : sequence of DueDate
        In any order.
    made_on : date
        The day the plan was counted from; it stands as the time stamp of every entry, so that the
        same plan gives the same file.
    items : mapping
        The catalogue's items by SKU, for the names of what is used.

    Returns
    -------
    str
        Lines end in CR LF and are folded at 75 octets.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Pumpwright//Upkeep of pumps//EN",
        "CALSCALE:GREGORIAN",
    ]
    for due in in_order(dates):
        lines += _event(due, made_on, items)
    lines.append("END:VCALENDAR")
    return "".join(f"{part}\r\n" for line in lines for part in _folded(line))


def _event(due: DueDate, made_on: date, items: Mapping[str, Item]) -> Iterator[str]:
    where = f"{due.label}: {due.pump}" if due.label else due.pump
    many = f"{due.quantity} × " if due.quantity > 1 else ""
    part = items.get(due.part_sku)
    used = f"Uses {part.name} ({part.sku}). " if part is not None else ""
    yield "BEGIN:VEVENT"
    yield f"UID:{due.uid}"
    yield f"DTSTAMP:{made_on:%Y%m%d}T000000Z"
    yield f"DTSTART;VALUE=DATE:{due.day:%Y%m%d}"
    yield f"SUMMARY:{_escaped(f'{due.what}: {many}{where}')}"
    yield f"DESCRIPTION:{_escaped(f'{used}Interval: {due.why}.')}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _escaped(text: str) -> str:
    """Return text as a value (section 3.3.11); control characters have no place in one."""
    plain = re.sub(r"[\x00-\x08\x0b-\x1f\x7f]", "", text.replace("\r\n", "\n"))
    quoted = plain.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return quoted.replace("\n", "\\n")


def _folded(line: str) -> Iterator[str]:
    """Yield a line in pieces of at most 75 octets, no character cut in two (section 3.1)."""
    piece, size = "", 0
    for char in line:
        octets = len(char.encode())
        if size + octets > _LONGEST_LINE:
            yield piece
            piece, size = " ", 1
        piece, size = piece + char, size + octets
    yield piece
