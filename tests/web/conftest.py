"""The site on services in memory, and a client that talks to it as a program on this machine."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.web.build import build_app
from server.web.deps import Services
from server.web.settings import Settings
from tests.fakes import FakeEngine, MemoryAdviceStore, MemoryCatalogStore, MemoryQuoteStore

BASE_URL = "http://127.0.0.1:8765"


def memory_services() -> Services:
    """Return services that keep nothing beyond the test."""
    return Services(
        engine=FakeEngine(),
        advices=MemoryAdviceStore(),
        catalogs=MemoryCatalogStore(),
        quotes=MemoryQuoteStore(),
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
