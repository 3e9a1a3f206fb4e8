"""The API keeps to its own published schema, whatever a program sends (by schemathesis)."""

from __future__ import annotations

from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from server.web.build import build_app
from server.web.settings import Settings
from tests.web.conftest import memory_services

HOST = {"Host": "127.0.0.1"}
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
OPERATIONS = [
    "POST /api/v1/advice",
    "GET /api/v1/advice/{token}",
    "POST /api/v1/check",
    "POST /api/v1/read-inquiry",
    "GET /api/v1/catalog",
    "GET /api/v1/catalog/{sku}",
    "POST /api/v1/consumables",
    "POST /api/v1/consumables.csv",
    "POST /api/v1/consumables.ics",
    "POST /api/v1/quotes",
    "GET /api/v1/quotes",
    "GET /api/v1/quotes/{number}",
    "GET /api/v1/quotes/{number}.csv",
    "GET /api/v1/quotes/{number}.json",
    "GET /api/v1/quotes/{number}.pdf",
    "GET /api/v1/quotes/{number}.xlsx",
    "GET /api/v1/quotes/{number}.xml",
    "GET /api/v1/quotes/{number}/card.pdf",
    "GET /api/v1/quotes/{number}/case",
    "GET /api/v1/quotes/{number}/revisions/{revision}",
    "GET /api/v1/quotes/{number}/differences",
    "POST /api/v1/quotes/{number}/changes",
    "POST /api/v1/quotes/{number}/renewal",
    "POST /api/v1/quotes/{number}/internal-notes",
    "POST /api/v1/quotes/{number}/approval-request",
    "POST /api/v1/quotes/{number}/approval",
    "POST /api/v1/quotes/{number}/return",
    "POST /api/v1/quotes/{number}/sending",
    "POST /api/v1/quotes/{number}/withdrawal",
    "POST /api/v1/quotes/{number}/revisions",
    "POST /api/v1/quotes/{number}/answer",
    "POST /api/v1/quotes/{number}/clones",
    "POST /api/v1/quotes/{number}/reorders",
]


@pytest.fixture(scope="module")
def operations(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Return every operation of the published schema by method and path."""
    settings = Settings("127.0.0.1", 8765, tmp_path_factory.mktemp("schema"))
    app = build_app(settings, memory_services(), at_end=lambda: None)
    schema = schemathesis.openapi.from_asgi("/api/v1/openapi.json", app, headers=HOST)
    found: list[Any] = list(schema.get_all_operations())
    return {result.ok().label: result.ok() for result in found}


def test_every_operation_of_the_schema_is_tried(operations: dict[str, Any]) -> None:
    assert sorted(operations) == sorted(OPERATIONS)


@pytest.mark.parametrize("label", OPERATIONS)
@pytest.mark.parametrize("mode", list(schemathesis.GenerationMode))
def test_every_answer_is_one_the_schema_promises(
    operations: dict[str, Any], label: str, mode: schemathesis.GenerationMode
) -> None:
    cases = operations[label].as_strategy(generation_mode=mode)

    @hypothesis_settings(max_examples=12, suppress_health_check=list(HealthCheck))
    @given(data=st.data())
    def hold(data: st.DataObject) -> None:
        case = data.draw(cases)
        case.validate_response(case.call(headers=HOST), checks=CHECKS)

    hold()
