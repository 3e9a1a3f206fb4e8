"""The tables; rows are made from records in ``mapping.py`` only."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import ClassVar

from sqlalchemy import Index
from sqlmodel import Field, SQLModel

from server.store.columns import ExactDecimal, PackedText, UtcTime


class CatalogSnapshot(SQLModel, table=True):
    """One version of the catalogue, as its tables' text."""

    __tablename__: ClassVar[str] = "catalog_snapshot"

    version: str = Field(primary_key=True)
    name: str
    origin: str
    """``demo`` (goes with the program) or ``folder`` (the distributor's own)."""
    files: str = Field(sa_type=PackedText)
    """JSON: file name → text."""
    loaded_at: datetime = Field(sa_type=UtcTime, index=True)


class AdviceRow(SQLModel, table=True):
    """One saved advice."""

    __tablename__: ClassVar[str] = "saved_advice"

    token: str = Field(primary_key=True)
    created_at: datetime = Field(sa_type=UtcTime, index=True)
    title: str
    fit: int
    marginal: int
    catalog_version: str = Field(foreign_key="catalog_snapshot.version", index=True)
    engine_version: str
    inquiry: str = Field(sa_type=PackedText)
    requirements: str = Field(sa_type=PackedText)
    advice: str = Field(sa_type=PackedText)


class NumberSeries(SQLModel, table=True):
    """The last number given out of a series in a year."""

    __tablename__: ClassVar[str] = "number_series"

    series: str = Field(primary_key=True)
    year: int = Field(primary_key=True)
    last: int


class QuoteCaseRow(SQLModel, table=True):
    """One quote, by what it is found by; short rows, so that a search reads little."""

    __tablename__: ClassVar[str] = "quote_case"
    __table_args__ = (
        Index("ix_quote_case_order", "created_at", "number"),
        Index("ix_quote_case_state", "state", "valid_until", "currency", "total"),
        Index("ix_quote_case_sum", "currency", "total"),
    )

    number: str = Field(primary_key=True)
    version: int
    created_at: datetime = Field(sa_type=UtcTime)
    changed_at: datetime = Field(sa_type=UtcTime)
    state: str
    """Of the current revision, as kept; ``expired`` follows from ``valid_until``."""
    valid_until: date
    revision: int
    """The current one."""
    customer: str
    title: str
    reference: str
    currency: str
    total: Decimal = Field(sa_type=ExactDecimal)
    customer_key: str
    """Case-folded, to be searched in."""
    words: str
    """Case-folded text that is searched in."""


class QuoteRecordRow(SQLModel, table=True):
    """What happened to a quote, and what was said about it."""

    __tablename__: ClassVar[str] = "quote_record"

    number: str = Field(primary_key=True, foreign_key="quote_case.number")
    record: str = Field(sa_type=PackedText)


class QuoteRevisionRow(SQLModel, table=True):
    """One revision of a quote; once it was sent, its record is never written again."""

    __tablename__: ClassVar[str] = "quote_revision"

    number: str = Field(primary_key=True, foreign_key="quote_case.number")
    revision: int = Field(primary_key=True)
    state: str
    record: str = Field(sa_type=PackedText)


class OutboxRow(SQLModel, table=True):
    """One event for the outside."""

    __tablename__: ClassVar[str] = "outbox"

    position: int | None = Field(default=None, primary_key=True)
    """Grows; the order in which events happened."""
    key: str = Field(index=True, unique=True)
    kind: str
    subject: str = Field(index=True)
    at: datetime = Field(sa_type=UtcTime)
    body: str = Field(sa_type=PackedText)
    state: str = Field(index=True)
    attempts: int
    due_at: datetime = Field(sa_type=UtcTime, index=True)
    first_tried_at: datetime | None = Field(default=None, sa_type=UtcTime)
    done_at: datetime | None = Field(default=None, sa_type=UtcTime)
    last_error: str = ""


class ReceivedInquiryRow(SQLModel, table=True):
    """One inquiry that a customer sent; the record holds everything."""

    __tablename__: ClassVar[str] = "received_inquiry"

    token: str = Field(primary_key=True)
    received_at: datetime = Field(sa_type=UtcTime, index=True)
    advice_token: str = Field(index=True)
    record: str = Field(sa_type=PackedText)


class ShareLinkRow(SQLModel, table=True):
    """One link to a quote; the link itself cannot be had from it."""

    __tablename__: ClassVar[str] = "share_link"

    digest: str = Field(primary_key=True)
    number: str = Field(foreign_key="quote_case.number", index=True)
    revision: int
    made_by: str
    made_at: datetime = Field(sa_type=UtcTime)
    expires_at: datetime = Field(sa_type=UtcTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcTime)
