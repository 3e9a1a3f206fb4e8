"""A pasted e-mail: on the inquiry page, and for programs."""

from __future__ import annotations

from starlette.testclient import TestClient

from tests.fit.letter.test_reader import COATER, LISTED
from tests.web.browsing import read


def test_a_program_gets_the_requirements_with_the_words_they_came_from(client: TestClient) -> None:
    answer = client.post("/api/v1/read-inquiry", json={"text": COATER})
    assert answer.status_code == 200
    told = answer.json()
    assert told["requirements"]["chamber"]["volume"] == "180 litres"
    found = {each["field"]: each for each in told["found"]}
    assert found["process.gas.0.flow"]["words"] == "20 sccm of argon"
    start, end = (found["target_pressure"][key] for key in ("start", "end"))
    assert COATER[start:end] == "2e-5 mbar"
    assert [each["words"] for each in told["not_used"]] == ["12 m3/h"]
    assert told["missing"] == []
    assert client.post("/api/v1/advice", json=told["requirements"]).status_code == 200


def test_a_program_is_told_of_an_empty_letter(client: TestClient) -> None:
    answer = client.post("/api/v1/read-inquiry", json={"text": "  "})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "text"


def test_the_page_types_a_letter_in_and_shows_where_it_came_from(browser: TestClient) -> None:
    page = browser.post("/inquiry", data={"letter": LISTED, "action": "read"})
    assert page.status_code == 200
    assert 'value="5 x 10^-6 Torr"' in page.text
    assert '<mark title="Chamber volume">4 cu ft</mark>' in page.text
    assert "What it states is typed in for you" in page.text


def test_what_was_typed_stays(browser: TestClient) -> None:
    typed = {"letter": LISTED, "action": "read", "chamber.volume": "99 L", "title": "Mine"}
    page = browser.post("/inquiry", data=typed)
    assert 'value="99 L"' in page.text
    assert 'value="4 cu ft"' not in page.text
    shown = " ".join("".join(read(page).text).split())
    assert "kept although the e-mail says otherwise: Chamber volume." in shown


def test_an_empty_letter_is_a_fault_beside_its_field(browser: TestClient) -> None:
    page = browser.post("/inquiry", data={"letter": "", "title": "Kept", "action": "read"})
    assert page.status_code == 422
    assert 'id="e-letter"' in page.text
    assert 'value="Kept"' in page.text


def test_a_letter_does_not_hinder_the_advice(browser: TestClient) -> None:
    typed = {"letter": LISTED, "chamber.volume": "99 L", "target_pressure": "1e-3 mbar"}
    answer = browser.post("/inquiry", data={**typed, "action": "advise"}, follow_redirects=False)
    assert answer.status_code == 303
    faulty = browser.post("/inquiry", data={**typed, "chamber.volume": "", "action": "advise"})
    assert "Base pressure: 5 x 10^-6 Torr" in faulty.text


def test_markup_in_a_letter_is_text(browser: TestClient) -> None:
    letter = "<script>alert(1)</script> The chamber has <b>80 L</b>."
    page = browser.post("/inquiry", data={"letter": letter, "action": "read"})
    assert "<script>alert" not in page.text
    assert "&lt;script&gt;" in page.text
