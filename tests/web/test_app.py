"""The wired app: what the first start fills in, and what a restart keeps."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from server.catalog.items import Catalog
from server.catalog.tables import load_catalog
from server.errors import InvalidCatalog
from server.fit.requirements import Requirements
from server.fit.results import Advice
from server.paths import Folder, folder
from server.web.app import DATABASE_FILE, create_app
from server.web.settings import Settings
from tests.fakes import FakeEngine
from tests.fit.test_inquiry import SHORTEST
from tests.web.conftest import BASE_URL


@contextmanager
def running(data_dir: Path, catalog_dir: Path | None = None) -> Iterator[TestClient]:
    app = create_app(Settings("127.0.0.1", 8765, data_dir, catalog_dir), FakeEngine())
    with TestClient(app, base_url=BASE_URL) as client:
        yield client


def test_the_first_start_fills_the_database_with_the_demo_catalogue(tmp_path: Path) -> None:
    demo = load_catalog(folder(Folder.CATALOG_DEMO))
    with running(tmp_path / "new" / "folder") as client:
        told = client.get("/api/v1/catalog").json()
    assert told["catalog"] == {"name": demo.name, "version": demo.version}
    assert len(told["items"]) == len(demo.items) >= 350
    assert (tmp_path / "new" / "folder" / DATABASE_FILE).is_file()


def test_a_restart_keeps_saved_advice(tmp_path: Path) -> None:
    with running(tmp_path) as client:
        told = client.post("/api/v1/advice", json=SHORTEST).json()
    with running(tmp_path) as client:
        assert client.get(f"/api/v1/advice/{told['token']}").json() == told


def test_an_advice_outlives_the_catalogue_it_rests_on(tmp_path: Path) -> None:
    own = tmp_path / "own"
    shutil.copytree(folder(Folder.CATALOG_DEMO), own)
    with running(tmp_path, own) as client:
        told = client.post("/api/v1/advice", json=SHORTEST).json()
    about = own / "about.csv"
    about.write_text(about.read_text("utf-8").replace("demo", "own"), "utf-8")
    with running(tmp_path, own) as client:
        assert client.get("/api/v1/catalog").json()["catalog"]["name"] == "own"
        kept = client.get(f"/api/v1/advice/{told['token']}").json()
        catalogs = client.app.state.services.catalogs  # type: ignore[attr-defined]
        assert catalogs.version(kept["catalog"]["version"]).name == "demo"
    assert kept == told


def test_the_server_answers_an_example_before_its_first_user(tmp_path: Path) -> None:
    class Noting(FakeEngine):
        asked = threading.Event()

        def advise(self, requirements: Requirements, catalog: Catalog) -> Advice:
            self.asked.set()
            return super().advise(requirements, catalog)

    app = create_app(Settings("127.0.0.1", 8765, tmp_path), Noting(), warm=True)
    with TestClient(app, base_url=BASE_URL) as client:
        assert client.get("/health").status_code == 200
        assert Noting.asked.wait(30)


def test_a_broken_catalogue_stops_the_start_with_its_faults(tmp_path: Path) -> None:
    own = tmp_path / "own"
    shutil.copytree(folder(Folder.CATALOG_DEMO), own)
    (own / "price_list.csv").write_text("sku,price\nX,1\n", "utf-8")
    with (
        pytest.raises(InvalidCatalog, match=r"price_list\.csv"),
        running(tmp_path, own),
    ):
        pass
