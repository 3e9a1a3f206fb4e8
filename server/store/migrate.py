"""Brings a database file to the newest shape, without a configuration file."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Engine, inspect, text

STEPS = Path(__file__).parent / "migrations"


def migrate(engine: Engine) -> None:
    """Run the migrations that the database has not seen yet.

    Parameters
    ----------
    engine : Engine
        The database; called once at start, before anything else uses it.
    """
    if _seen(engine) == newest_step():
        return  # as at nearly every start: the tool that runs the steps need not be loaded
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(STEPS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    with engine.connect().execution_options(writer=True) as connection, connection.begin():
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def newest_step() -> str:
    """Return the number of the newest step, which its file's name begins with."""
    return max(path.name[1:5] for path in (STEPS / "versions").glob("v[0-9]*.py"))


def _seen(engine: Engine) -> str | None:
    """Return the newest step that a database has seen."""
    with engine.connect() as connection:
        if not inspect(connection).has_table("alembic_version"):
            return None
        return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
