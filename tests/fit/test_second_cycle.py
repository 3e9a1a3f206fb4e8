"""Pump-down after a short venting: against direct integration, and which way it goes."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from server.fit.choice import StackChoice
from server.fit.course import pump_downs
from server.fit.results import PumpDown
from server.physics.outgassing import LAW_START_S, outgassing_row
from tests.fit.engine_cases import BENCH, a_bench, a_rougher, inquiry, spot_of

RUBBER: dict[str, Any] = {
    **BENCH,
    "chamber": {
        **BENCH["chamber"],
        "surfaces": [{"material": "fkm", "area": "0.3 m2"}],
        "leak_rate": "1e-4 Pa*m3/s",
    },
    "target_pressure": "1 Pa",
}


def rubber_down(**duty: Any) -> PumpDown:
    asked = inquiry(RUBBER, duty={"time_at_pressure": "30 min", "cycles_per_day": 4, **duty})
    catalog = a_bench(a_rougher())
    choice = StackChoice(
        high_vacuum_pump=None, booster=None, backing_pump="ROUGHER", fluid=None, trap=None
    )
    return pump_downs([spot_of(asked, catalog, choice)])[0]


def test_a_second_cycle_against_solve_ivp() -> None:
    """Rough stack, 2.5 L/s on 100 L of elastomer-walled chamber, opened for 9 min."""
    down = rubber_down(vent_time="9 min")
    row = outgassing_row("fkm", "unbaked")
    share = math.sqrt(9.0 / 240.0)

    def gas(t: float) -> float:
        held = max(t, LAW_START_S) / 3600.0
        before = (down.time_s + 1800.0) / 3600.0
        decayed = share * float(held**-row.alpha) + (1.0 - share) * float(before**-row.alpha)
        # the rougher takes water and air alike: it has one curve, for air
        return 1e-4 + row.q1_pa_m_s * 0.3 * decayed

    def fall(t: float, y: np.ndarray) -> list[float]:
        p = math.exp(y[0])
        speed = 2.5e-3 * (1.0 - 1e-3 / p)
        return [(-speed * p + gas(t)) / 0.1 / p]

    def there(_t: float, y: np.ndarray) -> float:
        return float(y[0] - math.log(1.0))

    there.terminal = True  # type: ignore[attr-defined]
    found = solve_ivp(
        fall, (0.0, 1e6), [math.log(101_325.0)], events=there, rtol=1e-9, atol=1e-10,
        method="LSODA",
    )  # fmt: skip
    assert down.later_time_s == pytest.approx(float(found.t[-1]), rel=0.01)
    assert down.later_time_s < 0.9 * down.time_s


def test_later_cycles_are_never_slower_and_dry_gas_helps() -> None:
    air, dry = (
        rubber_down(vent_time="20 min"),
        rubber_down(vent_time="20 min", venting="dry_nitrogen"),
    )
    longer, fresh = rubber_down(vent_time="1 h"), rubber_down(vent_time="4 h")
    assert air.time_s == dry.time_s == longer.time_s == fresh.time_s
    assert dry.later_time_s < air.later_time_s < longer.later_time_s < fresh.later_time_s
    assert fresh.later_time_s == pytest.approx(fresh.time_s, rel=1e-9)
