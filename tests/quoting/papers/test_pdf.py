"""PDFs read back by another program: structure, words, bytes."""

from __future__ import annotations

import hashlib
import io
import os
import re
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import replace

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from pypdf.generic import Destination, StreamObject

from server.bootstrap import ROOT
from server.quoting.operating_card import operating_card
from server.quoting.order import Party
from server.quoting.papers.pdf import Picture, card_setting, quote_setting, set_pdf
from server.quoting.papers.schematic import schematic_of, schematic_svg
from server.quoting.quote import Quote
from tests.quoting.papers.samples import STOCK, WORDING, a_full_quote, a_quote, a_view
from tests.quoting.stacks import order, requirements, vapour_stack

SCHEMATIC = schematic_of(vapour_stack().parts, STOCK, WORDING.words)
PICTURE = Picture(
    "Way of the gas",
    "From the chamber to the exhaust",
    SCHEMATIC.alt,
    schematic_svg(SCHEMATIC),
    columns=("No.", "Part"),
    rows=(("1", "Gate"),),
)


def read(quote: Quote, standing: str = "") -> PdfReader:
    return PdfReader(io.BytesIO(set_pdf(quote_setting(a_view(quote, standing), (PICTURE,)))))


def words(reader: PdfReader) -> str:
    """Return the text with single spaces, so that line breaks do not matter."""
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


@pytest.fixture(scope="module")
def whole() -> PdfReader:
    return read(a_full_quote(20))


def test_it_claims_the_standards_it_was_checked_against(whole: PdfReader) -> None:
    # ISO 19005-2 (PDF/A) 6.6.4 and ISO 14289-1 (PDF/UA) 5: what the metadata must say. The
    # typesetter refuses to write the claim for a document that breaks them.
    assert whole.root_object is not None
    stream = whole.root_object["/Metadata"].get_object()
    assert isinstance(stream, StreamObject)
    metadata = stream.get_data().decode()
    assert re.search(r"<pdfaid:part>2<", metadata)
    assert re.search(r"<pdfaid:conformance>A<", metadata)
    assert re.search(r"<pdfuaid:part>1<", metadata)


def test_it_is_tagged_titled_and_says_its_language(whole: PdfReader) -> None:
    root = whole.root_object
    assert root is not None
    assert str(root["/MarkInfo"]) == "{'/Marked': True, '/Suspects': False}"
    assert str(root["/Lang"]).lower().startswith("en")
    assert "'/DisplayDocTitle': True" in str(root["/ViewerPreferences"])
    assert whole.metadata is not None
    assert whole.metadata.title == "Quote Q-2026-0001, revision 2"


def test_its_headings_are_bookmarks(whole: PdfReader) -> None:
    def titled(entry: object) -> str:
        assert isinstance(entry, Destination)
        return str(entry.title)

    def titles(outline: Iterable[object]) -> list[str]:
        found: list[str] = []
        for entry in outline:
            found += titles(entry) if isinstance(entry, list) else [titled(entry)]
        return found

    found = titles(whole.outline)
    assert found[0] == "Quote Q-2026-0001, revision 2"
    wanted = {"What is offered", "Options", "Alternatives", "Terms", "Dangerous goods",
              "Export control", "What it can do", "Way of the gas", "Cautions",
              "What was assumed"}  # fmt: skip
    assert wanted <= set(found)


def test_each_page_says_which_it_is_of_how_many() -> None:
    reader = read(a_full_quote(60))
    assert len(reader.pages) > 4
    for number, page in enumerate(reader.pages, 1):
        assert f"Page {number} of {len(reader.pages)}" in page.extract_text()


def test_it_says_everything_a_buyer_must_know(whole: PdfReader) -> None:
    quote, text = a_full_quote(20), words(whole)
    view = a_view(quote)
    wanted = [
        quote.seller.name, quote.customer.name, "Glassworks Lane 3", "person@example.org",
        quote.reference, "2 March 2026", "1 April 2026", "16 April 2026", "Universities 2026",
        "185.00", "3.25 %", "12.5 %", "19 %", "halves away from zero", "UN 1090",
        "ask your compliance officer", quote.texts.payment, quote.texts.delivery,
        quote.texts.warranty, quote.texts.validity, "Thank you for your inquiry.",
        *(line.name for line in quote.lines), *(line.sku for line in quote.lines),
        *(view.figures.bare(line.total) for line in quote.lines if not line.supplied),
        *(view.figures.money(row.amount) for row in view.sums),
        *quote.flags, *(caution.about for caution in quote.cautions),
        *(margin.explanation for margin in quote.margins),
    ]  # fmt: skip
    assert [each for each in wanted if " ".join(each.split()) not in text] == []


def test_a_draft_says_that_it_is_no_offer() -> None:
    assert "A draft, not yet sent." in words(read(a_quote(), "A draft, not yet sent."))
    assert "Not an offer" not in words(read(a_quote()))


def test_the_same_data_makes_the_same_bytes_in_another_process() -> None:
    program = (
        "import hashlib\n"
        "from server.quoting.papers.pdf import quote_setting, set_pdf\n"
        "from tests.quoting.papers.samples import a_view\n"
        "print(hashlib.sha256(set_pdf(quote_setting(a_view()))).hexdigest())\n"
    )
    elsewhere = {**os.environ, "PYTHONHASHSEED": "4", "TZ": "Asia/Tokyo"}  # noqa: TID251
    told = subprocess.run(  # noqa: S603  # our own program
        [sys.executable, "-c", program],
        cwd=ROOT, env=elsewhere, capture_output=True, text=True, check=True,
    )  # fmt: skip
    here = set_pdf(quote_setting(a_view()))
    assert told.stdout.strip() == hashlib.sha256(here).hexdigest()


def test_500_lines_are_all_there_under_a_head_on_each_page() -> None:
    quote = a_full_quote(500)
    reader = read(quote)
    pages = [page.extract_text() for page in reader.pages]
    listing = [text for text in pages if "PART-0" in text and "Price, EUR" in text]
    assert len(listing) >= 10
    text = "".join(pages)
    assert [line.sku for line in quote.lines if line.sku not in text] == []
    lines_only = [text for text in pages[1:] if "PART-01" in text and "Ships" in text]
    assert all("Item" in text for text in lines_only)


def test_a_note_longer_than_a_page_goes_on_over_the_next_one() -> None:
    long = replace(a_quote().lines[0], note="word " * 1000)
    reader = read(a_quote(lines=(long, *a_quote().lines[1:])))
    assert words(reader).count("word") >= 1000


def test_what_cannot_be_printed_stands_as_its_number_and_the_document_says_so() -> None:
    text = words(read(a_quote(customer=Party("東京 Lab 😀"))))
    assert "[U+6771][U+4EAC] Lab [U+1F600]" in text
    assert "stand as their Unicode numbers" in text
    assert "Unicode numbers" not in words(read(a_quote(customer=Party("مختبر"))))


# No shrinking: each try is read back, which is slow.
@settings(max_examples=8, deadline=None, phases=[Phase.explicit, Phase.generate])
@given(st.text(max_size=80), st.text(max_size=300))
def test_any_text_can_be_printed_and_none_is_taken_for_markup(name: str, note: str) -> None:
    quote = a_quote(customer=Party(name), notes=note, title="#panic() $x$ *a* _b_ @c <d>")
    assert "#panic() $x$ *a* _b_ @c <d>" in read(quote).pages[0].extract_text()


def test_the_operating_card_has_every_step() -> None:
    card = operating_card(vapour_stack(), requirements(), STOCK)
    made = card_setting(card, "Demo", order().created_at, WORDING, (PICTURE,))
    text = words(PdfReader(io.BytesIO(set_pdf(made))))
    steps = [step.text for section in card.sections for step in section.steps]
    wanted = [*steps, *(limit.shown for limit in card.limits)]
    assert [each for each in wanted if " ".join(each.split()) not in text] == []
    assert "Wait" in text
