"""A customer in a phone-sized window, and the engineer who hears of it."""

from __future__ import annotations

from pathlib import Path

from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Browser, Page, ViewportSize, expect

from tests.browser.test_accessibility import RULES

SLOW_MS = 60_000
PHONE: ViewportSize = {"width": 360, "height": 740}


def must_be_in_order(page: Page) -> None:
    over = page.evaluate("() => document.documentElement.scrollWidth - window.innerWidth")
    assert over <= 0
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, found.generate_report()


def test_a_check_becomes_an_inquiry_in_the_engineers_form(
    chromium: Browser, address: str, tab: Page, shots: Path
) -> None:
    phone = chromium.new_context(base_url=address, viewport=PHONE, java_script_enabled=False)
    page = phone.new_page()
    page.goto("/check")
    backing = page.locator('[id="stack.backing_pump"]')
    backing.select_option(index=1)
    page.locator('[id="chamber.volume"]').fill("20 L")
    page.locator('[id="target_pressure"]').fill("5 mbar")
    page.get_by_role("button", name="Check", exact=True).last.click()
    expect(page.locator("#result")).to_be_visible(timeout=SLOW_MS)
    page.get_by_role("link", name="Send this to us as an inquiry").click()
    page.get_by_label("Your name").fill("Rosa Field")
    page.get_by_label("Firm or institute").fill("Workshop for Small Telescopes")
    page.get_by_label("Your e-mail").fill("rosa@example.org")
    page.get_by_label("Anything else").fill("By the end of May, please.")
    page.get_by_role("button", name="Send the inquiry").click()
    expect(page.locator("#faults")).to_contain_text("Tick this", timeout=SLOW_MS)
    page.screenshot(path=shots / "send-inquiry-phone.png", full_page=True)
    page.get_by_label("I agree").check()
    page.get_by_role("button", name="Send the inquiry").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Thank you", timeout=SLOW_MS)
    phone.close()

    tab.goto("/inquiries")
    tab.get_by_role("link", name="Rosa Field").click()
    expect(tab.get_by_text("By the end of May, please.")).to_be_visible()
    must_be_in_order(tab)
    tab.screenshot(path=shots / "received.png", full_page=True)
    tab.get_by_role("button", name="Open it in the inquiry form").click()
    expect(tab.locator('[id="chamber.volume"]')).to_have_value("20 L")
    expect(tab.locator("#title")).to_have_value("Workshop for Small Telescopes")
    must_be_in_order(tab)
