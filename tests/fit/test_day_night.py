"""The night of a working day: switching off against standing by, by hand and by two days."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.fit.day_night import choice_of
from server.fit.day_results import Overnight
from server.fit.habits import Habits, Stop
from server.fit.workings.day import day_lines
from tests.fit.test_day import BACKED, EIGHT_HOURS, a_course, demo_spot, jet_spot, made, with_duty


def test_a_jets_night_by_hand() -> None:
    course = a_course((300.0, 360.0), (300.0, 180.0))
    day = made(with_duty(jet_spot(), EIGHT_HOURS), course)
    night = day.night
    # 900 W for 7 min and 400 W for 25 min: 978 kJ, as much as 900 W take in 1087 s
    assert night.restart_energy_j == pytest.approx(900 * 420 + 400 * 1500)
    assert night.break_even_s == pytest.approx(978_000 / 900)
    # 16 h to switching on, 7 min more until it is hot
    assert night.gap_s == pytest.approx(16 * 3600.0)
    assert night.idle_kwh == pytest.approx(0.9 * (16 + 7 / 60))
    assert night.choice is Overnight.SWITCH_OFF
    shown = {line.key: line for line in day_lines(day, EIGHT_HOURS, course)}
    assert len({line.section for line in shown.values()}) == 1
    assert shown["break-even"].value == pytest.approx(978_000 / 900)
    assert shown["later-pump-down"].value == pytest.approx(480.0)
    # beside roughing the boiler warms up for 5 of its 7 min; the small foreline is emptied first
    wait, rough, rest = shown["cold-start"].inputs.values()
    assert (rough, rest) == (300.0, 360.0)
    assert 120.0 < float(wait) < 130.0


@pytest.mark.parametrize("kind", BACKED)
def test_what_a_night_saves_is_what_two_days_differ_by(kind: str) -> None:
    """Standing by all 24 h less the day as it is, pump by pump from the spans of the timeline."""
    course = a_course((300.0, 360.0), (300.0, 180.0))
    day = made(with_duty(demo_spot(kind), EIGHT_HOURS), course)
    night = day.night
    assert night.choice is Overnight.SWITCH_OFF
    all_day_kwh = night.idle_power_w * 24.0 / 1000.0
    # the jet's heater goes on seconds after the backing pump, when the foreline is empty
    saved = all_day_kwh - day.kwh_per_day
    assert night.idle_kwh - night.restart_kwh == pytest.approx(saved, rel=2e-3)


def test_pumps_that_stand_by_all_night_are_not_told_to_be_switched_off_early() -> None:
    duty = replace(EIGHT_HOURS, shift_s=86_400.0 - 1400.0)
    day = made(with_duty(jet_spot(), duty), a_course((300.0, 360.0), (300.0, 180.0)))
    # 23 min do not even let the boiler cool down
    assert day.night.choice is Overnight.STAY_ON
    assert day.first_cycle_s == pytest.approx(300 + 360 + 2700 + 600)
    assert "cooling down takes 25 min, the gap is 23 min" in day.night.text
    assert not any("switching off" in note for note in day.notes)


@given(idle_w=st.floats(1.0, 1e4), energy_j=st.floats(1.0, 1e8), beyond=st.floats(1.001, 100.0))
def test_the_night_is_chosen_by_the_break_even(
    idle_w: float, energy_j: float, beyond: float
) -> None:
    stop = Stop(*np.array([idle_w, energy_j, 0.0, 0.0]))
    limit = energy_j / idle_w
    assert choice_of(Habits(None), stop, limit * beyond) is Overnight.SWITCH_OFF
    assert choice_of(Habits(None), stop, limit / beyond) is Overnight.STAY_ON
    # no time to cool down, or no gap at all
    slow = replace(stop, stop_s=np.array(limit * beyond * 1.001))
    assert choice_of(Habits(None), slow, limit * beyond) is Overnight.STAY_ON
    assert choice_of(Habits(None), stop, 0.0) is Overnight.NO_GAP
