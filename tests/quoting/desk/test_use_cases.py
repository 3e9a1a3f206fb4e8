"""What people do at the desk, step by step."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from server.errors import Conflict, InvalidInquiry, NotAllowed, UnknownName
from server.quoting.desk import use_cases as do
from server.quoting.desk.actors import Actor
from server.quoting.desk.case import QuoteCase
from server.quoting.desk.changes import DraftChange, LineWish, read_change, wishes_of
from server.quoting.desk.states import Move, QuoteState
from server.quoting.order import Party
from server.quoting.quote import LineGroup
from tests.fit.stock import a_catalog
from tests.quoting.desk.rooms import ADMIN, CUSTOMER, ENGINEER, MANAGER, Bench, said, seen
from tests.quoting.stacks import stock


@pytest.fixture
def bench() -> Bench:
    return Bench()


def discounted(bench: Bench, percent: str, actor: Actor = ENGINEER) -> QuoteCase:
    change = DraftChange(discount_percent=Decimal(percent))
    return do.change_draft(actor, bench.room, seen(bench.begin()), change)


def sent(bench: Bench) -> QuoteCase:
    return do.send(ENGINEER, bench.room, seen(bench.begin()))


def test_a_quote_begins_as_a_draft_with_a_number_and_costs(bench: Bench) -> None:
    case = bench.begin()
    assert (case.number, case.version, case.state) == ("Q-2026-0001", 1, QuoteState.DRAFT)
    first = case.current
    assert len(first.unit_costs) == len(first.content.lines)
    assert first.margin.net == first.content.net
    assert first.margin.cost == sum(
        stock().items[line.sku].cost_price * line.quantity
        for line in first.content.lines
        if line.sku
    )


def test_a_customer_begins_no_quote(bench: Bench) -> None:
    with pytest.raises(NotAllowed):
        bench.begin(CUSTOMER)
    assert bench.desk.kept == {}


def test_a_change_by_hand(bench: Bench) -> None:
    case = bench.begin()
    typed = {
        "discount": "5 %",
        "freight": "85",
        "tax_rate": "19",
        "price_list": "Universities",
        "payment": "In advance.",
        "lines": [
            {"sku": "VJ", "quantity": 2, "discount": "10"},
            {"sku": "VANE", "quantity": "1"},
            {"sku": "COLD-TRAP", "quantity": 1, "choice": "optional"},
            {"name": "Training on site", "quantity": 1, "unit_price": "400", "unit_cost": "250"},
        ],
    }
    change = read_change(typed, case.current.content)
    quote = do.change_draft(ENGINEER, bench.room, seen(case), change).current.content
    # 2 × 1900 less 10 % = 3420; vane 1200; training 400: 5020. Less 5 % = 251: net 4769.
    assert (quote.lines_total, quote.discount, quote.net) == (
        Decimal("5020.00"), Decimal("251.00"), Decimal("4769.00"),
    )  # fmt: skip
    # (4769 + 85) × 19 % = 922.26.
    assert (quote.tax, quote.total) == (Decimal("922.26"), Decimal("5776.26"))
    assert quote.texts.payment == "In advance."
    assert quote.texts.warranty == case.current.texts.warranty
    assert [line.name for line in quote.lines_of(LineGroup.SERVICES)] == ["Training on site"]
    (supplied,) = quote.lines_of(LineGroup.SUPPLIED)
    assert supplied.supplied
    revision = bench.desk.get(case.number).current
    # Costs: 2 VJ and a vane pump by the catalogue, the training's own; the optional trap not.
    items = stock().items
    goods = 2 * items["VJ"].cost_price + items["VANE"].cost_price
    assert revision.margin.cost == goods + 250


def test_what_comes_with_a_pump_goes_with_it(bench: Bench) -> None:
    case = bench.begin()
    lines = (LineWish(1, "VANE"),)
    changed = do.change_draft(ENGINEER, bench.room, seen(case), DraftChange(lines=lines))
    assert changed.current.content.lines_of(LineGroup.SUPPLIED) == ()


def test_lines_that_are_sent_back_unchanged_change_nothing(bench: Bench) -> None:
    case = bench.begin(consumables_years=5.0)
    wishes = wishes_of(case.current.content, case.current.unit_costs)
    changed = do.change_draft(ENGINEER, bench.room, seen(case), DraftChange(lines=wishes))
    assert changed.current.content == case.current.content
    assert changed.current.unit_costs == case.current.unit_costs


def test_an_item_that_is_not_sold_is_named_by_its_line(bench: Bench) -> None:
    change = DraftChange(lines=(LineWish(1, "VANE"), LineWish(1, "NOPE")))
    with pytest.raises(InvalidInquiry) as caught:
        do.change_draft(ENGINEER, bench.room, seen(bench.begin()), change)
    assert [fault.field for fault in caught.value.faults] == ["lines.1.sku"]


def test_two_people_edit_one_quote_and_the_second_is_told(bench: Bench) -> None:
    opened = bench.begin()
    first = do.change_draft(MANAGER, bench.room, seen(opened), DraftChange(notes="first"))
    with pytest.raises(Conflict, match=r"changed by M\. Manager"):
        do.change_draft(ENGINEER, bench.room, seen(opened), DraftChange(notes="second"))
    assert bench.desk.get(opened.number) == first
    assert first.current.content.notes == "first"


def test_within_the_limit_nobody_is_asked(bench: Bench) -> None:
    case = do.send(ENGINEER, bench.room, seen(discounted(bench, "10")))
    assert case.state is QuoteState.SENT


def test_above_the_limit_somebody_else_approves(bench: Bench) -> None:
    draft = discounted(bench, "10.001")
    with pytest.raises(NotAllowed, match=r"10\.001 % is above the limit of 10 %"):
        do.send(ENGINEER, bench.room, seen(draft))
    asked = do.ask_approval(ENGINEER, bench.room, seen(draft), "old friend")
    with pytest.raises(NotAllowed, match="sales manager"):
        do.approve(ENGINEER, bench.room, seen(asked))
    with pytest.raises(Conflict, match="awaiting approval"):
        do.change_draft(ENGINEER, bench.room, seen(asked), DraftChange(notes="x"))
    approved = do.approve(MANAGER, bench.room, seen(asked), "fine")
    final = do.send(ENGINEER, bench.room, seen(approved))
    assert final.state is QuoteState.SENT
    assert [(e.what, e.note) for e in final.events[2:]] == [
        ("put forward for approval", "old friend"), ("approved", "fine"), ("sent", ""),
    ]  # fmt: skip


def test_line_and_overall_discount_count_together(bench: Bench) -> None:
    lines = (LineWish(1, "VANE", discount_percent=Decimal(6)),)
    change = DraftChange(lines=lines, discount_percent=Decimal(6))
    case = do.change_draft(ENGINEER, bench.room, seen(bench.begin()), change)
    with pytest.raises(NotAllowed, match=r"11\.64 %"):  # 1 − 0.94² = 0.1164
        do.send(ENGINEER, bench.room, seen(case))


def test_an_approver_has_limits_too(bench: Bench) -> None:
    asked = do.ask_approval(ENGINEER, bench.room, seen(discounted(bench, "31")))
    with pytest.raises(NotAllowed, match="limit of 30 %"):
        do.approve(MANAGER, bench.room, seen(asked))
    assert do.approve(ADMIN, bench.room, seen(asked)).state is QuoteState.APPROVED


def test_what_is_sold_below_its_cost_needs_approval(bench: Bench) -> None:
    wish = LineWish(1, name="Commissioning", unit_price=Decimal(100), unit_cost=Decimal(150))
    case = do.change_draft(ENGINEER, bench.room, seen(bench.begin()), DraftChange(lines=(wish,)))
    with pytest.raises(NotAllowed, match=r"margin of -50\.0 % is below the floor of 10 %"):
        do.send(ENGINEER, bench.room, seen(case))


def test_what_was_returned_can_be_changed_again(bench: Bench) -> None:
    asked = do.ask_approval(ENGINEER, bench.room, seen(discounted(bench, "20")))
    back = do.return_to_draft(MANAGER, bench.room, seen(asked), "at most 15")
    assert back.state is QuoteState.DRAFT
    change = DraftChange(discount_percent=Decimal(15))
    assert do.change_draft(ENGINEER, bench.room, seen(back), change).state is QuoteState.DRAFT


def test_a_sent_quote_has_the_day_it_was_sent_and_never_changes(bench: Bench) -> None:
    draft = bench.begin(validity_days=30)
    bench.clock.pass_days(3)
    case = do.send(ENGINEER, bench.room, seen(draft))
    assert case.current.content.day == date(2026, 3, 5)
    assert case.current.content.valid_until == date(2026, 4, 4)
    attempts: list[Callable[[], object]] = [
        lambda: do.change_draft(ADMIN, bench.room, seen(case), DraftChange(notes="x")),
        lambda: do.renew_draft(ADMIN, bench.room, seen(case)),
        lambda: do.send(ADMIN, bench.room, seen(case)),
        lambda: do.return_to_draft(ADMIN, bench.room, seen(case)),
    ]
    for attempt in attempts:
        with pytest.raises(Conflict, match="sent already"):
            attempt()
    assert bench.desk.get(case.number) == case


def test_an_answer_is_recorded_once(bench: Bench) -> None:
    case = sent(bench)
    bench.clock.pass_days(2)
    accepted = do.answer(CUSTOMER, bench.room, seen(case), 1, said())
    assert accepted.state is QuoteState.ACCEPTED
    assert accepted.answer is not None
    assert (accepted.answer.name, accepted.answer.at) == ("C. Customer", bench.clock.time)
    for again in (True, False):
        with pytest.raises(Conflict, match="accepted already"):
            do.answer(CUSTOMER, bench.room, seen(accepted), 1, said(accepted=again))
    assert bench.desk.get(case.number) == accepted


def test_an_answer_after_the_last_day_is_refused(bench: Bench) -> None:
    case = sent(bench)
    bench.clock.time = case.current.content.created_at + timedelta(days=30, hours=14)
    assert bench.clock.time.date() == case.current.content.valid_until
    assert case.state_at(bench.clock.time) is QuoteState.SENT  # the last day counts
    bench.clock.pass_days(1)
    assert case.state_at(bench.clock.time) is QuoteState.EXPIRED
    with pytest.raises(Conflict, match="no longer valid"):
        do.answer(CUSTOMER, bench.room, seen(case), 1, said())
    assert bench.desk.get(case.number) == case


def test_a_draft_cannot_be_accepted(bench: Bench) -> None:
    with pytest.raises(Conflict, match="still a draft"):
        do.answer(CUSTOMER, bench.room, seen(bench.begin()), 1, said())


def test_a_sent_revision_stands_until_the_next_is_sent(bench: Bench) -> None:
    first = sent(bench)
    revised = do.revise(ENGINEER, bench.room, seen(first), "asked for a trap")
    assert (revised.state, revised.current.revision) == (QuoteState.DRAFT, 2)
    assert revised.state_of(1, bench.clock.time.date()) is QuoteState.SENT
    assert revised.standing == first.current
    second = do.send(ENGINEER, bench.room, seen(revised))
    assert second.standings == (QuoteState.SUPERSEDED, QuoteState.SENT)
    assert second.revisions[0] == first.current
    assert second.current.content.revision == 2
    with pytest.raises(Conflict, match="superseded"):
        do.answer(CUSTOMER, bench.room, seen(second), 1, said())


def test_an_accepted_revision_makes_the_next_draft_idle(bench: Bench) -> None:
    revised = do.revise(ENGINEER, bench.room, seen(sent(bench)))
    accepted = do.answer(CUSTOMER, bench.room, seen(revised), 1, said())
    assert accepted.standings == (QuoteState.ACCEPTED, QuoteState.SUPERSEDED)
    assert (accepted.state, accepted.current.revision) == (QuoteState.ACCEPTED, 1)
    assert do.moves_of(ADMIN, accepted, bench.clock.time) == ()


def test_a_draft_beside_a_sent_revision_is_dropped_and_that_one_stands(bench: Bench) -> None:
    first = sent(bench)
    dropped = do.withdraw(ENGINEER, bench.room, seen(do.revise(ENGINEER, bench.room, seen(first))))
    assert (dropped.state, dropped.current) == (QuoteState.SENT, first.current)
    assert do.answer(CUSTOMER, bench.room, seen(dropped), 1, said()).state is QuoteState.ACCEPTED


def test_a_withdrawn_quote_cannot_be_accepted_but_revised(bench: Bench) -> None:
    case = do.withdraw(ENGINEER, bench.room, seen(sent(bench)), "wrong customer")
    assert (case.state, case.answer) == (QuoteState.DECLINED, None)
    with pytest.raises(Conflict, match="declined or withdrawn"):
        do.answer(CUSTOMER, bench.room, seen(case), 1, said())
    assert do.moves_of(ENGINEER, case, bench.clock.time) == (Move.REVISE,)


def test_the_outside_hears_what_it_must_and_no_costs(bench: Bench) -> None:
    draft = do.write_internal_notes(ENGINEER, bench.room, seen(bench.begin()), "SECRET")
    case = do.send(ENGINEER, bench.room, seen(draft))
    do.answer(CUSTOMER, bench.room, seen(case), 1, said())
    assert [m.kind for m in bench.desk.messages] == ["quote.sent", "quote.accepted"]
    told = json.loads(bench.desk.messages[1].body)
    assert (told["number"], told["revision"], told["state"]) == ("Q-2026-0001", 1, "accepted")
    assert told["answer"]["name"] == "C. Customer"
    assert told["quote"]["total"] == str(case.current.content.total)
    assert "cost" not in bench.desk.messages[1].body.replace("costs nothing", "")
    assert "SECRET" not in bench.desk.messages[1].body


def dearer(bench: Bench) -> None:
    items = [
        replace(item, price=item.price * 2 if item.sku == "VJ" else item.price)
        for item in stock().items.values()
    ]
    bench.catalogs.now = replace(a_catalog(items), version="v-two")


def test_a_clone_has_todays_prices_and_another_customer(bench: Bench) -> None:
    dearer(bench)
    source = discounted(bench, "5")
    copy = do.clone(ENGINEER, bench.room, source.number, Party("Other Lab"))
    assert (copy.number, copy.customer, copy.state) == (
        "Q-2026-0002", "Other Lab", QuoteState.DRAFT,
    )  # fmt: skip
    assert copy.current.catalog_version == "v-two"
    assert copy.current.content.discount_percent == 5
    assert copy.current.content.lines_total == source.current.content.lines_total + 1900
    assert [(link.kind, link.number) for link in copy.links] == [("clone of", source.number)]
    assert copy.internal_notes == ""


def test_only_what_was_ordered_is_reordered(bench: Bench) -> None:
    case = sent(bench)
    with pytest.raises(Conflict, match="not accepted"):
        do.reorder(ENGINEER, bench.room, case.number)
    do.answer(CUSTOMER, bench.room, seen(case), 1, said())
    again = do.reorder(ENGINEER, bench.room, case.number)
    assert again.current.content.lines == case.current.content.lines
    assert again.links[0].kind == "reorder of"


def test_nothing_differs_on_the_same_day_but_the_engine(bench: Bench) -> None:
    differences = do.differences_now(ENGINEER, bench.room, sent(bench).number)
    assert [(d.what, d.then, d.now) for d in differences] == [("engine", "1", "2")]


def test_reopening_tells_what_would_differ_and_changes_nothing(bench: Bench) -> None:
    case = sent(bench)
    dearer(bench)
    told = {d.what: (d.then, d.now) for d in do.differences_now(ENGINEER, bench.room, case.number)}
    assert told["catalogue"][1] == "v-two"
    # The jet pump is 1900 dearer; the tax on that is 361.
    assert told["net"] == ("5604.00 EUR", "7504.00 EUR")
    assert told["total"] == ("6668.76 EUR", "8929.76 EUR")
    assert bench.desk.get(case.number) == case


def test_a_part_that_is_no_longer_sold_is_named(bench: Bench) -> None:
    case = sent(bench)
    items = [item for item in stock().items.values() if item.sku != "MIST"]
    bench.catalogs.now = replace(a_catalog(items), version="v-two")
    told = do.differences_now(ENGINEER, bench.room, case.number)
    assert [(d.topic.value, d.now) for d in told][1] == ("lines", "no longer sold")
    assert told[-1].topic.value == "obstacle"
    with pytest.raises(UnknownName, match="MIST"):
        do.clone(ENGINEER, bench.room, case.number, Party("Other Lab"))


def test_a_draft_is_brought_up_to_todays_catalogue(bench: Bench) -> None:
    draft = bench.begin()
    dearer(bench)
    today = do.renew_draft(ENGINEER, bench.room, seen(draft))
    assert today.current.content.net == draft.current.content.net + 1900
    assert today.current.basis is not None
    assert today.current.basis.engine_version == "2"
    assert draft.current.basis is not None
    assert today.current.basis.stack.title == draft.current.basis.stack.title


def test_the_customer_sees_no_differences_and_copies_nothing(bench: Bench) -> None:
    case = sent(bench)
    attempts: list[Callable[[], object]] = [
        lambda: do.differences_now(CUSTOMER, bench.room, case.number),
        lambda: do.clone(CUSTOMER, bench.room, case.number, Party("x")),
        lambda: do.reorder(CUSTOMER, bench.room, case.number),
        lambda: do.write_internal_notes(CUSTOMER, bench.room, seen(case), "x"),
    ]
    for attempt in attempts:
        with pytest.raises(NotAllowed):
            attempt()
