"""What is asked of the outside: an engine to advise, places to keep advice and catalogues."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from server.catalog.items import Catalog
from server.fit.choice import StackChoice
from server.fit.requirements import Requirements
from server.fit.results import Advice, StackAdvice


class Engine(Protocol):
    """Judges stacks; ``fit.advice`` is the real one."""

    ENGINE_VERSION: str
    """Grows whenever the same inquiry may get other numbers."""

    def advise(self, requirements: Requirements, catalog: Catalog) -> Advice:
        """Return the ranked stacks for the requirements."""
        ...

    def check(
        self, requirements: Requirements, catalog: Catalog, choice: StackChoice
    ) -> StackAdvice:
        """Return the margins of one chosen stack, whether or not it fits."""
        ...


@dataclass(frozen=True)
class SavedAdvice:
    """An advice as it was given: what was typed, what was read, what was answered.

    Attributes
    ----------
    token : str
        Unguessable name in links.
    created_at : datetime
        UTC.
    title : str
        The inquiry's title.
    inquiry : mapping
        The request as typed, to fill the form again.
    requirements : Requirements
        What was read from it.
    advice : Advice
        The answer; names the catalogue's and the engine's version.
    """

    token: str
    created_at: datetime
    title: str
    inquiry: Mapping[str, object]
    requirements: Requirements
    advice: Advice

    @property
    def catalog_version(self) -> str:
        """Version of the catalogue the advice rests on."""
        return self.advice.catalog.version

    @property
    def engine_version(self) -> str:
        """Version of the engine that gave the advice."""
        return self.advice.engine_version


@dataclass(frozen=True)
class AdviceHeading:
    """A line in the list of saved advices."""

    token: str
    created_at: datetime
    title: str
    fit: int
    marginal: int


class AdviceStore(Protocol):
    """Keeps advices; they never change."""

    def add(self, saved: SavedAdvice) -> None:
        """Keep an advice."""
        ...

    def get(self, token: str) -> SavedAdvice:
        """Return the advice of a token; raises ``NotFound``."""
        ...

    def recent(self, count: int) -> tuple[AdviceHeading, ...]:
        """Return the newest headings, newest first."""
        ...


class CatalogStore(Protocol):
    """Keeps every version of the catalogue that an advice may rest on."""

    def current(self) -> Catalog:
        """Return the catalogue that new advice rests on."""
        ...

    def version(self, version: str) -> Catalog:
        """Return an earlier version; raises ``NotFound``."""
        ...
