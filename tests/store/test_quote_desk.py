"""One promise for every quote desk's store: in memory and in the database."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from sqlmodel import col, select

from server.errors import Conflict, NotFound, OutOfRange
from server.quoting.desk.case import CustomerAnswer, Event, QuoteCase, QuoteLink
from server.quoting.desk.outbox import OutboxMessage
from server.quoting.desk.ports import QuoteDesk, QuoteQuery
from server.quoting.desk.states import QuoteState
from server.quoting.order import Party
from server.store.engine import Database, open_engine
from server.store.migrate import migrate
from server.store.quote_desk import SqlQuoteDesk
from server.store.tables import OutboxRow, QuoteRevisionRow
from tests.fakes import MemoryQuoteDesk, a_case

TODAY = date(2026, 3, 10)
LATER = datetime(2026, 3, 5, 9, 0, tzinfo=UTC)


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = Database(open_engine(tmp_path / "q.sqlite3"))
    migrate(database.engine)
    yield database
    database.close()


@pytest.fixture(params=["memory", "sqlite"])
def desk(request: pytest.FixtureRequest, database: Database) -> QuoteDesk:
    return MemoryQuoteDesk() if request.param == "memory" else SqlQuoteDesk(database)


def touched(case: QuoteCase, what: str = "changed") -> QuoteCase:
    return case.with_event(Event(LATER, case.current.made_by, what, "because"))


def priced(case: QuoteCase, total: str, **content: object) -> QuoteCase:
    first = case.current
    changed = replace(first.content, total=Decimal(total), **content)  # type: ignore[arg-type]
    return case.with_revision(replace(first, content=changed), case.state)


def test_a_new_quote_comes_back_unchanged_but_for_its_number(desk: QuoteDesk) -> None:
    opened = desk.open_case(draft := a_case())
    assert opened == draft.numbered("Q-2026-0001")
    assert desk.get(opened.number) == opened


def test_everything_that_happened_comes_back(desk: QuoteDesk) -> None:
    case = touched(desk.open_case(a_case()))
    second = replace(case.current, revision=2)
    case = case.with_state(1, QuoteState.SUPERSEDED).with_revision(second, QuoteState.SENT)
    answer = CustomerAnswer(True, "A. Person", LATER, "thank you", 2)
    links = (QuoteLink("clone of", "Q-2026-0099"),)
    case = replace(case, answer=answer, links=links, internal_notes="good customer\nsince 2019")
    kept = desk.save(case, 1)
    assert kept == replace(case, version=2)
    assert desk.get(case.number) == kept


def test_quotes_of_a_year_are_numbered_from_one(desk: QuoteDesk) -> None:
    numbers = [desk.open_case(a_case(year=year)).number for year in (2026, 2026, 2027, 2026)]
    assert numbers == ["Q-2026-0001", "Q-2026-0002", "Q-2027-0001", "Q-2026-0003"]


def test_an_unknown_number_is_not_found(desk: QuoteDesk) -> None:
    with pytest.raises(NotFound):
        desk.get("Q-2026-9999")
    with pytest.raises(NotFound):
        desk.save(a_case().numbered("Q-2026-9999"), 1)


def test_a_quote_is_not_opened_twice_and_no_number_is_lost(desk: QuoteDesk) -> None:
    opened = desk.open_case(a_case())
    with pytest.raises(OutOfRange):
        desk.open_case(opened)
    assert desk.open_case(a_case()).number == "Q-2026-0002"


def test_the_second_of_two_editors_is_told_and_nothing_is_overwritten(desk: QuoteDesk) -> None:
    opened = desk.open_case(a_case())
    first = desk.save(replace(touched(opened), internal_notes="the first"), opened.version)
    with pytest.raises(Conflict, match=r"changed by A\. Seller, 2026-03-05 09:00"):
        desk.save(replace(touched(opened), internal_notes="the second"), opened.version)
    assert desk.get(opened.number) == first


def test_of_many_editors_at_once_one_is_kept(database: Database) -> None:
    desk = SqlQuoteDesk(database)
    opened = desk.open_case(a_case())
    told: list[str] = []

    def edit(name: str) -> None:
        try:
            told.append(desk.save(replace(touched(opened), internal_notes=name), 1).internal_notes)
        except Conflict:
            told.append("conflict")

    at_once(edit, [f"editor {n}" for n in range(20)])
    (kept,) = [each for each in told if each != "conflict"]
    assert len(told) == 20
    assert desk.get(opened.number).internal_notes == kept
    assert desk.get(opened.number).version == 2


def at_once(work: Callable[[str], object], names: list[str]) -> None:
    threads = [threading.Thread(target=work, args=(name,)) for name in names]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def test_fifty_at_once_get_fifty_numbers_and_fifty_quotes(database: Database) -> None:
    desk = SqlQuoteDesk(database)
    numbers: list[str] = []
    at_once(
        lambda name: numbers.append(desk.open_case(a_case(name)).number),
        [f"Customer {n}" for n in range(50)],
    )
    assert sorted(numbers) == [f"Q-2026-{serial:04d}" for serial in range(1, 51)]
    assert len({desk.get(number).customer for number in numbers}) == 50


@pytest.mark.parametrize(
    "state",
    [QuoteState.SENT, QuoteState.ACCEPTED, QuoteState.DECLINED, QuoteState.SUPERSEDED],
)
def test_what_was_sent_is_never_written_again(database: Database, state: QuoteState) -> None:
    desk = SqlQuoteDesk(database)
    opened = desk.open_case(a_case())
    sent = desk.save(touched(opened.with_state(1, QuoteState.SENT)), 1)
    before = record_of(database, sent.number)
    forged = replace(sent.current, content=replace(sent.current.content, total=Decimal("1.00")))
    desk.save(touched(sent.with_revision(forged, state)), 2)
    assert record_of(database, sent.number) == before
    assert desk.get(sent.number).revisions == sent.revisions
    assert desk.get(sent.number).standings == (state,)


def record_of(database: Database, number: str) -> str:
    with database.reading() as session:
        query = select(QuoteRevisionRow).where(col(QuoteRevisionRow.number) == number)
        return session.exec(query).one().record


def test_a_change_and_its_news_are_kept_together_or_not_at_all(database: Database) -> None:
    desk = SqlQuoteDesk(database)
    opened = desk.open_case(a_case())
    news = OutboxMessage("quote.sent", opened.number, LATER, "{}")
    desk.save(touched(opened), 1, [news])
    with pytest.raises(Conflict):
        desk.save(touched(opened), 1, [news])
    with database.reading() as session:
        (row,) = session.exec(select(OutboxRow)).all()
    assert (row.kind, row.subject) == ("quote.sent", opened.number)


def test_a_quote_survives_a_restart(tmp_path: Path) -> None:
    path = tmp_path / "restart.sqlite3"
    first = Database(open_engine(path))
    migrate(first.engine)
    opened = SqlQuoteDesk(first).open_case(a_case())
    first.close()
    second = Database(open_engine(path))
    migrate(second.engine)
    assert SqlQuoteDesk(second).get(opened.number) == opened
    second.close()


def found(desk: QuoteDesk, **query: object) -> list[str]:
    page = desk.search(QuoteQuery(**query), TODAY)  # type: ignore[arg-type]
    assert page.found >= len(page.headings)
    return [heading.customer for heading in page.headings]


@pytest.fixture
def stocked(desk: QuoteDesk) -> QuoteDesk:
    """Four quotes; the last two are sent, one of them valid until the end of March."""
    desk.open_case(priced(a_case("Äther Labs", minute=1), "100.00"))
    desk.open_case(priced(a_case("Beam 100% Ltd", minute=3), "2500.50", title="Mirror coater"))
    third = desk.open_case(priced(a_case("Cryo_Works", minute=2), "9000.00"))
    desk.save(touched(third.with_state(1, QuoteState.SENT)), 1)
    old = priced(a_case("Dry Ltd", minute=4), "700", currency="JPY", valid_until=date(2026, 3, 9))
    fourth = desk.open_case(old)
    desk.save(touched(fourth.with_state(1, QuoteState.SENT)), 1)
    return desk


@pytest.mark.parametrize(
    ("query", "customers"),
    [
        ({}, ["Dry Ltd", "Beam 100% Ltd", "Cryo_Works", "Äther Labs"]),
        ({"customer": "äTHER"}, ["Äther Labs"]),
        ({"customer": "ltd"}, ["Dry Ltd", "Beam 100% Ltd"]),
        ({"text": "coater mirror"}, ["Beam 100% Ltd"]),
        ({"text": "%"}, ["Beam 100% Ltd"]),
        ({"text": "_"}, ["Cryo_Works"]),
        ({"text": "q-2026-0003"}, ["Cryo_Works"]),
        ({"text": "nobody"}, []),
        ({"states": frozenset({QuoteState.DRAFT})}, ["Beam 100% Ltd", "Äther Labs"]),
        ({"states": frozenset({QuoteState.SENT})}, ["Cryo_Works"]),
        ({"states": frozenset({QuoteState.EXPIRED})}, ["Dry Ltd"]),
        (
            {"states": frozenset({QuoteState.EXPIRED, QuoteState.SENT})},
            ["Dry Ltd", "Cryo_Works"],
        ),
        ({"least": Decimal(700)}, ["Dry Ltd", "Beam 100% Ltd", "Cryo_Works"]),
        ({"largest": Decimal("2500.50"), "currency": "EUR"}, ["Beam 100% Ltd", "Äther Labs"]),
        ({"since": date(2026, 3, 2)}, []),
        ({"until": date(2026, 3, 1)}, ["Dry Ltd", "Beam 100% Ltd", "Cryo_Works", "Äther Labs"]),
        ({"until": date(2026, 2, 28)}, []),
        ({"until": date.max, "since": date.min}, 4),
        ({"page": 2, "page_size": 3}, ["Äther Labs"]),
        ({"page": 9}, []),
    ],
)
def test_quotes_are_found(
    stocked: QuoteDesk, query: dict[str, object], customers: list[str] | int
) -> None:
    seen = found(stocked, **query)
    assert seen == customers or len(seen) == customers


def test_a_page_tells_how_many_there_are_and_what_they_come_to(stocked: QuoteDesk) -> None:
    page = stocked.search(QuoteQuery(page_size=3), TODAY)
    assert (page.found, page.pages, len(page.headings)) == (4, 2, 3)
    assert page.sums == {"EUR": Decimal("11600.50"), "JPY": Decimal(700)}


def test_a_sum_beyond_the_databases_whole_numbers_is_exact(desk: QuoteDesk) -> None:
    amount = Decimal("900000000000.01")
    for _ in range(12):  # 12 times that in steps of 1/10 000 is above 2^63 / 100
        desk.open_case(priced(a_case(), str(amount)))
    assert desk.search(QuoteQuery(), TODAY).sums == {"EUR": 12 * amount}


def test_a_heading_tells_the_state_of_the_day(stocked: QuoteDesk) -> None:
    states = {h.customer: h.state for h in stocked.search(QuoteQuery(), TODAY).headings}
    assert states["Dry Ltd"] is QuoteState.EXPIRED
    assert states["Cryo_Works"] is QuoteState.SENT
    later = {h.customer: h.state for h in stocked.search(QuoteQuery(), date(2026, 4, 1)).headings}
    assert later["Cryo_Works"] is QuoteState.EXPIRED


def test_what_a_quote_is_found_by_follows_its_changes(desk: QuoteDesk) -> None:
    opened = desk.open_case(a_case("Old Name"))
    content = replace(opened.current.content, customer=Party("New Name"))
    renamed = opened.with_revision(replace(opened.current, content=content), opened.state)
    desk.save(touched(renamed), 1)
    assert found(desk, customer="old") == []
    assert found(desk, text="new name") == ["New Name"]
