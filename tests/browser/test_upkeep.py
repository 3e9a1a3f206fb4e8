"""A pasted e-mail and a table of pumps, in a browser, against the rules of WCAG 2.2."""

from __future__ import annotations

from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Browser

from tests.browser.test_accessibility import RULES
from tests.fit.letter.test_reader import COATER

TABLE = "pump;quantity;last service;hours a year\nVANE2-0160;2;2025-03-01;2000\nnothing known;1;;\n"


@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1280, "light")])
def test_letter_and_table_are_read_in_a_browser(
    chromium: Browser, address: str, shots: Path, width: int, scheme: str
) -> None:
    context = chromium.new_context(
        base_url=address,
        viewport={"width": width, "height": 900},
        color_scheme=scheme,  # type: ignore[arg-type]
    )
    page = context.new_page()
    found = []
    page.goto("/inquiry")
    page.get_by_text("Paste the customer’s e-mail").click()
    page.get_by_label("The customer’s e-mail").fill(COATER)
    page.get_by_role("button", name="Read the e-mail").click()
    assert page.locator("#letter-read").is_visible()
    assert page.get_by_label("Chamber volume").input_value() == "180 litres"
    found += Axe().run(page, options=RULES).response["violations"]
    page.screenshot(path=shots / f"letter-{width}-{scheme}.png", full_page=True)
    page.goto("/consumables")
    page.get_by_text("Many pumps: paste or upload a table").click()
    page.get_by_label("Or a CSV file").set_input_files(
        {"name": "pumps.csv", "mimeType": "text/csv", "buffer": TABLE.encode()}
    )
    page.get_by_role("button", name="List consumables").last.click()
    assert page.get_by_role("heading", name="When it is due").is_visible()
    assert page.get_by_text("1 of 2 rows of the table were not used").is_visible()
    found += Axe().run(page, options=RULES).response["violations"]
    page.screenshot(path=shots / f"installed-{width}-{scheme}.png", full_page=True)
    wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    context.close()
    assert [(v["id"], [n["html"][:120] for n in v["nodes"][:2]]) for v in found] == []
    assert wide <= 0
