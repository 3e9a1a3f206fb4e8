"""Where the sentences and lines of a letter end."""

from __future__ import annotations

import re
from collections.abc import Iterator

from server.fit.letter.records import Sentence

# Lines this short were ended by the writer, not by the width of the window.
_SHORT_LINE = 45
# What goes on for longer is no sentence, and is read piece by piece: patterns take time that grows
# faster than their text.
LONGEST_SENTENCE = 600
_STOP = re.compile(
    r"(?<=[.!?;])(?<!\bca\.)(?<!\bapprox\.)(?<!\bdia\.)(?<!\bmax\.)(?<!\bmin\.)(?<!\bin\.)(?<!\bft\.)"
    r"(?<!\be\.g\.)(?<!\bi\.e\.)(?<!\bi\.d\.)(?<!\bI\.D\.)(?<!\bNo\.)\s+"
)
_NEW_ITEM = re.compile(r"\s*(?:[-*•–]\s|\(?\d{1,2}[.)]\s|[A-Za-z][\w /()-]{1,40}:)")
_QUOTED = re.compile(r"^[ \t]*>.*$", re.MULTILINE)


def without_quoted(text: str) -> str:
    """Return the letter with quoted lines (``> …``) blanked; places stay as they are."""
    return _QUOTED.sub(lambda line: " " * len(line[0]), text)


def has_quoted(text: str) -> tuple[int, int] | None:
    """Return the place of the first quoted line, None where there is none."""
    found = _QUOTED.search(text)
    return found.span() if found else None


def sentences(text: str) -> Iterator[Sentence]:
    """Yield the sentences of a letter with their places; blank ones are left out."""
    for start, end in _blocks(text):
        at = start
        for stop in _STOP.finditer(text, start, end):
            yield from _cut(text, at, stop.start())
            at = stop.end()
        yield from _cut(text, at, end)


def _cut(text: str, start: int, end: int) -> Iterator[Sentence]:
    for at in range(start, end, LONGEST_SENTENCE):
        piece = text[at : min(end, at + LONGEST_SENTENCE)]
        if piece.strip():
            yield Sentence(piece, at)


def _blocks(text: str) -> Iterator[tuple[int, int]]:
    """Yield runs of lines that belong together: a wrapped paragraph, or one item of a list."""
    start, at = 0, 0
    for line in text.splitlines(keepends=True):
        end = at + len(line)
        following = text[end:].split("\n", 1)[0]
        ends = len(line.strip()) < _SHORT_LINE or not following.strip()
        if ends or _NEW_ITEM.match(following):
            yield start, end
            start = end
        at = end
    if start < len(text):
        yield start, len(text)
