"""Versions of the catalogue in the database, kept as the text of their tables."""

from __future__ import annotations

import json
import tempfile
import threading
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path

from sqlalchemy import desc
from sqlmodel import Session, col, select

from server.catalog.items import Catalog
from server.errors import InvalidCatalog, NotFound
from server.store.engine import Database
from server.store.tables import CatalogSnapshot

Loader = Callable[[Path], Catalog]


class Origin(StrEnum):
    """Where a version came from."""

    DEMO = "demo"
    FOLDER = "folder"


class SqlCatalogStore:
    """Satisfies ``fit.ports.CatalogStore``; reads a version's tables once, then remembers it."""

    def __init__(self, database: Database, load: Loader) -> None:
        self._database = database
        self._load = load
        self._read: dict[str, Catalog] = {}
        self._reading = threading.Lock()
        self._current: Catalog | None = None

    def current(self) -> Catalog:
        """Return the catalogue that new advice rests on: the one loaded last.

        Raises
        ------
        NotFound
            When no catalogue was ever loaded.
        """
        if self._current is None:
            with self._database.reading() as session:
                newest = _newest(session)
                version = newest.version if newest else None
            if version is None:
                raise NotFound("No catalogue has been loaded yet.")
            self._current = self.version(version)
        return self._current

    def version(self, version: str) -> Catalog:
        """Return one version.

        Raises
        ------
        NotFound
            When it was never loaded, or when this program can no longer read it.
        """
        with self._reading:
            if version not in self._read:
                self._read[version] = self._from_snapshot(version)
            return self._read[version]

    def fill(self, folder: Path, origin: Origin) -> Catalog:
        """Load a folder of tables at start and make it current, unless the database knows better.

        The demo catalogue goes with the program: it fills an empty database and replaces an older
        demo, but never a distributor's own tables.

        Parameters
        ----------
        folder : Path
            The tables.
        origin : Origin
            Whose they are.

        Raises
        ------
        InvalidCatalog
            When the tables break physics or sense.
        """
        with self._database.reading() as session:
            newest = _newest(session)
            kept = newest.origin if newest else None
        if origin is Origin.DEMO and kept == Origin.FOLDER:
            return self.current()
        catalog = self._load(folder)
        self._keep(catalog, _texts(folder), origin)
        self._read[catalog.version] = catalog
        self._current = catalog
        return catalog

    def _keep(self, catalog: Catalog, files: Mapping[str, str], origin: Origin) -> None:
        with self._database.writing() as session:
            known = session.get(CatalogSnapshot, catalog.version)
            if known is not None:
                newest = _newest(session)
                if newest is None or newest.version != known.version:
                    known.loaded_at = datetime.now(UTC)
                known.origin = origin
                session.add(known)
                return
            session.add(
                CatalogSnapshot(
                    version=catalog.version,
                    name=catalog.name,
                    origin=origin,
                    files=json.dumps(files),
                    loaded_at=datetime.now(UTC),
                )
            )

    def _from_snapshot(self, version: str) -> Catalog:
        with self._database.reading() as session:
            row = session.get(CatalogSnapshot, version)
            if row is None:
                raise NotFound(f"Catalogue version {version[:40]} is not kept here.")
            files: dict[str, str] = json.loads(row.files)
        with tempfile.TemporaryDirectory(prefix="catalog-") as folder:
            for name, text in files.items():
                Path(folder, name).write_text(text, encoding="utf-8", newline="")
            try:
                return self._load(Path(folder))
            except InvalidCatalog as error:
                raise NotFound(
                    f"Catalogue version {version[:40]} is kept, but its tables were written for an "
                    "earlier release and can no longer be read."
                ) from error


def _newest(session: Session) -> CatalogSnapshot | None:
    query = select(CatalogSnapshot).order_by(desc(col(CatalogSnapshot.loaded_at))).limit(1)
    return session.exec(query).first()


def _texts(folder: Path) -> dict[str, str]:
    tables = sorted(folder.glob("*.csv"))
    return {path.name: path.read_bytes().decode("utf-8") for path in tables}
