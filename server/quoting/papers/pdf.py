"""Quotes and operating cards as PDF: tagged, archivable, the same bytes for the same data.

PDF/A-2a (ISO 19005-2) and PDF/UA-1 (ISO 14289-1) hold for every document: characters that the
typefaces lack are printed as their numbers, and the document says so.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING

from server.paths import Folder, folder
from server.quoting.card import CardSection, CardStep, OperatingCard
from server.quoting.order import Party
from server.quoting.papers.printed import Apart, Block, MarginRow, Printed, PrintedLine, Wording
from server.quoting.papers.typefaces import FAMILIES, font_folders, legible

if TYPE_CHECKING:
    import typst

_STANDARDS: list[typst.PDFStandard] = ["a-2a", "ua-1"]

LONGEST_UNBROKEN = 600
"""Lines with more characters may break across pages."""

_LACKING = (
    "Characters that the typefaces of this document lack stand as their Unicode numbers, such as "
    "[U+1F600]; the data files carry them as they were typed."
)

Data = Mapping[str, object]


@dataclass(frozen=True)
class Picture:
    """A picture of a document with its words and its numbers."""

    title: str
    caption: str
    alt: str
    svg: str
    width_percent: int = 100
    """Share of the width of the text."""
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    widths: tuple[int, ...] = ()
    """Shares of the columns."""
    right: tuple[int, ...] = field(default=())
    """Indices of the columns with numbers."""


@dataclass(frozen=True)
class Setting:
    """A document ready to be set: its template, its data, its date."""

    template: str
    data: str
    """JSON."""
    made_at: datetime


def set_pdf(setting: Setting) -> bytes:
    """Return a document as PDF.

    Parameters
    ----------
    setting : Setting
        From `quote_setting` or `card_setting`; the lengths of its texts are limited where they
        are typed.
    """
    import typst  # a large library: loaded when the first document is asked for

    root = folder(Folder.TEMPLATES) / "documents"
    compiler = typst.Compiler(
        root / setting.template,
        root=root,
        font_paths=_fonts(),
        sys_inputs={"data": setting.data},
    )
    made = compiler.compile(
        format="pdf", pdf_standards=_STANDARDS, timestamp=int(setting.made_at.timestamp())
    )
    if not isinstance(made, bytes):
        raise TypeError("a PDF is one file")
    return made


@cache
def _fonts() -> typst.Fonts:
    import typst

    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=list(font_folders())
    )


def quote_setting(view: Printed, pictures: Sequence[Picture] = ()) -> Setting:
    """Return a quote ready to be set.

    Parameters
    ----------
    view : Printed
        What it says.
    pictures : sequence of Picture
        Shown after the margins.
    """
    quote = view.quote
    standing = {"title": "Not an offer", "text": view.standing} if view.standing else ""
    data: dict[str, object] = {
        "title": view.title,
        "standing": standing,
        "dated": view.figures.day(quote.day),
        "seller": _party(quote.seller),
        "customer": _party(quote.customer),
        "facts": view.facts,
        "subject": quote.title,
        "stack": quote.stack_title,
        "currency": quote.currency,
        "groups": _groups(view.blocks, view),
        "sums": [
            {"label": row.label, "amount": view.figures.money(row.amount), "strong": row.strong}
            for row in view.sums
        ],
        "rounding": quote.rounding,
        "apart": [_apart(part, view) for part in view.apart],
        "terms": view.terms,
        "shipments": [(day, str(pieces), what) for day, pieces, what in view.shipments],
        "ships": "Counted from an order on the day of this quote, with the stock of that day.",
        "goods": view.goods,
        "export": quote.export_hints,
        "notes": quote.notes,
        "margins": [_margin(row) for row in view.margins],
        "flags": quote.flags,
        "cautions": [(caution.about, caution.text) for caution in quote.cautions],
        "assumptions": view.assumptions,
    }
    foot = f"{view.title}, {quote.seller.name}"
    closing = (
        f"Prices of catalogue version {quote.catalog_version}. Computed margins are estimates: "
        "subject to a check by a person."
    )
    return _setting("quote.typ", data, pictures, quote.created_at, foot, closing)


def card_setting(
    card: OperatingCard,
    author: str,
    made_at: datetime,
    wording: Wording,
    pictures: Sequence[Picture] = (),
) -> Setting:
    """Return an operating card ready to be set.

    Parameters
    ----------
    card : OperatingCard
        The card.
    author : str
        Who hands it out.
    made_at : datetime
        Date of the advice or quote it belongs to.
    wording : Wording
        Words of the pages.
    pictures : sequence of Picture
        Shown first.
    """
    data: dict[str, object] = {
        "title": "Operating card",
        "author": author,
        "subject": card.title,
        "stack": card.stack_title,
        "flags": card.flags,
        "sections": [_section(section, wording) for section in card.sections],
        "limits": [
            (limit.name[:1].upper() + limit.name[1:], limit.pump, limit.shown)
            for limit in card.limits
        ],
        "supplied": [
            f"{part.quantity} × {part.name}" + (f": {part.note}" if part.note else "")
            for part in card.supplied
        ],
        "cautions": [(caution.about, caution.text) for caution in card.cautions],
    }
    foot = f"Operating card: {card.stack_title}"
    closing = (
        f"From catalogue version {card.catalog_version}. The instructions that come with each "
        "pump go first."
    )
    return _setting("card.typ", data, pictures, made_at, foot, closing)


def _setting(
    template: str,
    data: Mapping[str, object],
    pictures: Sequence[Picture],
    made_at: datetime,
    foot: str,
    closing: str,
) -> Setting:
    whole = _legible({**data, "foot": foot})
    shown = [_picture(picture) for picture in pictures]
    lacking = "[U+" in json.dumps([whole, shown], ensure_ascii=True)
    assert isinstance(whole, dict)  # noqa: S101  # a mapping in, a dict out
    whole |= {
        "pictures": shown,
        "date": {"year": made_at.year, "month": made_at.month, "day": made_at.day},
        "families": FAMILIES,
        "closing": f"{closing} {_LACKING}" if lacking else closing,
    }
    text = json.dumps(whole, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return Setting(template, text, made_at)


def _legible(value: object) -> object:
    if isinstance(value, str):
        return legible(value)
    if isinstance(value, Mapping):
        return {name: _legible(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_legible(inner) for inner in value]
    return value


def _picture(picture: Picture) -> Data:
    told = {
        "title": picture.title,
        "caption": picture.caption,
        "alt": picture.alt,
        "columns": picture.columns,
        "rows": picture.rows,
        "widths": picture.widths or (1,) * len(picture.columns),
        "right": picture.right,
    }
    legible_words = _legible(told)
    assert isinstance(legible_words, dict)  # noqa: S101  # a mapping in, a dict out
    return {**legible_words, "svg": picture.svg, "width": picture.width_percent}


def _party(who: Party) -> Data:
    lines = [*who.address.splitlines(), who.contact, who.email]
    return {"name": who.name, "lines": [line for line in lines if line]}


def _groups(blocks: Sequence[Block], view: Printed) -> list[Data]:
    return [
        {"title": block.title, "lines": [_line(line, view) for line in block.lines]}
        for block in blocks
    ]


def _line(printed: PrintedLine, view: Printed) -> Data:
    line = printed.line
    has_price = printed.has_price
    discount = view.figures.percent(line.discount_percent) if line.discount_percent else ""
    return {
        "position": printed.position,
        "name": line.name,
        "sku": line.sku,
        "note": line.note,
        "quantity": str(line.quantity),
        "price": view.figures.bare(line.unit_price) if has_price else "supplied",
        "discount": discount,
        "total": view.figures.bare(line.total) if has_price else "–",
        "ships": printed.ships,
        "long": len(line.name) + len(line.note) > LONGEST_UNBROKEN,
    }


def _apart(part: Apart, view: Printed) -> Data:
    return {"title": part.title, "text": part.text, "groups": _groups(part.blocks, view)}


_TONES = {"pass": "good", "marginal": "warn", "fail": "bad"}


def _margin(row: MarginRow) -> Data:
    return {
        "name": row.name,
        "explanation": row.explanation,
        "ratio": row.shown_ratio,
        "threshold": row.shown_threshold,
        "verdict": row.shown_verdict,
        "tone": _TONES[row.verdict],
        "place": _on_the_bar(row.ratio),
        "needed": _on_the_bar(row.threshold),
    }


def _on_the_bar(ratio: float) -> float:
    """Return where a ratio stands on a bar from a tenth to ten times; the number says how far."""
    if ratio <= 0.1:
        return 0.01  # a sliver, so that the bar is seen to be there
    return 1.0 if ratio >= 10.0 else round(0.5 * (1.0 + math.log10(ratio)), 4)


def _section(section: CardSection, wording: Wording) -> Data:
    steps = [{"text": step.text, "wait": _wait(step, wording)} for step in section.steps]
    return {"title": section.title, "ordered": section.ordered, "steps": steps}


def _wait(step: CardStep, wording: Wording) -> str:
    if step.wait_s is None:
        return f"Wait for: {step.wait_for}." if step.wait_for else ""
    time = wording.duration(step.wait_s)
    if not step.wait_for:
        return f"Wait {time}."
    return f"Wait: {step.wait_for}." if time in step.wait_for else f"Wait {time}: {step.wait_for}."
