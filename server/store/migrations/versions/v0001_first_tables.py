"""First tables: catalogue versions, saved advices, quotes and their numbers.

From here on, saved advices and issued quotes must stay readable for good.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "catalog_snapshot",
        sa.Column("version", sa.String(), primary_key=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("origin", sa.String(), nullable=False),
        sa.Column("files", sa.LargeBinary(), nullable=False),
        sa.Column("loaded_at", sa.String(32), nullable=False),
    )
    op.create_index("ix_catalog_snapshot_loaded_at", "catalog_snapshot", ["loaded_at"])
    op.create_table(
        "saved_advice",
        sa.Column("token", sa.String(), primary_key=True),
        sa.Column("created_at", sa.String(32), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("fit", sa.Integer(), nullable=False),
        sa.Column("marginal", sa.Integer(), nullable=False),
        sa.Column(
            "catalog_version",
            sa.String(),
            sa.ForeignKey("catalog_snapshot.version"),
            nullable=False,
        ),
        sa.Column("engine_version", sa.String(), nullable=False),
        sa.Column("inquiry", sa.LargeBinary(), nullable=False),
        sa.Column("requirements", sa.LargeBinary(), nullable=False),
        sa.Column("advice", sa.LargeBinary(), nullable=False),
    )
    op.create_index("ix_saved_advice_created_at", "saved_advice", ["created_at"])
    op.create_index("ix_saved_advice_catalog_version", "saved_advice", ["catalog_version"])
    op.create_table(
        "number_series",
        sa.Column("series", sa.String(), primary_key=True),
        sa.Column("year", sa.Integer(), primary_key=True),
        sa.Column("last", sa.Integer(), nullable=False),
    )
    op.create_table(
        "quote",
        sa.Column("number", sa.String(), primary_key=True),
        sa.Column("created_at", sa.String(32), nullable=False),
        sa.Column("customer", sa.String(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("total", sa.BigInteger(), nullable=False),
        sa.Column("record", sa.LargeBinary(), nullable=False),
    )
    op.create_index("ix_quote_created_at", "quote", ["created_at"])


def downgrade() -> None:
    """Drop the tables and everything in them."""
    for table in ("quote", "number_series", "saved_advice", "catalog_snapshot"):
        op.drop_table(table)
