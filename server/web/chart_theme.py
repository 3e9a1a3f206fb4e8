"""The colours of charts, light and dark, and how axes and legends look; the page's own palette."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Final


class Theme(StrEnum):
    """The two looks of a chart."""

    LIGHT = "light"
    DARK = "dark"


# Specifications name colours as "$first"; each theme says which colour that is. Contrast with the
# sheet is at least 3 : 1 for lines and 4.5 : 1 for text.
_COLOURS: Final[Mapping[Theme, Mapping[str, str]]] = {
    Theme.LIGHT: {
        "$first": "#0d5c63", "$second": "#b3480a", "$third": "#5b3f9e", "$fourth": "#1e6339",
        "$fifth": "#9c2330", "$sixth": "#4c575c", "$wash": "#0d5c63", "$ink": "#1c2326",
        "$soft": "#4c575c", "$rule": "#d3d0c6", "$sheet": "#ffffff",
    },
    Theme.DARK: {
        "$first": "#7fd0d3", "$second": "#ffb27a", "$third": "#c0aaf5", "$fourth": "#86d6a2",
        "$fifth": "#f2a0a6", "$sixth": "#aab6b9", "$wash": "#7fd0d3", "$ink": "#e8ecec",
        "$soft": "#aab6b9", "$rule": "#36424a", "$sheet": "#1a2125",
    },
}  # fmt: skip

_FONT = "Noto Sans, Liberation Sans, sans-serif"

_CONFIG: Final[Mapping[str, object]] = {
    "background": "$sheet",
    "font": _FONT,
    "view": {"stroke": "$rule"},
    "axis": {
        "labelColor": "$soft", "titleColor": "$ink", "gridColor": "$rule", "domainColor": "$soft",
        "tickColor": "$soft", "labelFontSize": 12, "titleFontSize": 12, "titleFontWeight": "normal",
        "gridOpacity": 0.7, "labelFlush": True,
    },
    "legend": {"labelColor": "$ink", "labelFontSize": 12},
    "text": {"fontSize": 12},
    "line": {"strokeCap": "round", "strokeJoin": "round"},
}  # fmt: skip


def themed(spec: Mapping[str, object], theme: Theme) -> dict[str, object]:
    """Return a specification with the colours and the look of a theme.

    Parameters
    ----------
    spec : mapping
        With colour names such as ``$first``.
    theme : Theme
        Which look.

    Returns
    -------
    dict
        Ready to draw.
    """
    coloured = _coloured({**spec, "config": _CONFIG}, _COLOURS[theme])
    assert isinstance(coloured, dict)  # noqa: S101  # a mapping in, a dict out
    return coloured


def _coloured(value: object, colours: Mapping[str, str]) -> object:
    if isinstance(value, str):
        return colours.get(value, value)
    if isinstance(value, Mapping):
        return {name: _coloured(inner, colours) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_coloured(inner, colours) for inner in value]
    return value
