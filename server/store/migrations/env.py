"""Runs the steps on the connection that ``store.migrate`` hands over."""

from __future__ import annotations

from alembic import context
from sqlmodel import SQLModel

from server.store import tables  # noqa: F401 (registers the tables)

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=SQLModel.metadata,
    render_as_batch=True,
)
context.run_migrations()
