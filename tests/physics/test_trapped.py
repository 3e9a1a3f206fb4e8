"""Chambers with a cold trap in front of the pump: what stays over it, and what the pump sees."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from server.errors import OutOfRange, UnknownName
from server.physics.speedtable import SpeedTable, log_grid, lookup
from server.physics.steady import steady_state
from server.physics.trapped import pressure_over_trap_pa, steady_past_trap

GRID = log_grid(1e-9, 1e5)
# a pump that fades below 1e-4 Pa and carries no more than 0.05 Pa m³/s above its knee at 0.5 Pa
PUMP = SpeedTable(
    GRID, (0.1 * np.clip(1 - 1e-4 / GRID.pressure_pa, 0, np.minimum(1, 0.5 / GRID.pressure_pa)))[
        np.newaxis
    ]
)  # fmt: skip
WALL = SpeedTable(GRID, np.full((1, GRID.count), 2.0))
SPEED = {"air": PUMP, "water": WALL}


def test_ice_leaves_its_own_vapour_pressure() -> None:
    # CRC Handbook, 100th ed., vapour pressure of ice: −40 °C 12.84 Pa, −80 °C 0.0548 Pa
    assert pressure_over_trap_pa(["water"], [233.15, 193.15]) == pytest.approx(
        [12.84, 0.0548], rel=0.01
    )


def test_what_a_trap_holds_adds_up_each_once() -> None:
    both = pressure_over_trap_pa(["water", "acetone", "water"], 213.15)
    apart = [float(pressure_over_trap_pa([name], 213.15)) for name in ("water", "acetone")]
    assert float(both) == pytest.approx(sum(apart))
    assert pressure_over_trap_pa([], [77.0, 200.0]) == pytest.approx([0.0, 0.0])
    with pytest.raises(UnknownName):
        pressure_over_trap_pa(["helium"], 77.0)


def test_the_pump_is_read_behind_the_trap_and_the_wall_at_the_chamber() -> None:
    load, rest = {"air": 2e-3, "water": 4.0}, 1e-3
    found = steady_past_trap(load, {"water": 1.0}, SPEED, [0], resting_pa=rest)

    def excess(p: float) -> float:
        return p - rest - 2e-3 / float(lookup(PUMP, 0, p))

    behind = brentq(excess, 2e-3, 0.4, xtol=1e-14)
    assert found.pressure_pa[0] == pytest.approx(behind + 4.0 / 2.0, rel=1e-9)
    assert found.partial_pa["water"][0] == pytest.approx(2.0)
    assert found.partial_pa["air"][0] == pytest.approx(behind - rest, rel=1e-9)
    # read at 2 Pa, far past its knee, the same pump would seem to leave six times the air
    wrong = steady_state(load, SPEED, [0], offset_pa=rest)
    assert wrong.partial_pa["air"][0] > 3 * found.partial_pa["air"][0]


def test_a_wet_load_does_not_hide_a_pump_that_has_faded() -> None:
    # read at the wet chamber's 0.1 Pa the pump would carry all its air at full speed, 1e-6 Pa;
    # behind the trap it never gets below its ultimate pressure
    load = {"air": 1e-7, "water": 0.2}
    found = steady_past_trap(load, {"water": 1.0}, SPEED, [0])
    assert found.partial_pa["air"][0] > 1e-4


@given(
    air=st.floats(1e-9, 0.04), water=st.floats(0.0, 10.0), share=st.floats(0.0, 1.0),
    rest=st.floats(0.0, 0.01),
)  # fmt: skip
def test_parts_and_rest_add_up_to_the_pressure(
    air: float, water: float, share: float, rest: float
) -> None:
    load = {"air": air, "water": water}
    found = steady_past_trap(load, {"water": share}, SPEED, [0], resting_pa=rest)
    if not found.exists[0]:
        return
    parts = sum(float(part[0]) for part in found.partial_pa.values())
    assert parts + rest == pytest.approx(float(found.pressure_pa[0]), rel=1e-6)


@given(st.floats(1e-9, 0.04), st.floats(0.0, 0.01))
def test_with_nothing_held_it_is_the_plain_steady_state(air: float, rest: float) -> None:
    load = {"air": [air, air], "water": [1e-6, 0.0]}
    speed = {"air": PUMP, "water": PUMP}
    plain = steady_state(load, speed, [0, 0], offset_pa=rest)
    found = steady_past_trap(load, {"water": [0.0, 0.0]}, speed, [0, 0], resting_pa=rest)
    assert found.pressure_pa == pytest.approx(plain.pressure_pa, nan_ok=True)


def test_a_load_no_pump_carries_has_no_state() -> None:
    found = steady_past_trap({"air": [1.0], "water": [0.1]}, {"water": 1.0}, SPEED, [0])
    assert not found.exists[0]
    assert np.isnan(found.pressure_pa[0])


def test_a_share_outside_zero_to_one_is_refused() -> None:
    with pytest.raises(OutOfRange, match="0 to 1"):
        steady_past_trap({"air": 1e-3, "water": 1e-3}, {"water": 1.2}, SPEED, [0])


@given(
    names=st.lists(st.sampled_from(["water", "ethanol", "acetone", "toluene"]), min_size=1),
    temperature=st.floats(100.0, 300.0),
    warmer=st.floats(0.0, 20.0),
)
def test_a_warmer_trap_or_more_substances_leave_more(
    names: list[str], temperature: float, warmer: float
) -> None:
    cold, warm = pressure_over_trap_pa(names, [temperature, temperature + warmer])
    assert cold <= warm * (1 + 1e-12)
    assert float(pressure_over_trap_pa(names[:1], temperature)) <= cold * (1 + 1e-12)
