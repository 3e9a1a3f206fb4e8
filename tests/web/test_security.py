"""What every answer carries, and which requests are turned away at the door."""

from __future__ import annotations

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.web.build import build_app
from server.web.deps import Services
from server.web.security import host_name, hosts_of
from server.web.settings import Settings
from server.web.static import IMMUTABLE, StaticTree
from tests.fit.test_inquiry import SHORTEST
from tests.web.conftest import BASE_URL

ADVICE = "/api/v1/advice"


@pytest.mark.parametrize("path", ["/health", "/nowhere", "/api/v1/nowhere", "/api/v1/catalog"])
def test_every_answer_carries_the_headers(client: TestClient, path: str) -> None:
    headers = client.get(path).headers
    assert headers["content-security-policy"] == (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    )
    assert headers["referrer-policy"] == "same-origin"
    assert headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 200),  # a program
        ({"Sec-Fetch-Site": "same-origin", "Origin": BASE_URL}, 200),
        ({"Sec-Fetch-Site": "none"}, 200),
        ({"Origin": BASE_URL}, 200),  # an older browser
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Sec-Fetch-Site": "cross-site", "Origin": BASE_URL}, 403),
        ({"Origin": "https://elsewhere.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "http://127.0.0.1:9999"}, 403),
    ],
)
def test_changes_asked_for_by_another_sites_page_are_refused(
    client: TestClient, headers: dict[str, str], status: int
) -> None:
    answer = client.post(ADVICE, json=SHORTEST, headers=headers)
    assert answer.status_code == status


def test_reading_from_another_sites_page_is_no_change(client: TestClient) -> None:
    assert client.get("/health", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 200


@pytest.mark.parametrize("host", ["elsewhere.example", "127.0.0.1.nip.example", "", "a/b", "x@y"])
def test_an_unknown_host_is_refused(client: TestClient, host: str) -> None:
    answer = client.get("/api/v1/catalog", headers={"Host": host})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["message"]


@pytest.mark.parametrize("host", ["localhost", "localhost:8765", "127.0.0.1:1", "[::1]:8765"])
def test_the_names_of_this_machine_are_ours(client: TestClient, host: str) -> None:
    assert client.get("/health", headers={"Host": host}).status_code == 200


def test_a_public_name_is_ours_with_its_origin(settings: Settings, services: Services) -> None:
    public = Settings("127.0.0.1", 8765, settings.data_dir, None, "https://quotes.example.org")
    app = build_app(public, services, at_end=lambda: None)
    with TestClient(app, base_url="http://quotes.example.org") as client:
        own = {"Origin": "https://quotes.example.org"}
        assert client.post(ADVICE, json=SHORTEST, headers=own).status_code == 200
        other = {"Origin": "https://elsewhere.example"}
        assert client.post(ADVICE, json=SHORTEST, headers=other).status_code == 403


def test_a_server_bound_to_every_address_takes_any_well_formed_host(settings: Settings) -> None:
    everywhere = Settings("0.0.0.0", 8765, settings.data_dir)  # noqa: S104 (nothing is bound)
    assert hosts_of(everywhere) == frozenset()


@pytest.mark.parametrize(
    ("host", "name"),
    [
        ("Example.ORG:80", "example.org"),
        ("[::1]:8765", "[::1]"),
        ("a:b", ""),
        ("a:99999", ""),
        ("[::1", ""),
        ("u@h", ""),
        ("h/p", ""),
    ],
)
def test_the_name_of_a_host_header(host: str, name: str) -> None:
    assert host_name(host) == name


def test_an_error_is_a_page_for_people_and_json_for_programs(client: TestClient) -> None:
    page = client.get("/nowhere", headers={"Accept": "text/html,*/*"})
    assert page.status_code == 404
    assert page.headers["content-type"].startswith("text/html")
    told = client.get("/nowhere", headers={"Accept": "application/json"})
    assert told.json()["errors"][0]["message"]


def test_a_page_of_an_error_shows_what_was_asked_for_as_text(client: TestClient) -> None:
    page = client.get("/nowhere/<script>alert(1)</script>", headers={"Accept": "text/html"})
    assert "<script>alert" not in page.text


def test_a_static_file_is_kept_for_good_under_its_hash_only(
    app: FastAPI, client: TestClient
) -> None:
    tree: StaticTree = app.state.static
    name = min(tree.names)
    hashed = client.get(tree.url(name))
    assert hashed.status_code == 200
    assert hashed.headers["cache-control"] == IMMUTABLE
    assert client.get(f"/static/{name}").headers["cache-control"] == "no-cache"
    old = client.get(f"/static/0123456789abcdef/{name}")
    assert (old.status_code, old.headers["cache-control"]) == (200, "no-cache")


@pytest.mark.parametrize("path", ["../pyproject.toml", "..%2fpyproject.toml", "%2e%2e/README.md"])
def test_nothing_outside_the_static_folder_is_served(
    app: FastAPI, client: TestClient, path: str
) -> None:
    tree: StaticTree = app.state.static
    assert client.get(f"/static/{tree.version}/{path}").status_code == 404
    assert client.get(f"/static/{path}").status_code == 404


def test_a_name_that_no_file_has_is_a_mistake_of_the_template(app: FastAPI) -> None:
    with pytest.raises(FileNotFoundError):
        app.state.static.url("css/none.css")


def test_long_answers_are_packed(client: TestClient) -> None:
    answer = client.post(ADVICE, json=SHORTEST, headers={"Accept-Encoding": "gzip"})
    assert answer.headers["content-encoding"] == "gzip"


def test_another_method_is_refused_in_plain_words(client: TestClient) -> None:
    answer = client.delete("/api/v1/catalog")
    assert answer.status_code == 405
    assert "GET" in answer.headers["allow"]
