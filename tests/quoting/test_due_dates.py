"""Due dates, and the calendar file against the rules of RFC 5545."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.fit.requirements import Duty
from server.fit.service_jobs import ServiceJob, service_jobs
from server.fit.upkeep import Use, upkeep_lines
from server.quoting.consumables import PumpToKeep, consumables_bill, due_plan, stack_plan
from server.quoting.due_dates import DueDate, calendar_file, due_dates
from tests.fit.stock import a_backing_pump
from tests.quoting.stacks import requirements, stock, vapour_stack

STOCK = stock()
START = date(2026, 1, 1)
DUTY = Duty(0.0, 0.0, 250.0, 8 * 3600.0)  # 2000 h a year


def unfolded(text: str) -> list[str]:
    """Content lines of a file, as a reader takes them (RFC 5545, section 3.1)."""
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    return text.replace("\r\n ", "").split("\r\n")[:-1]


def value(lines: list[str], name: str) -> str:
    (found,) = [line.split(":", 1)[1] for line in lines if line.split(":")[0] == name]
    return found


def unescaped(text: str) -> str:
    """A text value (section 3.3.11)."""
    out, chars = "", iter(text)
    for char in chars:
        out += {"n": "\n"}.get(mark := next(chars), mark) if char == "\\" else char
    return out


def a_due(**changes: object) -> DueDate:
    made = {
        "day": START, "what": "Change the oil", "pump": "Vane", "sku": "VANE", "label": "",
        "quantity": 1, "part_sku": "OIL-1L", "number": 1, "why": "every 2000 h",
    }  # fmt: skip
    return DueDate(**{**made, **changes})  # type: ignore[arg-type]


def test_an_entry_has_what_the_standard_asks_for() -> None:
    lines = unfolded(calendar_file([a_due()], START, STOCK.items))
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-1] == "END:VCALENDAR"
    assert value(lines, "VERSION") == "2.0"
    assert value(lines, "PRODID")
    assert value(lines, "DTSTAMP") == "20260101T000000Z"
    assert value(lines, "DTSTART;VALUE=DATE") == "20260101"
    assert value(lines, "SUMMARY") == "Change the oil: Vane"


@given(
    st.text(st.characters(codec="utf-8"), max_size=300),
    st.text("äöü,;\\\n\r €😀", max_size=120),
)
def test_lines_are_short_and_text_comes_back(what: str, label: str) -> None:
    made = calendar_file([a_due(what=what, label=label)], START, STOCK.items)
    assert all(len(line.encode()) <= 75 for line in made.split("\r\n"))
    summary = unescaped(value(unfolded(made), "SUMMARY"))
    told = f"{what}: {label}: Vane" if label else f"{what}: Vane"
    kept = "".join(
        c for c in told.replace("\r\n", "\n") if c in "\t\n" or (c >= " " and c != "\x7f")
    )
    assert summary == kept


def test_the_same_plan_gives_the_same_file_and_a_moved_date_keeps_its_name() -> None:
    first, second = a_due(), a_due(day=START + timedelta(days=9))
    assert calendar_file([first], START, STOCK.items) == calendar_file([first], START, STOCK.items)
    assert first.uid == second.uid
    assert first.uid != a_due(number=2).uid
    assert first.uid != a_due(label="Room 2").uid


def test_dates_follow_from_hours() -> None:
    # 2000 h a year and a change every 1000 h: half a year apart
    job = ServiceJob("Change the oil", "OIL-1L", 1000.0, (1000.0, 2000.0), "")
    days = [due.day for due in due_dates([job], a_backing_pump(), START, 2000.0)]
    assert days == [START + timedelta(days=182), START + timedelta(days=365)]


@pytest.mark.parametrize(
    ("last", "first_day", "changes"),
    [
        # OIL-1L lives 3000 h, the pump runs 2000 h a year (the stock of these tests)
        (None, START, 2),  # age unknown: at once
        (date(2025, 1, 1), START + timedelta(days=182), 1),  # 2000 h old: 1000 h left
        (date(2020, 1, 1), START, 2),  # overdue
        (START, START + timedelta(days=547), 1),
    ],
)
def test_the_age_of_an_installed_pump_sets_its_first_date(
    last: date | None, first_day: date, changes: int
) -> None:
    wanted = PumpToKeep("VANE", last_service=last)
    use = Use(DUTY, 2.0, installed=True)
    plan = [d for d in due_plan([wanted], use, STOCK, START) if d.what.startswith("Change")]
    assert len(plan) == changes
    assert abs((plan[0].day - first_day).days) <= 2
    (oil,) = [
        line for line in consumables_bill([wanted], use, STOCK, START).lines if "OIL" in line.sku
    ]
    assert f"{changes} change" in oil.reason


@given(
    years=st.floats(0.2, 8.0),
    age=st.one_of(st.none(), st.floats(0.0, 20_000.0)),
    hours=st.floats(100.0, 8784.0),
)
def test_as_many_dates_as_the_list_counts(years: float, age: float | None, hours: float) -> None:
    use = Use(Duty(0.0, 0.0, 366.0, 8 * 3600.0), years, installed=True, hours_since_service=age,
              run_s_per_day=hours * 3600 / 366)  # fmt: skip
    pump = a_backing_pump()
    jobs = service_jobs(pump, use, STOCK)
    lines = {line.sku: line.pieces for line in upkeep_lines(pump, use, STOCK)}
    kits = [job for job in jobs if job.sku == "VANE-KIT"]
    assert sum(len(job.due_hours) for job in kits) == lines.get("VANE-KIT", 0)
    for job in jobs:
        assert all(0 <= at < use.hours(pump.kind) for at in job.due_hours)


def test_a_new_stack_is_first_served_after_a_whole_life() -> None:
    plan = stack_plan(vapour_stack().parts, requirements(), STOCK, 4.0, START)
    assert plan
    assert plan[0].day > START + timedelta(days=100)
    assert [due.day for due in plan] == sorted(due.day for due in plan)


def test_what_makes_no_plan_is_refused() -> None:
    use = Use(DUTY, 1.0, installed=True)
    with pytest.raises(OutOfRange, match="after the day"):
        due_plan([PumpToKeep("VANE", last_service=date(2027, 1, 1))], use, STOCK, START)
    with pytest.raises(OutOfRange, match="8784"):
        due_plan([PumpToKeep("VANE", hours_per_year=9000.0)], use, STOCK, START)
    with pytest.raises(OutOfRange, match="never runs"):
        due_dates([], a_backing_pump(), START, 0.0)
