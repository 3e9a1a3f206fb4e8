"""Pictures and specifications of charts, and the script that draws them in the browser."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import JSONResponse, Response

from server.errors import NotFound
from server.web.chart_drawer import bundle_version
from server.web.chart_theme import Theme
from server.web.pages import RendererDep
from server.web.static import IMMUTABLE

router = APIRouter(prefix="/charts")

# The name is a hash of the data, not of the theme's colours, which a release may change.
A_DAY = "private, max-age=86400"


@router.get("/bundle-{version}.js")
def bundle(version: str, renderer: RendererDep) -> Response:
    """Return the script that draws charts, packed."""
    if version != bundle_version():
        raise NotFound("There is no such script. Load the page again.")
    headers = {"Content-Encoding": "gzip", "Cache-Control": IMMUTABLE, "Vary": "Accept-Encoding"}
    return Response(renderer.charts.bundle(), media_type="text/javascript", headers=headers)


@router.get("/{key}.svg")
def picture(key: str, renderer: RendererDep, theme: Theme = Theme.LIGHT) -> Response:
    """Return a chart's picture."""
    svg = renderer.charts.svg(key, theme)
    return Response(svg, media_type="image/svg+xml", headers={"Cache-Control": A_DAY})


@router.get("/{key}.json")
def specification(key: str, renderer: RendererDep, theme: Theme = Theme.LIGHT) -> JSONResponse:
    """Return a chart's specification with its data."""
    return JSONResponse(renderer.charts.spec(key, theme), headers={"Cache-Control": A_DAY})
