"""The bound that spares following a pump-down: never wrong, and not idle."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.fit.choice import StackChoice
from server.fit.evacuation import evacuate
from server.fit.remedies.reach import SLACK, arrival_gap
from server.fit.remedies.trial import ONE
from server.fit.results import MarginKey
from server.physics.constants import ATMOSPHERE_PA
from tests.fit.engine_cases import COATER, inquiry
from tests.fit.remedies.cases import CRYO, JET, ROUGH, spot_of, trial_of

TURBO = StackChoice("TURBO-680-IK", None, "VANE2-0160")
DAY_S = 86_400.0


@settings(max_examples=10)
@given(
    choice=st.sampled_from([JET, CRYO, TURBO, ROUGH]),
    ln_target_pa=st.floats(math.log(1e-5), math.log(1e4)),
    ln_leak=st.floats(math.log(1e-8), math.log(3.0)),
    ln_by_s=st.floats(math.log(60.0), math.log(DAY_S)),
)
def test_what_is_said_to_be_out_of_reach_is_not_reached_by_then(
    choice: StackChoice, ln_target_pa: float, ln_leak: float, ln_by_s: float
) -> None:
    asked = inquiry(
        COATER,
        target_pressure=f"{math.exp(ln_target_pa)} Pa",
        chamber__leak_rate=f"{math.exp(ln_leak)} Pa*m3/s",
    )
    spot = spot_of(choice, asked)
    case, target_pa = spot.judged.case, asked.target_pressure_pa
    fronts, backs = case.field.fronts, case.field.backs
    gap = arrival_gap(spot.front, case.states, case.loads, target_pa, math.exp(ln_by_s))
    found = evacuate(fronts, backs, case.states, case.loads, asked, ONE)
    if gap < 0.0:
        assert found.time_s[0] > math.exp(ln_by_s)


def test_in_a_chamber_without_surfaces_it_is_what_the_pump_takes_over_the_leak() -> None:
    """By hand: S·p/Q of the backing pump through its line, both as they stand in the tables."""
    asked = inquiry(COATER, chamber__leak_rate="1e-3 Pa*m3/s", target_pressure="2 Pa")
    spot = spot_of(ROUGH, asked)
    case = spot.judged.case
    table = case.states.backing.at_chamber["air"]
    speed = np.interp(math.log(2.0), np.log(table.grid.pressure_pa), table.speed_m3_s[0])
    gap = arrival_gap(None, case.states, replace(case.loads, surfaces=()), 2.0, DAY_S)
    assert gap == pytest.approx(math.log(speed * 2.0 / 1e-3), abs=2.0 * SLACK)


def test_no_load_makes_roughing_quicker_than_none() -> None:
    """Against V·∫d ln p/S of the table by 20,000 trapezia, a little below it."""
    spot = spot_of(ROUGH, inquiry(COATER, target_pressure="2 Pa"))
    case = spot.judged.case
    table = case.states.backing.at_chamber["air"]
    ln_p = np.linspace(math.log(2.0), math.log(ATMOSPHERE_PA), 20_001)
    speed = np.interp(ln_p, np.log(table.grid.pressure_pa), table.speed_m3_s[0])
    least_s = case.loads.volume_m3 * float(np.trapezoid(1.0 / speed, ln_p))
    for by_s in (0.1 * least_s, 0.5 * least_s):
        gap = arrival_gap(None, case.states, case.loads, 2.0, by_s)
        assert math.log(by_s / least_s) < gap < math.log(by_s / least_s) + 0.02


def test_it_tells_of_a_deep_target_without_following_and_not_of_one_that_is_met() -> None:
    deep = trial_of(spot_of(JET, inquiry(COATER)), inquiry(COATER, target_pressure="1e-8 mbar"))
    assert deep.now.bound(MarginKey.PUMP_DOWN) < 0.0
    assert not deep.now.passes(MarginKey.PUMP_DOWN)
    assert "evacuation" not in vars(deep.now)
    met = trial_of(spot_of(JET, inquiry(COATER)), inquiry(COATER))
    assert met.now.bound(MarginKey.PUMP_DOWN) > 0.0
