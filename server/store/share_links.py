"""Links to quotes in the database, by their fingerprints."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import desc
from sqlmodel import col, select

from server.errors import NotFound
from server.quoting.desk.sharing import ShareLink
from server.store.engine import Database
from server.store.tables import ShareLinkRow


class SqlShareLinks:
    """Satisfies ``quoting.desk.sharing.ShareLinks``."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, link: ShareLink) -> None:
        """Keep a link."""
        with self._database.writing() as session:
            session.add(ShareLinkRow(**vars(link)))

    def by_digest(self, digest: str) -> ShareLink | None:
        """Return the link of a fingerprint."""
        with self._database.reading() as session:
            row = session.get(ShareLinkRow, digest)
            return None if row is None else _link(row)

    def of_quote(self, number: str) -> tuple[ShareLink, ...]:
        """Return the links of a quote, newest first."""
        query = (
            select(ShareLinkRow)
            .where(ShareLinkRow.number == number)
            .order_by(desc(col(ShareLinkRow.made_at)))
        )
        with self._database.reading() as session:
            return tuple(_link(row) for row in session.exec(query))

    def revoke(self, digest: str, now: datetime) -> None:
        """End a link; the first end stays."""
        with self._database.writing() as session:
            row = session.get(ShareLinkRow, digest)
            if row is None:
                raise NotFound("There is no such link.")
            row.revoked_at = row.revoked_at or now
            session.add(row)


def _link(row: ShareLinkRow) -> ShareLink:
    return ShareLink(**row.model_dump())
