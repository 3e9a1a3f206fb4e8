"""What a browser's form sends, read before the sync routes run."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request

MOST_FIELDS = 1000


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


Pairs = Annotated[list[tuple[str, str]], Depends(pairs_of)]


def action_of(pairs: list[tuple[str, str]]) -> str:
    """Return which button was pressed, empty for none."""
    return next((value for name, value in pairs if name == "action"), "")
