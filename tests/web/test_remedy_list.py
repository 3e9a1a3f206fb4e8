"""Remedies on pages: grouped by what they mend, none hidden, each with its form."""

from __future__ import annotations

from dataclasses import replace

from server.fit.results import MarginKey, Remedy
from server.web.forms import Form
from server.web.remedy_list import SHOWN, offers_in_check, offers_in_inquiry

WIDER = Remedy(
    MarginKey.FORELINE, "foreline.bore", 0.025, 0.0331, "m", "Widen it.", "Jet + vane",
    also=(MarginKey.THROUGHPUT,), settings=(("foreline.bore", "34 mm"),),
)  # fmt: skip
PUMP = Remedy(
    MarginKey.FORELINE, "backing_pump", 9e3, 1e4, "EUR", "Take another.", "Jet + vane",
    settings=(("stack.backing_pump", "VANE2-0250"), ("stack.trap", "")),
)  # fmt: skip
LESS_GAS = Remedy(
    MarginKey.FORELINE, "process.gas", 1.0, 0.5, "Pa m3/s", "Let in less.", "Jet + vane",
    settings=(("process.gas.0.flow", "10 sccm"),),
)  # fmt: skip


def test_a_group_is_what_is_mended_together_and_nothing_is_hidden() -> None:
    many = [replace(PUMP, text=f"Take {number}.") for number in range(SHOWN + 3)]
    (stack,) = offers_in_inquiry([WIDER, *many], "token", Form())
    assert stack.title == "Jet + vane"
    both, alone = stack.groups
    assert both.margins == (MarginKey.THROUGHPUT, MarginKey.FORELINE)
    assert alone.margins == (MarginKey.FORELINE,)
    assert [offer.remedy.text for offer in (*alone.shown, *alone.more)] == [r.text for r in many]
    assert len(alone.shown) == SHOWN


def test_a_link_types_the_change_into_the_inquiry_form() -> None:
    (stack,) = offers_in_inquiry([WIDER], "token", Form())
    assert stack.groups[0].shown[0].link == ("/inquiry?from=token&change=foreline.bore&to=34+mm")


def test_a_row_that_nobody_filled_and_another_pump_have_no_link() -> None:
    (stack,) = offers_in_inquiry([LESS_GAS, PUMP], "token", Form())
    assert [offer.link for offer in stack.groups[0].shown] == ["", ""]
    typed = Form(values={"process.gas.0.species": "argon"})
    (stack,) = offers_in_inquiry([LESS_GAS], "token", typed)
    assert "process.gas.0.flow" in stack.groups[0].shown[0].link


def test_a_check_is_sent_again_with_the_other_pump_and_all_that_was_typed() -> None:
    typed = Form(
        values={"chamber.volume": "100 L", "stack.backing_pump": "VANE2-0160"},
        many={"hazards": ("toxic", "corrosive")},
    )
    (stack,) = offers_in_check([PUMP], typed)
    pairs = stack.groups[0].shown[0].pairs
    assert ("stack.backing_pump", "VANE2-0250") in pairs
    assert ("chamber.volume", "100 L") in pairs
    assert [value for name, value in pairs if name == "hazards"] == ["toxic", "corrosive"]
    assert Form.from_pairs(pairs).value("stack.backing_pump") == "VANE2-0250"
