"""What pumps draw past cold walls, against hand calculation and a root found by scipy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from server.physics.arrays import FloatArray
from server.physics.entry_speed import FlowPotential
from server.physics.speedtable import SpeedTable, log_grid, lookup
from server.physics.trapped import drawn_past_wall_pa_m3_s
from server.physics.vapour import saturation_pressure_pa

GRID = log_grid(1e-9, 1e5)
CONSTANT = SpeedTable(GRID, np.full((1, GRID.count), 0.1))
# no more than 0.05 Pa m³/s above its knee at 0.5 Pa, and nothing above 10 Pa
JET = SpeedTable(
    GRID, (0.1 * np.minimum(1.0, 0.5 / GRID.pressure_pa) * (GRID.pressure_pa < 10.0))[np.newaxis]
)
# rests at 50 Pa
RESTING = SpeedTable(GRID, (0.01 * np.maximum(1.0 - 50.0 / GRID.pressure_pa, 0.0))[np.newaxis])


def a_way(conductance: FloatArray | float) -> FlowPotential:
    return FlowPotential(GRID, np.broadcast_to(conductance, (1, GRID.count)).copy())


def drawn(over_pa: float, way: FlowPotential, pump: SpeedTable) -> float:
    one = np.zeros(1, dtype=np.intp)
    return float(drawn_past_wall_pa_m3_s(np.array([over_pa]), way, one, pump, one)[0])


@pytest.mark.parametrize(
    ("celsius", "published_pa"),
    # CRC Handbook, 100th ed., vapour pressure of ice
    [(-40.0, 12.84), (-60.0, 1.081), (-80.0, 0.0548)],
)
def test_ice_lets_by_its_pressure_times_two_conductances_in_series(
    celsius: float, published_pa: float
) -> None:
    """Molecular flow by hand: 0.6 m³/s to a pump of 0.1 m³/s leave 0.6·0.1/0.7 m³/s."""
    over = float(saturation_pressure_pa("water", 273.15 + celsius))
    assert drawn(over, a_way(0.6), CONSTANT) == pytest.approx(published_pa * 0.06 / 0.7, rel=0.01)


def test_nothing_to_speak_of_passes_ice_at_the_boiling_point_of_nitrogen() -> None:
    """IAPWS R14-08: far below 1e-15 Pa; the table's lowest node is at 1e-9 Pa."""
    over = float(saturation_pressure_pa("water", 77.35))
    assert drawn(over, a_way(0.6), CONSTANT) == pytest.approx(over * 0.06 / 0.7, rel=1e-9)
    assert over < 1e-15


@pytest.mark.parametrize("over_pa", [1e-6, 0.03, 2.0, 70.0, 900.0])
@pytest.mark.parametrize("pump", [CONSTANT, RESTING])
def test_the_pump_carries_what_the_way_lets_through(over_pa: float, pump: SpeedTable) -> None:
    """S(p₂)·p₂ = ∫ C dp from p₂ to p_w by scipy: molecular, then viscous with C ∝ p."""
    way = a_way(0.02 + 0.5 * GRID.pressure_pa)

    def excess(p: float) -> float:
        through = 0.02 * (over_pa - p) + 0.25 * (over_pa**2 - p**2)
        return float(lookup(pump, 0, p)) * p - through

    exit_pa = brentq(excess, 1e-9, over_pa, rtol=1e-12)
    expected = float(lookup(pump, 0, exit_pa)) * exit_pa
    # flows between two nodes are taken as powers of pressure: 2 % near an ultimate pressure
    assert drawn(over_pa, way, pump) == pytest.approx(expected, rel=0.02, abs=1e-12)


def test_a_jet_draws_its_largest_throughput_whatever_stands_over_the_wall() -> None:
    for over in (1.0, 5.0, 20.0, 1e3):
        assert drawn(over, a_way(10.0), JET) == pytest.approx(0.05, rel=0.01)


@given(
    over=st.floats(1e-12, 1e4), warmer=st.floats(1.0, 10.0), conductance=st.floats(1e-3, 10.0),
    which=st.sampled_from(["constant", "jet", "resting"]),
)  # fmt: skip
def test_a_colder_wall_never_lets_more_by(
    over: float, warmer: float, conductance: float, which: str
) -> None:
    pump = {"constant": CONSTANT, "jet": JET, "resting": RESTING}[which]
    cold, warm = (drawn(p, a_way(conductance), pump) for p in (over, over * warmer))
    assert 0.0 <= cold <= warm * (1.0 + 1e-9)
    # neither the way nor the pump passes more than at that pressure with nothing behind
    assert warm <= over * warmer * min(conductance, float(pump.speed_m3_s.max())) * 1.01


def test_where_nothing_stays_on_the_wall_it_sets_no_limit() -> None:
    one = np.zeros(2, dtype=np.intp)
    walls = np.array([np.inf, 2.0 * GRID.high_pa])
    assert np.isinf(drawn_past_wall_pa_m3_s(walls, a_way(1.0), one, CONSTANT, one)).all()
