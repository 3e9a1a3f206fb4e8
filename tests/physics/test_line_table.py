"""Many lines at once: each is the line by itself, and equal ones are one."""

from __future__ import annotations

import numpy as np
import pytest

from server.physics.gas import Mixture
from server.physics.line import Line, Restriction, Tube, line_conductance_m3_s
from server.physics.line_table import LineTable
from server.physics.species import SPECIES, Species
from server.physics.speedtable import log_grid

ROOM_K = 293.15
PRESSURE_PA = np.concatenate([[0.0], log_grid(1e-10, 1.3e5, 4.0).pressure_pa])
VALVE = Restriction("valve", 0.06, 0.063, 0.05)
LINES = (
    Line(()),
    Line((Tube(1.0, 0.04, 2, "hose"),), 0.025),
    Line((Tube(0.4, 0.153, 1, "line"), VALVE, Tube(0.1, 0.07, 0, "stub")), 0.07),
    Line((VALVE,)),
    Line((Tube(1e3, 1e-3, 0, "capillary"),)),
)


@pytest.mark.parametrize(
    "gas",
    [
        SPECIES["hydrogen"],
        SPECIES["air"],
        Mixture.of_amounts({SPECIES["argon"]: 3.0, SPECIES["water"]: 1.0}),
    ],
    ids=["hydrogen", "air", "mixture"],
)
def test_every_line_of_a_table_is_the_line_by_itself(gas: Species | Mixture) -> None:
    table = LineTable(LINES, PRESSURE_PA)
    found = table.conductance_m3_s(ROOM_K, gas)[table.of]
    alone = np.array([line_conductance_m3_s(line, PRESSURE_PA, ROOM_K, gas) for line in LINES])
    np.testing.assert_allclose(found, alone, rtol=1e-13)


def test_lines_of_equal_sizes_are_one_whatever_their_parts_are_called() -> None:
    named = [Line((Tube(1.0, 0.04, 0, name), VALVE)) for name in ("hose", "pipe")]
    other = Line((Tube(1.0, 0.04, 1, "hose"), VALVE))
    table = LineTable([named[0], other, named[1]], PRESSURE_PA)
    assert table.of.tolist() == [0, 1, 0]
    assert table.conductance_m3_s(ROOM_K, SPECIES["air"]).shape == (2, PRESSURE_PA.size)


def test_the_narrowest_bore_is_that_of_the_line_even_where_it_adds_no_opening() -> None:
    # a pump of the same bore takes the opening off: the sound still passes that bore only
    table = LineTable([Line((Tube(1.0, 0.04, 0, "hose"),), 0.04), Line(())], PRESSURE_PA)
    assert table.narrowest_m.tolist() == [0.04, np.inf]


def test_no_lines_are_an_empty_table() -> None:
    table = LineTable([], PRESSURE_PA)
    assert table.conductance_m3_s(ROOM_K, SPECIES["air"]).shape == (0, PRESSURE_PA.size)
