"""Arrival at a target without steps, against solve_ivp on the same right-hand side."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from server.physics import pumpdown
from server.physics.arrays import FloatArray
from server.physics.gasload import GasLoad, load_at_pa_m3_s
from server.physics.pumpdown import Phase, pump_down
from server.physics.speedtable import SpeedTable, log_grid, lookup

GRID = log_grid(1e-9, 1.1e5)
VOLUME_M3 = 0.2
START_S = 400.0


def bent(speed_m3_s: float, knee_pa: float, ultimate_pa: float) -> SpeedTable:
    """Speed that falls above a knee and towards an ultimate pressure."""
    pressure = GRID.pressure_pa
    speed = (
        speed_m3_s * (1.0 - np.minimum(ultimate_pa / pressure, 1.0)) / (1.0 + pressure / knee_pa)
    )
    return SpeedTable(GRID, speed[np.newaxis])


def integrated_s(table: SpeedTable, load: GasLoad, start_pa: float, target_pa: float) -> float:
    """Length of the phase by solve_ivp in ln p."""
    speeds, constant = table.speed_m3_s[0].tolist(), float(np.asarray(load.constant_pa_m3_s))
    terms = [
        (float(amplitude), float(alpha))
        for amplitude, alpha in zip(
            np.asarray(load.amplitude_pa_m3_s), np.asarray(load.alpha), strict=True
        )
    ]

    def right_hand_side(time: float, y: FloatArray) -> list[float]:
        position = (float(y[0]) - GRID.ln_low) / GRID.step
        cell = min(max(int(position), 0), GRID.count - 2)
        speed = speeds[cell] + (speeds[cell + 1] - speeds[cell]) * (position - cell)
        hours = (START_S + time) / 3600.0
        flow = constant + sum(a * hours**-e for a, e in terms)
        return [(-speed + flow * math.exp(min(-float(y[0]), 600.0))) / VOLUME_M3]

    def there(_time: float, y: FloatArray) -> float:
        return float(y[0]) - math.log(target_pa)

    there.terminal = True  # type: ignore[attr-defined]
    found = solve_ivp(
        right_hand_side, (0.0, 1e4), [math.log(start_pa)], method="LSODA", rtol=1e-8, atol=1e-9,
        events=there,
    )  # fmt: skip
    assert found.t_events is not None
    return float(found.t_events[0][0]) if found.status == 1 else math.inf


@pytest.fixture
def without_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a pump-down that takes a step fail."""

    def refuse(*_: object) -> None:
        raise AssertionError("a step was taken")

    monkeypatch.setattr(pumpdown, "take_step", refuse)


@pytest.mark.usefixtures("without_steps")
@pytest.mark.parametrize("ratio", [20.0, 3.0, 1.3, 1.02, 1.003, 0.98, 0.8, 0.3])
@pytest.mark.parametrize("speed_m3_s", [0.02, 0.1, 1.0])
def test_the_target_may_lie_above_the_balance_at_the_start_near_it_or_below(
    ratio: float, speed_m3_s: float
) -> None:
    # λ·t = 40, 200, 2000 at the start; the ratio is that of the target to the balance then
    table = bent(speed_m3_s, knee_pa=0.5, ultimate_pa=1e-6)
    load = GasLoad(2e-7, [2e-5 * speed_m3_s, 1e-5 * speed_m3_s], [1.0, 0.5])
    balance = float(load_at_pa_m3_s(load, START_S)) / speed_m3_s
    target = ratio * balance
    result = pump_down(VOLUME_M3, load, Phase(table, [0], 1.0, target, START_S), START_S + 1e4)
    expected = integrated_s(table, load, 1.0, target)
    assert result.time_s[0] - START_S == pytest.approx(expected, rel=1e-3)


@settings(max_examples=15)
@given(
    ln_knee=st.floats(-6.0, 1.0),
    ln_speed=st.floats(-3.0, 0.5),
    alpha=st.floats(0.5, 1.6),
    ratio=st.floats(0.85, 30.0),
    lasting=st.floats(0.0, 1.0),
)
def test_bent_speeds_and_other_laws_of_the_load_stay_within_three_per_mille(
    ln_knee: float, ln_speed: float, alpha: float, ratio: float, lasting: float
) -> None:
    speed = math.exp(ln_speed)
    table = bent(speed, math.exp(ln_knee), ultimate_pa=1e-8)
    at_start = 1e-3 * speed
    law = (START_S / 3600.0) ** -alpha
    load = GasLoad(0.2 * lasting * at_start, [at_start * (1.0 - 0.2 * lasting) / law], [alpha])
    target = ratio * 1e-3
    start = 40.0 * max(target, 1e-3)
    if float(lookup(table, 0, start)) * start < 2.0 * at_start:
        return  # the load lets the pressure rise first
    result = pump_down(VOLUME_M3, load, Phase(table, [0], start, target, START_S), START_S + 1e4)
    expected = integrated_s(table, load, start, target)
    assert result.time_s[0] - START_S == pytest.approx(expected, rel=3e-3)


def test_a_load_that_still_falls_fast_is_stepped_to_the_same_clock() -> None:
    # λ·t = 2 at the start: the series of the balance does not hold there
    table = bent(1e-3, knee_pa=1e3, ultimate_pa=1e-6)
    load = GasLoad(0.0, [1e-6], [1.0])
    result = pump_down(VOLUME_M3, load, Phase(table, [0], 1.0, 5e-3, START_S), START_S + 1e4)
    assert result.time_s[0] - START_S == pytest.approx(
        integrated_s(table, load, 1.0, 5e-3), rel=3e-3
    )


def test_a_long_fall_at_constant_throughput_counts_the_load_when_it_was() -> None:
    # from 200 Pa to 0.1 Pa in ten minutes, in which the load falls to less than half
    table = bent(0.15, knee_pa=3.0, ultimate_pa=1e-6)
    load = GasLoad(0.0, [1.2e-3], [1.0])
    result = pump_down(VOLUME_M3, load, Phase(table, [0], 200.0, 0.1, START_S), START_S + 1e4)
    expected = integrated_s(table, load, 200.0, 0.1)
    assert expected > 100.0
    assert result.time_s[0] - START_S == pytest.approx(expected, rel=1e-3)


@pytest.mark.usefixtures("without_steps")
def test_the_curve_has_the_clocks_of_the_targets_on_its_way() -> None:
    table = bent(0.3, knee_pa=0.5, ultimate_pa=1e-6)
    load = GasLoad(2e-7, [3e-6], [1.0])
    traced = pump_down(
        VOLUME_M3, load, Phase(table, [0], 1.0, 2e-5, START_S), START_S + 1e4, trace=True
    )
    clock, pressure = (curve[0] for curve in (traced.curve_time_s, traced.curve_pressure_pa))
    known = np.isfinite(clock)
    clock, pressure = clock[known], pressure[known]
    assert np.all(np.diff(clock) > 0.0)
    assert len(clock) > 10
    alone = [
        pump_down(VOLUME_M3, load, Phase(table, [0], 1.0, each, START_S), START_S + 1e4).time_s[0]
        for each in pressure[1:].tolist()
    ]
    assert alone == pytest.approx(clock[1:], rel=1e-9)
