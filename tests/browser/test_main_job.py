"""A sales engineer's main job in a browser, as a user would do it."""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

SLOW_MS = 60_000


def test_from_the_inquiry_to_the_printed_quote(tab: Page, shots: Path) -> None:
    tab.goto("/")
    tab.get_by_role("link", name="Fill the form with an example").click()
    expect(tab.locator('[id="chamber.volume"]')).to_have_value("180 L")
    tab.locator("#title").fill("Mirror coater in the browser")
    tab.get_by_role("button", name="Get advice", exact=True).last.click()
    tab.wait_for_url("**/advice/*", timeout=SLOW_MS)
    expect(tab.get_by_role("heading", level=1)).to_have_text("Mirror coater in the browser")
    first = tab.locator("article").first
    expect(first).to_contain_text("Foreline pressure")
    tab.screenshot(path=shots / "advice.png", full_page=True)

    first.get_by_role("link", name="Details").click()
    tab.wait_for_url("**/stack/1")
    tab.get_by_role("link", name="Workings").click()
    expect(tab.get_by_role("heading", level=1)).to_have_text("Workings of stack 1")
    tab.go_back()

    tab.get_by_role("link", name="Make a quote").click()
    tab.get_by_label("Customer").fill("Institute of Thin Films")
    tab.get_by_label("Tax rate [%]").fill("19")
    tab.get_by_role("button", name="Make the quote").click()
    tab.wait_for_url("**/quotes/*")
    text = tab.locator("article").inner_text()
    assert "Institute of Thin Films" in text
    net, tax, total = (
        Decimal(re.search(rf"{name}\s+€([\d,]+\.\d\d)", text)[1].replace(",", ""))  # type: ignore[index]
        for name in ("Sum of all lines", "Tax, 19 %", "\nTotal")
    )
    assert net + tax == total
    tab.screenshot(path=shots / "quote.png", full_page=True)
    tab.emulate_media(media="print")
    expect(tab.get_by_role("navigation", name="Main")).to_be_hidden()
    expect(tab.get_by_role("button", name="Print")).to_be_hidden()

    tab.emulate_media(media="screen")
    with tab.expect_download() as download:
        tab.get_by_role("link", name="CSV", exact=True).click()
    assert str(total) in download.value.path().read_text("utf-8")
    tab.get_by_role("link", name="Operating card").click()
    expect(tab.get_by_role("heading", name=re.compile("^Start"))).to_be_visible()
    tab.screenshot(path=shots / "card.png", full_page=True)


def test_the_same_without_any_script(chromium: Browser, address: str) -> None:
    context = chromium.new_context(base_url=address, java_script_enabled=False)
    page = context.new_page()
    page.goto("/inquiry?example=mirror-coater")
    page.get_by_role("button", name="Add a gas").click()
    page.locator('[id="process.gas.1.species"]').fill("helium")
    page.locator('[id="process.gas.1.flow"]').fill("1 sccm")
    page.get_by_role("button", name="Get advice", exact=True).last.click()
    page.wait_for_url("**/advice/*", timeout=SLOW_MS)
    picture = page.locator(".chart img").first
    source = picture.get_attribute("src") or ""
    assert page.request.get(source).text().startswith("<svg")
    page.get_by_text("Numbers of “Pump-down”").click()
    expect(page.get_by_role("columnheader", name="Chamber pressure")).to_be_visible()
    page.get_by_role("link", name="Change the inquiry").click()
    expect(page.locator('[id="process.gas.1.flow"]')).to_have_value("1 sccm")
    context.close()


def test_enter_asks_for_advice_and_faults_get_the_focus(tab: Page) -> None:
    tab.goto("/inquiry")
    tab.locator('[id="chamber.volume"]').fill("180 mbar")
    tab.locator('[id="chamber.volume"]').press("Enter")
    expect(tab.locator("#faults")).to_be_focused()
    tab.locator("#faults").get_by_role("link", name="Chamber volume").click()
    volume = tab.locator('[id="chamber.volume"]')
    expect(volume).to_be_focused()
    expect(volume).to_have_value("180 mbar")


def test_the_skip_link_comes_first(tab: Page) -> None:
    tab.goto("/help")
    tab.keyboard.press("Tab")
    expect(tab.get_by_role("link", name="Skip to the content")).to_be_focused()
    tab.keyboard.press("Enter")
    expect(tab.locator("#content")).to_be_focused()


def test_charts_come_alive_and_say_the_values_under_the_pointer(
    tab: Page, advice_path: str
) -> None:
    tab.goto(f"{advice_path}/stack/1")
    plot = tab.locator("[data-chart]").first
    plot.scroll_into_view_if_needed()
    expect(plot).to_have_attribute("data-chart-live", "yes", timeout=SLOW_MS)
    plot.locator(".live-chart .mark-symbol path").nth(10).hover(force=True)
    expect(tab.locator(".chart-tip")).to_contain_text("mbar")
    tab.emulate_media(color_scheme="dark")
    expect(plot.locator(".live-chart svg")).to_have_count(1)


def test_a_long_list_of_pumps_is_narrowed_down(tab: Page) -> None:
    tab.goto("/check")
    tab.locator('[id="filter-stack.backing_pump"]').fill("scroll")
    shown = tab.locator('[id="stack.backing_pump"] option:not([hidden])').all_inner_texts()
    assert len(shown) > 1
    assert all("scroll" in text.lower() for text in shown[1:])


@pytest.mark.parametrize("width", [360, 1280, 1600])
def test_nothing_is_wider_than_the_window(
    chromium: Browser, address: str, advice_path: str, width: int
) -> None:
    context = chromium.new_context(base_url=address, viewport={"width": width, "height": 800})
    page = context.new_page()
    for path in PATHS:
        page.goto(path.format(advice=advice_path))
        over = page.evaluate("() => document.documentElement.scrollWidth - window.innerWidth")
        assert over <= 0, path
    context.close()


PATHS = [
    "/", "/inquiry", "/check", "/consumables", "/catalog?q=vapour", "/catalog/VAPOURJET-160-W",
    "/quotes", "/inquiries", "/check/sent", "/deliveries", "/help", "/about", "/nowhere",
    "{advice}", "{advice}/stack/1", "{advice}/stack/1/workings", "{advice}/stack/1/quote",
    "{advice}/stack/1/card",
]  # fmt: skip
