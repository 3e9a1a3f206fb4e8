"""What a browser's form sends, read before the sync routes run."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request

MOST_FIELDS = 6000
"""A draft of 500 lines has nine fields a line; the size of the body is limited apart from this."""


async def pairs_of(request: Request) -> list[tuple[str, str]]:
    """Return the fields of a form as sent, in their order; files are refused.

    Parameters
    ----------
    request : Request
        With a form as its body.

    Returns
    -------
    list of (name, value)
        Text only.
    """
    form = await request.form(max_files=0, max_fields=MOST_FIELDS)
    return [(name, value) for name, value in form.multi_items() if isinstance(value, str)]


LARGEST_FILE = 400_000
UNREADABLE = "\ufffd"


async def pairs_with_file_of(request: Request) -> list[tuple[str, str]]:
    """Return the fields of a form as sent; a text file stands in the place of its field.

    Parameters
    ----------
    request : Request
        With a form as its body; the file's own field ends in ``_file``: ``table_file`` fills
        ``table``.

    Returns
    -------
    list of (name, value)
        What is no text, or more of it than is read, ends in the sign for an unreadable character,
        so that whoever reads the field can say so beside it.
    """
    async with request.form(max_files=1, max_fields=MOST_FIELDS) as form:
        sent = form.multi_items()
        pairs = [(name, value) for name, value in sent if isinstance(value, str)]
        for name, value in sent:
            if not isinstance(value, str) and value.size:
                field = name.removesuffix("_file")
                pairs = [pair for pair in pairs if pair[0] != field]
                pairs.append((field, _text_of(await value.read(LARGEST_FILE + 1))))
    return pairs


def _text_of(content: bytes) -> str:
    if b"\x00" in content or len(content) > LARGEST_FILE:
        return UNREADABLE
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")  # what spreadsheets write otherwise


PairsWithFile = Annotated[list[tuple[str, str]], Depends(pairs_with_file_of)]
Pairs = Annotated[list[tuple[str, str]], Depends(pairs_of)]


def action_of(pairs: list[tuple[str, str]]) -> str:
    """Return which button was pressed, empty for none."""
    return word_of(pairs, "action")


def word_of(pairs: list[tuple[str, str]], name: str) -> str:
    """Return what a hidden field or a button says, empty where it is not there."""
    return next((value for key, value in pairs if key == name), "")


def number_of(pairs: list[tuple[str, str]], name: str) -> int:
    """Return the whole number of a hidden field, zero where there is none: no version is zero."""
    text = word_of(pairs, name)
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0
