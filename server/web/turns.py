"""Lets few inquiries be computed at the same time, so that the server keeps answering."""

from __future__ import annotations

import threading

from server.catalog.items import Catalog
from server.fit.choice import StackChoice
from server.fit.ports import Engine
from server.fit.requirements import Requirements
from server.fit.results import Advice, StackAdvice

AT_ONCE = 1
"""One thread of Python computes at a time anyway; more of them only keep the loop from its turn."""


class InTurns:
    """Satisfies ``fit.ports.Engine``; whoever asks waits in a worker thread, not on the loop.

    Parameters
    ----------
    engine : Engine
        Does the work.
    at_once : int
        How many may compute at the same time.
    """

    def __init__(self, engine: Engine, at_once: int = AT_ONCE) -> None:
        self.ENGINE_VERSION = engine.ENGINE_VERSION
        self._engine = engine
        self._turns = threading.BoundedSemaphore(at_once)

    def advise(self, requirements: Requirements, catalog: Catalog) -> Advice:
        """Return the engine's advice."""
        with self._turns:
            return self._engine.advise(requirements, catalog)

    def check(
        self, requirements: Requirements, catalog: Catalog, choice: StackChoice
    ) -> StackAdvice:
        """Return the engine's judgement of one stack."""
        with self._turns:
            return self._engine.check(requirements, catalog, choice)
