"""A quote as a spreadsheet: three sheets, nothing that runs, the same bytes for the same data.

Amounts are numbers with the currency's decimals as their format, so that people can add them up.
A spreadsheet keeps numbers as doubles, which give every decimal of up to 15 figures back exactly;
amounts have 12 figures before the point and 3 behind it at most (`server.fit.money`), and no other
number here is larger.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from server.errors import OutOfRange
from server.fit.money import minor_digits
from server.quoting.documents import starts_a_formula
from server.quoting.papers.printed import Printed, PrintedLine

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

LONGEST_CELL = 32_767
"""Characters; ECMA-376 part 1, 18.3.1.4 and common practice of spreadsheets (from memory)."""

_ACCENT = "#0d5c63"
_SUNK = "#f1efe9"

_COLUMNS = (
    ("Position", 9),
    ("Group", 24),
    ("Stock number", 27),
    ("Description", 58),
    ("Pieces", 8),
    ("Unit price", 14),
    ("Discount, %", 11),
    ("Line total", 14),
    ("Counts in the sums", 19),
    ("Ships", 26),
    ("Note", 60),
)
_AMOUNT_COLUMN = 7


def quote_xlsx(view: Printed) -> bytes:
    """Return a quote as an XLSX file (ISO/IEC 29500).

    Parameters
    ----------
    view : Printed
        What it says.

    Raises
    ------
    OutOfRange
        When a text is longer than a cell can be.
    """
    from xlsxwriter import Workbook

    out = io.BytesIO()
    book = Workbook(out, {"in_memory": True, "strings_to_formulas": False,
                          "strings_to_urls": False, "strings_to_numbers": False})  # fmt: skip
    book.set_properties(
        {
            "title": view.title,
            "author": view.quote.seller.name,
            # Beside the offer, not the file, so that the same offer makes the same file.
            "created": view.quote.created_at.astimezone(UTC).replace(tzinfo=None, microsecond=0),
        }
    )
    styles = _styles(book, view.quote.currency)
    _offer_sheet(_Sheet(book.add_worksheet("Quote"), styles), view)
    _margins_sheet(_Sheet(book.add_worksheet("Margins"), styles), view)
    _terms_sheet(_Sheet(book.add_worksheet("Terms"), styles), view)
    book.close()
    return out.getvalue()


@dataclass(frozen=True)
class _Styles:
    text: Format
    inert: Format
    """For text that begins like a formula: stays text even when somebody edits the cell."""
    heading: Format
    head: Format
    strong: Format
    amount: Format
    strong_amount: Format
    number: Format
    day: Format


def _styles(book: Workbook, currency: str) -> _Styles:
    digits = minor_digits(currency)
    money = "#,##0" + ("." + "0" * digits if digits else "")
    top = {"valign": "top"}
    wrapped = {**top, "text_wrap": True}
    return _Styles(
        text=book.add_format(wrapped),
        inert=book.add_format({**wrapped, "quote_prefix": True, "num_format": "@"}),
        heading=book.add_format({"bold": True, "font_size": 16, "font_color": _ACCENT}),
        head=book.add_format({"bold": True, "bg_color": _SUNK, "bottom": 1, **wrapped}),
        strong=book.add_format({"bold": True, **top}),
        amount=book.add_format({"num_format": money, **top}),
        strong_amount=book.add_format({"num_format": money, "bold": True, "top": 1, **top}),
        number=book.add_format({"num_format": "General", **top}),
        day=book.add_format({"num_format": "yyyy-mm-dd", "align": "left", **top}),
    )


class _Sheet:
    """Writes cells of a sheet by their kind, row after row."""

    def __init__(self, sheet: Worksheet, styles: _Styles) -> None:
        self.sheet = sheet
        self.styles = styles
        self.row = 0

    def text(self, column: int, text: str, style: Format | None = None) -> None:
        if not text:
            return
        if len(text) > LONGEST_CELL:
            raise OutOfRange(f"A text of {len(text)} characters is too long for a spreadsheet.")
        chosen = self.styles.inert if starts_a_formula(text) else style or self.styles.text
        self.sheet.write_string(self.row, column, text, chosen)

    def number(self, column: int, value: float | Decimal, style: Format) -> None:
        self.sheet.write_number(self.row, column, float(value), style)

    def pair(self, word: str, value: str) -> None:
        self.text(0, word, self.styles.strong)
        self.text(2, value)
        self.row += 1

    def head(self, columns: Iterable[tuple[str, int]]) -> None:
        for column, (title, width) in enumerate(columns):
            self.sheet.set_column(column, column, width)
            self.text(column, title, self.styles.head)
        self.row += 1

    def section(self, title: str) -> None:
        self.row += 1
        self.text(0, title, self.styles.strong)
        self.row += 1


def _offer_sheet(out: _Sheet, view: Printed) -> None:
    quote, styles = view.quote, out.styles
    out.text(0, view.title, styles.heading)
    out.row += 1
    if view.standing:
        out.pair("Not an offer", view.standing)
    out.pair("Seller", quote.seller.name)
    out.pair("Customer", quote.customer.name)
    out.pair("Address", quote.customer.address)
    out.pair("Contact", quote.customer.contact)
    out.pair("E-mail", quote.customer.email)
    out.pair("Reference", quote.reference)
    out.pair("Subject", quote.title)
    out.pair("Stack", quote.stack_title)
    for word, when in (
        ("Date", quote.day),
        ("Valid until", quote.valid_until),
        ("Ships complete by", quote.ships_complete_on),
    ):
        out.text(0, word, styles.strong)
        out.sheet.write_datetime(out.row, 2, datetime(when.year, when.month, when.day), styles.day)  # noqa: DTZ001  # a day
        out.row += 1
    out.pair("Currency", quote.currency)
    out.pair("Price list", quote.price_list)
    out.row += 1
    first = out.row
    out.head(_COLUMNS)
    for line in view.lines:
        _line(out, line)
    out.sheet.autofilter(first, 0, max(out.row - 1, first), len(_COLUMNS) - 1)
    out.row += 1
    for row in view.sums:
        out.text(3, row.label, styles.strong if row.strong else None)
        out.number(
            _AMOUNT_COLUMN, row.amount, styles.strong_amount if row.strong else styles.amount
        )
        out.text(_AMOUNT_COLUMN + 1, quote.currency)
        out.row += 1
    out.row += 1
    out.text(0, quote.rounding)
    _for_print(out, first)


def _line(out: _Sheet, printed: PrintedLine) -> None:
    line, styles = printed.line, out.styles
    out.text(0, printed.position)
    out.text(1, line.group.value)
    out.text(2, line.sku)
    out.text(3, line.name)
    out.number(4, line.quantity, styles.number)
    if printed.has_price:
        out.number(5, line.unit_price, styles.amount)
        out.number(6, line.discount_percent, styles.number)
        out.number(_AMOUNT_COLUMN, line.total, styles.amount)
    out.text(8, "yes" if line.choice == "included" else f"no, {line.choice}")
    out.text(9, printed.ships)
    out.text(10, line.note)
    out.row += 1


def _margins_sheet(out: _Sheet, view: Printed) -> None:
    columns = (("Limit", 26), ("Margin", 12), ("Passes from", 12), ("Verdict", 12), ("Why", 90))
    out.head(columns)
    for margin in view.margins:
        out.text(0, margin.name)
        # Infinity is no number of a spreadsheet.
        out.text(1, margin.shown_ratio)
        out.text(2, margin.shown_threshold)
        out.text(3, margin.shown_verdict)
        out.text(4, margin.explanation)
        out.row += 1
    _for_print(out, 0)


def _terms_sheet(out: _Sheet, view: Printed) -> None:
    quote = view.quote
    out.head((("Point", 30), ("", 2), ("What holds", 100)))
    told = [
        *view.terms,
        ("Notes", quote.notes),
        *(("Dangerous goods", sentence) for sentence in view.goods),
        *(("Export control", hint) for hint in quote.export_hints),
        *(("Please note", flag) for flag in quote.flags),
        *(
            (f"Ships on {day}", f"{pieces} pieces: {', '.join(what)}")
            for day, pieces, what in view.shipments
        ),
        *((caution.about, caution.text) for caution in quote.cautions),
        *(
            (f"Assumed: {field}", f"{value} ({reason})")
            for field, value, reason in view.assumptions
        ),
        ("Catalogue version", quote.catalog_version),
    ]
    for word, text in told:
        if text:
            out.pair(word, text)
    _for_print(out, 0)


def _for_print(out: _Sheet, head_row: int) -> None:
    out.sheet.freeze_panes(head_row + 1, 0)
    out.sheet.repeat_rows(head_row)
    out.sheet.set_landscape()
    out.sheet.set_paper(9)  # A4
    out.sheet.fit_to_pages(1, 0)
    out.sheet.set_footer("&L&A&RPage &P of &N")
