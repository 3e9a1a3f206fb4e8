"""The quote desk over the JSON API, from the draft to the answer."""

from __future__ import annotations

from typing import Any

import pytest
from starlette.testclient import TestClient

from server.web.deps import Services
from tests.fit.test_inquiry import SHORTEST

LINES = [{"sku": "T-PUMP", "quantity": 2, "discount": "5"}, {"sku": "T-VALVE", "quantity": "1"}]


@pytest.fixture
def begun(client: TestClient) -> str:
    """Return the address of a new draft."""
    token = client.post("/api/v1/advice", json=SHORTEST).json()["token"]
    body = {"advice": token, "rank": 1, "customer": "Institute", "tax_rate": "19"}
    return str(client.post("/api/v1/quotes", json=body).headers["location"])


def told(client: TestClient, path: str, status: int = 200, **body: object) -> Any:
    answer = client.post(path, json=body)
    assert answer.status_code == status, answer.text
    return answer.json()


def test_a_quote_from_draft_to_reorder(client: TestClient, services: Services, begun: str) -> None:
    first = client.get(begun).json()
    assert (first["state"], first["version"], first["revision"]) == ("draft", 1, 1)
    changed = told(client, f"{begun}/changes", version=1, lines=LINES, freight="40", discount="20")
    # 2 × 3100 less 5 % = 5890, valve 210.50: 6100.50; less 20 % = 1220.10: 4880.40; tax 934.88.
    quote = changed["quote"]
    assert (quote["net"], quote["tax"], quote["total"]) == ("4880.40", "934.88", "5855.28")
    assert changed["margin"]["cost"] == "4288.85"  # 2 × 2077.77 + 133.31
    assert changed["approval_reasons"] == []  # 24 % in all: a manager may
    sent = told(client, f"{begun}/sending", version=2, note="by post")
    assert (sent["state"], sent["moves"]) == ("sent", ["accept", "decline", "withdraw", "revise"])
    assert client.get(f"{begun}/revisions/1").json() == sent["quote"]
    revised = told(client, f"{begun}/revisions", 201, version=3)
    assert [r["state"] for r in revised["revisions"]] == ["sent", "draft"]
    answered = told(client, f"{begun}/answer", version=4, revision=1, accepted=True, name="Dr. L.")
    assert answered["answer"]["name"] == "Dr. L."
    assert answered["events"][-1]["actor"] == {"name": "local user", "role": "sales_manager"}
    again = told(client, f"{begun}/reorders", 201)
    assert again["number"] != answered["number"]
    assert (
        services.desk.get(again["number"]).current.content.net
        == services.desk.get(answered["number"]).current.content.net
    )


def test_the_second_editor_is_told_by_409(client: TestClient, begun: str) -> None:
    told(client, f"{begun}/changes", version=1, notes="first")
    refused = told(client, f"{begun}/changes", 409, version=1, notes="second")
    assert "changed by local user" in refused["errors"][0]["message"]
    assert client.get(begun).json()["notes"] == "first"


def test_above_the_limit_is_forbidden_and_says_why(client: TestClient, begun: str) -> None:
    changed = told(client, f"{begun}/changes", version=1, discount="35")
    assert changed["approval_reasons"] == ["A discount of 35 % is above the limit of 30 %."] + [
        reason for reason in changed["approval_reasons"] if "margin" in reason
    ]
    refused = told(client, f"{begun}/sending", 403, version=2)
    assert "35 %" in refused["errors"][0]["message"]


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"lines": [{"sku": "T-PUMP", "quantity": 0}]}, "lines.0.quantity"),
        ({"lines": [{"sku": "T-PUMP", "quantity": 1e9}]}, "lines.0.quantity"),
        ({"lines": [{"sku": "NOPE"}]}, "lines.0.sku"),
        ({"lines": [{"sku": "T-PUMP", "size": 1}]}, "lines.0.size"),
        ({"discount": "100.01"}, "discount"),
        ({"customer": "x" * 10_000}, "customer"),
        ({"version": 0}, "version"),
        ({"unheard": 1}, "unheard"),
    ],
)
def test_a_change_that_cannot_be_made_names_its_field(
    client: TestClient, begun: str, body: dict[str, Any], field: str
) -> None:
    refused = told(client, f"{begun}/changes", 422, **{"version": 1, **body})
    assert {fault["field"] for fault in refused["errors"]} == {field}
    assert client.get(begun).json()["version"] == 1


def test_quotes_are_searched(client: TestClient, begun: str) -> None:
    number = client.get(begun).json()["number"]
    found = client.get("/api/v1/quotes", params={"customer": "INSTITUTE", "state": "draft"}).json()
    assert [heading["number"] for heading in found["headings"]] == [number]
    assert found["sums"] == {"EUR": "3689.00"}
    assert client.get("/api/v1/quotes", params={"state": "sent"}).json()["found"] == 0
    refused = client.get("/api/v1/quotes", params={"since": "yesterday"})
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["field"] == "since"


def test_what_is_printed_tells_no_cost_and_no_internal_note(client: TestClient, begun: str) -> None:
    told(client, f"{begun}/internal-notes", version=1, internal_notes="SECRET")
    for suffix in ("", ".json", ".csv", "/revisions/1"):
        text = client.get(f"{begun}{suffix}").text
        assert "2077.77" not in text
        assert "SECRET" not in text
    assert "SECRET" in client.get(f"{begun}/case").text


def test_today_nothing_differs(client: TestClient, begun: str) -> None:
    assert client.get(f"{begun}/differences").json()["differences"] == []


@pytest.mark.parametrize("path", ["case", "differences", "revisions/1"])
def test_an_unknown_quote_is_not_found(client: TestClient, path: str) -> None:
    assert client.get(f"/api/v1/quotes/Q-2026-9999/{path}").status_code == 404
    assert client.get("/api/v1/quotes/Q-2026-9999/revisions/2").status_code == 404
