"""A check sent as an inquiry: from the customer's page to the engineer's form and quote."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from fastapi import FastAPI
from httpx import Response
from starlette.testclient import TestClient

from server.quoting.inquiries import InquiryState
from server.web.build import build_app
from server.web.deps import Services
from server.web.settings import Settings
from tests.web.browsing import read, values_of
from tests.web.conftest import BASE_URL, memory_services

CHECK = {
    "stack.backing_pump": "T-PUMP",
    "chamber.volume": "50 L",
    "target_pressure": "1e-2 mbar",
    "hazards": "toxic",
}
SENDER = {
    "sender.name": "A. Person",
    "sender.company": "Institute of Thin Films",
    "sender.email": "a@example.org",
    "sender.message": "Ours is <b>20</b> years old.",
    "sender.consent": "yes",
}


def send(client: TestClient, **changed: str) -> Response:
    data = {**CHECK, **SENDER, **{k.replace("__", "."): v for k, v in changed.items()}}
    answer: Response = client.post("/check/inquiry", data=data, follow_redirects=False)
    return answer


def box_of(services: Services) -> Any:
    return services.inquiries


def test_from_the_check_to_the_quote(client: TestClient, services: Services) -> None:
    thanks = send(client)
    assert (thanks.status_code, thanks.headers["location"]) == (303, "/check/sent")
    assert "has arrived" in client.get("/check/sent").text

    listed = client.get("/inquiries").text
    assert "Institute of Thin Films" in listed
    assert ">New<" in listed
    (inquiry,) = box_of(services).kept.values()
    page = client.get(f"/inquiries/{inquiry.token}").text
    assert "Ours is &lt;b&gt;20&lt;/b&gt; years old." in page
    assert "Scroll pump, small" in page
    assert box_of(services).get(inquiry.token).state is InquiryState.NEW  # looking changes nothing

    opened = client.post(f"/inquiries/{inquiry.token}/open", follow_redirects=False)
    form = client.get(opened.headers["location"])
    values = values_of(read(form))
    assert values["chamber.volume"] == "50 L"
    assert values["title"] == "Institute of Thin Films"
    assert 'value="toxic" checked' in form.text
    assert ">Opened<" in client.get("/inquiries").text

    data = {**{k: v for k, v in values.items() if v}, "received": inquiry.token, "action": "advise"}
    advice = client.post("/inquiry", data=data, follow_redirects=False).headers["location"]
    again = client.get(f"/inquiry?from={advice.removeprefix('/advice/')}")
    assert f'name="received" value="{inquiry.token}"' in again.text
    quote_form = values_of(read(client.get(f"{advice}/stack/1/quote")))
    assert quote_form["customer"] == "Institute of Thin Films"
    assert quote_form["email"] == "a@example.org"
    sent = {"customer": quote_form["customer"]}
    made = client.post(f"{advice}/stack/1/quote", data=sent, follow_redirects=False)
    assert made.status_code == 303
    number = made.headers["location"].removeprefix("/quotes/")
    assert box_of(services).get(inquiry.token).quote_number == number
    assert ">Quoted<" in client.get("/inquiries").text


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("sender__name", "", "needed"),
        ("sender__email", "nobody", "not an e-mail address"),
        ("sender__name", "x" * 10_000, "too long"),
        ("sender__message", "x" * 5001, "too long"),
        ("sender__consent", "", "Tick this"),
        ("chamber__volume", "50 mbar", "volume"),
        ("stack__backing_pump", "", "exhausts to atmosphere"),
        ("title", "x" * 30_000, "too long"),
    ],
)
def test_a_fault_stands_beside_its_field_and_nothing_typed_is_lost(
    client: TestClient, services: Services, field: str, value: str, said: str
) -> None:
    answer = send(client, **{field: value})
    assert answer.status_code == 422
    assert said in answer.text
    assert box_of(services).kept == {}
    page = read(answer)
    values = values_of(page)
    kept = {**CHECK, **SENDER, field.replace("__", "."): value}
    for name in ("sender.company", "sender.email", "chamber.volume"):
        assert values[name] == kept[name]
    assert any(i.get("name") == "sender.consent" for i in page.all("input"))
    anchors = [a["href"] for a in page.all("a") if a.get("href") == f"#{field.replace('__', '.')}"]
    assert anchors or field == "title"


def test_a_program_that_fills_in_everything_is_told_apart(
    client: TestClient, services: Services
) -> None:
    answer = send(client, sender__more="https://spam.example")
    assert answer.status_code == 422
    assert "people do not see" in answer.text
    assert "spam.example" not in answer.text  # sent again by a person, it goes through
    assert box_of(services).kept == {}


def test_checking_again_keeps_what_was_typed_for_the_inquiry(client: TestClient) -> None:
    answer = client.post("/check", data={**CHECK, **SENDER, "action": "advise"})
    assert answer.status_code == 200
    assert values_of(read(answer))["sender.email"] == "a@example.org"


def test_one_address_cannot_send_without_end(settings: Settings) -> None:
    app: FastAPI = build_app(replace(settings, tries_per_hour=2), memory_services(), lambda: None)
    with TestClient(app, base_url=BASE_URL) as client:
        assert [send(client).status_code for _ in range(3)] == [303, 303, 429]


@pytest.mark.parametrize("path", ["/inquiries/nobody", "/inquiry?received=nobody"])
def test_an_unknown_inquiry_is_not_found(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404
    assert client.post("/inquiry", data={**CHECK, "received": "nobody"}).status_code == 404
