"""The typefaces of printed documents, and what to do with characters they lack."""

from __future__ import annotations

import importlib
import struct
import unicodedata
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

FAMILIES = ("Noto Sans", "Source Sans 3", "Noto Sans Arabic")
"""In the order they are tried; the pages ask for the first one too."""

_PACKAGES = ("fontpkg_noto_sans", "fontpkg_source_sans_3", "fontpkg_noto_sans_arabic")
_JOINERS = frozenset("\u200c\u200d")
_UNPRINTED = frozenset({"Cc", "Cf", "Co", "Cs", "Cn"})


def font_folders() -> tuple[Path, ...]:
    """Return the folders of the font files."""
    packages = (importlib.import_module(name) for name in _PACKAGES)
    return tuple(Path(package.ROOT) / "files" for package in packages)


@cache
def _families() -> tuple[frozenset[int], ...]:
    """Return for each typeface the code points that every style of it has."""
    return tuple(_of_files(folder.glob("*.ttf")) for folder in font_folders())


@cache
def covered() -> frozenset[int]:
    """Return the code points that can be printed: in a typeface, neither control nor private."""
    known = frozenset().union(*_families())
    return frozenset(code for code in known if unicodedata.category(chr(code)) not in _UNPRINTED)


def legible(text: str) -> str:
    """Return a text in which what cannot be printed stands as its number, ``[U+1F600]``.

    Invisible marks that only steer a program, such as those that reverse the writing direction,
    are left out; line breaks stay. A character and the accents on it must come from one typeface.

    Parameters
    ----------
    text : str
        As typed.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_printed(cluster) for cluster in _clusters(_visible(text)))


def _visible(text: str) -> str:
    return "".join(c for c in text if c == "\n" or c in _JOINERS or not _is_invisible(c))


def _clusters(text: str) -> Iterator[str]:
    """Yield each character together with the accents and joiners that follow it."""
    start = 0
    for index, character in enumerate(text):
        if index > start and not _extends(character):
            yield text[start:index]
            start = index
    if text:
        yield text[start:]


def _extends(character: str) -> bool:
    return character in _JOINERS or unicodedata.category(character).startswith("M")


def _is_invisible(character: str) -> bool:
    # The last two ranges choose the look of the character before them.
    return (
        unicodedata.category(character) in {"Cf", "Cc"}
        or "\ufe00" <= character <= "\ufe0f"
        or "\U000e0100" <= character <= "\U000e01ef"
    )


def _printed(cluster: str) -> str:
    """Return a character with its accents, or the numbers of what cannot be printed of it."""
    codes = {ord(character) for character in cluster}
    if cluster == "\n" or any(codes <= family for family in _families()):
        return cluster
    first, rest = cluster[0], cluster[1:]
    shown = first if ord(first) in covered() and not _extends(first) else _number(first)
    return shown + "".join(map(_number, rest))


def _number(character: str) -> str:
    return "" if character in _JOINERS else f"[U+{ord(character):04X}]"


def _of_files(files: Iterable[Path]) -> frozenset[int]:
    sets = [_code_points(file.read_bytes()) for file in sorted(files)]
    return frozenset.intersection(*sets) if sets else frozenset()


def _code_points(font: bytes) -> frozenset[int]:
    """Read the character map of a font (ISO/IEC 14496-22, tables “cmap”, formats 4 and 12)."""
    tables = struct.unpack_from(">H", font, 4)[0]
    entries = (struct.unpack_from(">4sLLL", font, 12 + 16 * i) for i in range(tables))
    start = next(offset for tag, _, offset, _ in entries if tag == b"cmap")
    maps = struct.unpack_from(">H", font, start + 2)[0]
    found: set[int] = set()
    for index in range(maps):
        platform, _, offset = struct.unpack_from(">HHL", font, start + 4 + 8 * index)
        if platform in {0, 3}:  # Unicode, Windows
            found |= _mapped(font, start + offset)
    return frozenset(found)


def _mapped(font: bytes, at: int) -> set[int]:
    layout = struct.unpack_from(">H", font, at)[0]
    if layout == 12:
        groups = struct.unpack_from(">L", font, at + 12)[0]
        spans = (struct.unpack_from(">LL", font, at + 16 + 12 * i) for i in range(groups))
        return {code for first, last in spans for code in range(first, last + 1)}
    if layout == 4:
        count = struct.unpack_from(">H", font, at + 6)[0] // 2
        ends = struct.unpack_from(f">{count}H", font, at + 14)
        starts = struct.unpack_from(f">{count}H", font, at + 16 + 2 * count)
        return {
            code
            for first, last in zip(starts, ends, strict=True)
            for code in range(first, last + 1)
            if code != 0xFFFF
        }
    return set()
