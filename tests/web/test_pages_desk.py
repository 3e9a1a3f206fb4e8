"""The quote desk's pages as a browser without scripts sees them."""

from __future__ import annotations

import re

import pytest
from starlette.testclient import TestClient

from tests.web.browsing import Reader, read

CUSTOMER = {"customer": "Institute of Thin Films", "contact": "A. Person", "tax_rate": "19"}


@pytest.fixture
def page(browser: TestClient) -> TestClient:
    return browser


@pytest.fixture
def number(page: TestClient, advice_path: str) -> str:
    """Return the number of a fresh draft."""
    answer = page.post(f"{advice_path}/stack/1/quote", data=CUSTOMER, follow_redirects=False)
    return str(answer.headers["location"]).rsplit("/", 1)[1]


def text_of(reader: Reader) -> str:
    return " ".join("".join(reader.text).split())


def press(page: TestClient, number: str, move: str, **typed: str) -> str:
    """Press a button of the quote's page as it is now, and return the page that follows."""
    data = {"version": version_of(page, number), "move": move, **typed}
    answer = page.post(f"/quotes/{number}/moves", data=data)
    assert answer.status_code == 200, text_of(read(answer))
    return text_of(read(answer))


def version_of(page: TestClient, number: str) -> str:
    inputs = read(page.get(f"/quotes/{number}")).all("input")
    return next(each["value"] for each in inputs if each.get("name") == "version")


def buttons_of(page: TestClient, number: str) -> set[str]:
    reader = read(page.get(f"/quotes/{number}"))
    return {each["value"] for each in reader.all("button") if each.get("name") == "move"}


def test_a_quote_from_draft_to_answer_to_reorder(page: TestClient, number: str) -> None:
    assert buttons_of(page, number) == {"ask_approval", "send", "withdraw"}
    told = press(page, number, "send", note="By post, too.")
    assert "→ sent" in told.replace("→sent", "→ sent")
    assert "By post, too." in told
    assert buttons_of(page, number) == {"revise", "withdraw", "accept", "decline"}

    answer = {"version": version_of(page, number), "revision": "1", "move": "accept"}
    refused = page.post(f"/quotes/{number}/answer", data=answer)
    assert refused.status_code == 422
    assert '<a href="#answered_by">' in refused.text
    told = text_of(read(page.post(f"/quotes/{number}/answer", data={**answer, "answered_by": "B"})))
    assert "Revision 1 accepted by B" in told
    assert buttons_of(page, number) == set()

    again = page.post(f"/quotes/{number}/reorders")
    assert f"Reorder of {number}" in text_of(read(again))
    assert not str(again.url).endswith(number)


def test_a_revision_stands_beside_the_one_before(page: TestClient, number: str) -> None:
    press(page, number, "send")
    told = press(page, number, "revise")
    assert "Revision 2" in told
    change = {"version": int(version_of(page, number)), "discount": "5"}
    assert page.post(f"/api/v1/quotes/{number}/changes", json=change).status_code == 200
    told = text_of(read(page.get(f"/quotes/{number}/revisions/2/against/1")))
    assert re.search(r"Overall discount ?0 % ?5 %", told)
    first = text_of(read(page.get(f"/quotes/{number}/revisions/1")))
    assert "Discount, 5 %" not in first
    assert "Internal notes" not in first
    assert page.get(f"/quotes/{number}/revisions/3").status_code == 404
    told = press(page, number, "send")
    assert "superseded" in told
    today = page.get(f"/quotes/{number}/today")
    assert today.status_code == 200


def test_above_the_limit_the_page_says_why_and_offers_no_sending(
    page: TestClient, number: str
) -> None:
    change = {"version": 1, "discount": "31"}
    assert page.post(f"/api/v1/quotes/{number}/changes", json=change).status_code == 200
    assert "A discount of 31 % is above the limit of 30 %." in text_of(
        read(page.get(f"/quotes/{number}"))
    )
    assert "send" not in buttons_of(page, number)
    told = press(page, number, "ask_approval", note="He buys every year.")
    assert "awaiting approval" in told
    assert buttons_of(page, number) == {"return", "withdraw"}
    forced = {"version": version_of(page, number), "move": "approve"}
    assert page.post(f"/quotes/{number}/moves", data=forced).status_code == 403
    assert "✎draft" in press(page, number, "return", note="Too much.").replace("✎ ", "✎")


def test_a_stale_page_changes_nothing_and_keeps_what_was_typed(
    page: TestClient, number: str
) -> None:
    assert page.post(f"/quotes/{number}/internal-notes", data={"version": "1"}).status_code == 200
    typed = {"version": "1", "internal_notes": "Call on Monday."}
    answer = page.post(f"/quotes/{number}/internal-notes", data=typed)
    assert answer.status_code == 409
    assert "was changed since you opened it: internal notes written by local user" in answer.text
    assert "Call on Monday.</textarea>" in answer.text
    assert "Call on Monday." not in page.get(f"/quotes/{number}").text


def test_a_clone_needs_a_customer_and_takes_nothing_of_the_house_along(
    page: TestClient, number: str
) -> None:
    page.post(
        f"/quotes/{number}/internal-notes", data={"version": "1", "internal_notes": "Slow payer."}
    )
    refused = page.post(f"/quotes/{number}/clones", data={"email": "nobody"})
    assert refused.status_code == 422
    assert '<a href="#customer">' in refused.text
    assert '<a href="#email">' in refused.text
    assert 'value="nobody"' in refused.text
    cloned = page.post(f"/quotes/{number}/clones", data={"customer": "Harbour University"})
    told = text_of(read(cloned))
    assert f"Clone of {number}" in told
    assert "Slow payer." not in told
    assert "Slow payer." in page.get(f"/quotes/{number}").text


@pytest.mark.parametrize("move", ["", "change", "accept", "steal"])
def test_a_move_without_a_button_is_refused(page: TestClient, number: str, move: str) -> None:
    data = {"version": version_of(page, number), "move": move}
    assert page.post(f"/quotes/{number}/moves", data=data).status_code == 422
    assert page.post("/quotes/Q-1999-0001/moves", data=data).status_code == 404


def test_the_list_finds_by_words_customer_and_state(page: TestClient, number: str) -> None:
    page.post(f"/quotes/{number}/clones", data={"customer": "Wholly Other Works"})

    def found(query: str) -> str:
        answer = page.get(f"/quotes?{query}")
        assert answer.status_code == 200
        return text_of(read(answer))

    assert "1 quote, together €" in found("customer=wholly+other")
    assert "Nothing fits" in found("customer=wholly+other&state=sent&state=expired")
    assert "1 quote," in found("text=wholly&state=draft&since=2000-01-01&least=1")
    assert "Nothing fits" in found("text=wholly&largest=0.01")
    assert "There is no such page" in found("page=900000")


def test_the_list_goes_page_by_page_and_keeps_the_search(
    page: TestClient, number: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("server.quoting.desk.queries.PAGE_SIZE", 1)
    for _ in range(2):
        page.post(f"/quotes/{number}/clones", data={"customer": "Page Turners"})
    first = page.get("/quotes?customer=Page+Turners&state=draft")
    assert "page 1 of 2" in text_of(read(first))
    later = next(a for a in read(first).all("a") if a.get("rel") == "next")
    second = page.get(later["href"])
    assert "page 2 of 2" in text_of(read(second))
    assert "Page Turners" in text_of(read(second))
    assert not [a for a in read(second).all("a") if a.get("rel") == "next"]


def test_a_search_that_cannot_be_read_keeps_what_was_typed(page: TestClient) -> None:
    answer = page.get("/quotes?least=much&since=2026-02-30&state=lost&text=oven")
    assert answer.status_code == 422
    for expected in (
        '<a href="#least">', '<a href="#since">', '<a href="#state">', 'value="much"',
        'value="oven"', "There is no such day.",
    ):  # fmt: skip
        assert expected in answer.text


def test_what_people_type_stays_text(page: TestClient, number: str) -> None:
    bad = "<script>alert(1)</script>"
    press(page, number, "send", note=bad)
    assert bad not in page.get(f"/quotes/{number}").text
    assert bad not in page.get("/quotes", params={"text": bad}).text
