"""Spread of time and base pressure: calibrated, the same as the engine as stated, and in order."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from server.catalog.items import SpeedCurve
from server.fit.candidates import fields_of
from server.fit.costs import Purse
from server.fit.course import Outlook, outlooks
from server.fit.evaluation import How, Judged, judge
from server.fit.explain import Spot
from server.fit.loads import loads_of
from server.fit.states import BELOW_NOTICE
from server.fit.thresholds import LEAK_GSD, SPEED_GSD
from server.fit.uncertainty import Draws, as_stated, base_pressures_pa, draw, follow
from server.physics.outgassing import outgassing_row
from tests.fit.engine_cases import BENCH, COATER, a_bench, a_jet, a_rougher, inquiry, judged_demo
from tests.fit.stock import a_fluid, a_turbo_pump

WALLS: dict[str, Any] = {
    **BENCH,
    "chamber": {
        **BENCH["chamber"],
        "surfaces": [
            {"material": "stainless_steel", "area": "1.2 m2", "condition": "unbaked"},
            {"material": "fkm", "area": "0.01 m2"},
        ],
        "leak_rate": "1e-6 Pa*m3/s",
    },
    "pump_down_time": "6 min",
}
TRUE_SYSTEMS = 2_000


def bench(*items: Any, **changes: Any) -> Judged:
    requirements, catalog = inquiry(WALLS, **changes), a_bench(*items)
    field = fields_of(requirements, catalog)[0]
    purse = Purse(requirements, catalog)
    return judge(field, loads_of(requirements), requirements, catalog, purse, How(follow_all=True))


def jet() -> Judged:
    return bench(a_jet(), a_rougher(), a_fluid("FLUID", "90.00", 65e-6), target_pressure="2e-3 Pa")


def turbo() -> Judged:
    curve = (SpeedCurve("nitrogen", (1e-8, 1.0), (0.2, 0.2)),)
    pump = replace(a_turbo_pump(), curves=curve, compression={"nitrogen": 1e9, "water": 1e8})
    return bench(pump, a_rougher(), target_pressure="5e-4 Pa")


def rough() -> Judged:
    return bench(a_rougher(ultimate_pa=0.1), target_pressure="0.5 Pa")


STACKS = {"jet": jet, "turbo": turbo, "rough": rough}


def place(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    return np.zeros(count, dtype=np.intp), np.zeros(count, dtype=np.intp)


def true_systems(judged: Judged, seed: int) -> Draws:
    """Plain Monte Carlo from the log-normals that the data rows and the thresholds state."""
    rng = np.random.default_rng(seed)
    rows = [(s.row.material, s.row.condition) for s in judged.case.loads.surfaces]
    spread = [outgassing_row(*row).geometric_sd for row in rows]
    surfaces = np.stack([rng.lognormal(0.0, np.log(sd), TRUE_SYSTEMS) for sd in spread], axis=1)
    leak, roughing, high = (
        rng.lognormal(0.0, np.log(sd), TRUE_SYSTEMS) for sd in (LEAK_GSD, SPEED_GSD, SPEED_GSD)
    )
    one = np.ones(TRUE_SYSTEMS)
    return Draws(surfaces, leak, roughing, high, one, one)


@pytest.mark.parametrize("name", list(STACKS))
def test_eight_true_systems_of_ten_lie_in_the_band(name: str) -> None:
    """Share between P10 and P90 of 2,000 systems: 80 %, ± 2 % for their number (binomial 0.9 %)."""
    judged = STACKS[name]()
    outlook = outlooks([Spot(judged, 0, 0)])[0]
    systems = true_systems(judged, 77)
    times = follow(judged, place(TRUE_SYSTEMS), systems).time_s
    down = outlook.pump_down
    assert down.p10_s < down.p50_s < down.p90_s < np.inf
    assert 0.78 <= np.mean((times >= down.p10_s) & (times <= down.p90_s)) <= 0.82
    assert np.mean(times <= down.p50_s) == pytest.approx(0.5, abs=0.03)
    bases, base = base_pressures_pa(judged, place(TRUE_SYSTEMS), systems), outlook.base
    assert 0.78 <= np.mean((bases >= base.base_p10_pa) & (bases <= base.base_p90_pa)) <= 0.82
    assert np.mean(bases <= base.base_p50_pa) == pytest.approx(0.5, abs=0.03)
    target = judged.case.requirements.target_pressure_pa
    assert np.mean(bases <= target) == pytest.approx(base.probability_at_target, abs=0.03)
    assert np.mean(times <= 360.0) == pytest.approx(down.probability_in_time, abs=0.03)
    assert np.mean(np.isfinite(times)) == pytest.approx(down.probability_reached, abs=0.03)


def test_probabilities_are_worth_testing() -> None:
    """At least one stack keeps the wanted time, or reaches the target, sometimes only."""
    found = [outlooks([Spot(make(), 0, 0)])[0] for make in STACKS.values()]
    shares = [out.pump_down.probability_in_time for out in found]
    assert any(share is not None and 0.05 < share < 0.95 for share in shares), shares


def demo_field() -> tuple[Judged, NDArray[np.intp], NDArray[np.intp]]:
    judged = next(j for j in judged_demo(COATER).judged if j.case.states.inlet is not None)
    rows, columns = np.nonzero(np.isfinite(judged.time_s))
    chosen = np.linspace(0, len(rows) - 1, 25).astype(int)
    return judged, rows[chosen], columns[chosen]


def test_a_system_as_stated_is_what_the_engine_judged() -> None:
    judged, rows, columns = demo_field()
    stated = as_stated(judged.case.loads, len(rows))
    times = follow(judged, (rows, columns), stated).time_s
    assert times == pytest.approx(judged.time_s[rows, columns], rel=0.01)
    shape = judged.time_s.shape
    bases = np.broadcast_to(judged.case.states.base.chamber_pa, shape)[rows, columns]
    # the field leaves out back-diffusion that adds less than this
    found = base_pressures_pa(judged, (rows, columns), stated)
    assert found == pytest.approx(bases, rel=BELOW_NOTICE)


def test_systems_of_many_stacks_are_those_of_each_alone() -> None:
    """Company changes nothing, but for the clock that the burst's load is read at."""
    judged, rows, columns = demo_field()
    systems = draw(judged.case.loads, 16)
    several = np.repeat(np.arange(4), 16)
    every = systems.rows(np.tile(np.arange(16), 4))
    together = follow(judged, (rows[several], columns[several]), every).time_s.reshape(4, 16)
    for number in range(4):
        at = (np.full(16, rows[number]), np.full(16, columns[number]))
        assert follow(judged, at, systems).time_s == pytest.approx(together[number], rel=1e-6)


def test_wider_scatter_of_the_speed_alone_moves_both_ends() -> None:
    """A dry, tight chamber: t and p scale with 1/S, so P10 and P90 are the factor's own."""
    judged = bench(
        a_rougher(ultimate_pa=1e-3),
        target_pressure="5 Pa",
        chamber__surfaces=[{"material": "stainless_steel", "area": "1e-6 m2"}],
        chamber__leak_rate="0 Pa*m3/s",
    )
    found: Outlook = outlooks([Spot(judged, 0, 0)])[0]
    # ninth decile of a log-normal: exp(1.2816·ln 1.06)
    factor = np.exp(1.2816 * np.log(1.06))
    down = found.pump_down
    assert down.p90_s / down.p50_s == pytest.approx(factor, rel=5e-3)
    assert down.p50_s / down.p10_s == pytest.approx(factor, rel=5e-3)
