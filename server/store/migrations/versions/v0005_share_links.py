"""Links by which customers see quotes."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "share_link",
        sa.Column("digest", sa.String(), primary_key=True),
        sa.Column("number", sa.String(), sa.ForeignKey("quote_case.number"), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("made_at", sa.String(32), nullable=False),
        sa.Column("expires_at", sa.String(32), nullable=False),
        sa.Column("revoked_at", sa.String(32), nullable=True),
    )
    op.create_index("ix_share_link_number", "share_link", ["number"])


def downgrade() -> None:
    """Drop the table; every link ends."""
    op.drop_table("share_link")
