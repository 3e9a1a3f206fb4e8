"""A customer in a phone-sized window, and the engineer who hears of it."""

from __future__ import annotations

import json
import time
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Browser, Page, ViewportSize, expect

from server.quoting.desk.signing import signature
from tests.browser.test_accessibility import RULES
from tests.outside import SECRET, Receiver

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


def a_sent_quote(page: Page, advice_path: str) -> str:
    """Have a quote made and sent by a program, and return its number."""
    asked = {"advice": advice_path.removeprefix("/advice/"), "rank": 1, "customer": "Optics Lab"}
    made = page.request.post("/api/v1/quotes", data=asked).json()
    number: str = made["number"]
    version = page.request.get(f"/api/v1/quotes/{number}").json()["version"]
    sent = page.request.post(f"/api/v1/quotes/{number}/sending", data={"version": version})
    assert sent.ok, sent.text()
    return number


def event_of(receiver: Receiver, number: str, kind: str) -> dict[str, object]:
    """Return an event once it has arrived, its signature checked."""
    ends = time.monotonic() + SLOW_MS / 1000
    while time.monotonic() < ends:
        for _, headers, body in receiver.taken:
            told: dict[str, object] = json.loads(body)
            if (told["number"], told["event"]) == (number, kind):
                stamp = int(headers["Pumpwright-Timestamp"])
                assert headers["Pumpwright-Signature"] == signature(SECRET, stamp, body)
                return told
        time.sleep(0.05)
    raise AssertionError(f"{kind} of {number} did not arrive")


def test_the_customer_accepts_on_a_phone_and_the_house_and_the_next_system_hear_of_it(
    chromium: Browser, advice_path: str, tab: Page, receiver: Receiver, shots: Path
) -> None:
    number = a_sent_quote(tab, advice_path)
    tab.goto(f"/quotes/{number}/links")
    tab.get_by_role("button", name="Make a link to revision 1").click()
    link = tab.get_by_label("Copy it now").input_value()
    must_be_in_order(tab)
    tab.screenshot(path=shots / "links.png", full_page=True)

    phone = chromium.new_context(viewport=PHONE, color_scheme="dark", java_script_enabled=False)
    page = phone.new_page()
    page.goto(link)
    expect(page.get_by_role("heading", level=1)).to_contain_text(number)
    page.screenshot(path=shots / "shared-phone.png")
    page.get_by_role("link", name="Operating card").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Operating card")
    page.go_back()
    assert page.request.get(f"{link}/quote.pdf").body().startswith(b"%PDF")
    page.get_by_role("button", name="Accept the quote").click()
    expect(page.locator("#faults")).to_contain_text("Your name")
    page.get_by_label("Your name").fill("Rosa Field")
    page.get_by_label("Anything to add").fill("Order 4711")
    page.locator("#answer").scroll_into_view_if_needed()
    page.screenshot(path=shots / "shared-answer-phone.png")
    page.get_by_role("button", name="Accept the quote").click()
    expect(page.get_by_text("Thank you, Rosa Field")).to_be_visible()
    expect(page.get_by_role("button", name="Accept the quote")).to_have_count(0)
    page.screenshot(path=shots / "shared-thanks-phone.png")
    phone.close()

    told = event_of(receiver, number, "quote.accepted")
    assert told["state"] == "accepted"
    assert "unit_costs" not in json.dumps(told)
    assert tab.request.get(f"/api/v1/quotes/{number}").json()["state"] == "accepted"
    tab.goto("/deliveries")
    expect(tab.get_by_role("row").filter(has_text=number).first).to_contain_text("Delivered")
    must_be_in_order(tab)


def test_the_customers_pages_are_in_order_at_every_width(
    chromium: Browser, advice_path: str, tab: Page, shots: Path
) -> None:
    number = a_sent_quote(tab, advice_path)
    tab.goto(f"/quotes/{number}/links")
    tab.get_by_role("button", name="Make a link to revision 1").click()
    link = tab.get_by_label("Copy it now").input_value()
    for width in (360, 1280):
        context = chromium.new_context(viewport={"width": width, "height": 800})
        page = context.new_page()
        for path in ("", "/card", "/nowhere"):
            page.goto(f"{link}{path}")
            must_be_in_order(page)
        page.goto(link)
        page.screenshot(path=shots / f"shared-{width}.png", full_page=True)
        page.emulate_media(media="print")
        expect(page.get_by_role("button", name="Accept the quote")).to_be_hidden()
        context.close()
