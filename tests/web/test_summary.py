"""The way of the gas through a stack, as the pages show it."""

from __future__ import annotations

import pytest

from server.catalog.items import TrapPlace
from server.fit.inquiry import read_inquiry
from server.fit.results import Part, Role
from server.web.summary import asked_in_words, stages_of


@pytest.mark.parametrize(
    ("place", "order"),
    [
        (TrapPlace.HIGH_VACUUM, ["cold trap", "jet", "vane"]),
        (TrapPlace.FORELINE, ["jet", "cold trap", "vane"]),
    ],
)
def test_a_trap_stands_where_it_is_fitted(place: TrapPlace, order: list[str]) -> None:
    """Common practice, no source: a trap above the pump, a foreline trap behind it."""
    parts = [
        Part(Role.HIGH_VACUUM_PUMP, "J", "jet", "vapour_jet", 1),
        Part(Role.BACKING_PUMP, "V", "vane", "vane_two_stage", 1),
        Part(Role.TRAP, "T", "cold trap", "nitrogen_trap", 1, place=place.value),
    ]
    assert [stage.name for stage in stages_of(parts)] == order


def test_wet_goods_are_told_by_mass_and_time() -> None:
    asked = read_inquiry(
        {
            "chamber": {"volume": "200 L"},
            "target_pressure": "1 mbar",
            "process": {"wet_goods": [{"substance": "water", "mass": "2 kg", "rate": "0.5 kg/h"}]},
        }
    )
    assert asked_in_words(asked).endswith("2.00 kg of water to dry off within 4 h")
