"""Inquiries that customers send."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "received_inquiry",
        sa.Column("token", sa.String(), primary_key=True),
        sa.Column("received_at", sa.String(32), nullable=False),
        sa.Column("advice_token", sa.String(), nullable=False),
        sa.Column("record", sa.LargeBinary(), nullable=False),
    )
    for column in ("received_at", "advice_token"):
        op.create_index(f"ix_received_inquiry_{column}", "received_inquiry", [column])


def downgrade() -> None:
    """Drop the table and what was sent."""
    op.drop_table("received_inquiry")
