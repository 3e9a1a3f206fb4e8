"""How long the list of quotes takes with 20,000 of them.

Run by name: ``python3 -m tests tests/bench/bench_quotes.py -n 0 --benchmark-only``.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from server.quoting.desk.ports import QuoteQuery
from server.quoting.desk.states import QuoteState
from server.store.engine import Database, open_engine
from server.store.mapping import case_row, record_row
from server.store.migrate import migrate
from server.store.quote_desk import SqlQuoteDesk
from tests.fakes import a_case

COUNT = 20_000
TODAY = date(2026, 3, 10)
LONGEST_S = 0.050
STATES = (QuoteState.DRAFT, QuoteState.SENT, QuoteState.ACCEPTED, QuoteState.DECLINED)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SqlQuoteDesk]:
    database = Database(open_engine(tmp_path_factory.mktemp("bench") / "q.sqlite3"))
    migrate(database.engine)
    notes = " ".join(f"{n * 7919 % 10_007:x}" for n in range(500))  # hard to deflate
    opened = SqlQuoteDesk(database).open_case(replace(a_case(), internal_notes=notes))
    like, record = case_row(opened), record_row(opened)
    start: datetime = like.created_at
    columns = like.model_dump()
    with database.writing() as session:
        for serial in range(2, COUNT + 1):
            number, customer = f"Q-2026-{serial:04d}", f"Laboratory {serial % 997} of Physics"
            changes = {
                "number": number,
                "created_at": start + timedelta(seconds=serial),
                "state": STATES[serial % len(STATES)],
                "total": Decimal(serial),
                "customer": customer,
                "customer_key": customer.casefold(),
                "words": like.words.replace(like.customer_key, customer.casefold()),
            }
            session.add(type(like)(**{**columns, **changes}))
            session.add(type(record)(number=number, record=record.record))
    yield SqlQuoteDesk(database)
    database.close()


@pytest.mark.parametrize(
    "query",
    [
        QuoteQuery(),
        QuoteQuery(states=frozenset({QuoteState.SENT, QuoteState.EXPIRED})),
        QuoteQuery(customer="laboratory 17 "),
        QuoteQuery(text="physics 996"),
        QuoteQuery(least=Decimal(5000), largest=Decimal(6000), currency="EUR"),
        QuoteQuery(since=date(2026, 3, 1), until=date(2026, 3, 1)),
        QuoteQuery(page=400),
    ],
    ids=["all", "states", "customer", "text", "value", "days", "last-page"],
)
def test_a_page_of_20_000_quotes(benchmark: Any, desk: SqlQuoteDesk, query: QuoteQuery) -> None:
    page = benchmark(desk.search, query, TODAY)
    assert page.headings
    spent = []
    for _ in range(5):
        start = time.process_time()
        desk.search(query, TODAY)
        spent.append(time.process_time() - start)
    assert min(spent) < LONGEST_S


def test_reading_one_quote(benchmark: Any, desk: SqlQuoteDesk) -> None:
    assert benchmark(desk.get, "Q-2026-0001").version == 1


def test_the_list_is_that_of_the_newest(desk: SqlQuoteDesk) -> None:
    page = desk.search(replace(QuoteQuery(), page_size=1), TODAY)
    assert (page.headings[0].number, page.found) == (f"Q-2026-{COUNT}", COUNT)
