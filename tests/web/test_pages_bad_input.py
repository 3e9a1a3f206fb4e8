"""What pages do with what cannot be used: say where and why, lose nothing, never break."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from server.web.fields import FIELDS
from tests.web.browsing import EXAMPLE, read, values_of


def test_faults_stand_beside_the_field_and_in_the_summary_and_nothing_typed_is_lost(
    browser: TestClient,
) -> None:
    asked = {
        **EXAMPLE,
        "chamber.volume": "180 mbar",
        "process.gas.0.species": "unobtainium <b>",
        "hazards": "toxic",
        "utilities.cooling_water": "perhaps",
    }
    answer = browser.post("/inquiry", data=asked)
    assert answer.status_code == 422
    reader = read(answer)
    assert '<a href="#chamber.volume">Chamber volume</a>' in answer.text
    assert "e-chamber.volume" in reader.ids
    assert "<b>" not in answer.text.split("unobtainium")[1][:40]
    shown = values_of(reader)
    for path, typed in asked.items():
        if path in shown:
            assert shown[path] == typed
    wrong = {i["name"] for i in reader.all("input") + reader.all("select") if "aria-invalid" in i}
    assert wrong == {"chamber.volume", "process.gas.0.species", "utilities.cooling_water"}
    assert [i["value"] for i in reader.all("input") if "checked" in i] == ["toxic"]
    assert {o["value"] for o in reader.all("option") if "selected" in o} >= {"perhaps", "tolerant"}
    assert "<title>Error:" in answer.text


def test_an_empty_form_asks_for_the_two_fields_that_are_needed(browser: TestClient) -> None:
    answer = browser.post("/inquiry", data={"action": "advise"})
    assert answer.status_code == 422
    for path in ("chamber.volume", "target_pressure"):
        assert f'<a href="#{path}">' in answer.text


def test_an_unknown_pump_and_a_missing_one_are_said_at_their_field(browser: TestClient) -> None:
    enough = {"chamber.volume": "20 L", "target_pressure": "1e-5 mbar"}
    unknown = browser.post("/check", data={**enough, "stack.backing_pump": "NO-SUCH"})
    assert unknown.status_code == 422
    assert '<a href="#stack.backing_pump">Backing pump</a>' in unknown.text
    missing = browser.post("/check", data=enough)
    assert missing.status_code == 422
    assert "Choose the pump that exhausts to atmosphere." in missing.text


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/nowhere", 404),
        ("/quotes/1999-0001", 404),
        ("/advice/unknown", 404),
        ("/advice/unknown/stack/1/card", 404),
        ("/catalog/NO-SUCH", 404),
        ("/inquiry?from=unknown", 404),
        ("/inquiry?example=unknown", 404),
        ("/charts/00.svg", 404),
        ("/charts/bundle-0.js", 404),
        ("/charts/00.svg?theme=pink", 422),
    ],
)
def test_errors_are_pages_with_a_way_back(browser: TestClient, path: str, status: int) -> None:
    answer = browser.get(path)
    assert answer.status_code == status
    assert '<a href="/">' in answer.text
    assert f"Error {status}" in answer.text


def test_a_stack_that_does_not_exist_is_not_found(browser: TestClient, advice_path: str) -> None:
    assert browser.get(f"{advice_path}/stack/9").status_code == 404
    assert browser.get(f"{advice_path}/stack/x").status_code == 422


def test_ten_megabytes_are_refused_in_plain_words(browser: TestClient) -> None:
    answer = browser.post("/inquiry", data={"title": "x" * 10_000_000})
    assert answer.status_code == 413
    assert "too much" in answer.text.lower()


def test_a_defect_is_our_mistake_and_says_so(site: FastAPI, browser: TestClient) -> None:
    kept = site.state.services
    site.state.services = None
    try:
        answer = browser.get("/")
    finally:
        site.state.services = kept
    assert answer.status_code == 500
    assert "Our mistake" in answer.text


PUMPS = {"pumps.0.sku": "VANE2-0160", "stack.backing_pump": "VANE2-0160"}
TARGETS = st.sampled_from(["/inquiry", "/check", "/consumables"])
NONSENSE = st.sampled_from([
    "NaN", "-1 mbar", "0", "1e999", "5 furlongs", "\x00", "🙂", "<script>alert(1)</script>",
    "1,000", "Infinity", "9" * 400, "x" * 5000, "null", "[]", "{{ 7*7 }}", "1 L/s",
])  # fmt: skip


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    path=st.sampled_from(sorted(FIELDS)),
    typed=NONSENSE,
    target=st.sampled_from(["/inquiry", "/check"]),
)
def test_nonsense_in_any_field_is_answered_and_kept(
    browser: TestClient, path: str, typed: str, target: str
) -> None:
    name = path.replace("*", "0")
    answer: Any = browser.post(target, data={**EXAMPLE, **PUMPS, name: typed})
    assert answer.status_code in {200, 422}
    assert "<script>alert" not in answer.text
