"""One promise for every store of quotes: in memory and in the database."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from server.errors import NotFound, OutOfRange
from server.quoting.ports import QuoteStore
from server.store.engine import Database, open_engine
from server.store.migrate import migrate
from server.store.quotes import SqlQuoteStore
from tests.fakes import MemoryQuoteStore, a_draft


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = Database(open_engine(tmp_path / "q.sqlite3"))
    migrate(database.engine)
    yield database
    database.close()


@pytest.fixture(params=["memory", "sqlite"])
def quotes(request: pytest.FixtureRequest, database: Database) -> QuoteStore:
    return MemoryQuoteStore() if request.param == "memory" else SqlQuoteStore(database)


def test_an_issued_quote_comes_back_unchanged(quotes: QuoteStore) -> None:
    issued = quotes.issue(draft := a_draft())
    assert issued == replace(draft, number=issued.number)
    assert quotes.get(issued.number) == issued


def test_quotes_of_a_year_are_numbered_from_one(quotes: QuoteStore) -> None:
    years = (2026, 2026, 2027, 2026)
    numbers = [quotes.issue(a_draft(year=year)).number for year in years]
    assert numbers == ["Q-2026-0001", "Q-2026-0002", "Q-2027-0001", "Q-2026-0003"]


def test_an_unknown_number_is_not_found(quotes: QuoteStore) -> None:
    with pytest.raises(NotFound):
        quotes.get("2026-9999")


def test_an_issued_quote_is_not_issued_again(quotes: QuoteStore) -> None:
    issued = quotes.issue(a_draft())
    with pytest.raises(OutOfRange):
        quotes.issue(issued)
    assert quotes.issue(a_draft()).number == "Q-2026-0002"


def test_the_newest_quote_heads_the_list(quotes: QuoteStore) -> None:
    for minute, customer in ((1, "A"), (3, "B"), (2, "C")):
        quotes.issue(a_draft(customer, minute=minute))
    assert [line.customer for line in quotes.recent(2)] == ["B", "C"]
    assert quotes.recent(1)[0].total == a_draft().total


def test_fifty_at_once_get_fifty_numbers_and_fifty_quotes(database: Database) -> None:
    store = SqlQuoteStore(database)
    numbers: list[str] = []
    threads = [
        threading.Thread(target=lambda n=name: numbers.append(store.issue(a_draft(n)).number))
        for name in (f"Customer {index}" for index in range(50))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(numbers) == [f"Q-2026-{serial:04d}" for serial in range(1, 51)]
    assert len({store.get(number).customer.name for number in numbers}) == 50


def test_a_quote_survives_a_restart(tmp_path: Path) -> None:
    path = tmp_path / "restart.sqlite3"
    first = Database(open_engine(path))
    migrate(first.engine)
    issued = SqlQuoteStore(first).issue(a_draft())
    first.close()
    second = Database(open_engine(path))
    migrate(second.engine)
    assert SqlQuoteStore(second).get(issued.number) == issued
    second.close()
