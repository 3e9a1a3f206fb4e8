"""Makes pages from templates: one environment, strict about names, with the trade's filters."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Protocol

from fastapi import Depends, FastAPI, Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from server.errors import Fault
from server.fit.results import LoadLimit, Margin, Part, Role, StackAdvice
from server.paths import Folder, folder
from server.web import fields, formatting
from server.web.chart_drawer import ChartDrawer, bundle_version
from server.web.chart_parts import HEIGHT, WIDTH, Chart
from server.web.day_chart import folded
from server.web.settings import Settings
from server.web.words import assumed, means, sentence, words

NAVIGATION: Sequence[tuple[str, str]] = (
    ("/inquiry", "New inquiry"),
    ("/inquiries", "Received"),
    ("/check", "Check"),
    ("/consumables", "Consumables"),
    ("/catalog", "Catalogue"),
    ("/quotes", "Quotes"),
    ("/help", "Help"),
)


CUSTOMERS_SIDE = "/q/"
"""What begins like this is for who was sent a link: nothing there leads into the house."""


class Page(Protocol):
    """A dataclass whose fields are everything that its template may read."""

    template: ClassVar[str]


@dataclass(frozen=True)
class ErrorPage:
    """Says what went wrong and where to go on."""

    template: ClassVar[str] = "error.html"
    heading: str
    message: str
    status: int
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class ChartView:
    """A chart on a page: where its picture is, and its words and numbers."""

    key: str
    title: str
    caption: str
    alt: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    width: int = WIDTH
    height: int = HEIGHT


@dataclass(frozen=True)
class Renderer:
    """Renders pages and keeps the charts they show."""

    environment: Environment
    charts: ChartDrawer

    def page(self, request: Request, page: Page, status: int = 200) -> HTMLResponse:
        """Return a page as an answer.

        Parameters
        ----------
        request : Request
            For the place in the navigation.
        page : Page
            Dataclass with the template's context.
        status : int
            HTTP status.

        Returns
        -------
        HTMLResponse
            Never kept by caches in between: pages carry a customer's data.
        """
        path = request.url.path
        navigation = [
            {"href": href, "text": text, "here": path == href or path.startswith(f"{href}/")}
            for href, text in (() if path.startswith(CUSTOMERS_SIDE) else NAVIGATION)
        ]
        shown = {f.name: getattr(page, f.name) for f in dataclasses.fields(page)}  # type: ignore[arg-type]
        html = self.environment.get_template(page.template).render(nav=navigation, **shown)
        return HTMLResponse(html, status, headers={"Cache-Control": "private, no-cache"})

    def views(self, charts: Iterable[Chart]) -> tuple[ChartView, ...]:
        """Keep charts and return how a page shows them."""
        return tuple(
            ChartView(
                self.charts.keep(chart.spec),
                chart.title,
                chart.caption,
                chart.alt,
                chart.columns,
                chart.rows,
            )
            for chart in charts
        )


def renderer_of(request: Request) -> Renderer:
    """Return the running app's renderer."""
    renderer: Renderer = request.app.state.renderer
    return renderer


RendererDep = Annotated[Renderer, Depends(renderer_of)]


def install(app: FastAPI, settings: Settings, static_url: Callable[[str], str]) -> None:
    """Give an app what its pages need, as ``app.state.renderer``.

    Parameters
    ----------
    app : FastAPI
        The app; close ``app.state.renderer.charts`` when it shuts down.
    settings : Settings
        For the folder in which drawn charts are kept.
    static_url : callable
        From a path below ``static/`` to its address.
    """
    app.state.renderer = Renderer(
        environment(static_url), ChartDrawer(settings.data_dir / "charts")
    )


def error_page(
    request: Request, status: int, message: str, faults: Sequence[Fault] = ()
) -> HTMLResponse:
    """Return an error as a page.

    Parameters
    ----------
    request : Request
        The request that failed.
    status : int
        HTTP status.
    message : str
        In plain words; shown as text.
    faults : sequence of Fault
        Faults of fields, if any.

    Returns
    -------
    HTMLResponse
        With the way back.
    """
    heading = _HEADINGS.get(status, "That did not work")
    shown = ErrorPage(heading, message, status, tuple(faults))
    return renderer_of(request).page(request, shown, status)


_HEADINGS: Mapping[int, str] = {
    403: "Not from here",
    404: "Nothing here",
    405: "Not this way",
    413: "Too much at once",
    422: "This cannot be used",
    429: "Too often",
    500: "Our mistake",
    503: "Not just now",
}


def environment(static_url: Callable[[str], str]) -> Environment:
    """Return the templates' environment.

    Parameters
    ----------
    static_url : callable
        From a path below ``static/`` to its address.

    Returns
    -------
    Environment
        With autoescape; a name that is missing raises.
    """
    made = Environment(
        loader=FileSystemLoader(folder(Folder.TEMPLATES)),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(
        static=static_url,
        infinity=math.inf,
        field_at=fields.field_at,
        rows_at=fields.ROWS.__getitem__,
        chart_bundle=f"/charts/bundle-{bundle_version()}.js",
    )
    made.filters.update(_FILTERS)
    return made


def bar_place(value: float) -> float:
    """Return where a ratio stands on a bar of 200 units, a tenth to ten times, logarithmic.

    Parameters
    ----------
    value : float
        Ratio; beyond the ends it stands at the end, and the number beside it says how far. [-]

    Returns
    -------
    float
        0 to 200; 1 is in the middle.
    """
    if value <= 0.1:
        return 2.0  # a sliver, so that the bar is seen to be there
    if value >= 10.0:
        return 200.0
    return round(100.0 * (1.0 + math.log10(value)), 1)


def margin_of(stack: StackAdvice, key: object) -> Margin:
    """Return one margin of a stack."""
    return next(margin for margin in stack.margins if margin.key == key)


def by_role(parts: Iterable[Part]) -> list[tuple[Role, list[Part]]]:
    """Return parts grouped by role, in the order of the roles."""
    listed = list(parts)
    groups = [(role, [part for part in listed if part.role is role]) for role in Role]
    return [(role, group) for role, group in groups if group]


def _plain(value: float | str) -> str:
    return value if isinstance(value, str) else formatting.number(value, 4)


LOAD_LIMITS: Mapping[LoadLimit, str] = {
    LoadLimit.PUMP: "the largest throughput of the high-vacuum pump itself",
    LoadLimit.FORELINE: "the foreline: what backing pump and line carry off before the pressure "
    "at the outlet is more than the pump tolerates",
    LoadLimit.INLET: "the largest continuous pressure at the pump's inlet",
    LoadLimit.SPEED: "the speed: more gas finds no steady pressure",
    LoadLimit.PROCESS_PRESSURE: "the speed at the chamber at this pressure",
}
"""What ends the gas load of a stack, as the end of a sentence."""


_FILTERS: Mapping[str, Callable[..., Any]] = {
    "limit_words": LOAD_LIMITS.__getitem__,
    "words": words,
    "assumed": assumed,
    "means": means,
    "sentence": sentence,
    "label": fields.label_at,
    "quantity": formatting.quantity,
    "pressure": formatting.of_unit("Pa"),
    "throughput": formatting.of_unit("Pa m3/s"),
    "speed": formatting.of_unit("m3/s"),
    "kilograms": formatting.of_unit("kg"),
    "mass_rate": formatting.of_unit("kg/s"),
    "power": formatting.of_unit("W"),
    "duration": formatting.duration,
    "kwh": formatting.kwh,
    "folded": folded,
    "money": formatting.money,
    "ratio": formatting.ratio,
    "percent": formatting.percent,
    "moment": formatting.moment,
    "day": formatting.day,
    "thousands": formatting.count,
    "plain": _plain,
    "si": formatting.si_quantity,
    "bar_place": bar_place,
    "margin": margin_of,
    "groupby_role": by_role,
}
