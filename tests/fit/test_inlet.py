"""Speeds between chamber and high-vacuum pump: lines by hand, traps by the vapour they hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from server.catalog.arrays import GRID
from server.catalog.items import Trap, TrapKind
from server.fit.candidates import Front
from server.fit.geometry import line_table
from server.fit.inlet import (
    InletTables,
    conductance_rows,
    inlet_tables,
    sonic_limit_m3_s,
)
from server.physics.gas import mean_speed_m_s
from server.physics.line import Line, Tube
from server.physics.species import SPECIES
from tests.fit.engine_cases import BENCH, a_bench, a_jet, inquiry
from tests.fit.stock import a_fluid, a_trap

JET = a_jet()
FLUID = a_fluid("FLUID", "90.00", 65e-6)
# two halves of 0.6 m³/s each, wider than the pump's inlet so that no opening is counted
COLD = replace(
    a_trap("COLD", "KF 50", TrapKind.NITROGEN_TRAP), surface_k=77.35, equivalent_bore_m=0.2
)


def tables(*fronts: Front, **changes: object) -> InletTables:
    found = inlet_tables(
        fronts, ("air", "argon", "water"), inquiry(BENCH, **changes), a_bench(JET, FLUID, COLD)
    )
    assert found is not None
    return found


def a_front(trap: Trap | None = None, fluid: str = "FLUID") -> Front:
    return Front(JET, replace(FLUID, sku=fluid), trap, None)


def test_without_line_the_chamber_sees_the_pump() -> None:
    found = tables(a_front())
    assert found.at_chamber["argon"].speed_m3_s[0, 0] == pytest.approx(0.065, rel=1e-6)
    assert found.at_pump["argon"].speed_m3_s[0, 0] == pytest.approx(0.065, rel=1e-6)


@pytest.mark.parametrize("gas", ["air", "argon", "water"])
def test_a_tube_takes_its_share_by_hand(gas: str) -> None:
    # 0.5 m of 50 mm tube: L/R = 20, W = 0.10932 (values.json); both the tube's own opening and the
    # pump's are in W and in S, so one is taken off: 1/C = 1/(W·A·v̄/4) − 1/(A·v̄/4) (Oatley 1957)
    line = {"length": "0.5 m", "bore": "50 mm", "bends": 0}
    found = tables(a_front(), line=line).at_chamber[gas].speed_m3_s[0, 0]
    mean_speed = float(mean_speed_m_s(293.15, SPECIES[gas].molar_mass_kg_mol))
    opening = np.pi / 4 * 0.05**2 * mean_speed / 4
    conductance = 1 / (1 / (0.10932 * opening) - 1 / opening)
    assert found == pytest.approx(1 / (1 / 0.065 + 1 / conductance), rel=5e-3)


def test_fronts_that_differ_in_fluid_alone_share_a_row() -> None:
    found = tables(a_front(), a_front(fluid="OTHER"), a_front(COLD))
    assert list(found.row_of_front) == [0, 0, 1]
    assert found.at_chamber["air"].speed_m3_s.shape == (2, GRID.count)


def test_some_of_the_fronts_keep_their_rows() -> None:
    found = tables(a_front(), a_front(COLD))
    assert list(found.only(np.array([1])).row_of_front) == [1]


def test_no_front_no_tables() -> None:
    assert inlet_tables((None,), ("air",), inquiry(BENCH), a_bench(JET)) is None


def test_a_cold_trap_throttles_gas_and_pumps_the_vapour_it_holds() -> None:
    load = {"air": 1e-6, "argon": 0.01, "water": 0.01}
    found = tables(a_front(), a_front(COLD)).under(load)
    beyond = found.beyond_trap(load)
    assert list(beyond["water"]) == [0.01, 0.0]
    assert list(beyond["argon"]) == [0.01, 0.01]
    argon = found.at_chamber["argon"].speed_m3_s[:, 0]
    assert argon[1] < argon[0]
    # 0.3 m³/s of nitrogen through both halves, 0.6 through the first; √(28/18) faster for water
    assert found.at_chamber["water"].speed_m3_s[1, 0] == pytest.approx(
        0.6 * (28.014 / 18.015) ** 0.5, rel=0.02
    )


def test_equal_lines_are_computed_once_and_stay_in_order() -> None:
    thin, wide = (Line((Tube(0.5, bore, 0, "tube"),)) for bore in (0.02, 0.1))
    rows = conductance_rows([thin, wide, thin], "air")
    assert rows.shape == (3, GRID.count)
    assert np.array_equal(rows[0], rows[2])
    assert np.all(rows[1] > rows[0])
    assert conductance_rows([], "air").shape == (0, GRID.count)


def test_sound_limits_what_enters_the_narrowest_bore_check_c11() -> None:
    # values.json C11: 198.6 m³/s of air per m² of hole, 20 °C; a line without parts has no limit
    line = Line((Tube(0.5, 0.1, 0, "wide"), Tube(0.5, 0.02, 0, "narrow")))
    limits = sonic_limit_m3_s(line_table([line, Line(())]).narrowest_m, "air")
    assert limits[0, 0] == pytest.approx(198.6 * np.pi / 4 * 0.02**2, rel=2e-3)
    assert np.isinf(limits[1, 0])
