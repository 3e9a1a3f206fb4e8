"""What programs are told of a letter that was read."""

from __future__ import annotations

from collections.abc import Mapping

from server.web.api_base import Out


class FoundOut(Out):
    """One requirement: its field, its value as it would be typed, and the words it came from."""

    field: str
    value: str
    words: str
    start: int
    end: int
    note: str


class NotUsedOut(Out):
    """Words that look like a requirement and were not used, and why."""

    words: str
    start: int
    end: int
    reason: str


class LetterOut(Out):
    """What a letter states; ``requirements`` is fit to be completed and asked advice on."""

    requirements: Mapping[str, object]
    found: list[FoundOut]
    not_used: list[NotUsedOut]
    missing: list[str]
