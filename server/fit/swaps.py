"""Other parts in the place of one: the cheapest that lifts a margin and breaks no other."""

from __future__ import annotations

from collections.abc import Iterator

from server.fit.changes import Matter
from server.fit.results import MarginKey, Remedy
from server.fit.trial import Trial


class Swaps:
    """The parts that may take another's place in one stack, judged together once."""

    def __init__(self, trial: Trial) -> None:
        self._trial = trial

    def remedies(self, matter: Matter, key: MarginKey) -> Iterator[Remedy]:
        """Yield the cheapest part of a kind that lifts a margin, if there is one."""
        yield from ()
