"""Links to quotes: who has one sees what was sent, answers once, and nobody can guess one."""

from __future__ import annotations

from datetime import timedelta

import pytest

from server.errors import Conflict, InvalidInquiry, NotAllowed, NotFound
from server.quoting.desk import use_cases
from server.quoting.desk.actors import Role
from server.quoting.desk.case import CustomerAnswer, QuoteCase
from server.quoting.desk.sharing import (
    NewLink,
    ShareRoom,
    answered,
    digest_of,
    links_of,
    opened,
    read_answer,
    read_days,
    revoke,
    share,
)
from server.quoting.desk.states import QuoteState
from server.quoting.desk.use_cases import Seen
from tests.outside import MemoryShareLinks
from tests.quoting.desk.rooms import CUSTOMER, ENGINEER, MANAGER, Bench, said, seen


class Fixture:
    """A quote that was sent, and its link."""

    def __init__(self) -> None:
        self.bench = Bench()
        self.links = MemoryShareLinks()
        self.room = ShareRoom(self.bench.room, self.links)
        case = self.bench.begin()
        self.number = use_cases.send(MANAGER, self.bench.room, seen(case)).number
        self.new = share(ENGINEER, self.room, self.number)

    @property
    def case(self) -> QuoteCase:
        return self.bench.desk.get(self.number)

    def send_next_revision(self) -> None:
        use_cases.revise(ENGINEER, self.bench.room, seen(self.case))
        use_cases.send(MANAGER, self.bench.room, seen(self.case))


@pytest.fixture
def it() -> Fixture:
    return Fixture()


def test_a_link_leads_to_what_was_sent(it: Fixture) -> None:
    shared = opened(it.room, it.new.token)
    assert shared.revision == it.case.revision(1)
    assert shared.can_be_answered
    assert (shared.answer, shared.later) == (None, None)


def test_a_token_has_256_random_bits_and_only_its_fingerprint_is_kept(it: Fixture) -> None:
    tokens = {share(ENGINEER, it.room, it.number).token for _ in range(50)}
    assert len(tokens) == 50
    assert all(len(token) == 43 for token in tokens)  # 32 bytes in base 64 (RFC 4648)
    kept = repr(it.links.kept)
    assert not any(token in kept for token in tokens)
    # The fingerprint of a known text, from FIPS 180-4's example “abc”.
    assert digest_of("abc").startswith("ba7816bf8f01cfea414140de5dae2223")


@pytest.mark.parametrize("guess", ["", "x", "x" * 43, "x" * 10_000, "\udcff", "../etc", "%00"])
def test_a_guessed_link_leads_nowhere(it: Fixture, guess: str) -> None:
    with pytest.raises(NotFound) as raised:
        opened(it.room, guess)
    assert "nothing at this address" in str(raised.value)


def said_of(it: Fixture, new: NewLink) -> str:
    with pytest.raises(NotFound) as raised:
        opened(it.room, new.token)
    return str(raised.value)


def test_guessed_expired_and_revoked_links_are_told_the_same(it: Fixture) -> None:
    other = share(ENGINEER, it.room, it.number, days=100)
    revoke(ENGINEER, it.room, it.number, other.link.digest)
    revoked = said_of(it, other)
    it.bench.clock.pass_days(59.99)
    opened(it.room, it.new.token)
    it.bench.clock.pass_days(0.02)
    expired = said_of(it, it.new)
    guessed = said_of(it, NewLink("nobody", it.new.link))
    assert revoked == expired == guessed


def test_only_sellers_make_list_and_end_links(it: Fixture) -> None:
    for forbidden in (
        lambda: share(CUSTOMER, it.room, it.number),
        lambda: revoke(CUSTOMER, it.room, it.number, it.new.link.digest),
        lambda: links_of(CUSTOMER, it.room, it.number),
    ):
        with pytest.raises(NotAllowed):
            forbidden()
    assert links_of(ENGINEER, it.room, it.number) == (it.new.link,)


def test_a_draft_cannot_be_shared_and_a_link_of_another_quote_not_be_ended(it: Fixture) -> None:
    draft = it.bench.begin()
    with pytest.raises(Conflict, match="send it first"):
        share(ENGINEER, it.room, draft.number)
    with pytest.raises(NotFound):
        revoke(ENGINEER, it.room, draft.number, it.new.link.digest)
    assert opened(it.room, it.new.token).can_be_answered


@pytest.mark.parametrize("days", [0, -1, 366, 10**9])
def test_a_link_lasts_up_to_a_year(it: Fixture, days: int) -> None:
    with pytest.raises(Conflict):
        share(ENGINEER, it.room, it.number, days)
    with pytest.raises(InvalidInquiry):
        read_days(str(days))


def test_the_answer_is_recorded_with_name_and_time_once(it: Fixture) -> None:
    it.bench.clock.pass_days(1)
    after = answered(it.room, it.new.token, 1, said(name="Rosa Field"))
    assert after.answer == CustomerAnswer(True, "Rosa Field", it.bench.clock.time)
    assert it.case.state is QuoteState.ACCEPTED
    last = it.case.events[-1]
    assert (last.actor.name, last.actor.role) == ("Rosa Field", Role.CUSTOMER)
    assert [message.kind for message in it.bench.desk.messages] == ["quote.sent", "quote.accepted"]
    for accepted in (True, False):
        with pytest.raises(Conflict, match="accepted already"):
            answered(it.room, it.new.token, 1, said(accepted=accepted, name="Somebody else"))
    assert opened(it.room, it.new.token).answer == after.answer


def test_an_answer_after_the_last_day_is_refused(it: Fixture) -> None:
    it.bench.clock.pass_days(31)
    assert not opened(it.room, it.new.token).can_be_answered
    with pytest.raises(Conflict, match="no longer valid"):
        answered(it.room, it.new.token, 1, said())
    assert it.case.answer is None


def test_a_later_revision_is_announced_and_opened_once_it_is_shared(it: Fixture) -> None:
    it.send_next_revision()
    old = opened(it.room, it.new.token)
    assert (old.state, old.later, old.later_is_shared) == (QuoteState.SUPERSEDED, 2, False)
    with pytest.raises(NotFound):
        opened(it.room, it.new.token, 2)
    with pytest.raises(Conflict, match="superseded"):
        answered(it.room, it.new.token, 1, said())
    newer = share(ENGINEER, it.room, it.number)
    assert opened(it.room, it.new.token).later_is_shared
    assert opened(it.room, it.new.token, 2).revision.revision == 2
    assert answered(it.room, it.new.token, 2, said()).state is QuoteState.ACCEPTED
    with pytest.raises(NotFound):  # a link to the second revision shows no earlier one
        opened(it.room, newer.token, 1)


def test_a_draft_revision_is_not_announced(it: Fixture) -> None:
    use_cases.revise(ENGINEER, it.bench.room, seen(it.case))
    shared = opened(it.room, it.new.token)
    assert (shared.later, shared.can_be_answered) == (None, True)
    with pytest.raises(NotFound):
        opened(it.room, it.new.token, 2)


def test_notes_written_at_the_desk_do_not_keep_the_customer_from_answering(it: Fixture) -> None:
    real = it.bench.desk.save
    written: list[int] = []

    def busy(case: QuoteCase, seen_version: int, messages: object = ()) -> QuoteCase:
        if not written:
            written.append(1)  # somebody at the desk is faster, once
            note = Seen(case.number, seen_version)
            use_cases.write_internal_notes(ENGINEER, it.bench.room, note, "called them")
        return real(case, seen_version, messages)  # type: ignore[arg-type]

    it.bench.desk.save = busy  # type: ignore[method-assign]
    assert answered(it.room, it.new.token, 1, said()).state is QuoteState.ACCEPTED
    assert it.case.internal_notes == "called them"


def test_what_the_customer_types_is_read_with_its_limits() -> None:
    answer = read_answer({"name": " Rosa \u202eField ", "note": "a\r\nb"}, accepted=False)
    assert (answer.accepted, answer.name, answer.note) == (False, "Rosa Field", "a\nb")
    for typed in (
        {},
        {"name": "x" * 201},
        {"name": "R", "note": "x" * 5001},
        {"name": "R", "z": 1},
    ):
        with pytest.raises(InvalidInquiry):
            read_answer(typed, accepted=True)
    assert read_days("") * timedelta(days=1) == timedelta(days=60)
