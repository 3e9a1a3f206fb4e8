"""The embedded database: one file, many readers, one writer at a time."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine, event
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlalchemy.pool import ConnectionPoolEntry
from sqlmodel import Session, create_engine

BUSY_TIMEOUT_MS = 20_000


class Database:
    """Sessions that read, and sessions that write one after the other.

    A plain BEGIN that turns into a write fails with "database is locked" as soon as two do it at
    once; writers therefore take the lock of the file at BEGIN, and queue for it in this process.
    """

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.on_news: list[Callable[[], None]] = []
        """Called after a commit that kept events for the outside."""
        self._one_writer = threading.Lock()

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Yield a session for reading."""
        with Session(self.engine) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Yield a session whose work is committed at the end, or rolled back on any error."""
        with (
            self._one_writer,
            self.engine.connect().execution_options(writer=True) as connection,
            Session(bind=connection, info={"on_news": self.on_news}) as session,
            session.begin(),
        ):
            yield session

    def close(self) -> None:
        """Give back every connection."""
        self.engine.dispose()


def open_engine(path: Path) -> Engine:
    """Return the engine of a database file, made when it is not there.

    Parameters
    ----------
    path : Path
        The file; its folder must exist.
    """
    engine = create_engine(f"sqlite:///{path}", connect_args={"check_same_thread": False})
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(connection: DBAPIConnection, _entry: ConnectionPoolEntry) -> None:
    assert isinstance(connection, sqlite3.Connection)  # noqa: S101 (the driver of the address above)
    connection.isolation_level = None  # this module says BEGIN, not the driver
    for pragma in (
        "journal_mode=WAL",
        "foreign_keys=ON",
        "synchronous=NORMAL",
        f"busy_timeout={BUSY_TIMEOUT_MS}",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    writer = connection.get_execution_options().get("writer", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writer else "BEGIN")
