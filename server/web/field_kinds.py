"""What a page needs to know of a field: label, help, how it is entered; and of repeated groups."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Entry(StrEnum):
    """How a field is entered."""

    TEXT = "text"
    LIST = "list"  # text with suggestions
    LONG = "long"  # several lines
    CHOICE = "choice"
    GROUPED = "grouped"  # a choice among groups, narrowed down as one types
    YES_NO = "yes_no"
    MANY = "many"  # check boxes


@dataclass(frozen=True)
class Field:
    """What a page needs to show one field."""

    label: str
    help: str
    example: str = ""
    entry: Entry = Entry.TEXT
    options: str = ""
    """Name of the list of choices or suggestions."""
    blank: str = ""
    """Words for the empty choice."""
    required: bool = False


@dataclass(frozen=True)
class Rows:
    """A repeated group: what it is called, its fields, how many rows stand there at first."""

    label: str
    help: str
    one: str
    fields: Sequence[str]
    at_least: int = 1
    at_most: int = 20
