"""How much longer a burst lasts: closed forms, and scipy's integral over the table."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.integrate import simpson

from server.physics.burst import held_back_s_m3
from server.physics.speedtable import SpeedTable, log_grid, lookup

GRID = log_grid(1e-6, 1.1e5)


def held(table: SpeedTable, begin_pa: float, carried_pa_m3_s: float, load_pa_m3_s: float) -> float:
    each = (np.array([value]) for value in (begin_pa, carried_pa_m3_s, load_pa_m3_s))
    return float(held_back_s_m3(table, np.zeros(1, dtype=np.intp), *each)[0])


@settings(max_examples=100)
@given(
    speed=st.floats(0.01, 5.0),
    ln_begin=st.floats(-3.0, 5.0),
    share=st.floats(0.01, 0.99),
    load_share=st.floats(0.0, 0.95),
)
def test_constant_speed_has_a_closed_form(
    speed: float, ln_begin: float, share: float, load_share: float
) -> None:
    # held: (p_b − p_k)/(Q_c − Q); free: ln((S·p_b − Q)/(Q_c − Q))/S, with p_k = Q_c/S
    begin = math.exp(ln_begin)
    carried = share * speed * begin
    load = load_share * carried
    table = SpeedTable(GRID, np.full((1, GRID.count), speed))
    free = math.log((speed * begin - load) / (carried - load)) / speed
    expected = (begin - carried / speed) / (carried - load) - free
    # two almost equal times are subtracted where the burst is short
    assert held(table, begin, carried, load) == pytest.approx(expected, rel=2e-3, abs=2e-4 / speed)


@settings(max_examples=20)
@given(
    ln_knee=st.floats(-4.0, 2.0),
    ln_begin=st.floats(-1.0, 5.0),
    share=st.floats(0.02, 0.9),
    load_share=st.floats(0.0, 0.5),
)
def test_bent_speeds_agree_with_the_integral_over_the_table(
    ln_knee: float, ln_begin: float, share: float, load_share: float
) -> None:
    begin = math.exp(ln_begin)
    table = SpeedTable(GRID, (0.8 / (1.0 + GRID.pressure_pa / math.exp(ln_knee)))[np.newaxis])
    carried = share * float(lookup(table, 0, begin)) * begin
    load = load_share * carried

    ln_pressure = np.linspace(ln_begin - math.log(1e3), ln_begin, 8_001)
    pressure = np.exp(ln_pressure)
    drawn = lookup(table, 0, pressure) * pressure
    over = drawn > carried
    free = 1.0 / (np.where(over, drawn, carried) - load)
    slower = np.where(over, pressure * (1.0 / (carried - load) - free), 0.0)
    expected = float(simpson(slower, x=ln_pressure))
    found = held(table, begin, carried, load)
    assert found == pytest.approx(expected, rel=5e-3, abs=1e-3 * begin / carried)


@settings(max_examples=30)
@given(
    exponent=st.floats(0.95, 1.0),
    begin=st.floats(1.0, 50.0),
    share=st.floats(0.9, 0.9995),
    load_share=st.floats(0.0, 0.9995),
)
@example(exponent=0.98, begin=50.0, share=0.999, load_share=0.9995)
@example(exponent=1.0, begin=5.0, share=0.999, load_share=0.99)
def test_a_pump_past_its_knee_that_draws_hardly_more_is_never_quicker_for_being_held_back(
    exponent: float, begin: float, share: float, load_share: float
) -> None:
    # S·p level or rising slowly: scipy's integral over the table, to 3 % of the whole burst up to
    # nine tenths of what is carried; beyond, what is held back takes longer by definition
    speed = 0.8 / np.maximum(1.0, GRID.pressure_pa / 0.5) ** exponent
    table = SpeedTable(GRID, speed[np.newaxis])
    carried = share * float(lookup(table, 0, begin)) * begin
    load = load_share * carried
    ln_pressure = np.linspace(math.log(0.1), math.log(begin), 8_001)
    pressure = np.exp(ln_pressure)
    drawn = lookup(table, 0, pressure) * pressure
    over = drawn > carried
    slower = 1.0 / (carried - load) - 1.0 / (np.where(over, drawn, carried) - load)
    expected = float(simpson(pressure * slower, x=ln_pressure))
    whole = (begin - float(pressure[over].min())) / (carried - load)
    found = held(table, begin, carried, load)
    assert found >= -1e-9 * whole
    if load_share <= 0.9:
        assert found == pytest.approx(expected, abs=0.03 * whole)


def test_a_load_that_the_foreline_just_carries_holds_the_burst_for_ever() -> None:
    table = SpeedTable(GRID, np.full((1, GRID.count), 0.5))
    assert held(table, 10.0, 1.0, 1.0) == math.inf
    assert held(table, 10.0, 1.0, 2.0) == math.inf
    assert held(table, 10.0, 0.0, 0.0) == math.inf
    assert 0.0 < held(table, 10.0, 1.0, 0.5) < math.inf
