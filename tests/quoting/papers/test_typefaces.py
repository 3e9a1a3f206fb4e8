"""What can be printed, judged by what the typesetter itself finds in the fonts."""

from __future__ import annotations

import unicodedata

import pytest
import typst
from hypothesis import given, settings
from hypothesis import strategies as st

from server.quoting.papers.typefaces import FAMILIES, covered, font_folders, legible

STANDARDS: list[typst.PDFStandard] = ["a-2a", "ua-1"]


def is_printed(text: str) -> bool:
    """Ask the typesetter: text without a glyph breaks PDF/A-2a."""
    families = ", ".join(f'"{family}"' for family in FAMILIES)
    quoted = text.replace("\\", "\\\\").replace('"', '\\"')
    source = (
        f'#set document(title: "x")\n#set text(font: ({families}), fallback: false)\n#"{quoted}"'
    )
    fonts = typst.Fonts(False, False, list(font_folders()))
    try:
        typst.Compiler(source.encode(), font_paths=fonts).compile(
            format="pdf", pdf_standards=STANDARDS
        )
    except typst.TypstError:
        return False
    return True


def test_the_judge_passes_plain_text() -> None:
    assert is_printed("plain text, “quoted” \\ and 1.204,50 €")


def plain(code: int) -> bool:
    return unicodedata.category(chr(code))[0] in "LNPS"


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(sorted(filter(plain, covered()))))
def test_what_counts_as_covered_is_printed(code: int) -> None:
    assert is_printed(chr(code))


@pytest.mark.parametrize("character", ["東", "😀", "ש", "\u2fff"])
def test_what_does_not_count_is_not_printed_and_stands_as_its_number(character: str) -> None:
    assert ord(character) not in covered()
    assert not is_printed(character)
    assert legible(f"a{character}b") == f"a[U+{ord(character):04X}]b"


def test_the_characters_of_trade_and_physics_are_covered() -> None:
    wanted = "ÄŁőşțΓπЖ€£¥₹₪×−≥≤→∞³²₂°µΩ½–„“’" + "مختبر"  # the last word: laboratory, in Arabic
    assert legible(wanted) == wanted


def test_marks_that_turn_the_writing_direction_are_left_out() -> None:
    # Unicode standard annex 9: an override could make a price read backwards.
    assert legible("10\u202e00,1\u202c €\u2066\u2069\ufeff") == "1000,1 €"
    assert legible("one\ntwo\x07\ttab") == "one\ntwotab"


@given(st.text())
def test_legible_text_stays_as_it_is(text: str) -> None:
    once = legible(text)
    assert legible(once) == once
    assert all(c in "\n\u200c\u200d" or ord(c) in covered() for c in once)


def test_an_accent_of_another_typeface_than_its_letter_stands_as_its_number() -> None:
    # Each of the three is covered, by a different typeface; no font can set them together.
    three = "\u06e2\u25ac\u1abc"
    assert {ord(character) for character in three} <= covered()
    assert not is_printed(three)
    assert legible(f"e\u0301 {three}") == "e\u0301 \u06e2\u25ac[U+1ABC]"
    assert is_printed(legible(three))


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=60))
def test_legible_text_is_printed(text: str) -> None:
    assert is_printed(legible(text).replace("\n", " "))


@settings(max_examples=60, deadline=None)
@given(st.text(st.sampled_from([chr(code) for code in sorted(covered())]), max_size=60))
def test_legible_text_of_known_characters_is_printed_in_any_order(text: str) -> None:
    assert is_printed(legible(text).replace("\n", " "))
