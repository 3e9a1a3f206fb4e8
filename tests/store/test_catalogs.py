"""Catalogue versions: the first start fills, a restart keeps, old versions stay readable."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from server.catalog.items import Catalog
from server.errors import CatalogFault, InvalidCatalog, NotFound
from server.store.catalogs import Origin, SqlCatalogStore
from server.store.engine import Database, open_engine
from server.store.migrate import migrate
from tests.fakes import small_catalog


def load_tables(folder: Path) -> Catalog:
    """Stand in for the reader of tables: one file holds the version, or nothing readable."""
    version = (folder / "about.csv").read_text(encoding="utf-8").strip()
    if version == "broken":
        raise InvalidCatalog([CatalogFault("about.csv", 1, "name", "broken")])
    return small_catalog(version)


def write_tables(folder: Path, version: str) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "about.csv").write_text(version, encoding="utf-8")
    return folder


def a_store(database: Database) -> SqlCatalogStore:
    return SqlCatalogStore(database, load_tables)


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = Database(open_engine(tmp_path / "c.sqlite3"))
    migrate(database.engine)
    yield database
    database.close()


def test_an_empty_database_has_no_catalogue(database: Database) -> None:
    with pytest.raises(NotFound):
        a_store(database).current()


def test_the_first_start_fills_and_a_restart_keeps(database: Database, tmp_path: Path) -> None:
    a_store(database).fill(write_tables(tmp_path / "demo", "one"), Origin.DEMO)
    assert a_store(database).current() == small_catalog("one")


def test_an_older_version_stays_readable_from_its_own_text(
    database: Database, tmp_path: Path
) -> None:
    a_store(database).fill(write_tables(tmp_path / "demo", "one"), Origin.DEMO)
    a_store(database).fill(write_tables(tmp_path / "demo", "two"), Origin.DEMO)
    fresh = a_store(database)
    assert fresh.current().version == "two"
    assert fresh.version("one") == small_catalog("one")


def test_the_demo_never_replaces_a_distributors_own_tables(
    database: Database, tmp_path: Path
) -> None:
    a_store(database).fill(write_tables(tmp_path / "own", "own"), Origin.FOLDER)
    kept = a_store(database).fill(write_tables(tmp_path / "demo", "demo"), Origin.DEMO)
    assert kept.version == "own"


def test_going_back_to_an_earlier_version_makes_it_current(
    database: Database, tmp_path: Path
) -> None:
    for version in ("one", "two", "one"):
        a_store(database).fill(write_tables(tmp_path / "own", version), Origin.FOLDER)
    assert a_store(database).current().version == "one"


def test_a_version_this_release_cannot_read_is_said_to_be_so(
    database: Database, tmp_path: Path
) -> None:
    a_store(database).fill(write_tables(tmp_path / "own", "one"), Origin.FOLDER)

    def unreadable(_folder: Path) -> Catalog:
        raise InvalidCatalog([CatalogFault("about.csv", 1, "name", "no longer a column")])

    with pytest.raises(NotFound, match="earlier release"):
        SqlCatalogStore(database, unreadable).version("one")


def test_a_broken_catalogue_leaves_the_kept_one_current(database: Database, tmp_path: Path) -> None:
    a_store(database).fill(write_tables(tmp_path / "own", "one"), Origin.FOLDER)
    with pytest.raises(InvalidCatalog):
        a_store(database).fill(write_tables(tmp_path / "own", "broken"), Origin.FOLDER)
    assert a_store(database).current().version == "one"
