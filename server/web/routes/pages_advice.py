"""Saved advice: the ranked stacks, one stack in full, and its workings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.errors import NotFound
from server.fit.ports import SavedAdvice
from server.fit.requirements import Requirements
from server.fit.results import Advice, StackAdvice, Working
from server.physics.sources import SOURCES
from server.web.charts import stack_charts
from server.web.deps import ServicesDep
from server.web.formatting import number
from server.web.forms import Form
from server.web.pages import ChartView, RendererDep
from server.web.remedy_list import StackGroup, offers_in_inquiry
from server.web.summary import Stage, asked_in_words, stages_of

router = APIRouter(prefix="/advice/{token}")


@dataclass(frozen=True)
class AdvicePage:
    """All stacks of an advice side by side."""

    template: ClassVar[str] = "advice/advice.html"
    token: str
    title: str
    asked: str
    created_at: datetime
    advice: Advice
    best_verdict: str
    horizon: str
    flows: Mapping[int, tuple[Stage, ...]]
    charts: tuple[ChartView, ...]
    remedies: tuple[StackGroup, ...]
    rejected: tuple[tuple[str, int], ...]
    rejected_total: int


@dataclass(frozen=True)
class StackPage:
    """One stack in full."""

    template: ClassVar[str] = "advice/stack.html"
    token: str
    title: str
    asked: str
    stack: StackAdvice
    flow: tuple[Stage, ...]
    charts: tuple[ChartView, ...]
    remedies: tuple[StackGroup, ...]


@dataclass(frozen=True)
class WorkingsPage:
    """One stack's calculation, line by line."""

    template: ClassVar[str] = "advice/workings.html"
    token: str
    stack: StackAdvice
    sections: tuple[tuple[str, tuple[Working, ...]], ...]
    sources: tuple[tuple[str, str], ...]


@router.get("")
def show_advice(
    request: Request, token: str, services: ServicesDep, renderer: RendererDep
) -> HTMLResponse:
    """Show every stack of a saved advice."""
    saved = services.advices.get(token)
    advice, requirements = saved.advice, saved.requirements
    charts = stack_charts(advice.stacks[0], requirements) if advice.stacks else ()
    rejected = sorted(advice.counts.rejected.items(), key=lambda item: (-item[1], item[0]))
    page = AdvicePage(
        token=token,
        title=saved.title,
        asked=asked_in_words(requirements),
        created_at=saved.created_at,
        advice=advice,
        best_verdict=str(advice.stacks[0].verdict) if advice.stacks else "",
        horizon=horizon_in_words(requirements),
        flows={stack.rank: stages_of(stack.parts) for stack in advice.stacks},
        charts=renderer.views(charts),
        remedies=offers_in_inquiry(advice.remedies, token, Form.from_request(saved.inquiry)),
        rejected=tuple((key, found) for key, found in rejected if found),
        rejected_total=sum(advice.counts.rejected.values()),
    )
    return renderer.page(request, page)


@router.get("/stack/{rank}")
def show_stack(
    request: Request, token: str, rank: int, services: ServicesDep, renderer: RendererDep
) -> HTMLResponse:
    """Show one stack with everything known about it."""
    saved = services.advices.get(token)
    stack = stack_of(saved, rank)
    page = StackPage(
        token=token,
        title=saved.title,
        asked=asked_in_words(saved.requirements),
        stack=stack,
        flow=stages_of(stack.parts),
        charts=renderer.views(stack_charts(stack, saved.requirements)),
        remedies=offers_in_inquiry(stack.remedies, token, Form.from_request(saved.inquiry)),
    )
    return renderer.page(request, page)


@router.get("/stack/{rank}/workings")
def show_workings(
    request: Request, token: str, rank: int, services: ServicesDep, renderer: RendererDep
) -> HTMLResponse:
    """Show one stack's calculation down to inputs, formulas and sources."""
    stack = stack_of(services.advices.get(token), rank)
    page = WorkingsPage(token, stack, by_section(stack.workings), sources_of(stack.workings))
    return renderer.page(request, page)


def stack_of(saved: SavedAdvice, rank: int) -> StackAdvice:
    """Return one stack of a saved advice.

    Parameters
    ----------
    saved : SavedAdvice
        The advice.
    rank : int
        As in its address.

    Raises
    ------
    NotFound
        When the advice has no such rank.
    """
    for stack in saved.advice.stacks:
        if stack.rank == rank:
            return stack
    raise NotFound(f"This advice has no stack {rank}.")


def by_section(workings: Sequence[Working]) -> tuple[tuple[str, tuple[Working, ...]], ...]:
    """Return workings under their headings, headings in order of first appearance."""
    headings = dict.fromkeys(line.section for line in workings)
    return tuple(
        (heading, tuple(line for line in workings if line.section == heading))
        for heading in headings
    )


def sources_of(workings: Sequence[Working]) -> tuple[tuple[str, str], ...]:
    """Return the publications that workings cite by key, in full."""
    cited = " ".join(line.source for line in workings)
    return tuple((key, str(source)) for key, source in SOURCES.items() if key in cited)


def horizon_in_words(requirements: Requirements) -> str:
    """Return the span that costs are counted over."""
    years = requirements.commercial.horizon_years
    return "1 year" if years == 1 else f"{number(years)} years"
