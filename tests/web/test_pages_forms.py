"""Forms: what is typed becomes the request of the contract, and comes back as typed."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import Fault
from server.fit.inquiry import read_inquiry
from server.web.examples import EXAMPLES
from server.web.fields import FIELDS, ROWS, Entry, Field, field_at, label_at, pattern
from server.web.forms import Form

EXAMPLE = EXAMPLES["mirror-coater"]
TYPED = st.text(string.printable, max_size=12)


def test_a_form_becomes_the_request_of_the_contract() -> None:
    form = Form.from_pairs(
        [
            ("chamber.volume", " 180 L "),
            ("target_pressure", "2e-5 mbar"),
            ("line.bends", "1"),
            ("process.gas.0.species", "argon"),
            ("process.gas.0.flow", "20 sccm"),
            ("hazards", "toxic"),
            ("hazards", "corrosive"),
            ("utilities.cooling_water", "yes"),
            ("utilities.three_phase", "no"),
            ("commercial.budget", ""),
            ("action", "advise"),
            ("nonsense", "x"),
        ]
    )
    assert form.request("chamber") == {
        "chamber": {"volume": "180 L"},
        "target_pressure": "2e-5 mbar",
        "line": {"bends": "1"},
        "process": {"gas": [{"species": "argon", "flow": "20 sccm"}]},
        "hazards": ["toxic", "corrosive"],
        "utilities": {"cooling_water": True, "three_phase": False},
    }


def test_empty_rows_close_up_so_that_faults_point_at_the_row_shown() -> None:
    form = Form.from_pairs(
        [
            ("chamber.surfaces.0.material", ""),
            ("chamber.surfaces.0.area", ""),
            ("chamber.surfaces.3.area", "2 m2"),
            ("chamber.surfaces.1.material", "fkm"),
        ]
    )
    assert form.request()["chamber"] == {"surfaces": [{"material": "fkm"}, {"area": "2 m2"}]}
    assert form.value("chamber.surfaces.1.area") == "2 m2"


def test_one_more_row_is_offered_each_time_it_is_asked_for() -> None:
    form = Form.from_pairs([("process.gas.0.species", "argon")])
    assert len(form.row_numbers("process.gas")) == 1
    assert len(form.with_row("process.gas").row_numbers("process.gas")) == 2
    full = Form.from_pairs([(f"process.gas.{i}.species", "argon") for i in range(20)])
    assert len(full.with_row("process.gas").row_numbers("process.gas")) == 20


def test_the_example_comes_back_from_the_form_as_the_contract_has_it() -> None:
    assert read_inquiry(Form.from_request(EXAMPLE).request()) == read_inquiry(EXAMPLE)


@given(
    st.dictionaries(st.sampled_from([p for p in FIELDS if "*" not in p]), TYPED),
    st.lists(st.tuples(TYPED, TYPED), max_size=5),
)
def test_no_text_is_lost_or_changed(typed: dict[str, str], gases: list[tuple[str, str]]) -> None:
    rows = [
        (f"process.gas.{i}.{name}", text)
        for i, gas in enumerate(gases)
        for name, text in zip(("species", "flow"), gas, strict=True)
    ]
    form = Form.from_pairs([*typed.items(), *rows])
    for path, text in typed.items():
        shown = form.chosen(path) if FIELDS[path].entry is Entry.MANY else form.value(path)
        assert shown in (text.strip(), (text.strip(),))
    kept = [gas for gas in gases if any(text.strip() for text in gas)]
    assert [
        (form.value(f"process.gas.{i}.species"), form.value(f"process.gas.{i}.flow"))
        for i in range(len(kept))
    ] == [(a.strip(), b.strip()) for a, b in kept]
    form.request()  # never raises


NAMES = st.sampled_from(["chamber", "surfaces", "area", "process", "gas", "flow"])
LEAVES = TYPED | st.none() | st.booleans() | st.floats()


@given(
    st.recursive(LEAVES, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner))
)
def test_any_saved_request_can_fill_the_form(request: object) -> None:
    if isinstance(request, dict):
        Form.from_request(request).request()


def test_faults_are_named_by_label_and_link_to_their_field() -> None:
    fault = Fault("chamber.surfaces.1.area", "x", "This cannot be read.", "2.6 m2")
    form = Form().with_faults([fault, Fault("", "", "All of it is wrong.")])
    assert [(label, anchor) for _, label, anchor in form.summary()] == [
        ("Area, surface 2", "chamber.surfaces.1.area"),
        ("Request", ""),
    ]
    assert form.faults_at("chamber.surfaces.1.area") == (fault,)
    assert form.has_any("chamber")


@pytest.mark.parametrize("path", FIELDS)
def test_every_field_has_words_that_help(path: str) -> None:
    field = FIELDS[path]
    assert field.label[0].isupper()
    assert field.help.endswith(".")
    assert "  " not in field.help
    assert (field.entry in {Entry.CHOICE, Entry.GROUPED, Entry.YES_NO}) == bool(field.blank)


def test_rows_name_fields_that_exist() -> None:
    for group, rows in ROWS.items():
        for name in rows.fields:
            assert isinstance(field_at(f"{group}.0.{name}"), Field)


def test_patterns_and_labels() -> None:
    assert pattern("chamber.surfaces.12.area") == "chamber.surfaces.*.area"
    assert label_at("line.length") == "Length, line to the high-vacuum pump"
    assert label_at("chamber.surfaces") == "Surfaces inside"
    assert label_at("stack.rank") == "stack.rank"


def test_wet_goods_come_back_from_the_form_as_typed() -> None:
    row = {
        "substance": "water", "mass": "2 kg", "temperature": "40 °C", "area": "0.5 m2",
        "drying_time": "30 min", "rate": "5 kg/h",
    }  # fmt: skip
    example = {**EXAMPLE, "process": {"wet_goods": [row, {"substance": "ipa", "mass": "1 g"}]}}
    form = Form.from_request(example)
    assert form.request()["process"] == example["process"]
    assert form.has_any("process.wet_goods")
    assert label_at("process.wet_goods.1.mass") == "Mass to remove, goods 2"


def test_all_that_is_assumed_has_a_name_that_people_read() -> None:
    """At this pressure the air that permeates the seals counts, which no form asks for."""
    asked = read_inquiry({**EXAMPLE, "target_pressure": "1e-7 mbar"})
    named = {each.field: label_at(each.field) for each in asked.assumptions}
    assert "chamber.seals" in named
    assert not [path for path, label in named.items() if label == path]
