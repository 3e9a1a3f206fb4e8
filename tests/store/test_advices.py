"""One promise for every store of advices: in memory and in the database."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from server.errors import NotFound
from server.fit.ports import AdviceStore
from server.store.advices import SqlAdviceStore
from server.store.catalogs import Origin
from server.store.engine import Database, open_engine
from server.store.migrate import migrate
from tests.fakes import MemoryAdviceStore, a_saved_advice
from tests.store.test_catalogs import a_store, write_tables


@pytest.fixture(params=["memory", "sqlite"])
def advices(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[AdviceStore]:
    if request.param == "memory":
        yield MemoryAdviceStore()
        return
    database = Database(open_engine(tmp_path / "a.sqlite3"))
    migrate(database.engine)
    a_store(database).fill(write_tables(tmp_path / "tables", "v-one"), Origin.DEMO)
    yield SqlAdviceStore(database)
    database.close()


def test_a_saved_advice_comes_back_unchanged(advices: AdviceStore) -> None:
    advices.add(saved := a_saved_advice())
    assert advices.get(saved.token) == saved


def test_an_unknown_token_is_not_found(advices: AdviceStore) -> None:
    with pytest.raises(NotFound):
        advices.get("nobody")


def test_the_newest_advice_heads_the_list(advices: AdviceStore) -> None:
    for minute in (3, 1, 2):
        advices.add(a_saved_advice(f"t{minute}", minute))
    assert [line.token for line in advices.recent(2)] == ["t3", "t2"]
    assert advices.recent(2)[0].fit == 1


def test_an_advice_survives_a_restart(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite3"
    saved = a_saved_advice()
    for start in (1, 2):
        database = Database(open_engine(path))
        migrate(database.engine)
        a_store(database).fill(write_tables(tmp_path / "tables", "v-one"), Origin.DEMO)
        store = SqlAdviceStore(database)
        if start == 1:
            store.add(saved)
        assert store.get(saved.token) == saved
        database.close()
