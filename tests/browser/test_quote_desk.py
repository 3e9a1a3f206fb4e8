"""A quote from draft to answer in a browser, by keyboard, without scripts, on a phone."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Browser, Page, expect

from tests.browser.test_accessibility import RULES

SLOW_MS = 30_000


@pytest.fixture
def number(chromium: Browser, address: str, advice_path: str) -> str:
    """Return the number of a fresh draft."""
    context = chromium.new_context(base_url=address, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{advice_path}/stack/1/quote")
    page.get_by_label("Customer").fill("Institute of Thin Films")
    page.get_by_label("Tax rate [%]").fill("19")
    page.get_by_role("button", name="Make the quote").click()
    found = page.url.rsplit("/", 1)[1]
    context.close()
    return found


def test_a_draft_is_edited_by_keyboard_and_its_sums_follow(
    tab: Page, number: str, shots: Path
) -> None:
    tab.goto(f"/quotes/{number}/draft")
    supplied = tab.get_by_text("With the pumps:").inner_text()
    first = tab.locator("#running").inner_text()
    pieces = tab.get_by_label("Pieces, line 1", exact=True)
    pieces.focus()
    tab.keyboard.press("Control+a")
    tab.keyboard.type("2")
    expect(tab.locator("#running")).not_to_have_text(first, timeout=SLOW_MS)
    tab.keyboard.press("Tab")
    expect(tab.get_by_label("Discount [%], line 1", exact=True)).to_be_focused()
    tab.keyboard.type("101")
    expect(tab.locator("#running")).to_have_text("No total yet", timeout=SLOW_MS)

    tab.keyboard.press("Enter")  # adds up, and says what is to be put right
    expect(tab.locator("#faults")).to_be_focused()
    expect(tab.locator("#faults")).to_contain_text("Discount [%], line 1")
    tab.get_by_label("Discount [%], line 1", exact=True).fill("10")
    tab.get_by_label("Look for an item").fill("centring ring 40")
    tab.get_by_role("button", name="Look", exact=True).click()
    tab.get_by_role("button", name=re.compile("^Add .*40")).first.click()
    expect(tab.get_by_label("Discount [%], line 1", exact=True)).to_have_value("10")
    expect(tab.locator(".offer-line").last).to_contain_text("40")
    tab.screenshot(path=shots / "draft.png", full_page=True)
    tab.get_by_role("button", name="Save the draft").focus()
    tab.keyboard.press("Enter")
    tab.wait_for_url(f"**/quotes/{number}")
    expect(tab.get_by_role("article")).to_contain_text("less 10 %")
    tab.goto(f"/quotes/{number}/draft")
    expect(tab.get_by_text("With the pumps:")).to_have_text(supplied)


def test_from_draft_to_answer_without_any_script(
    chromium: Browser, address: str, number: str
) -> None:
    context = chromium.new_context(base_url=address, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"/quotes/{number}")
    page.get_by_role("link", name="Change the draft").click()
    page.get_by_label("Overall discount [%]").fill("31")
    page.get_by_role("button", name="Save the draft").click()
    expect(page.get_by_text("above the limit of 30 %")).to_be_visible()
    expect(page.get_by_role("button", name="Mark as sent")).to_have_count(0)
    page.get_by_role("link", name="Change the draft").click()
    page.get_by_label("Overall discount [%]").fill("5")
    page.get_by_role("button", name="Save the draft").click()
    page.get_by_label("Remark").first.fill("By e-mail.")
    page.get_by_role("button", name="Mark as sent").click()
    expect(page.locator(".standing").first).to_contain_text("sent")
    page.get_by_text("The customer answered by telephone").click()
    page.get_by_label("Who answered").fill("A. Person")
    page.get_by_role("button", name="Accepted", exact=True).click()
    expect(page.locator(".standing").first).to_contain_text("accepted")
    expect(page.get_by_role("button", name="Reorder")).to_be_visible()
    context.close()


@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1280, "light")])
def test_the_desk_breaks_no_rule_and_no_window(
    chromium: Browser, address: str, number: str, shots: Path, width: int, scheme: str
) -> None:
    context = chromium.new_context(
        base_url=address,
        viewport={"width": width, "height": 900},
        color_scheme=scheme,  # type: ignore[arg-type]
    )
    page = context.new_page()
    page.goto(f"/quotes/{number}")
    page.get_by_role("button", name="Mark as sent").click()
    page.get_by_role("button", name="Begin a new revision").click()
    for path in (
        f"/quotes/{number}", f"/quotes/{number}/draft", f"/quotes/{number}/revisions/1",
        f"/quotes/{number}/revisions/2/against/1", f"/quotes/{number}/today",
        "/quotes?state=sent&least=1", "/quotes?least=much",
    ):  # fmt: skip
        page.goto(path)
        violations = Axe().run(page, options=RULES).response["violations"]
        assert [(v["id"], [n["html"][:120] for n in v["nodes"][:2]]) for v in violations] == [], (
            path
        )
        over = page.evaluate("() => document.documentElement.scrollWidth - window.innerWidth")
        assert over <= 0, path
        name = re.sub(r"\W+", "-", path.replace(number, "n")).strip("-")
        page.screenshot(path=shots / f"desk-{name}-{width}-{scheme}.png", full_page=True)
    context.close()
