"""Documents of quotes, one after the other, never the same twice."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from server.quoting.papers.pdf import Picture, quote_setting, set_pdf
from server.quoting.papers.printed import Printed
from server.quoting.papers.schematic import schematic_of, schematic_svg
from server.quoting.papers.ubl import quote_xml
from server.quoting.papers.xlsx import quote_xlsx
from tests.quoting.papers.samples import STOCK, WORDING, a_full_quote, a_view
from tests.quoting.stacks import vapour_stack


def views(lines: int) -> Iterator[Printed]:
    """Yield a quote again and again, every line of it another one each time."""
    quote = a_full_quote(lines)
    turn = 0
    while True:
        turn += 1
        named = tuple(replace(line, name=f"{line.name}, {turn}") for line in quote.lines)
        yield a_view(replace(quote, lines=named))


def pdfs(lines: int) -> Iterator[bytes]:
    """Set quotes with their schematic."""
    schematic = schematic_of(vapour_stack().parts, STOCK, WORDING.words)
    picture = Picture("Way of the gas", "", schematic.alt, schematic_svg(schematic))
    for view in views(lines):
        yield set_pdf(quote_setting(view, (picture,)))


def sheets(lines: int) -> Iterator[bytes]:
    """Make spreadsheets."""
    return map(quote_xlsx, views(lines))


def xmls(lines: int) -> Iterator[bytes]:
    """Make XML."""
    return map(quote_xml, views(lines))
