"""What inquiries share: it never changes an answer, and never takes more room than it may."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from server.catalog.arrays import GRID
from server.fit.backing import back_tables
from server.fit.candidates import fields_of
from server.fit.front_states import process_time_s
from server.fit.inlet import inlet_tables
from server.fit.loads import loads_of
from server.fit.memory import MOST_BYTES, Shelf, shelf
from server.physics.speedtable import SpeedTable
from tests.fit.engine_cases import COATER, demo_catalog, inquiry

Table = NDArray[np.float64]

ASKED: tuple[Mapping[str, Any], ...] = (
    {},
    {"line__length": "1.2 m"},
    {"line__bore": "100 mm"},
    {"chamber__port": "ISO-K 250"},
    {"rough_line": {"length": "3 m", "bore": "25 mm"}},
    # cold traps hold less of what comes slowly
    {"target_pressure": "1 Pa", "process__pressure": "2 Pa"},
    {"process__vapour": None},
    {"process__vapour": [{"substance": "ethanol", "rate": "3 g/h"}]},
    {"utilities__cooling_water": False},
    {},
)


def all_speeds(changes: Mapping[str, Any]) -> dict[tuple[str, str], Table]:
    """Return every speed table of the pumps that an inquiry looks at."""
    asked, catalog = inquiry(COATER, **changes), demo_catalog()
    loads = loads_of(asked)
    load, species = loads.running_pa_m3_s(process_time_s(asked)), loads.species
    field = fields_of(asked, catalog)[0]
    fronts = inlet_tables(field.fronts, species, asked, catalog)
    backs = back_tables(field.backs, species, asked, catalog)
    assert fronts is not None
    kinds = {
        "pump": fronts.at_pump,
        "chamber": fronts.at_chamber,
        "chamber working": fronts.under(load).at_chamber,
        "back": backs.inlet.each,
        "rough": backs.at_chamber,
        "back working": backs.at_work(load).inlet.each,
        "rough working": backs.at_work(load).chamber.each,
    }
    return {
        (kind, gas): np.array(tables[gas].speed_m3_s)
        for kind, tables in kinds.items()
        for gas in species
    }


@pytest.fixture
def an_empty_shelf() -> Iterator[None]:
    shelf.cache_clear()
    yield
    shelf.cache_clear()


@pytest.mark.usefixtures("an_empty_shelf")
def test_tables_are_those_of_the_inquiry_whatever_was_asked_before() -> None:
    in_turn = [all_speeds(changes) for changes in ASKED]
    for changes, found in zip(ASKED, in_turn, strict=True):
        shelf.cache_clear()
        alone = all_speeds(changes)
        assert found.keys() == alone.keys()
        for key, speeds in alone.items():
            assert np.array_equal(found[key], speeds), (changes, key)


@pytest.mark.usefixtures("an_empty_shelf")
def test_what_a_line_changes_changes() -> None:
    # the test above would pass if no inquiry changed anything
    plain, longer, hose = (all_speeds(ASKED[number]) for number in (0, 1, 4))
    assert np.any(longer["chamber", "air"] < 0.9 * plain["chamber", "air"])
    assert np.array_equal(longer["rough", "air"], plain["rough", "air"])
    assert np.any(hose["rough", "air"] < 0.9 * plain["rough", "air"])
    assert np.array_equal(hose["chamber", "air"], plain["chamber", "air"])


def a_table(rows: int = 1) -> SpeedTable:
    return SpeedTable(GRID, np.ones((rows, GRID.count)))


def held(kept: Shelf, key: str) -> bool:
    """Whether a key is there, without asking for it in a way that makes it so."""

    def missing() -> SpeedTable:
        raise LookupError

    try:
        kept.once(key, missing)
    except LookupError:
        return False
    return True


def test_a_table_is_made_once_and_cannot_be_written_into() -> None:
    kept = Shelf()
    first = kept.once("key", a_table)
    assert kept.once("key", a_table) is first
    with pytest.raises(ValueError, match="read-only"):
        first.speed_m3_s[0, 0] = 2.0


def test_what_was_not_asked_for_longest_makes_room() -> None:
    each = 2 * a_table().speed_m3_s.nbytes + 1000
    kept = Shelf(most_bytes=10 * each)
    for number in range(10):
        kept.once(str(number), a_table)
    kept.once("0", a_table)
    for number in range(10, 14):
        kept.once(str(number), a_table)
    assert [number for number in range(14) if held(kept, str(number))] == [0, *range(5, 14)]


def test_a_table_that_would_push_all_others_out_is_not_kept() -> None:
    kept = Shelf()
    too_many = MOST_BYTES // (16 * GRID.count)
    kept.once("small", a_table)
    kept.once("large", lambda: a_table(too_many))
    assert held(kept, "small")
    assert not held(kept, "large")
