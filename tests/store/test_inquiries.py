"""One promise for every box of inquiries: in memory and in the database."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from server.errors import NotFound
from server.fit.choice import StackChoice
from server.quoting.inquiries import InquiryBox, InquiryState, ReceivedInquiry, Sender
from server.store.engine import Database, open_engine
from server.store.inquiries import SqlInquiryBox
from server.store.migrate import migrate
from tests.outside import NOON, MemoryInquiryBox

SENT = ReceivedInquiry(
    token="t-1",  # noqa: S106 (the name of a link)
    received_at=NOON,
    sender=Sender("A. Person", "a@example.org", "Institute of Thin Films", "Ours is 20 years old."),
    title="50 L to 1e-2 mbar",
    typed={"chamber": {"volume": "50 L"}, "hazards": ["toxic"], "target_pressure": "1e-2 mbar"},
    choice=StackChoice(backing_pump="T-PUMP"),
)


@pytest.fixture(params=["memory", "sqlite"])
def box(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[InquiryBox]:
    if request.param == "memory":
        yield MemoryInquiryBox()
        return
    database = Database(open_engine(tmp_path / "i.sqlite3"))
    migrate(database.engine)
    yield SqlInquiryBox(database)
    database.close()


def test_what_was_sent_comes_back_unchanged(box: InquiryBox) -> None:
    box.add(SENT)
    assert box.get("t-1") == SENT
    with pytest.raises(NotFound):
        box.get("t-2")


def test_the_newest_comes_first(box: InquiryBox) -> None:
    for minutes in (1, 3, 2):
        later = NOON + timedelta(minutes=minutes)
        box.add(replace(SENT, token=f"m-{minutes}", received_at=later))
    assert [each.token for each in box.recent(2)] == ["m-3", "m-2"]


def test_who_opened_it_first_stays(box: InquiryBox) -> None:
    box.add(SENT)
    box.open("t-1", "Ann", NOON)
    again = box.open("t-1", "Ben", NOON + timedelta(hours=1))
    assert (again.state, again.opened_by, again.opened_at) == (InquiryState.OPENED, "Ann", NOON)
    assert box.get("t-1") == again
    with pytest.raises(NotFound):
        box.open("t-2", "Ann", NOON)


def test_a_quote_on_its_newest_advice_makes_it_quoted(box: InquiryBox) -> None:
    box.add(SENT)
    box.add(replace(SENT, token="other"))  # noqa: S106
    for advice in ("first", "second"):
        box.note_advice("t-1", advice)
    found = box.of_advice("second")
    assert found is not None
    assert found.token == "t-1"  # noqa: S105
    box.note_quote("first", "2026-0001")
    assert box.get("t-1").state is InquiryState.NEW
    box.note_quote("second", "2026-0002")
    assert box.get("t-1").quote_number == "2026-0002"
    assert box.open("t-1", "Ann", NOON).state is InquiryState.QUOTED
    assert box.get("other").state is InquiryState.NEW


def test_an_advice_of_nobodys_inquiry_changes_nothing(box: InquiryBox) -> None:
    box.add(SENT)
    assert box.of_advice("") is None
    assert box.of_advice("nowhere") is None
    box.note_quote("", "2026-0001")
    box.note_quote("nowhere", "2026-0001")
    assert box.get("t-1") == SENT
