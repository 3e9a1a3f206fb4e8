"""The use case on the demo catalogue: what a customer would hold in hand."""

from __future__ import annotations

from typing import Any

from server.catalog.items import Trap, TrapPlace
from server.fit.advice import advise
from server.fit.inquiry import read_inquiry
from server.fit.results import Role, StackAdvice
from tests.fit.engine_cases import demo_catalog

FREEZE_DRYER: dict[str, Any] = {
    "application": "freeze_drying",
    "chamber": {"volume": "100 L"},
    "target_pressure": "0.05 mbar",
    "process": {"pressure": "0.2 mbar", "vapour": [{"substance": "water", "rate": "200 g/h"}]},
}
OUT_OF_REACH: dict[str, Any] = {"chamber": {"volume": "5 m3"}, "target_pressure": "1e-9 mbar"}


def condenser_of(stack: StackAdvice) -> Trap | None:
    items = [demo_catalog().items[part.sku] for part in stack.parts if part.role is Role.TRAP]
    return next((i for i in items if isinstance(i, Trap) and i.place is TrapPlace.FORELINE), None)


def test_the_line_to_a_condenser_is_sold_as_wide_as_it_is_reckoned() -> None:
    """Common practice, no source: a wide condenser behind a narrow hose passes no vapour."""
    advice = advise(read_inquiry(FREEZE_DRYER), demo_catalog())
    checked = 0
    for stack in advice.stacks:
        condenser = condenser_of(stack)
        if condenser is None or len(stack.title.split(" + ")) > 1:
            continue
        lines = [part for part in stack.parts if "for the run of" in part.note]
        assert lines, stack.title
        for part in lines:
            assert str(condenser.inlet) in part.name, (stack.title, part.name)
        checked += 1
    assert checked >= 3


def test_what_no_back_can_help_still_gets_its_remedies() -> None:
    """The best ultra-high-vacuum pumps miss this target with every back, and come nearest."""
    advice = advise(read_inquiry(OUT_OF_REACH), demo_catalog())
    assert advice.counts.fit == advice.counts.marginal == 0
    assert any(remedy.change == "target_pressure" for remedy in advice.remedies)
    assert any("Sputter-ion" in r.stack_title for r in advice.remedies)
