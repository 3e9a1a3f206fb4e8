"""Documents of quotes over HTTP."""

from __future__ import annotations

import io
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from fastapi import FastAPI
from pypdf import PdfReader
from starlette.testclient import TestClient

from server.quoting.papers.pdf import Setting, set_pdf
from server.web.press import Press
from tests.web.browsing import EXAMPLE
from tests.web.conftest import BASE_URL

QUOTE = {"customer": "Institute for Thin Films", "tax_rate": "19", "notes": "Hello"}


@pytest.fixture
def number(browser: TestClient) -> str:
    """Return the number of a new quote of the hand-made advice."""
    found = browser.post("/inquiry", data=EXAMPLE, follow_redirects=False)
    path = str(found.headers["location"])
    made = browser.post(f"{path}/stack/1/quote", data=QUOTE, follow_redirects=False)
    assert made.status_code == 303, made.text
    return str(made.headers["location"]).rpartition("/")[2]


def words(content: bytes) -> str:
    pages = PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.mark.parametrize(
    ("ending", "media_type", "begins"),
    [
        ("pdf", "application/pdf", b"%PDF-1.7"),
        ("xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", b"PK"),
        ("xml", "application/xml", b"<?xml"),
        ("csv", "text/csv", b"Quote,"),
    ],
)
def test_each_kind_is_a_file_to_be_saved(
    browser: TestClient, number: str, ending: str, media_type: str, begins: bytes
) -> None:
    answer = browser.get(f"/api/v1/quotes/{number}.{ending}")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith(media_type)
    assert answer.headers["content-disposition"].endswith(f'filename="quote-{number}.{ending}"')
    assert answer.content.startswith(begins)


def test_the_pdf_holds_pictures_with_their_tables_and_no_secrets(
    browser: TestClient, number: str
) -> None:
    seen = browser.get(f"/api/v1/quotes/{number}/case").json()
    body = {"version": seen["version"], "internal_notes": "Their budget is twice that."}
    assert browser.post(f"/api/v1/quotes/{number}/internal-notes", json=body).status_code == 200
    text = words(browser.get(f"/api/v1/quotes/{number}.pdf").content)
    pictures = ("Way of the gas", "High-vacuum pump", "Pump-down", "Roughing", "4 min 50 s")
    assert [wanted for wanted in (*pictures, QUOTE["customer"]) if wanted not in text] == []
    assert "Not an offer" in text
    for ending in ("pdf", "xlsx", "xml", "csv"):
        content = browser.get(f"/api/v1/quotes/{number}.{ending}").content
        assert b"twice" not in content
    assert "twice" not in text


def test_a_sent_quote_is_an_offer(browser: TestClient, number: str) -> None:
    seen = browser.get(f"/api/v1/quotes/{number}/case").json()
    sent = browser.post(f"/api/v1/quotes/{number}/sending", json={"version": seen["version"]})
    assert sent.status_code == 200, sent.text
    assert "Not an offer" not in words(browser.get(f"/api/v1/quotes/{number}.pdf").content)


def test_the_cards_are_documents_too(browser: TestClient, number: str) -> None:
    text = words(browser.get(f"/api/v1/quotes/{number}/card.pdf").content)
    assert "Operating card" in text
    assert "Cautions" in text
    path = browser.get(f"/quotes/{number}").text.partition("/card")[0].rpartition('"')[2]
    answer = browser.get(f"{path}/card.pdf")
    assert answer.content.startswith(b"%PDF")
    assert 'filename="operating-card-stack-1.pdf"' in answer.headers["content-disposition"]


@pytest.mark.parametrize(
    "path", ["Q-1999-0001.pdf", "none.xlsx", "%00.xml", "Q-1999-0001/card.pdf"]
)
def test_what_does_not_exist_is_not_found(browser: TestClient, path: str) -> None:
    assert browser.get(f"/api/v1/quotes/{path}").status_code == 404


def test_a_revision_that_does_not_exist_is_not_found(browser: TestClient, number: str) -> None:
    assert browser.get(f"/api/v1/quotes/{number}.pdf?revision=1").status_code == 200
    assert browser.get(f"/api/v1/quotes/{number}.pdf?revision=2").status_code == 404
    assert browser.get(f"/api/v1/quotes/{number}.pdf?revision=0").status_code == 422


@pytest.fixture
def counted(site: FastAPI) -> Iterator[list[str]]:
    """Count what the press sets."""
    made: list[str] = []

    def setting(wanted: Setting) -> bytes:
        made.append(wanted.template)
        return set_pdf(wanted)

    usual, site.state.press = site.state.press, Press(setting)
    yield made
    site.state.press = usual


def test_the_same_pdf_asked_50_times_at_once_is_set_once(
    site: FastAPI, number: str, counted: list[str]
) -> None:
    def asked(_: int) -> Any:
        client = TestClient(site, base_url=BASE_URL)
        return client.get(f"/api/v1/quotes/{number}.pdf").content

    with ThreadPoolExecutor(50) as pool:
        got = set(pool.map(asked, range(50)))
    assert len(got) == 1
    assert counted == ["quote.typ"]
