"""Numbers of a series: no gap, no number twice, whoever asks at the same time."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.store.engine import Database, open_engine
from server.store.migrate import migrate
from server.store.numbers import next_number


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = Database(open_engine(tmp_path / "n.sqlite3"))
    migrate(database.engine)
    yield database
    database.close()


def take(database: Database, year: int = 2026, *, fail: bool = False) -> int:
    with database.writing() as session:
        number = next_number(session, "quote", year)
        if fail:
            raise RuntimeError
        return number


def test_each_year_starts_anew(database: Database) -> None:
    assert [take(database), take(database), take(database, 2027), take(database)] == [1, 2, 1, 3]


def test_a_number_whose_row_was_not_kept_is_given_again(database: Database) -> None:
    take(database)
    with pytest.raises(RuntimeError):
        take(database, fail=True)
    assert take(database) == 2


def test_fifty_at_once_get_fifty_numbers_in_a_row(database: Database) -> None:
    taken: list[int] = []

    def work(thread: int) -> None:
        for attempt in range(4):
            try:
                taken.append(take(database, fail=(thread + attempt) % 4 == 0))
            except RuntimeError:
                continue

    threads = [threading.Thread(target=work, args=(number,)) for number in range(50)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(taken) == list(range(1, 151))


def test_two_processes_worth_of_connections_share_one_series(tmp_path: Path) -> None:
    """Two databases on one file have no lock in common but the file's own."""
    pair = [Database(open_engine(tmp_path / "p.sqlite3")) for _ in range(2)]
    migrate(pair[0].engine)
    taken: list[int] = []
    threads = [
        threading.Thread(target=lambda d=database: taken.extend(take(d) for _ in range(40)))
        for database in pair
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(taken) == list(range(1, 81))
    for database in pair:
        database.close()
