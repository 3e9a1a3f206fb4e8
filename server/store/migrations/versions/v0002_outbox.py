"""Events for the outside, kept until they are delivered."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "outbox",
        sa.Column("position", sa.Integer(), primary_key=True),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("due_at", sa.String(32), nullable=False),
        sa.Column("first_tried_at", sa.String(32), nullable=True),
        sa.Column("done_at", sa.String(32), nullable=True),
        sa.Column("last_error", sa.String(), nullable=False),
    )
    op.create_index("ix_outbox_key", "outbox", ["key"], unique=True)
    for column in ("subject", "state", "due_at"):
        op.create_index(f"ix_outbox_{column}", "outbox", [column])


def downgrade() -> None:
    """Drop the table; events that were not delivered are lost."""
    op.drop_table("outbox")
