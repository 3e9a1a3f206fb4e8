"""How a line takes part in an offer."""

from __future__ import annotations

from enum import StrEnum


class LineChoice(StrEnum):
    """``included`` counts in the sums; the others are shown with their price and do not."""

    INCLUDED = "included"
    OPTIONAL = "optional"
    """The customer may add it."""
    ALTERNATIVE = "alternative"
    """The customer may take it instead of an included line."""
