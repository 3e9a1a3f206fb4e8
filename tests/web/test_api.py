"""The JSON API: its promises to programs, and its answers to nonsense."""

from __future__ import annotations

import copy
import json
from dataclasses import replace
from typing import Any

import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from server.web.deps import Services
from tests.fit.test_inquiry import EXAMPLE, NONSENSE, PATHS, SHORTEST, changed
from tests.web.conftest import BASE_URL


def post(client: TestClient, path: str, body: object) -> Any:
    """Send a body that the client's own JSON writer would refuse, such as NaN."""
    content = json.dumps(body).encode("utf-8", "surrogatepass")
    return client.post(path, content=content, headers={"Content-Type": "application/json"})


def fields_at_fault(answer: Any) -> set[str]:
    assert answer.status_code == 422
    return {fault["field"] for fault in answer.json()["errors"]}


def test_advice_has_the_names_of_the_contract(client: TestClient) -> None:
    answer = post(client, "/api/v1/advice", EXAMPLE)
    assert answer.status_code == 200
    told = answer.json()
    assert told["catalog"] == {"name": "test", "version": "v-one"}
    assert told["counts"] == {"considered": 3, "fit": 1, "marginal": 0, "rejected": {"ultimate": 2}}
    assert {"field", "value", "reason"} == set(told["assumptions"][0])
    stack = told["stacks"][0]
    contract = {"rank", "verdict", "parts", "margins", "states", "pump_down", "cost", "workings"}
    assert contract <= set(stack)
    assert {"role", "sku", "name", "kind", "quantity"} <= set(stack["parts"][0])
    assert {
        "key", "required", "available", "unit", "ratio", "threshold", "verdict", "explanation"
    } == set(stack["margins"][0])  # fmt: skip
    assert {
        "chamber_pressure_pa", "inlet_pressure_pa", "foreline_pressure_pa", "throughput_pa_m3_s",
        "effective_speed_m3_s",
    } <= set(stack["states"]["base"])  # fmt: skip
    assert {"key", "name", "symbol", "formula", "inputs", "value", "unit", "source"} <= set(
        stack["workings"][0]
    )
    remedy = stack["remedies"][0]
    assert (remedy["from"], remedy["to"], remedy["change"]) == (0.01, 0.02, "line.bore")
    assert "from_value" not in remedy


def test_money_is_a_decimal_string_and_infinity_is_null(client: TestClient) -> None:
    stack = post(client, "/api/v1/advice", SHORTEST).json()["stacks"][0]
    assert stack["cost"]["purchase"] == "3100.00"
    assert stack["cost"]["consumables_per_year"] == "0.00"
    assert stack["pump_down"]["time_s"] is None
    assert stack["pump_down"]["p10_s"] == 100.0
    assert stack["margins"][0]["ratio"] is None


def test_an_advice_is_kept_under_its_token(client: TestClient, services: Services) -> None:
    told = post(client, "/api/v1/advice", EXAMPLE).json()
    assert client.get(f"/api/v1/advice/{told['token']}").json() == told
    kept = services.advices.get(told["token"])
    assert kept.inquiry["target_pressure"] == "2e-5 mbar"


def test_an_unknown_token_is_not_found(client: TestClient) -> None:
    answer = client.get("/api/v1/advice/nobody")
    assert answer.status_code == 404
    assert answer.json()["errors"][0]["message"]


def test_a_check_judges_the_stack_as_it_is(client: TestClient) -> None:
    body = {"requirements": SHORTEST, "stack": {"backing_pump": "T-PUMP", "booster": None}}
    answer = post(client, "/api/v1/check", body)
    assert answer.status_code == 200
    assert answer.json()["remedies"][0]["from"] == 0.01


def test_a_check_names_the_unknown_sku(client: TestClient) -> None:
    body = {"requirements": SHORTEST, "stack": {"backing_pump": "NOPE"}}
    answer = post(client, "/api/v1/check", body)
    assert fields_at_fault(answer) == {"stack.backing_pump"}
    assert "T-PUMP" in answer.json()["errors"][0]["accepted"]


def test_a_check_names_faults_of_the_requirements_by_their_whole_path(client: TestClient) -> None:
    inner = changed("duty.cycles_per_day", 40)
    answer = post(client, "/api/v1/check", {"requirements": inner, "stack": {}})
    assert fields_at_fault(answer) == {"requirements.duty.time_at_pressure"}
    inner = changed("chamber.volume", "tall")
    answer = post(client, "/api/v1/check", {"requirements": inner, "stack": {}})
    assert fields_at_fault(answer) == {"requirements.chamber.volume"}


def test_the_catalogue_shows_curves_and_limits_but_no_cost_price(client: TestClient) -> None:
    answer = client.get("/api/v1/catalog")
    pump = answer.json()["items"][0]
    assert (pump["type"], pump["kind"], pump["inlet"]) == ("pump", "scroll", "KF 25")
    assert pump["price"] == "3100.00"
    assert pump["curves"][0]["pressure_pa"] == [1.0, 10.0, 1e5]
    assert "cost" not in answer.text
    assert "2077.77" not in answer.text + client.get("/api/v1/catalog/T-PUMP").text


def test_the_catalogue_is_filtered_by_kind_and_type(client: TestClient) -> None:
    assert [i["sku"] for i in client.get("/api/v1/catalog?kind=scroll").json()["items"]] == [
        "T-PUMP"
    ]
    assert [i["sku"] for i in client.get("/api/v1/catalog?type=valve").json()["items"]] == [
        "T-VALVE"
    ]


def test_an_unknown_item_is_not_found(client: TestClient) -> None:
    assert client.get("/api/v1/catalog/NOPE").status_code == 404


def test_every_fault_of_a_request_comes_with_what_would_be_accepted(client: TestClient) -> None:
    body = changed("chamber.volume", "5e-5 mbar")
    body["surprise"] = 1
    answer = post(client, "/api/v1/advice", body)
    assert fields_at_fault(answer) == {"chamber.volume", "surprise"}
    volume = next(f for f in answer.json()["errors"] if f["field"] == "chamber.volume")
    assert volume["typed"] == "5e-5 mbar"
    assert "120 L" in volume["accepted"]


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"not json",
        b"[]",
        b"null",
        b'"text"',
        b"{",
        b"\xff\xfe\x00",
        b'{"target_pressure": 1e999, "chamber": {"volume": 1}}',
        b'{"target_pressure": NaN, "chamber": {"volume": -Infinity}}',
        b'{"limit": ' + b"9" * 5000 + b"}",
        b"[" * 100_000,
        b'{"chamber":' * 20_000 + b"1" + b"}" * 20_000,
        b'{"title": "' + b"x" * 900_000 + b'"}',
        b'{"title": "\\ud800"}',
    ],
    ids=lambda body: body[:24].decode("latin-1"),
)
@pytest.mark.parametrize("path", ["/api/v1/advice", "/api/v1/check"])
def test_a_body_that_is_no_request_gets_422(client: TestClient, path: str, body: bytes) -> None:
    answer = client.post(path, content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    assert all(f["message"] for f in answer.json()["errors"])
    assert len(answer.content) < 5000


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", ""])
def test_a_body_of_another_type_gets_422(client: TestClient, kind: str) -> None:
    content = json.dumps(SHORTEST).encode()
    answer = client.post("/api/v1/advice", content=content, headers={"Content-Type": kind})
    assert answer.status_code in {200, 422}
    assert "errors" in answer.json() or kind == ""


def test_ten_megabytes_are_refused_in_plain_words(client: TestClient) -> None:
    body = b'{"title": "' + b"x" * 10_000_000 + b'"}'
    answer = client.post("/api/v1/advice", content=body)
    assert answer.status_code == 413
    assert "1000 kB" in answer.json()["errors"][0]["message"]


def test_ten_megabytes_without_a_stated_length_are_refused_too(client: TestClient) -> None:
    def stream() -> Any:
        for _ in range(100):
            yield b"x" * 100_000

    assert client.post("/api/v1/advice", content=stream()).status_code == 413


@given(path=st.sampled_from(PATHS), value=NONSENSE)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
def test_nonsense_in_any_field_is_never_our_fault(
    client: TestClient, path: str, value: object
) -> None:
    answer = post(client, "/api/v1/advice", changed(path, value))
    assert answer.status_code in {200, 422}
    if answer.status_code == 422:
        assert all(fault["message"] for fault in answer.json()["errors"])


def test_a_defect_answers_500_without_its_inside(app: FastAPI, services: Services) -> None:
    class Broken:
        """Fails as no engine should."""

        def advise(self, *_: object) -> None:
            raise RuntimeError("secret inside")

    app.state.services = replace(services, engine=Broken())  # type: ignore[arg-type]
    with TestClient(app, base_url=BASE_URL, raise_server_exceptions=False) as client:
        answer = post(client, "/api/v1/advice", SHORTEST)
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert answer.json()["errors"][0]["message"]
    assert "default-src 'none'" in answer.headers["content-security-policy"]


def test_the_example_is_not_changed_by_reading_it(client: TestClient) -> None:
    before = copy.deepcopy(EXAMPLE)
    post(client, "/api/v1/advice", EXAMPLE)
    assert before == EXAMPLE
