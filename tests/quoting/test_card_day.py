"""The day plan of an operating card."""

from __future__ import annotations

from dataclasses import replace

import pytest

from server.catalog.tables import load_catalog
from server.fit import advice
from server.fit.day_results import Day
from server.fit.inquiry import read_inquiry
from server.paths import Folder, folder
from server.quoting.card_day import day_section
from server.web.examples import EXAMPLES


@pytest.fixture(scope="module")
def day() -> Day:
    catalog = load_catalog(folder(Folder.CATALOG_DEMO))
    asked = replace(read_inquiry(EXAMPLES["mirror-coater"]), limit=1)
    found = advice.advise(asked, catalog).stacks[0].day
    assert found is not None
    return found


def test_the_plan_follows_the_day_of_the_stack(day: Day) -> None:
    (plan,) = day_section(day)
    texts = [step.text for step in plan.steps]
    assert texts[0].startswith("0:00 h: ")
    assert any("work at pressure" in text and "45 min" in text for text in texts)
    assert any("the same 5 more times" in text for text in texts)  # six cycles were asked for
    assert day.night.text in texts
    assert set(day.notes) <= set(texts)
    clocks = [text.split(" h:")[0] for text in texts if text[0].isdigit() and " h:" in text]
    minutes = [int(c.split(":")[0]) * 60 + int(c.split(":")[1]) for c in clocks]
    assert minutes == sorted(minutes)


def test_a_single_cycle_is_not_repeated(day: Day) -> None:
    once = tuple(span for span in day.spans if span.cycle <= 1 and span.what != "repeated_cycles")
    (plan,) = day_section(replace(day, spans=once, cycles_wanted=1))
    assert not any("the same" in step.text for step in plan.steps)


def test_a_stack_that_never_gets_there_has_no_plan() -> None:
    assert day_section(None) == ()
