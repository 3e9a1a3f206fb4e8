"""One promise for every outbox: in memory and in the database."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from server.errors import NotFound
from server.quoting.desk.delivery import (
    FIRST_PAUSE_S,
    GIVE_UP_AFTER,
    LEASE,
    LONGEST_PAUSE_S,
    Delivery,
    DeliveryCounts,
    DeliveryState,
    Outbox,
    again_at,
    pause_s,
)
from server.quoting.desk.outbox import OutboxMessage
from server.store.engine import Database, open_engine
from server.store.migrate import migrate
from server.store.outbox import SqlOutbox, keep_messages
from tests.outside import NOON, MemoryOutbox, a_message

Put = Callable[..., None]
Pair = tuple[Outbox, Put]


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = Database(open_engine(tmp_path / "o.sqlite3"))
    migrate(database.engine)
    yield database
    database.close()


@pytest.fixture(params=["memory", "sqlite"])
def pair(request: pytest.FixtureRequest, database: Database) -> Pair:
    """Return an outbox and what puts events into it."""
    if request.param == "memory":
        memory = MemoryOutbox()
        return memory, lambda *messages: memory.put(messages)

    def put(*messages: OutboxMessage) -> None:
        with database.writing() as session:
            keep_messages(session, messages)

    return SqlOutbox(database), put


def claimed(outbox: Outbox, seconds: float = 0.0) -> Delivery:
    delivery = outbox.claim(NOON + timedelta(seconds=seconds))
    assert delivery is not None
    return delivery


def test_events_are_claimed_in_their_order_and_each_once(pair: Pair) -> None:
    outbox, put = pair
    put(a_message("a"), a_message("b"))
    first, second = claimed(outbox), claimed(outbox)
    assert (first.message, second.message) == (a_message("a"), a_message("b"))
    assert first.key != second.key
    assert outbox.claim(NOON) is None


def test_an_event_waits_for_the_earlier_one_of_its_quote_alone(pair: Pair) -> None:
    outbox, put = pair
    put(a_message("a", "quote.sent"), a_message("a", "quote.accepted"), a_message("b"))
    sent = claimed(outbox)
    assert claimed(outbox).message.subject == "b"
    assert outbox.claim(NOON) is None
    outbox.delivered(sent.key, NOON)
    assert claimed(outbox).message.kind == "quote.accepted"


def test_a_claim_that_nobody_finished_is_anybodys_after_its_lease(pair: Pair) -> None:
    outbox, put = pair
    put(a_message())
    first = claimed(outbox)
    assert outbox.claim(NOON + LEASE - timedelta(seconds=1)) is None
    again = claimed(outbox, LEASE.total_seconds())
    assert (again.key, again.attempts) == (first.key, 2)
    assert again.first_tried_at == NOON


def test_a_failed_event_comes_back_when_it_is_due(pair: Pair) -> None:
    outbox, put = pair
    put(a_message())
    outbox.failed(claimed(outbox).key, "no answer", NOON + timedelta(seconds=5))
    assert outbox.next_due() == NOON + timedelta(seconds=5)
    assert outbox.claim(NOON + timedelta(seconds=4)) is None
    assert claimed(outbox, 5).last_error == "no answer"


def test_a_stuck_event_is_shown_first_and_does_not_hold_up_the_next_one(pair: Pair) -> None:
    outbox, put = pair
    put(a_message("a", "quote.sent"), a_message("a"), a_message("b"))
    outbox.failed(claimed(outbox).key, "refused", None)
    assert outbox.counts() == DeliveryCounts(waiting=2, delivered=0, stuck=1)
    assert [each.message.subject for each in outbox.recent(2)] == ["a", "b"]
    assert outbox.recent(1)[0].state is DeliveryState.STUCK
    assert claimed(outbox).message.kind == "quote.accepted"


def test_a_stuck_event_can_be_tried_again_and_others_cannot(pair: Pair) -> None:
    outbox, put = pair
    put(a_message())
    stuck = claimed(outbox)
    outbox.failed(stuck.key, "refused", None)
    outbox.retry(stuck.key, NOON)
    assert claimed(outbox).first_tried_at == NOON
    for key in (stuck.key, "nobody"):
        with pytest.raises(NotFound):
            outbox.retry(key, NOON)


def test_nothing_waits_once_all_is_delivered(pair: Pair) -> None:
    outbox, put = pair
    put(a_message())
    outbox.delivered(claimed(outbox).key, NOON)
    assert outbox.next_due() is None
    assert outbox.counts() == DeliveryCounts(delivered=1)
    assert outbox.recent(1)[0].done_at == NOON


def test_the_bell_rings_after_new_events_only(pair: Pair) -> None:
    outbox, put = pair
    rung: list[int] = []
    outbox.on_news(lambda: rung.append(1))
    put(a_message(), a_message())
    assert rung == [1]
    outbox.failed(claimed(outbox).key, "x", None)
    assert rung == [1]
    outbox.retry(outbox.recent(1)[0].key, NOON)
    assert rung == [1, 1]


def test_what_is_rolled_back_was_never_there_and_rings_no_bell(database: Database) -> None:
    outbox, rung = SqlOutbox(database), list[int]()
    outbox.on_news(lambda: rung.append(1))

    def fail_half_way() -> None:
        with database.writing() as session:
            keep_messages(session, [a_message()])
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_half_way()
    with database.writing():
        pass  # a later commit must not ring the bell of the one that failed
    assert rung == []
    assert outbox.counts() == DeliveryCounts()


def test_an_event_survives_the_end_of_the_process_right_after_the_commit(tmp_path: Path) -> None:
    path = tmp_path / "killed.sqlite3"
    code = (
        "import os; from pathlib import Path; "
        "from server.store.engine import Database, open_engine; "
        "from server.store.migrate import migrate; from server.store.outbox import keep_messages; "
        "from tests.outside import a_message; "
        f"d = Database(open_engine(Path({str(path)!r}))); migrate(d.engine)\n"
        "with d.writing() as session: keep_messages(session, [a_message()])\n"
        "os.kill(os.getpid(), 9)"
    )
    ended = subprocess.run([sys.executable, "-c", code], check=False)  # noqa: S603 (our own code)
    assert ended.returncode == -9
    database = Database(open_engine(path))
    assert claimed(SqlOutbox(database)).message == a_message()
    database.close()


def test_pauses_double_up_to_an_hour_and_are_spread() -> None:
    assert pause_s(1, 1.0) == FIRST_PAUSE_S
    assert [pause_s(n, 1.0) / pause_s(n - 1, 1.0) for n in (2, 5, 9)] == [2.0, 2.0, 2.0]
    assert pause_s(200, 1.0) == LONGEST_PAUSE_S
    assert pause_s(3, 0.0) == pause_s(3, 1.0) / 2


def test_an_event_is_given_up_only_after_days_of_trying() -> None:
    waiting = Delivery("k", a_message(), DeliveryState.WAITING, 9, NOON, first_tried_at=NOON)
    short_of = NOON + GIVE_UP_AFTER - timedelta(seconds=1)
    again = again_at(waiting, short_of, 0.5)
    assert again is not None
    assert again > short_of
    assert again_at(waiting, NOON + GIVE_UP_AFTER, 0.5) is None
