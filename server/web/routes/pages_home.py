"""The first page, the help and the limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.fit.ports import AdviceHeading
from server.units import Dimension, accepted_examples
from server.web.deps import ServicesDep
from server.web.glossary import CAUTIONS, GLOSSARY, LIMITS, Entry
from server.web.pages import RendererDep
from server.web.words import sentence, words

router = APIRouter()

RECENT = 8


@dataclass(frozen=True)
class RecentAdvice:
    """A line of the list of recent advice."""

    token: str
    title: str
    created_at: datetime
    result: str


@dataclass(frozen=True)
class HomePage:
    """The doors into the program."""

    template: ClassVar[str] = "home.html"
    recent: tuple[RecentAdvice, ...]


@dataclass(frozen=True)
class HelpPage:
    """The trade's words."""

    template: ClassVar[str] = "help.html"
    entries: Sequence[Entry]
    quantities: Sequence[tuple[str, str]]


@dataclass(frozen=True)
class AboutPage:
    """What the model does not know, and what is dangerous."""

    template: ClassVar[str] = "about.html"
    limits: Sequence[str]
    cautions: Sequence[str]


@router.get("/")
def home(request: Request, services: ServicesDep, renderer: RendererDep) -> HTMLResponse:
    """Show the doors and what was asked lately."""
    recent = tuple(
        RecentAdvice(h.token, h.title, h.created_at, result_in_words(h))
        for h in services.advices.recent(RECENT)
    )
    return renderer.page(request, HomePage(recent))


@router.get("/help")
def show_help(request: Request, renderer: RendererDep) -> HTMLResponse:
    """Show the glossary."""
    return renderer.page(request, HelpPage(GLOSSARY, quantity_examples()))


@router.get("/about")
def about(request: Request, renderer: RendererDep) -> HTMLResponse:
    """Show limits and cautions."""
    return renderer.page(request, AboutPage(LIMITS, CAUTIONS))


def quantity_examples() -> tuple[tuple[str, str], ...]:
    """Return what may be typed for each kind of quantity that a form asks for."""
    asked = (
        Dimension.PRESSURE,
        Dimension.VOLUME,
        Dimension.LENGTH,
        Dimension.AREA,
        Dimension.TIME,
        Dimension.TEMPERATURE,
        Dimension.GAS_FLOW,
        Dimension.MASS_RATE,
        Dimension.THROUGHPUT,
        Dimension.VOLTAGE,
    )
    return tuple((sentence(words(kind)), accepted_examples(kind)) for kind in asked)


def result_in_words(heading: AdviceHeading) -> str:
    """Return an advice's outcome in a few words."""
    if not heading.fit and not heading.marginal:
        return "nothing fits"
    found = [(heading.fit, "fit"), (heading.marginal, "marginal")]
    return ", ".join(f"{number} {word}" for number, word in found if number)
