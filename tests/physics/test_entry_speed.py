"""Speed at the entry of a line: against the line solved part by part, a root finder, and laws."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.optimize import brentq

from server.physics.entry_speed import FlowPotential, entry_pressure_pa, entry_speed_m3_s
from server.physics.line import Line, Tube, line_conductance_m3_s, upstream_pressure_pa
from server.physics.species import SPECIES
from server.physics.speedtable import log_grid

ROOM_K = 293.15
GRID = log_grid(1e-8, 1.3e5, 16.0)
NITROGEN = SPECIES["nitrogen"]
Table = NDArray[np.float64]

speeds = st.floats(1e-4, 5.0)
conductances = st.floats(1e-4, 100.0)


def constant(value: float) -> Table:
    return np.full((1, GRID.count), value)


def conductance_of(line: Line, temperature_k: float = ROOM_K) -> Table:
    return np.atleast_2d(line_conductance_m3_s(line, GRID.pressure_pa, temperature_k, NITROGEN))


def a_pump_with_a_knee(speed_m3_s: float, largest_pa_m3_s: float) -> Table:
    """Constant speed, then constant throughput, as a vapour-jet pump."""
    return np.minimum(speed_m3_s, largest_pa_m3_s / GRID.pressure_pa)[np.newaxis]


def at(table: Table, pressure_pa: float) -> float:
    return float(np.interp(np.log(pressure_pa), np.log(GRID.pressure_pa), table[0]))


def conductance_at(conductance: Table, pressure_pa: float) -> float:
    return float(np.interp(pressure_pa, GRID.pressure_pa, conductance[0]))


def carried(conductance: Table, high_pa: float, low_pa: float) -> float:
    """∫ C dp between two pressures, by scipy."""
    edges = GRID.pressure_pa
    inside = edges[(edges > low_pa) & (edges < high_pa)]
    parts = np.concatenate([[low_pa], inside, [high_pa]])
    return sum(
        quad(lambda pa: conductance_at(conductance, pa), begin, end, epsabs=0.0)[0]
        for begin, end in itertools.pairwise(parts)
    )


def entry_by_root_finder(speed: Table, conductance: Table, pressure_pa: float) -> float:
    """S(p₂)·p₂ = ∫ C dp from p₂ to p₁, solved for p₂ by scipy."""

    def miss(ln_exit: float) -> float:
        exit_pa = float(np.exp(ln_exit))
        return carried(conductance, pressure_pa, exit_pa) - at(speed, exit_pa) * exit_pa

    low, high = np.log(pressure_pa) - 12.0, np.log(pressure_pa) - 1e-9
    exit_pa = float(np.exp(brentq(miss, low, high, xtol=1e-10)))
    return at(speed, exit_pa) * exit_pa / pressure_pa


def seen(speed: Table, conductance: Table, choked: float = np.inf) -> Table:
    """Speed at the entry of one line."""
    lines = FlowPotential.of_lines(GRID, conductance)
    return entry_speed_m3_s(lines, np.zeros(1, dtype=np.intp), speed, choked)


@pytest.mark.parametrize("pressure_pa", [1e-5, 1e-2, 0.3, 1.0, 7.0, 100.0, 3e4])
@pytest.mark.parametrize(
    "speed", [constant(0.02), a_pump_with_a_knee(0.2, 0.05)], ids=["S", "knee"]
)
def test_entry_speed_solves_the_balance(speed: Table, pressure_pa: float) -> None:
    conductance = conductance_of(Line((Tube(0.8, 0.063, 1, "line"),), 0.063))
    found = seen(speed, conductance)
    # read back between nodes 1/16 of a decade apart: 0.3 % is the table's own accuracy
    assert at(found, pressure_pa) == pytest.approx(
        entry_by_root_finder(speed, conductance, pressure_pa), rel=3e-3
    )


@pytest.mark.parametrize(
    ("line", "speed_m3_s"),
    [
        (Line((Tube(0.4, 0.2, 1, "wide"),), 0.2), 1.0),
        (Line((Tube(1.5, 0.025, 1, "hose"),), 0.025), 2e-3),
        (Line((Tube(1.0, 0.016, 2, "thin"),), 0.016), 5e-4),
        (Line((Tube(1.0, 0.04, 0, "long"), Tube(0.2, 0.063, 0, "wider")), 0.063), 1e-2),
    ],
    ids=["wide", "hose", "thin", "stepped"],
)
@pytest.mark.parametrize("exit_pa", [1e-5, 1e-3, 0.1, 1.0, 10.0, 1e3])
def test_entry_speed_agrees_with_the_line_solved_part_by_part(
    line: Line, speed_m3_s: float, exit_pa: float
) -> None:
    # upstream_pressure_pa has inertia, the sonic limit and the pressure of every part; the table
    # integrates one conductance over the pressure. Same in molecular flow, 2 % in viscous flow.
    throughput = speed_m3_s * exit_pa
    entry_pa = float(upstream_pressure_pa(line, throughput, exit_pa, ROOM_K, NITROGEN))
    found = seen(constant(speed_m3_s), conductance_of(line))
    tolerance = 1e-3 if exit_pa < 1e-2 else 2e-2
    assert at(found, entry_pa) == pytest.approx(throughput / entry_pa, rel=tolerance)


def test_short_tube_before_a_pump_check_c7() -> None:
    # values.json C7 (constructed): 1000 L/s, N2 at 22 °C, tube 20 cm × 40 cm. C = 1322.7 L/s with
    # both openings; with the pump's own opening taken off (Oatley 1957) 672.7 L/s are left.
    warm_k, tube = 295.15, Tube(0.4, 0.2, 0, "tube")
    corrected = seen(constant(1.0), conductance_of(Line((tube,), 0.2), warm_k))
    plain = seen(constant(1.0), conductance_of(Line((tube,)), warm_k))
    assert corrected[0, 0] == pytest.approx(0.6727, rel=2e-3)
    assert plain[0, 0] == pytest.approx(0.5695, rel=2e-3)


@settings(max_examples=40)
@given(speed=speeds, conductance=conductances)
def test_a_line_never_adds_speed_and_leaves_the_series_law(
    speed: float, conductance: float
) -> None:
    left = seen(constant(speed), constant(conductance))[0]
    assert np.all(left > 0.0)
    assert np.all(left <= min(speed, conductance) * (1 + 1e-9))
    # constant speed and conductance: 1/S = 1/S₀ + 1/C exactly, at every pressure but the edge above
    inside = GRID.pressure_pa < GRID.high_pa / (1 + speed / conductance)
    assert left[inside] == pytest.approx(1 / (1 / speed + 1 / conductance), rel=1e-6)


@settings(max_examples=40)
@given(speed=speeds)
def test_an_infinite_conductance_changes_nothing(speed: float) -> None:
    pump = a_pump_with_a_knee(speed, 0.1)
    assert seen(pump, constant(np.inf)) == pytest.approx(pump, rel=1e-6)


@settings(max_examples=40)
@given(speed=speeds, conductance=conductances, more=st.floats(1.0, 10.0))
def test_more_conductance_or_more_pump_never_means_less_speed(
    speed: float, conductance: float, more: float
) -> None:
    pump = a_pump_with_a_knee(speed, 0.1)
    less = seen(pump, constant(conductance))
    wider = seen(pump, constant(conductance * more))
    larger = seen(pump * more, constant(conductance))
    # 0.3 %: S ∝ 1/p is read linearly between nodes 1/16 of a decade apart
    assert bool(np.all(wider >= less * 0.997))
    assert bool(np.all(larger >= less * 0.997))


@settings(max_examples=40)
@given(speed=speeds, choked=st.floats(1e-4, 5.0))
def test_no_more_enters_than_sound_carries(speed: float, choked: float) -> None:
    found = seen(constant(speed), constant(1e3), choked)
    assert np.all(found <= choked)


@settings(max_examples=40)
@given(
    flow=st.floats(0.0, 100.0),
    exit_pa=st.floats(1e-8, 1e5),
    bore=st.sampled_from([0.01, 0.04, 0.25]),
)
def test_entry_pressure_carries_the_throughput(flow: float, exit_pa: float, bore: float) -> None:
    conductance = conductance_of(Line((Tube(0.7, bore, 1, "line"),)))
    start, load = np.array([[exit_pa]]), np.array([[flow]])
    entry = float(entry_pressure_pa(GRID, conductance, load, start)[0, 0])
    assert entry >= exit_pa
    inside = min(entry, GRID.high_pa)
    through = carried(conductance, inside, exit_pa) if inside > exit_pa * (1 + 1e-9) else 0.0
    last = conductance[0, -2:]
    slope = (last[1] - last[0]) / (GRID.pressure_pa[-1] - GRID.pressure_pa[-2])
    beyond = entry - inside  # above the grid the last cell goes on
    through += float(last[1]) * beyond + slope * beyond**2 / 2
    least = conductance_at(conductance, entry) * exit_pa * 1e-8
    assert through == pytest.approx(flow, rel=1e-6, abs=least)


def test_a_pump_that_stops_pumping_leaves_no_speed_above() -> None:
    speed = np.where(GRID.pressure_pa < 10.0, 0.1, 0.0)[np.newaxis]
    found = seen(speed, constant(0.1))
    assert at(found, 1.0) == pytest.approx(0.05, rel=1e-6)
    assert at(found, 1e3) == 0.0
