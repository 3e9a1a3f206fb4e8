"""The site on services in memory, and a client that talks to it as a program on this machine."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.catalog.items import Catalog
from server.catalog.tables import load_catalog
from server.paths import Folder, folder
from server.web.build import build_app
from server.web.deps import Services
from server.web.settings import Settings
from tests.builders import HandMadeEngine
from tests.fakes import FakeEngine, MemoryAdviceStore, MemoryCatalogStore, MemoryQuoteDesk
from tests.outside import MemoryInquiryBox, MemoryOutbox, MemoryShareLinks
from tests.web.browsing import EXAMPLE

BASE_URL = "http://127.0.0.1:8765"


def memory_services() -> Services:
    """Return services that keep nothing beyond the test."""
    return Services(
        engine=FakeEngine(),
        advices=MemoryAdviceStore(),
        catalogs=MemoryCatalogStore(),
        outbox=MemoryOutbox(),
        desk=MemoryQuoteDesk(),
        inquiries=MemoryInquiryBox(),
        links=MemoryShareLinks(),
    )


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(host="127.0.0.1", port=8765, data_dir=tmp_path)


@pytest.fixture
def services() -> Services:
    return memory_services()


@pytest.fixture
def app(settings: Settings, services: Services) -> FastAPI:
    return build_app(settings, services, at_end=lambda: None)


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    with TestClient(app, base_url=BASE_URL, raise_server_exceptions=False) as client:
        yield client


@pytest.fixture(scope="session")
def demo_catalog() -> Catalog:
    return load_catalog(folder(Folder.CATALOG_DEMO))


@pytest.fixture(scope="session")
def site(demo_catalog: Catalog, tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    where = Settings(host="127.0.0.1", port=8765, data_dir=tmp_path_factory.mktemp("data"))
    services = Services(
        engine=HandMadeEngine(),
        advices=MemoryAdviceStore(),
        catalogs=MemoryCatalogStore(demo_catalog),
        outbox=MemoryOutbox(),
        desk=MemoryQuoteDesk(),
        inquiries=MemoryInquiryBox(),
        links=MemoryShareLinks(),
    )
    return build_app(where, services, at_end=lambda: None)


@pytest.fixture(scope="session")
def browser(site: FastAPI) -> Iterator[TestClient]:
    accept = {"accept": "text/html,*/*"}
    with TestClient(site, base_url=BASE_URL, headers=accept, raise_server_exceptions=False) as it:
        yield it


@pytest.fixture(scope="session")
def advice_path(browser: TestClient) -> str:
    answer = browser.post("/inquiry", data=EXAMPLE, follow_redirects=False)
    assert answer.status_code == 303
    return str(answer.headers["location"])
