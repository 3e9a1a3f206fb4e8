"""The documents of a quote as answers: who shows them decides who may ask."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from fastapi import Request
from fastapi.responses import Response

from server.catalog.items import Catalog
from server.errors import NotFound
from server.quoting.desk.case import QuoteCase
from server.quoting.desk.revision import Basis
from server.quoting.documents import quote_csv
from server.quoting.operating_card import operating_card
from server.quoting.papers.pdf import Picture, card_setting, quote_setting
from server.quoting.papers.printed import Printed
from server.quoting.papers.schematic import schematic_of, schematic_svg
from server.quoting.papers.ubl import quote_xml
from server.quoting.papers.xlsx import quote_xlsx
from server.web.chart_drawer import ChartDrawer
from server.web.chart_parts import finite
from server.web.chart_theme import Theme
from server.web.charts import pump_down_chart
from server.web.deps import Services
from server.web.desk_view import WORDING, printed_quote
from server.web.formatting import duration
from server.web.press import Press
from server.web.words import sentence, words

_PERCENT_PER_STATION = 13
"""Width of the schematic for each station, so that few stations are not drawn large [%]."""


class Paper(StrEnum):
    """Kinds of documents, by the ending of their files."""

    PDF = "pdf"
    XLSX = "xlsx"
    XML = "xml"
    CSV = "csv"


MEDIA_TYPES: Mapping[Paper, str] = {
    Paper.PDF: "application/pdf",
    Paper.XLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    Paper.XML: "application/xml",
    Paper.CSV: "text/csv",
}


@dataclass(frozen=True)
class PrintRoom:
    """What documents are made with."""

    services: Services
    charts: ChartDrawer
    press: Press


def print_room_of(request: Request) -> PrintRoom:
    """Return the running app's print room."""
    state = request.app.state
    return PrintRoom(state.services, state.renderer.charts, state.press)


def quote_paper(case: QuoteCase, revision: int, paper: Paper, room: PrintRoom) -> Response:
    """Return one revision of a quote as a file.

    Parameters
    ----------
    case : QuoteCase
        The quote; what it costs the seller and the internal notes are in none of its documents.
    revision : int
        Which revision.
    paper : Paper
        Which kind of document.
    room : PrintRoom
        What it is made with.

    Raises
    ------
    NotFound
        When the quote has no such revision.
    """
    wanted = case.revision(revision)
    # The state as it is kept: the clock must not change what the same quote prints.
    view = printed_quote(wanted.content, case.standings[revision - 1])
    if paper is Paper.PDF:
        pictures = tuple(_pictures(wanted.basis, room))
        content = room.press.pdf(quote_setting(view, pictures))
    else:
        content = _DATA[paper](view)
    return _file(content, MEDIA_TYPES[paper], f"{view.name}.{paper}")


def quote_card(case: QuoteCase, revision: int, room: PrintRoom) -> Response:
    """Return the operating card of the stack on offer as PDF.

    Raises
    ------
    NotFound
        When the quote has no such revision, its advice is not kept or its catalogue can no longer
        be read.
    """
    wanted = case.revision(revision)
    if wanted.basis is None:
        raise NotFound(f"The advice behind the quote {case.number} is not kept any more.")
    issue = CardIssue(wanted.content.seller.name, wanted.content.created_at, case.number)
    return card_paper(wanted.basis, issue, room)


@dataclass(frozen=True)
class CardIssue:
    """Who hands a card out, when, and what its file is called after."""

    author: str
    made_at: datetime
    name: str


def card_paper(basis: Basis, issue: CardIssue, room: PrintRoom) -> Response:
    """Return the operating card of a stack as PDF.

    Parameters
    ----------
    basis : Basis
        The stack and what it was judged against.
    issue : CardIssue
        Who hands it out, when, for what.
    room : PrintRoom
        What it is made with.
    """
    catalog = room.services.catalogs.version(basis.catalog_version)
    card = operating_card(basis.stack, basis.requirements, catalog)
    pictures = (_way_of_the_gas(basis, catalog),)
    setting = card_setting(card, issue.author, issue.made_at, WORDING, pictures)
    name = f"operating-card-{issue.name}.pdf"
    return _file(room.press.pdf(setting), MEDIA_TYPES[Paper.PDF], name)


_DATA: Mapping[Paper, Callable[[Printed], bytes]] = {
    Paper.XLSX: quote_xlsx,
    Paper.XML: quote_xml,
    Paper.CSV: lambda view: quote_csv(view.quote).encode(),
}


def _file(content: bytes, media_type: str, name: str) -> Response:
    headers = {
        "Content-Disposition": f'attachment; filename="{name}"',
        "Cache-Control": "private, no-cache",
    }
    return Response(content, media_type=media_type, headers=headers)


def _pictures(basis: Basis | None, room: PrintRoom) -> Iterator[Picture]:
    if basis is None:
        return
    with suppress(NotFound):  # the offer stands without its catalogue; this picture needs it
        yield _way_of_the_gas(basis, room.services.catalogs.version(basis.catalog_version))
    pump_down = basis.stack.pump_down
    if pump_down is None or len(finite(pump_down.curve)) < 2:
        return
    chart = pump_down_chart(pump_down, basis.requirements)
    drawing = room.charts.svg(room.charts.keep(chart.spec), Theme.LIGHT).decode()
    yield Picture(
        title=chart.title,
        caption=chart.caption,
        alt=chart.alt,
        svg=drawing,
        width_percent=62,
        columns=("Phase", "From", "To", "Note"),
        rows=tuple(
            (
                sentence(words(phase.name)),
                duration(phase.start_s),
                duration(phase.end_s),
                phase.note,
            )
            for phase in pump_down.phases
        ),
        widths=(4, 3, 3, 10),
        right=(1, 2),
    )


def _way_of_the_gas(basis: Basis, catalog: Catalog) -> Picture:
    schematic = schematic_of(basis.stack.parts, catalog, words)
    return Picture(
        title="Way of the gas",
        caption="From the chamber to the exhaust",
        alt=schematic.alt,
        svg=schematic_svg(schematic),
        width_percent=min(100, _PERCENT_PER_STATION * (len(schematic.stations) + 1)),
        columns=("No.", "Part", "Name"),
        rows=tuple(
            (str(number), sentence(station.word), station.name)
            for number, station in enumerate(schematic.numbered, 1)
        ),
        widths=(1, 3, 8),
    )
