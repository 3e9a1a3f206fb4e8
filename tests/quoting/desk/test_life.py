"""The life of a quote as a machine: whatever people do in whatever order, nothing is broken."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from server.errors import Conflict, NotAllowed
from server.quoting.desk import use_cases as do
from server.quoting.desk.actors import APPROVERS, SELLERS, Actor, Role
from server.quoting.desk.approval import reasons_for_approval
from server.quoting.desk.case import QuoteCase
from server.quoting.desk.changes import DraftChange
from server.quoting.desk.pricing import DISCOUNT_LIMITS
from server.quoting.desk.revision import Revision
from server.quoting.desk.states import FROZEN, RULES, Move, QuoteState, after_move, moves_from
from server.quoting.desk.use_cases import DeskRoom, Seen
from tests.quoting.desk.rooms import ADMIN, CUSTOMER, ENGINEER, MANAGER, Bench, said

actors = st.sampled_from([ENGINEER, MANAGER, ADMIN, CUSTOMER])

STEPS: dict[Move, Callable[[Actor, DeskRoom, Seen], QuoteCase]] = {
    Move.ASK_APPROVAL: do.ask_approval,
    Move.APPROVE: do.approve,
    Move.RETURN: do.return_to_draft,
    Move.SEND: do.send,
    Move.WITHDRAW: do.withdraw,
    Move.REVISE: do.revise,
}


@pytest.mark.parametrize("move", Move)
def test_a_move_is_offered_exactly_where_it_is_possible(move: Move) -> None:
    for state in QuoteState:
        for role in Role:
            try:
                possible = after_move(move, state, role) is RULES[move].after
            except (Conflict, NotAllowed):
                possible = False
            assert possible == (move in moves_from(state, role))


def test_a_frozen_state_leads_to_no_change_and_customers_only_answer() -> None:
    for state in FROZEN:
        assert Move.CHANGE not in moves_from(state, Role.ADMINISTRATOR)
    for state in QuoteState:
        assert set(moves_from(state, Role.CUSTOMER)) <= {Move.ACCEPT, Move.DECLINE}
    assert RULES[Move.APPROVE].roles == APPROVERS < SELLERS


class Life(RuleBasedStateMachine):
    """One quote, four people, a clock, and views that may be stale."""

    @initialize()
    def begin(self) -> None:
        self.bench = Bench()
        self.number = self.bench.begin().number
        self.sent: dict[int, Revision] = {}
        self.version = 1

    @property
    def case(self) -> QuoteCase:
        return self.bench.desk.get(self.number)

    def attempt(
        self, actor: Actor, move: Move, act: Callable[[Seen], QuoteCase], *, stale: bool = False
    ) -> None:
        """Do it, and check that it was refused or allowed by the table of moves."""
        before = self.case
        allowed = move in moves_from(before.state_at(self.bench.clock.time), actor.role)
        seen = Seen(self.number, before.version - stale)
        try:
            act(seen)
        except (Conflict, NotAllowed):
            assert self.case == before, "a refusal changes nothing"
            if allowed and not stale:
                assert move in {Move.SEND, Move.APPROVE}
                assert reasons_for_approval(before.current, actor.role)
            return
        assert allowed
        assert not stale
        if move is Move.APPROVE or (move is Move.SEND and before.state is QuoteState.DRAFT):
            assert not reasons_for_approval(before.current, actor.role)
        assert self.case.version == before.version + 1
        assert self.case.events[:-1] == before.events
        assert self.case.events[-1].actor == actor

    @rule(actor=actors, percent=st.sampled_from(["0", "8", "20", "40"]), stale=st.booleans())
    def change(self, actor: Actor, percent: str, stale: bool) -> None:
        change = DraftChange(discount_percent=Decimal(percent))
        room = self.bench.room
        self.attempt(
            actor, Move.CHANGE, lambda seen: do.change_draft(actor, room, seen, change), stale=stale
        )

    @rule(actor=actors, move=st.sampled_from(list(STEPS)))
    def try_a_step(self, actor: Actor, move: Move) -> None:
        room = self.bench.room
        self.attempt(actor, move, lambda seen: STEPS[move](actor, room, seen))

    @rule(actor=st.sampled_from([ENGINEER, MANAGER, ADMIN]), data=st.data())
    def go_on(self, actor: Actor, data: st.DataObject) -> None:
        """Make a step that the table allows, so that long lives are seen."""
        state = self.case.state_at(self.bench.clock.time)
        moves = [move for move in moves_from(state, actor.role) if move in STEPS]
        if moves:
            self.try_a_step(actor, data.draw(st.sampled_from(moves)))

    @precondition(lambda self: QuoteState.SENT in self.case.standings)
    @rule(actor=actors, accepted=st.booleans())
    def answer(self, actor: Actor, accepted: bool) -> None:
        """Answer the revision that stands, be there a new draft beside it or not."""
        room, before = self.bench.room, self.case
        at = before.standings.index(QuoteState.SENT) + 1
        valid = before.state_of(at, self.bench.clock.time.date()) is QuoteState.SENT
        seen = Seen(self.number, before.version)
        try:
            do.answer(actor, room, seen, at, said(accepted=accepted))
        except Conflict:
            assert not valid
            assert self.case == before
        else:
            assert valid
            assert self.case.answer is not None
            assert self.case.answer.revision == at

    @rule(days=st.integers(1, 12))
    def wait(self, days: int) -> None:
        self.bench.clock.pass_days(days)

    @invariant()
    def what_was_sent_never_changes(self) -> None:
        for revision, state in zip(self.case.revisions, self.case.standings, strict=True):
            if state is QuoteState.SENT:
                self.sent.setdefault(revision.revision, revision)
        for number, revision in self.sent.items():
            assert self.case.revision(number) == revision
            assert self.case.standings[number - 1] in FROZEN

    @invariant()
    def at_most_one_revision_stands(self) -> None:
        standings = self.case.standings
        assert standings.count(QuoteState.SENT) + standings.count(QuoteState.ACCEPTED) <= 1
        assert QuoteState.EXPIRED not in standings
        open_states = [state for state in standings if state not in FROZEN]
        assert len(open_states) <= 1
        if QuoteState.ACCEPTED in standings:
            assert self.case.answer is not None
            assert not open_states

    @invariant()
    def versions_only_grow(self) -> None:
        assert self.case.version >= self.version
        self.version = self.case.version

    @invariant()
    def no_deep_discount_leaves_without_approval(self) -> None:
        for at, revision in self.sent.items():
            if revision.deepest_discount_percent > DISCOUNT_LIMITS[Role.ADMINISTRATOR]:
                raise AssertionError(at)
            if revision.deepest_discount_percent > DISCOUNT_LIMITS[Role.SALES_MANAGER]:
                senders = {e.actor.role for e in self.case.events if e.what in {"approved", "sent"}}
                assert Role.ADMINISTRATOR in senders


TestLife = Life.TestCase
TestLife.settings = settings(max_examples=250, stateful_step_count=30, deadline=None)
