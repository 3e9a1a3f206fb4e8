"""Brings a database file to the newest shape, without a configuration file."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Engine


def migrate(engine: Engine) -> None:
    """Run the migrations that the database has not seen yet.

    Parameters
    ----------
    engine : Engine
        The database; called once at start, before anything else uses it.
    """
    config = Config()
    config.set_main_option(
        "script_location", str(Path(__file__).parent / "migrations").replace("%", "%%")
    )
    config.set_main_option("path_separator", "os")
    with engine.connect().execution_options(writer=True) as connection, connection.begin():
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
