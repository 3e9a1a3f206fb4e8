"""Every page against the rules of WCAG 2.2 A and AA that a program can check."""

from __future__ import annotations

from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Browser

from tests.browser.test_main_job import PATHS

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1280, "light")])
def test_no_page_breaks_a_rule(
    chromium: Browser, address: str, advice_path: str, shots: Path, width: int, scheme: str
) -> None:
    context = chromium.new_context(
        base_url=address,
        viewport={"width": width, "height": 900},
        color_scheme=scheme,  # type: ignore[arg-type]
    )
    page = context.new_page()
    found = []
    for path in PATHS:
        page.goto(path.format(advice=advice_path))
        violations = Axe().run(page, options=RULES).response["violations"]
        found += [(path, v["id"], [n["html"][:100] for n in v["nodes"][:2]]) for v in violations]
        name = path.format(advice="advice").strip("/").replace("/", "-").partition("?")[0]
        whole = not path.endswith("workings")  # a picture of all of these takes seconds
        page.screenshot(path=shots / f"{name or 'home'}-{width}-{scheme}.png", full_page=whole)
    context.close()
    assert found == []
