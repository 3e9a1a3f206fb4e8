"""Consumables and quotes over the JSON API, on the demo catalogue."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from starlette.testclient import TestClient

from server.catalog.items import BackingPump, Catalog, Fluid, FluidService, VapourPump
from server.catalog.tables import load_catalog
from server.paths import Folder, folder
from server.quoting.desk.ports import QuoteQuery
from server.quoting.documents import quote_json
from server.web.api_models import QuoteLineOut, QuoteOut
from server.web.build import build_app
from server.web.deps import Services
from server.web.settings import Settings
from tests.fakes import MemoryCatalogStore, a_draft
from tests.fit.test_inquiry import SHORTEST
from tests.web.conftest import BASE_URL


@pytest.fixture(scope="module")
def demo() -> Catalog:
    return load_catalog(folder(Folder.CATALOG_DEMO))


@pytest.fixture
def sales(settings: Settings, services: Services, demo: Catalog) -> Iterator[TestClient]:
    on_demo = replace(services, catalogs=MemoryCatalogStore(demo))
    app = build_app(settings, on_demo, at_end=lambda: None)
    with TestClient(app, base_url=BASE_URL, raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def offered(client: TestClient) -> tuple[TestClient, str]:
    """Return the client and the token of an advice whose stack is in the small catalogue."""
    return client, client.post("/api/v1/advice", json=SHORTEST).json()["token"]


def faults(answer: Any) -> dict[str, str]:
    assert answer.status_code == 422, answer.text
    return {fault["field"]: fault["message"] for fault in answer.json()["errors"]}


def test_consumables_come_with_reasons_and_add_up(sales: TestClient, demo: Catalog) -> None:
    pump = next(p for p in demo.of_type(BackingPump) if p.oil_charge_m3 > 0)
    body = {"pumps": [{"sku": pump.sku, "quantity": 2}], "horizon_years": 2}
    told = sales.post("/api/v1/consumables", json=body).json()
    assert told["catalog"]["version"] == demo.version
    assert told["lines"]
    assert all(line["reason"] for line in told["lines"])
    lines = sum(Decimal(line["total"]) for line in told["lines"])
    assert Decimal(told["total"]) == lines > 0
    assert "duty.cycles_per_day" in {each["field"] for each in told["assumptions"]}


def test_a_longer_period_never_uses_less(sales: TestClient, demo: Catalog) -> None:
    pump = demo.of_type(VapourPump)[0]
    totals = [
        Decimal(
            sales.post(
                "/api/v1/consumables", json={"pumps": [{"sku": pump.sku}], "horizon_years": years}
            ).json()["total"]
        )
        for years in (1, 2, 5)
    ]
    assert totals == sorted(totals)


def test_consumables_name_the_cell_at_fault(sales: TestClient, demo: Catalog) -> None:
    pump = demo.of_type(VapourPump)[0]
    oil = next(f for f in demo.of_type(Fluid) if f.service is FluidService.SEALED)
    body = {
        "pumps": [
            {"sku": "NOPE"},
            {"sku": pump.sku, "fluid": "NOPE"},
            {"sku": pump.sku, "fluid": oil.sku},
            {"sku": pump.sku, "fitted": [oil.sku]},
        ]
    }
    found = faults(sales.post("/api/v1/consumables", json=body))
    assert set(found) == {"pumps.0.sku", "pumps.1.fluid", "pumps.2.fluid", "pumps.3.fitted"}


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "pumps"),
        ({"pumps": []}, "pumps"),
        ({"pumps": [{"sku": "x", "quantity": 0}]}, "pumps.0.quantity"),
        ({"pumps": [{"sku": "x", "quantity": 10**6}]}, "pumps.0.quantity"),
        ({"pumps": [{"sku": "x"}], "horizon_years": "NaN"}, "horizon_years"),
        ({"pumps": [{"sku": "x"}], "horizon_years": -1}, "horizon_years"),
        ({"pumps": [{"sku": "x"}], "duty": {"cycles_per_day": "lots"}}, "duty.cycles_per_day"),
        ({"pumps": [{"sku": "x" * 500}]}, "pumps.0.sku"),
    ],
)
def test_a_bad_request_for_consumables_names_its_field(
    sales: TestClient, body: dict[str, Any], field: str
) -> None:
    assert set(faults(sales.post("/api/v1/consumables", json=body))) == {field}


def test_a_quote_is_issued_kept_and_read_back(offered: tuple[TestClient, str]) -> None:
    client, token = offered
    body = {"advice": token, "rank": 1, "customer": "Institute", "tax_rate": "19"}
    issued = client.post("/api/v1/quotes", json=body)
    assert issued.status_code == 201
    told = issued.json()
    assert issued.headers["location"].endswith(told["number"])
    assert client.get(issued.headers["location"]).json() == told
    assert told["net"] == "3100.00"
    assert told["tax"] == "589.00"
    assert told["total"] == "3689.00"
    assert told["advice_token"] == token


def test_a_quote_downloads_as_a_table_and_as_json(offered: tuple[TestClient, str]) -> None:
    client, token = offered
    body = {"advice": token, "rank": 1, "customer": "=cmd()"}
    number = client.post("/api/v1/quotes", json=body).json()["number"]
    table = client.get(f"/api/v1/quotes/{number}.csv")
    assert table.headers["content-type"].startswith("text/csv")
    assert f"{number}.csv" in table.headers["content-disposition"]
    rows = list(csv.reader(io.StringIO(table.text)))
    assert ["Quote", number] in rows
    assert ["Customer", "'=cmd()"] in rows
    as_file = client.get(f"/api/v1/quotes/{number}.json")
    assert as_file.json()["customer"]["name"] == "=cmd()"


def test_the_quotes_json_has_the_names_of_its_schema() -> None:
    written = quote_json(a_draft().numbered("Q-2026-0001"))
    read = QuoteOut.model_validate_json(written)
    assert set(json.loads(written)) == set(QuoteOut.model_fields)
    assert set(json.loads(written)["lines"][0]) == set(QuoteLineOut.model_fields)
    assert read.total == Decimal("3689.00")


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"customer": None}, "customer"),
        ({"customer": ""}, "customer"),
        ({"customer": 5}, "customer"),
        ({"email": "nobody"}, "email"),
        ({"tax_rate": "lots"}, "tax_rate"),
        ({"tax_rate": "NaN"}, "tax_rate"),
        ({"validity_days": -1}, "validity_days"),
        ({"notes": "x" * 10_000}, "notes"),
        ({"rank": 7}, "rank"),
        ({"rank": "first"}, "rank"),
        ({"unheard": 1}, "unheard"),
    ],
)
def test_a_quote_that_cannot_be_issued_names_its_field_and_takes_no_number(
    offered: tuple[TestClient, str], services: Services, change: dict[str, Any], field: str
) -> None:
    client, token = offered
    body = {"advice": token, "rank": 1, "customer": "Institute", **change}
    assert set(faults(client.post("/api/v1/quotes", json=body))) == {field}
    assert services.desk.search(QuoteQuery(), date(2026, 3, 1)).found == 0


def test_a_quote_of_an_unknown_advice_is_not_found(client: TestClient) -> None:
    body = {"advice": "nobody", "rank": 1, "customer": "Institute"}
    assert client.post("/api/v1/quotes", json=body).status_code == 404


@pytest.mark.parametrize("suffix", ["", ".csv", ".json"])
def test_an_unknown_quote_is_not_found(client: TestClient, suffix: str) -> None:
    assert client.get(f"/api/v1/quotes/2026-9999{suffix}").status_code == 404
