"""Quotes get a life: states, revisions, events. Quotes issued so far become sent revisions.

What was issued must stay as it was: numbers, lines and sums are taken over unchanged, with the
advice they rest on; what a piece costs comes from the price list of their catalogue.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zlib
from collections.abc import Mapping
from datetime import date
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

_ISSUER = {"name": "earlier release", "role": "sales_manager"}


def upgrade() -> None:
    """Make the tables and move the quotes into them."""
    op.create_table(
        "quote_case",
        sa.Column("number", sa.String(), primary_key=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.String(32), nullable=False),
        sa.Column("changed_at", sa.String(32), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("customer", sa.String(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("reference", sa.String(), nullable=False),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("total", sa.BigInteger(), nullable=False),
        sa.Column("customer_key", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
    )
    op.create_index("ix_quote_case_order", "quote_case", ["created_at", "number"])
    state = ["state", "valid_until", "currency", "total"]
    op.create_index("ix_quote_case_state", "quote_case", state)
    op.create_index("ix_quote_case_sum", "quote_case", ["currency", "total"])
    op.create_table(
        "quote_record",
        sa.Column("number", sa.String(), sa.ForeignKey("quote_case.number"), primary_key=True),
        sa.Column("record", sa.LargeBinary(), nullable=False),
    )
    op.create_table(
        "quote_revision",
        sa.Column("number", sa.String(), sa.ForeignKey("quote_case.number"), primary_key=True),
        sa.Column("revision", sa.Integer(), primary_key=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("record", sa.LargeBinary(), nullable=False),
    )
    _move_quotes(op.get_bind())
    op.drop_index("ix_quote_created_at", "quote")
    op.drop_table("quote")


def downgrade() -> None:
    """Refuse: what happened to quotes since then has no place in the old table."""
    raise NotImplementedError("quotes with revisions and events cannot go back")


def _move_quotes(bind: sa.Connection) -> None:
    meta = sa.MetaData()
    meta.reflect(bind, only=["quote", "quote_case", "quote_record", "quote_revision"])
    cases, records = meta.tables["quote_case"], meta.tables["quote_record"]
    revisions = meta.tables["quote_revision"]
    costs_by_version: dict[str, Mapping[str, str]] = {}
    for row in bind.execute(sa.select(meta.tables["quote"])).mappings():
        content = json.loads(zlib.decompress(row["record"]))
        version = content["catalog_version"]
        if version not in costs_by_version:
            costs_by_version[version] = _costs(bind, version)
        record = _revision(bind, content, costs_by_version[version])
        bind.execute(cases.insert().values(**_case(dict(row), content)))
        bind.execute(records.insert().values(number=row["number"], record=_packed(_past(content))))
        bind.execute(
            revisions.insert().values(
                number=row["number"], revision=1, state="sent", record=_packed(record)
            )
        )


def _case(row: Mapping[str, Any], content: Mapping[str, Any]) -> dict[str, Any]:
    who = content["customer"]
    words = (
        row["number"], who["name"], who["contact"], who["email"], content["reference"],
        content["title"], content["stack_title"],
    )  # fmt: skip
    return {
        "number": row["number"],
        "version": 1,
        "created_at": row["created_at"],
        "changed_at": row["created_at"],
        "state": "sent",
        "valid_until": date.fromisoformat(content["valid_until"]),
        "revision": 1,
        "customer": row["customer"],
        "title": row["title"],
        "reference": content["reference"],
        "currency": row["currency"],
        "total": row["total"],
        "customer_key": who["name"].casefold(),
        "words": "\n".join(words).casefold(),
    }


def _past(content: Mapping[str, Any]) -> dict[str, Any]:
    event = {"at": content["created_at"], "actor": _ISSUER, "what": "issued", "note": ""}
    return {"events": [event], "internal_notes": "", "links": [], "answer": None}


def _revision(
    bind: sa.Connection, content: dict[str, Any], costs: Mapping[str, str]
) -> dict[str, Any]:
    tax = {
        "rate_percent": content["tax_rate_percent"], "base": content["net"], "tax": content["tax"],
    }  # fmt: skip
    return {
        "number": content["number"],
        "revision": 1,
        "content": {**content, "taxes": [tax]},
        "basis": _basis(bind, content),
        "unit_costs": [costs.get(line["sku"], "0") for line in content["lines"]],
        "made_by": _ISSUER,
        "made_at": content["created_at"],
    }


def _basis(bind: sa.Connection, content: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the advice an offer rests on, as it is kept."""
    found = bind.execute(
        sa.text(
            "SELECT requirements, advice, catalog_version, engine_version FROM saved_advice "
            "WHERE token = :token"
        ),
        {"token": content.get("advice_token", "")},
    ).first()
    if found is None:
        return None
    stacks = json.loads(zlib.decompress(found.advice))["stacks"]
    stack = next((each for each in stacks if each["rank"] == content.get("stack_rank")), None)
    if stack is None:
        return None
    return {
        "requirements": json.loads(zlib.decompress(found.requirements)),
        "stack": stack,
        "catalog_version": found.catalog_version,
        "engine_version": found.engine_version,
    }


def _costs(bind: sa.Connection, version: str) -> Mapping[str, str]:
    """Return what a piece costs the seller, by SKU, from a catalogue as it is kept."""
    files = bind.execute(
        sa.text("SELECT files FROM catalog_snapshot WHERE version = :version"),
        {"version": version},
    ).scalar()
    if files is None:
        return {}
    tables: Mapping[str, str] = json.loads(zlib.decompress(files))
    text = tables.get("price_list.csv", "").removeprefix("\ufeff")
    comma = ";" if ";" in text.partition("\n")[0] else ","
    rows = csv.DictReader(io.StringIO(text), delimiter=comma)
    found = {row["sku"].strip(): row["cost_price"].strip() for row in rows}
    return {sku: cost for sku, cost in found.items() if re.fullmatch(r"[0-9]+(\.[0-9]+)?", cost)}


def _packed(record: object) -> bytes:
    return zlib.compress(json.dumps(record).encode(), level=6)
