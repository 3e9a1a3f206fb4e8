"""What the reader of letters finds, and what it could not use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Found:
    """One cell of the inquiry, as it would be typed, and where it stands in the letter."""

    field: str
    """Dotted path as in the JSON request."""
    value: str
    """As the letter has it, fit to be typed into the field; ``yes`` and ``no`` for decisions."""
    words: str
    """The letter's own words."""
    start: int
    end: int
    """Place of the words in the letter."""
    note: str = ""
    """How the value was worked out where it is not in the words as such."""


@dataclass(frozen=True)
class NotUsed:
    """Words that look like a requirement and were not used, and why."""

    words: str
    start: int
    end: int
    reason: str


@dataclass(frozen=True)
class LetterReading:
    """Everything found in a letter."""

    text: str
    found: tuple[Found, ...] = ()
    not_used: tuple[NotUsed, ...] = ()
    missing: tuple[str, ...] = ()
    """Paths that an inquiry needs and the letter does not state."""
    requirements: Mapping[str, object] = field(default_factory=dict)
    """The nested request of the JSON contract, with what was found."""


@dataclass(frozen=True)
class Sentence:
    """A piece of the letter that is read by itself; ``start`` is its place in the letter."""

    text: str
    start: int
