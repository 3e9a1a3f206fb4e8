"""A story of our own, told from the first question to the order.

The invented Nordhaven Observatory workshop wants to coat the mirrors of a small telescope. Its
inquiry is answered, the stack is quoted with a discount, sent, opened on a phone and accepted; the
house's next system hears of it.
"""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path

from playwright.sync_api import Browser, Page, expect

from tests.browser.test_customer import PHONE, event_of, must_be_in_order
from tests.outside import Receiver

SLOW_MS = 60_000


def asked_and_quoted(tab: Page) -> str:
    """Ask for advice, quote the first stack with tax, and return the number of the draft."""
    tab.goto("/")
    tab.get_by_role("link", name="Fill the form with an example").click()
    tab.locator("#title").fill("Mirrors of the small telescope")
    tab.get_by_role("button", name="Get advice", exact=True).last.click()
    tab.wait_for_url("**/advice/*", timeout=SLOW_MS)
    tab.get_by_role("link", name="Details").first.click()
    tab.get_by_role("link", name="Make a quote").first.click()
    tab.get_by_label("Customer").fill("Nordhaven Observatory, mirror workshop")
    tab.get_by_label("Tax rate [%]").fill("19")
    tab.get_by_role("button", name="Make the quote").click()
    expect(tab.get_by_role("heading", level=1)).to_contain_text("Q-", timeout=SLOW_MS)
    return tab.url.rsplit("/", 1)[-1]


def adds_up(quote: dict[str, object]) -> None:
    """Add the quote up by hand: lines, discount, freight, tax, each rounded once to the cent."""
    cent = Decimal("0.01")
    lines = quote["lines"]
    assert isinstance(lines, list)
    net = sum((Decimal(line["total"]) for line in lines), Decimal(0))
    discount = (net * Decimal(5) / 100).quantize(cent, rounding="ROUND_HALF_UP")
    assert Decimal(str(quote["discount"])) == discount
    taxed = net - discount
    tax = (taxed * Decimal(19) / 100).quantize(cent, rounding="ROUND_HALF_UP")
    assert Decimal(str(quote["tax"])) == tax
    assert Decimal(str(quote["total"])) == taxed + tax


def test_from_the_first_question_to_the_order(
    chromium: Browser, tab: Page, receiver: Receiver, shots: Path
) -> None:
    number = asked_and_quoted(tab)

    tab.get_by_role("link", name="Change the draft").click()
    tab.get_by_label("Overall discount [%]").fill("5")
    tab.get_by_role("button", name="Save the draft").click()
    expect(tab.get_by_role("heading", level=1)).to_contain_text(number)
    tab.get_by_role("button", name="Mark as sent").click()
    expect(tab.get_by_role("button", name="Mark as sent")).to_have_count(0)
    adds_up(tab.request.get(f"/api/v1/quotes/{number}").json())

    tab.goto(f"/quotes/{number}/links")
    tab.get_by_role("button", name="Make a link to revision 1").click()
    link = tab.get_by_label("Copy it now").input_value()

    phone = chromium.new_context(viewport=PHONE)
    page = phone.new_page()
    page.goto(link)
    must_be_in_order(page)
    expect(page.get_by_text("Left of the net")).to_have_count(0)
    page.screenshot(path=shots / "scenario-phone.png", full_page=True)
    page.get_by_label("Your name").fill("Ines Marlow")
    page.get_by_role("button", name="Accept the quote").click()
    expect(page.get_by_text("Thank you, Ines Marlow")).to_be_visible()
    phone.close()

    told = event_of(receiver, number, "quote.accepted")
    assert "unit_costs" not in json.dumps(told)
    tab.goto(f"/quotes/{number}")
    expect(tab.get_by_text("Ines Marlow").first).to_be_visible()
    tab.screenshot(path=shots / "scenario-accepted.png", full_page=True)
