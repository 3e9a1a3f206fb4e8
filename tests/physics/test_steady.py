"""Steady states: the mass balance itself, scipy's bracketed root, and examples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants
from scipy.optimize import brentq

from server.errors import OutOfRange
from server.physics.speedtable import SpeedTable, log_grid, lookup, net_speed_m3_s, tabulate
from server.physics.steady import steady_state

GRID = log_grid(1e-8, 1.1e5)
RNG_SEED = 20


def random_tables(count: int, seed: int) -> SpeedTable:
    """Vapour-jet-like curves: a plateau, a knee, an ultimate pressure."""
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(count):
        plateau, ultimate = 10 ** rng.uniform(-2, 0.5), 10 ** rng.uniform(-7, -4)
        points = np.geomspace(1e-7, 100.0, 10)
        speeds = np.minimum(plateau, plateau * 10 ** rng.uniform(-2, 0) / points)
        curve = tabulate(points, speeds * rng.uniform(0.9, 1.0, 10), GRID)
        rows.append(net_speed_m3_s(curve, GRID.pressure_pa, ultimate))
    return SpeedTable(GRID, np.stack(rows))


def test_residual_is_below_a_tenth_of_a_per_cent_at_every_node_found() -> None:
    # mass balance p = p_offset + Σ Q_i/S_i(p); the promise is 0.1 %, bisection gives far less
    n = 1000
    air, hydrogen = random_tables(n, 1), random_tables(n, 2)
    rng = np.random.default_rng(RNG_SEED)
    rows = rng.integers(n, size=n)
    loads = {"air": 10 ** rng.uniform(-8, 1, n), "hydrogen": 10 ** rng.uniform(-9, -2, n)}
    offset = np.where(rng.random(n) < 0.5, 0.0, 1e-6)
    state = steady_state(loads, {"air": air, "hydrogen": hydrogen}, rows, offset_pa=offset)
    found = state.exists
    assert 0.2 < np.mean(found) < 1.0
    p = state.pressure_pa[found]
    need = offset[found].copy()
    for name, table in (("air", air), ("hydrogen", hydrogen)):
        part = loads[name][found] / lookup(table, rows[found], p)
        need += part
        assert state.partial_pa[name][found] == pytest.approx(part, rel=1e-9)
    assert np.max(np.abs(need / p - 1.0)) < 1e-9
    assert np.all(np.isnan(state.pressure_pa[~found]))


def test_first_root_agrees_with_a_bracketed_root_finder() -> None:
    table = random_tables(40, 3)
    load = np.geomspace(1e-6, 1e-2, 40)
    state = steady_state({"air": load}, {"air": table}, np.arange(40))
    for i in np.flatnonzero(state.exists):

        def excess(ln_p: float, row: int = int(i)) -> float:
            return float(np.exp(ln_p) * lookup(table, row, np.exp(ln_p)) - load[row])

        nodes = np.log(GRID.pressure_pa)
        first = int(np.argmax(GRID.pressure_pa * table.speed_m3_s[i] >= load[i]))
        root = np.exp(brentq(excess, nodes[first - 1], nodes[first], xtol=1e-13))
        assert state.pressure_pa[i] == pytest.approx(root, rel=1e-9)


def test_the_root_lies_in_the_first_cell_that_an_exhaustive_scan_finds() -> None:
    # brute force over every node, two species, with pumps that have no speed at either end
    n = 400
    air, water = random_tables(n, 8), random_tables(n, 9)
    rng = np.random.default_rng(10)
    loads = {"air": 10 ** rng.uniform(-8, 2, n), "water": 10 ** rng.uniform(-8, 1, n)}
    loads["water"][::5] = 0.0
    factor = rng.uniform(0.5, 2.0, n)
    state = steady_state(loads, {"air": air, "water": water}, np.arange(n), speed_factor=factor)
    need = np.zeros((n, GRID.count))
    for name, table in (("air", air), ("water", water)):
        load = loads[name][:, np.newaxis]
        speed = table.speed_m3_s * factor[:, np.newaxis]
        safe = np.where(speed > 0, speed, 1.0)
        need += np.where(load > 0, np.where(speed > 0, load / safe, np.inf), 0.0)
    carried = need <= GRID.pressure_pa
    assert np.array_equal(state.exists, np.any(carried, axis=1))
    first = np.argmax(carried, axis=1)[state.exists]
    assert np.all(first > 0)
    assert np.all(state.pressure_pa[state.exists] <= GRID.pressure_pa[first] * (1 + 1e-12))
    assert np.all(state.pressure_pa[state.exists] >= GRID.pressure_pa[first - 1])


def test_a_load_above_the_largest_throughput_has_no_steady_state() -> None:
    table = random_tables(50, 4)
    largest = np.max(table.speed_m3_s * GRID.pressure_pa, axis=1)
    over = steady_state({"air": largest * 1.001}, {"air": table}, np.arange(50))
    under = steady_state({"air": largest * 0.999}, {"air": table}, np.arange(50))
    assert not over.exists.any()
    assert np.all(np.isnan(over.pressure_pa))
    assert under.exists.all()


def test_backing_pump_and_vapour_jet_pump_for_a_leak_example_e2() -> None:
    # Chopey, Handbook of Chemical Engineering Calculations, procedure 6.34: leak 0.00035 ft3/min of
    # atmospheric air; 1.775 ft3/min at 0.150 mmHg (1.773 exactly); 1330 ft3/min at 0.0002 mmHg
    cubic_foot_per_minute = constants.foot**3 / 60.0
    leak = 0.00035 * cubic_foot_per_minute * constants.atm
    speeds = np.array([[1.773], [1330.0]]) * cubic_foot_per_minute * np.ones(GRID.count)
    state = steady_state({"air": leak}, {"air": SpeedTable(GRID, speeds)}, [0, 1])
    assert state.pressure_pa / constants.torr == pytest.approx([0.150, 0.0002], rel=1e-3)
    assert speeds[1, 0] == pytest.approx(0.627, abs=0.001)  # the book's figure in m3/s


def test_below_the_grid_the_lowest_speed_holds_and_no_load_is_no_pressure() -> None:
    table = SpeedTable(GRID, np.full((1, GRID.count), 2.0))
    state = steady_state({"air": [1e-12, 0.0]}, {"air": table}, [0, 0])
    assert state.pressure_pa == pytest.approx([5e-13, 0.0], abs=0.0)
    assert state.exists.all()


def test_parts_add_up_close_to_where_a_pump_stops_and_where_it_is_shut_off() -> None:
    # mass balance where the root lies 10⁻¹² of a cell from a node with (almost) no speed
    middle = GRID.count // 2
    stops = np.where(np.arange(GRID.count) > middle, 0.2, 0.0)
    shut = np.where(np.arange(GRID.count) < middle, 0.2, 1e-9)
    table = SpeedTable(GRID, np.stack([stops, shut]))
    node = GRID.pressure_pa[middle]
    load = np.array([0.2 * node * 1e-12, 1.1e-9 * node])
    state = steady_state({"air": load}, {"air": table}, [0, 1], offset_pa=[0.0, 0.9 * node])
    assert state.pressure_pa[0] == pytest.approx(node, rel=1e-8)
    parts = state.partial_pa["air"] + np.array([0.0, 0.9 * node])
    assert parts == pytest.approx(state.pressure_pa, rel=1e-5)


def test_no_speed_or_an_offset_without_bound_is_no_state() -> None:
    dead = SpeedTable(GRID, np.zeros((1, GRID.count)))
    assert not steady_state({"air": 1e-9}, {"air": dead}, [0]).exists.any()
    works = SpeedTable(GRID, np.ones((1, GRID.count)))
    offset = np.array([np.nan, np.inf, 2.0 * GRID.high_pa])
    assert not steady_state({"air": 1e-9}, {"air": works}, [0] * 3, offset_pa=offset).exists.any()


def test_an_offset_alone_is_the_pressure() -> None:
    table = SpeedTable(GRID, np.full((1, GRID.count), 2.0))
    state = steady_state({"air": 0.0}, {"air": table}, [0], offset_pa=3e-5)
    assert float(state.pressure_pa[0]) == pytest.approx(3e-5, rel=1e-12)


TABLE = random_tables(30, 5)


@given(
    row=st.integers(0, 29),
    ln_load=st.floats(-18.0, 2.0),
    more=st.floats(1.0, 3.0),
    slower=st.floats(0.3, 1.0),
)
def test_more_load_or_less_speed_never_lowers_the_pressure(
    row: int, ln_load: float, more: float, slower: float
) -> None:
    load = np.exp(ln_load) * np.array([1.0, more, 1.0])
    factor = np.array([1.0, 1.0, slower])
    p = steady_state({"air": load}, {"air": TABLE}, [row] * 3, speed_factor=factor).pressure_pa
    pressure = np.where(np.isnan(p), np.inf, p)  # no state at all is worse than any
    assert np.all(pressure[1:] >= pressure[0] * (1 - 1e-12))


def test_scalar_equals_array() -> None:
    load = np.geomspace(1e-7, 1e-3, 30)
    whole = steady_state({"air": load}, {"air": TABLE}, np.arange(30)).pressure_pa
    for i in range(30):
        single = steady_state({"air": load[i]}, {"air": TABLE}, i).pressure_pa
        assert single[0] == pytest.approx(whole[i], rel=1e-12, nan_ok=True)


def test_impossible_questions_are_refused() -> None:
    with pytest.raises(OutOfRange, match="zero or more"):
        steady_state({"air": -1.0}, {"air": TABLE}, [0])
    with pytest.raises(OutOfRange, match="helium"):
        steady_state({"helium": 1.0}, {"air": TABLE}, [0])
    other = SpeedTable(log_grid(1e-3, 1.0), np.ones((1, log_grid(1e-3, 1.0).count)))
    with pytest.raises(OutOfRange, match="same pressures"):
        steady_state({"air": 1.0, "argon": 1.0}, {"air": TABLE, "argon": other}, [0])
