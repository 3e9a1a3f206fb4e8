"""Quotes issued before they had a life become sent revisions, unchanged."""

from __future__ import annotations

import json
import zlib
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import Engine, text

from server.errors import Conflict
from server.quoting.desk.ports import QuoteQuery
from server.quoting.desk.states import QuoteState
from server.store.engine import Database, open_engine
from server.store.mapping import packed
from server.store.migrate import STEPS, migrate
from server.store.quote_desk import SqlQuoteDesk
from tests.fakes import a_case, a_draft, a_saved_advice

GROWN = (
    "revision", "discount_percent", "discount", "freight", "taxes", "price_list", "texts",
    "rounding", "dangerous_goods", "export_hints", "locale",
)  # fmt: skip
GROWN_LINE = ("choice", "discount_percent", "tax_rate_percent", "from_stock")


def at_step(engine: Engine, step: str) -> None:
    config = Config()
    config.set_main_option("script_location", str(STEPS))
    config.set_main_option("path_separator", "os")
    with engine.connect().execution_options(writer=True) as connection, connection.begin():
        config.attributes["connection"] = connection
        command.upgrade(config, step)


def old_quote(number: str, token: str) -> str:
    """Return a quote as the first release kept it."""
    content = json.loads(packed(a_draft()))
    for name in GROWN:
        del content[name]
    for line in content["lines"]:
        for name in GROWN_LINE:
            del line[name]
    return json.dumps({**content, "number": number, "advice_token": token, "stack_rank": 1})


def deflated(plain: str) -> bytes:
    return zlib.compress(plain.encode())


@pytest.fixture
def desk(tmp_path: Path) -> SqlQuoteDesk:
    """A database of the first release with two quotes, brought to the newest shape."""
    database = Database(open_engine(tmp_path / "old.sqlite3"))
    at_step(database.engine, "0001")
    saved = a_saved_advice("token-1")
    prices = json.dumps({"price_list.csv": "sku,price,cost_price\nT-PUMP,3100.00,2077.77\n"})
    with database.engine.connect().execution_options(writer=True) as link, link.begin():
        link.execute(
            text("INSERT INTO catalog_snapshot VALUES ('v-one','test','demo',:f,'2026-03-01')"),
            {"f": deflated(prices)},
        )
        link.execute(
            text(
                "INSERT INTO saved_advice VALUES ('token-1','2026-03-01','Oven',1,0,'v-one','7',"
                ":i,:r,:a)"
            ),
            {
                "i": deflated("{}"),
                "r": deflated(packed(saved.requirements)),
                "a": deflated(packed(saved.advice)),
            },
        )
        link.execute(text("INSERT INTO number_series VALUES ('quote',2026,2)"))
        for number, token in (("2026-0001", "token-1"), ("2026-0002", "lost")):
            link.execute(
                text(
                    "INSERT INTO quote VALUES (:n,'2026-03-01T12:00:00.000000+00:00',"
                    "'Institute of Thin Films','Oven','EUR',36890000,:r)"
                ),
                {"n": number, "r": deflated(old_quote(number, token))},
            )
    migrate(database.engine)
    return SqlQuoteDesk(database)


def test_an_old_quote_is_a_sent_revision_with_the_same_lines_and_sums(desk: SqlQuoteDesk) -> None:
    case = desk.get("2026-0001")
    old = a_draft()
    content = case.current.content
    assert case.standings == (QuoteState.SENT,)
    assert (content.number, content.total, content.tax) == ("2026-0001", old.total, old.tax)
    assert content.lines == old.lines
    assert content.margins == old.margins
    assert [(t.base, t.tax) for t in content.taxes] == [(old.net, old.tax)]
    assert [event.what for event in case.events] == ["issued"]


def test_it_rests_on_the_advice_that_was_kept(desk: SqlQuoteDesk) -> None:
    basis = desk.get("2026-0001").current.basis
    saved = a_saved_advice("token-1")
    assert basis is not None
    assert basis.requirements == saved.requirements
    assert basis.stack == saved.advice.stacks[0]
    assert (basis.engine_version, basis.catalog_version) == ("7", "v-one")
    assert desk.get("2026-0002").current.basis is None


def test_its_cost_comes_from_the_price_list_of_its_catalogue(desk: SqlQuoteDesk) -> None:
    assert desk.get("2026-0001").current.margin.cost == Decimal("2077.77")


def test_it_is_found_expires_and_numbers_go_on(desk: SqlQuoteDesk) -> None:
    query = QuoteQuery(customer="thin films", least=Decimal(3689), largest=Decimal(3689))
    found = desk.search(query, date(2026, 4, 1))
    assert [(h.number, h.state) for h in found.headings] == [
        ("2026-0002", QuoteState.EXPIRED), ("2026-0001", QuoteState.EXPIRED),
    ]  # fmt: skip
    assert desk.open_case(a_case()).number == "Q-2026-0003"


def test_it_can_be_changed_by_nobody_but_answered(desk: SqlQuoteDesk) -> None:
    case = desk.get("2026-0001")
    accepted = desk.save(case.with_state(1, QuoteState.ACCEPTED), 1)
    assert desk.get("2026-0001").current == accepted.current == case.current
    with pytest.raises(Conflict):
        desk.save(case, 1)
