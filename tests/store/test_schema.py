"""The tables that the steps build are those that the code declares; money and times stay exact."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from alembic.script import ScriptDirectory
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Engine, inspect
from sqlalchemy.dialects import sqlite
from sqlalchemy.exc import IntegrityError
from sqlmodel import SQLModel, select

from server.store import tables
from server.store.columns import LARGEST_AMOUNT, ExactDecimal, PackedText, UtcTime
from server.store.engine import Database, open_engine
from server.store.migrate import STEPS, migrate, newest_step

DIALECT = sqlite.dialect()


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = Database(open_engine(tmp_path / "s.sqlite3"))
    migrate(database.engine)
    yield database
    database.close()


def shape_of(engine: Engine) -> dict[str, Any]:
    """Return columns, keys and indexes of every table but the log of steps."""
    seen = inspect(engine)
    return {
        table: {
            "columns": sorted(
                (c["name"], str(c["type"]), c["nullable"]) for c in seen.get_columns(table)
            ),
            "key": seen.get_pk_constraint(table)["constrained_columns"],
            "foreign": [f["referred_table"] for f in seen.get_foreign_keys(table)],
            "indexes": sorted(str(i["name"]) for i in seen.get_indexes(table)),
        }
        for table in seen.get_table_names()
        if table != "alembic_version"
    }


def test_a_database_that_has_seen_every_step_is_left_alone(tmp_path: Path) -> None:
    # In a process of its own, where nothing else can have loaded the tool that runs the steps.
    code = (
        "import sys; from pathlib import Path; from server.store.engine import open_engine; "
        "from server.store.migrate import migrate; "
        f"migrate(open_engine(Path({str(tmp_path / 's.db')!r}))); print('alembic' in sys.modules)"
    )
    told = [
        subprocess.run(  # noqa: S603  # our own code
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.strip()
        for _ in range(2)
    ]
    assert told == ["True", "False"]


def test_the_newest_step_is_that_of_the_tool() -> None:
    scripts = ScriptDirectory(str(STEPS))
    assert scripts.get_current_head() == newest_step()


def test_the_steps_build_the_tables_the_code_declares(tmp_path: Path) -> None:
    migrated, declared = open_engine(tmp_path / "m.db"), open_engine(tmp_path / "d.db")
    migrate(migrated)
    SQLModel.metadata.create_all(declared)
    assert shape_of(migrated) == shape_of(declared)
    migrated.dispose()
    declared.dispose()


def test_running_the_steps_again_changes_nothing(database: Database) -> None:
    before = shape_of(database.engine)
    migrate(database.engine)
    assert shape_of(database.engine) == before


def test_a_row_that_points_nowhere_is_refused(database: Database) -> None:
    row = tables.AdviceRow(
        token="t",  # noqa: S106 (the name of a link)
        created_at=datetime.now(UTC), title="", fit=0, marginal=0,
        catalog_version="nobody", engine_version="", inquiry="{}", requirements="{}", advice="{}",
    )  # fmt: skip
    with pytest.raises(IntegrityError), database.writing() as session:
        session.add(row)


def test_a_failed_write_leaves_nothing_behind(database: Database) -> None:
    def fail_half_way() -> None:
        with database.writing() as session:
            session.add(tables.NumberSeries(series="x", year=2026, last=1))
            session.flush()
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_half_way()
    with database.reading() as session:
        assert session.exec(select(tables.NumberSeries)).all() == []


def test_many_writers_queue_and_none_is_turned_away(database: Database) -> None:
    failures: list[Exception] = []

    def write(thread: int) -> None:
        try:
            for year in range(10):
                with database.writing() as session:
                    session.add(tables.NumberSeries(series=f"s{thread}", year=year, last=0))
        except Exception as error:  # noqa: BLE001 (whatever it is, the test shows it)
            failures.append(error)

    threads = [threading.Thread(target=write, args=(number,)) for number in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    with database.reading() as session:
        assert len(session.exec(select(tables.NumberSeries)).all()) == 200


@given(amount=st.decimals(-(10**12), 10**12, places=4))
def test_an_amount_comes_back_exactly(amount: Decimal) -> None:
    column = ExactDecimal()
    stored = column.process_bind_param(amount, DIALECT)
    assert isinstance(stored, int)
    assert column.process_result_value(stored, DIALECT) == amount


@pytest.mark.parametrize("amount", [Decimal("0.00001"), LARGEST_AMOUNT * 2])
def test_an_amount_that_would_be_bent_is_refused(amount: Decimal) -> None:
    with pytest.raises(ValueError, match="exactly"):
        ExactDecimal().process_bind_param(amount, DIALECT)


@given(
    first=st.datetimes(timezones=st.just(UTC)),
    second=st.datetimes(timezones=st.just(timezone(timedelta(hours=5)))),
)
def test_times_keep_their_order_as_text(first: datetime, second: datetime) -> None:
    column = UtcTime()
    one, two = (column.process_bind_param(time, DIALECT) for time in (first, second))
    assert one is not None
    assert two is not None
    assert (one < two) == (first < second)
    assert column.process_result_value(two, DIALECT) == second


def test_a_time_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="zone"):
        UtcTime().process_bind_param(datetime(2026, 1, 1), DIALECT)  # noqa: DTZ001


@given(text=st.text())
def test_a_long_text_comes_back_unchanged(text: str) -> None:
    column = PackedText()
    assert column.process_result_value(column.process_bind_param(text, DIALECT), DIALECT) == text
