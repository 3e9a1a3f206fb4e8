"""A letter that was read, as the inquiry page shows it: its text with marks, and what was typed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from server.fit.letter.records import LetterReading
from server.web.fields import ROWS, label_at
from server.web.forms import Form


@dataclass(frozen=True)
class Piece:
    """A piece of the letter: plain (no kind), ``found`` or ``unused``."""

    text: str
    kind: str = ""
    note: str = ""


@dataclass(frozen=True)
class LetterView:
    """A letter with marks, and what became of it."""

    reading: LetterReading
    pieces: tuple[Piece, ...]
    kept: tuple[str, ...] = ()
    """Labels of fields where something else was typed before, which stays."""


def filled_from(reading: LetterReading, form: Form) -> tuple[Form, LetterView]:
    """Return the form with the letter's statements in its empty fields, and the letter's view.

    Parameters
    ----------
    reading : LetterReading
        What was found.
    form : Form
        As typed; what stands there stays.
    """
    stated = Form.from_request(reading.requirements)
    values: dict[str, str] = {}
    kept: list[str] = []
    for path, value in stated.values.items():
        group = next((group for group in ROWS if path.startswith(f"{group}.")), None)
        taken = form.row_has_values(group) if group else bool(form.value(path))
        if not taken:
            values[path] = value
        elif form.value(path) != value:
            kept.append(label_at(path))
    many = {path: chosen for path, chosen in stated.many.items() if not form.chosen(path)}
    filled = form.with_values(values).with_ticks(many)
    return filled, LetterView(reading, tuple(_pieces(reading)), tuple(kept))


def _pieces(reading: LetterReading) -> Iterator[Piece]:
    at = 0
    for (start, end), (kind, note) in sorted(_marks(reading).items()):
        if start < at:
            continue  # inside a place that is marked already
        if start > at:
            yield Piece(reading.text[at:start])
        yield Piece(reading.text[start:end], kind, note)
        at = end
    if at < len(reading.text):
        yield Piece(reading.text[at:])


def _marks(reading: LetterReading) -> Mapping[tuple[int, int], tuple[str, str]]:
    labels: dict[tuple[int, int], list[str]] = {}
    for each in reading.found:
        labels.setdefault((each.start, each.end), []).append(label_at(each.field))
    marks = {place: ("found", ", ".join(names)) for place, names in labels.items()}
    for unused in reading.not_used:
        marks.setdefault((unused.start, unused.end), ("unused", unused.reason))
    return marks
