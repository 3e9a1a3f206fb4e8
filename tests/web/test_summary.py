"""The way of the gas through a stack, as the pages show it."""

from __future__ import annotations

import pytest

from server.catalog.items import TrapPlace
from server.fit.results import Part, Role
from server.web.summary import stages_of


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
