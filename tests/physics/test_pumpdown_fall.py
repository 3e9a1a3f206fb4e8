"""The fall in closed form: exact integrals of scipy, and solve_ivp along the whole curve."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from server.physics.gasload import GasLoad
from server.physics.pumpdown import Phase, pump_down
from server.physics.speedtable import SpeedTable, log_grid, lookup

GRID = log_grid(1e-6, 1.1e5)
VOLUME_M3 = 0.2


def jet(knee_pa: float) -> SpeedTable:
    """Constant speed below an inlet pressure, constant throughput above, as vapour jets have."""
    return SpeedTable(GRID, (0.8 / (1.0 + GRID.pressure_pa / knee_pa))[np.newaxis])


@settings(max_examples=40)
@given(
    ln_knee=st.floats(-5.0, 3.0),
    ln_start=st.floats(-2.0, 6.0),
    fall=st.floats(0.3, 9.0),  # within a cell of the table it is stepped
    factor=st.floats(0.3, 3.0),
)
def test_without_a_load_the_time_is_the_integral_over_the_table(
    ln_knee: float, ln_start: float, fall: float, factor: float
) -> None:
    table, start = jet(math.exp(ln_knee)), math.exp(ln_start)
    target = start * math.exp(-fall)
    phase = Phase(table, [0], start, target, 7.0, factor)
    nodes = [x for x in GRID.ln_pressure if math.log(target) < x < math.log(start)]
    expected = quad(
        lambda x: VOLUME_M3 / (factor * float(lookup(table, 0, math.exp(x)))),
        math.log(target), math.log(start), points=nodes or None, limit=200, epsrel=1e-10,
    )[0]  # fmt: skip
    result = pump_down(VOLUME_M3, GasLoad(), phase, 1e9)
    assert result.time_s[0] - 7.0 == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("load_pa_m3_s", [1e-6, 1e-4, 1e-3])
@pytest.mark.parametrize("knee_pa", [0.05, 1.0])
def test_the_curve_follows_solve_ivp_through_the_fall_and_after(
    load_pa_m3_s: float, knee_pa: float
) -> None:
    table = jet(knee_pa)
    target = 1.05 * load_pa_m3_s / 0.8
    phase = Phase(table, [0], 20.0, target, 600.0)
    load = GasLoad(0.5 * load_pa_m3_s, [0.5 * load_pa_m3_s / 6.0], [1.0])
    result = pump_down(VOLUME_M3, load, phase, 1e6, trace=True)

    def right_hand_side(time: float, y: np.ndarray) -> list[float]:
        pressure = math.exp(float(y[0]))
        flow = 0.5 * load_pa_m3_s * (1.0 + 600.0 / time)
        return [(-float(lookup(table, 0, pressure)) + flow / pressure) / VOLUME_M3]

    known = np.isfinite(result.curve_time_s[0])
    times, pressures = result.curve_time_s[0][known], result.curve_pressure_pa[0][known]
    found = solve_ivp(
        right_hand_side, (600.0, 1.02 * times[-1]), [math.log(20.0)], method="LSODA",
        dense_output=True, rtol=1e-9, atol=1e-10,
    )  # fmt: skip
    assert found.sol is not None
    assert len(times) > 20
    # where the throughput is constant ln p falls steeply at the end: clocks are compared, not ln p
    fine = np.unique(np.concatenate([np.linspace(600.0, found.t[-1], 20_000), found.t]))
    expected = np.interp(-np.log(pressures), -found.sol(fine)[0], fine)
    assert times - 600.0 == pytest.approx(expected - 600.0, rel=3e-3, abs=1e-9)
