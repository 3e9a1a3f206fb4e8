"""What runs in the drawing process: it holds its interpreter's lock, so it has one of its own."""

from __future__ import annotations

import re
from collections.abc import Mapping

_NUMBERED = re.compile(r'(?<=id=")([A-Za-z_-]+)(\d+)(?=")')


def draw(spec: Mapping[str, object]) -> str:
    """Return a chart as SVG that is the same each time.

    Parameters
    ----------
    spec : mapping
        Vega-Lite specification with its data inside; nothing is fetched.

    Returns
    -------
    str
        SVG with ids numbered from zero in order of appearance.
    """
    import vl_convert  # the server names this function, the drawing process alone needs the library

    return renumbered(str(vl_convert.vegalite_to_svg(dict(spec), allowed_base_urls=[])))


def renumbered(svg: str) -> str:
    """Return an SVG whose numbered ids start from zero.

    Parameters
    ----------
    svg : str
        The ids of which count up over the life of a process.

    Returns
    -------
    str
        The same drawing; references follow.
    """
    numbers: dict[str, str] = {}
    for prefix, old in _NUMBERED.findall(svg):
        numbers.setdefault(f"{prefix}{old}", f"{prefix}{len(numbers)}")
    if not numbers:
        return svg
    known = re.compile(r'((?:id="|url\(#|href="#))([A-Za-z_-]+\d+)(?=["\)])')
    return known.sub(lambda found: found[1] + numbers.get(found[2], found[2]), svg)


def make_bundle() -> str:
    """Return the JavaScript module that draws charts in the browser, exporting ``vegaEmbed``."""
    import vl_convert

    return str(vl_convert.javascript_bundle("export { vegaEmbed };"))
