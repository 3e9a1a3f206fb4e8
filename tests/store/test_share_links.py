"""One promise for every store of links: in memory and in the database."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy.exc import IntegrityError

from server.errors import NotFound
from server.quoting.desk.sharing import ShareLink, ShareLinks, digest_of
from server.store.engine import Database, open_engine
from server.store.migrate import migrate
from server.store.quote_desk import SqlQuoteDesk
from server.store.share_links import SqlShareLinks
from tests.outside import NOON, MemoryShareLinks
from tests.quoting.desk.rooms import Bench

LINK = ShareLink(digest_of("a"), "Q-2026-0001", 1, "Ann", NOON, NOON + timedelta(days=60))


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = Database(open_engine(tmp_path / "l.sqlite3"))
    migrate(database.engine)
    bench = Bench(desk=SqlQuoteDesk(database))  # type: ignore[arg-type]
    assert bench.begin().number == LINK.number
    yield database
    database.close()


@pytest.fixture(params=["memory", "sqlite"])
def links(request: pytest.FixtureRequest, database: Database) -> ShareLinks:
    return MemoryShareLinks() if request.param == "memory" else SqlShareLinks(database)


def test_a_link_comes_back_by_its_fingerprint_alone(links: ShareLinks) -> None:
    links.add(LINK)
    assert links.by_digest(LINK.digest) == LINK
    assert links.by_digest(digest_of("b")) is None


def test_the_newest_link_of_a_quote_comes_first(links: ShareLinks) -> None:
    later = replace(LINK, digest=digest_of("b"), made_at=NOON + timedelta(hours=1))
    for link in (LINK, later):
        links.add(link)
    assert links.of_quote(LINK.number) == (later, LINK)
    assert links.of_quote("Q-2026-0002") == ()


def test_the_first_end_of_a_link_stays(links: ShareLinks) -> None:
    links.add(LINK)
    for hours in (1, 2):
        links.revoke(LINK.digest, NOON + timedelta(hours=hours))
    kept = links.by_digest(LINK.digest)
    assert kept is not None
    assert kept.revoked_at == NOON + timedelta(hours=1)
    assert not kept.works_at(NOON)
    with pytest.raises(NotFound):
        links.revoke(digest_of("b"), NOON)


def test_a_link_to_no_quote_is_refused(database: Database) -> None:
    with pytest.raises(IntegrityError):
        SqlShareLinks(database).add(replace(LINK, number="Q-2026-9999"))
