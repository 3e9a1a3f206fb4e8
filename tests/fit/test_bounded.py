"""What bounds say of combinations holds for every one of them, judged by itself."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.arrays import GRID
from server.fit.backing import back_tables
from server.fit.candidates import Field, fields_of
from server.fit.costs import Purse
from server.fit.decided import Decided
from server.fit.evaluation import How, Judged, front_states, judge
from server.fit.level_falls import front_falls
from server.fit.level_time import FOLLOWED_WITHIN
from server.fit.levels import Levels
from server.fit.loads import AIR, loads_of
from server.fit.pump_sets import NEVER, Block, PumpSets, codes_of
from server.fit.requirements import Requirements
from server.fit.states import HighVacuumStates
from server.physics.arrays import FloatArray, IntArray
from server.physics.gasload import GasLoad
from server.physics.pumpdown import Phase, pump_down
from server.physics.pumps import tolerable_foreline_pa
from server.physics.rotor import compression_at_foreline
from server.physics.speedtable import SpeedTable
from tests.fit.engine_cases import COATER, DISTILLATION, demo_catalog, inquiry

HYDROGEN = [{"species": "hydrogen", "flow": "20 sccm"}]
CASES: Mapping[str, Requirements] = {
    "coater": inquiry(COATER),
    "dry": inquiry(COATER, process__vapour=None),
    "hydrogen": inquiry(COATER, process__gas=HYDROGEN),
    "in two minutes": inquiry(
        COATER, target_pressure="1e-3 mbar", pump_down_time="2 min", process=None
    ),
    "once a day": inquiry(COATER, duty__cycles_per_day=1, pump_down_time="6 h"),
    "still": inquiry(DISTILLATION),
    # forelines stand at hundreds of times what a turbomolecular pump tolerates
    "flood": inquiry(COATER, process__gas=[{"species": "argon", "flow": "20000 sccm"}]),
}


@dataclass(frozen=True)
class Case:
    """Fronts and backs of a field, judged one by one and by bounds."""

    judged: Judged
    states: HighVacuumStates
    decided: Decided

    @property
    def rows(self) -> IntArray:
        """All fronts."""
        return np.arange(len(self.states.fronts))


@cache
def cases_of(name: str) -> tuple[Case, ...]:
    return tuple(_cases(CASES[name]))


def _cases(asked: Requirements) -> Iterator[Case]:
    catalog, loads = demo_catalog(), loads_of(asked)
    for field in fields_of(asked, catalog):
        alone = front_states(field, loads, asked, catalog)
        if alone is None:
            continue
        backing = back_tables(field.backs, loads.species, asked, catalog)
        how = How(fronts=alone, backing=backing)
        judged = judge(field, loads, asked, catalog, Purse(asked, catalog), how)
        states = HighVacuumStates(alone, field.backs, backing)
        yield Case(judged, states, Decided(states, front_falls(alone, loads, asked)))


@pytest.mark.parametrize("name", list(CASES))
def test_every_level_lies_between_its_bounds_and_most_bounds_are_one(name: str) -> None:
    for case in cases_of(name):
        levels = Levels.open(np.ones(len(case.rows), dtype=np.intp), len(case.states.backs))
        case.decided.narrow_steady(levels, case.rows)
        case.decided.narrow_timed(levels, case.rows)
        judged = case.judged
        exact = np.where(judged.fits, 2, np.where(judged.fails, 0, 1))
        # gaps of joints are a matter of the parts, which the bounds do not look at
        closed = ~np.broadcast_to(judged.case.open_joints, exact.shape)
        assert (levels.least <= exact)[closed].all()
        assert (exact <= levels.most)[closed].all()
        assert levels.undecided.mean() < 0.15
        assert sum(levels.failed.values()) == np.count_nonzero(levels.most == 0)


@pytest.mark.parametrize("name", list(CASES))
def test_every_pump_down_and_day_lies_between_its_bounds(name: str) -> None:
    for case in cases_of(name):
        times = case.decided.times.between_s(case.rows)
        days = case.judged.days
        needed = case.decided.day.needed_s(case.rows, times)
        within(days.spread(days.evacuation.time_s), times.first.least_s, times.first.most_s)
        within(days.spread(days.needs.needed_s), needed.least_s, needed.most_s)
        if times.later is not None:
            later = days.spread(days.evacuation.later_s)
            within(later, times.later.least_s, times.later.most_s)


def test_the_clocks_of_a_net_rise_even_where_a_cycle_has_less_than_a_second() -> None:
    asked = inquiry(
        COATER, pump_down_time=None, duty__cycles_per_day=100, duty__shift="60 s",
        duty__time_at_pressure="1 s", duty__vent_time="1 s",
    )  # fmt: skip
    catalog, loads = demo_catalog(), loads_of(asked)
    field = fields_of(asked, catalog)[0]
    one = Field((field.fronts[0],), field.backs)
    alone = front_states(one, loads, asked, catalog)
    assert alone is not None
    assert (np.diff(front_falls(alone, loads, asked).clock_s) >= 0.0).all()


def within(value: FloatArray, least: FloatArray, most: FloatArray) -> None:
    known = np.isfinite(value)
    assert (least[known] <= value[known] * (1.0 + 1e-9)).all()
    assert (value[known] <= most[known] * (1.0 + 1e-9)).all()


@pytest.mark.parametrize("name", ["coater", "still"])
def test_a_foreline_lets_a_flow_through_where_the_pump_stands_what_it_brings(name: str) -> None:
    case = cases_of(name)[0]
    states, alone = case.states, case.states.alone
    limits = alone.limits({AIR: 1.0})
    jets = np.flatnonzero(states.outlet_rows >= 0)
    for share in (0.05, 0.3, 0.6, 0.95):
        flow = np.full(len(states.backs), share * float(np.median(limits.largest_pa_m3_s[jets])))
        brought = states.still.carrying_pa({AIR: 1.0}, flow)[states.outlet_rows[jets]]
        own = limits.of(jets)
        tolerable = tolerable_foreline_pa(
            np.minimum(flow[0], own.largest_pa_m3_s), own.largest_pa_m3_s,
            own.no_load_pa, own.full_load_pa,
        )[:, np.newaxis]  # fmt: skip
        stands = (tolerable >= brought) & (own.largest_pa_m3_s >= flow[0])[:, np.newaxis]
        carries = states.burst_pa_m3_s[jets] >= flow
        low, high = states.still.between_branches_pa_m3_s({AIR: 1.0}, own.no_load_pa.max())
        several = (flow >= low) & (flow <= high)
        near = np.isclose(tolerable, brought, rtol=1e-6)
        assert (stands == carries)[~near & ~several].all()
        assert stands.any() or share > 0.5


shares = st.floats(0.0, 1.0)


@given(
    speeds=st.lists(st.floats(-2.5, 0.0), min_size=4, max_size=4),
    load=st.tuples(st.floats(-7.0, -4.0), st.floats(-7.0, -3.5), st.sampled_from([0.5, 1.0, 1.3])),
    starts=st.tuples(shares, shares, shares, shares),
)
def test_two_pump_downs_of_one_front_never_cross(
    speeds: list[float], load: tuple[float, float, float], starts: tuple[float, ...]
) -> None:
    corners = np.interp(GRID.ln_pressure, np.log([1e-6, 1e-3, 1.0, 1e2]), np.array(speeds))
    table = SpeedTable(GRID, 10.0 ** corners[np.newaxis])
    constant, amplitude, alpha = 10.0 ** load[0], 10.0 ** load[1], load[2]
    gas = GasLoad(constant, np.array([amplitude]), np.array([alpha]))
    pressure = np.sort(10.0 ** (2.0 * np.array(starts[:2]) - 1.0))
    clock = np.sort(2_000.0 * np.array(starts[2:]))
    # lower and earlier, higher at the same clock, later at the same pressure
    begin = pressure[[0, 1, 0]]
    phase = Phase(table, np.zeros(3, dtype=np.intp), begin, 1e-2, clock[[0, 0, 1]])
    first, higher, later = pump_down(0.2, gas, phase, 1e6).time_s
    if not np.isfinite(max(first, higher, later)):
        return
    assert first <= higher * (1.0 + FOLLOWED_WITHIN)
    assert first <= later * (1.0 + FOLLOWED_WITHIN)
    assert later - clock[1] <= (first - clock[0]) + FOLLOWED_WITHIN * later


@given(compression=st.floats(0.0, 12.0), share=st.floats(0.0, 20.0), tolerable=st.floats(1.0, 2e3))
def test_a_foreline_takes_no_more_of_a_compression_than_a_decade_for_its_tolerable_pressure(
    compression: float, share: float, tolerable: float
) -> None:
    stated = 10.0**compression
    left = float(compression_at_foreline(stated, share * tolerable, tolerable))
    assert stated * 10.0**-share <= left * (1.0 + 1e-9)
    assert left <= stated * (1.0 + 1e-9)


def test_what_some_fronts_cost_is_what_they_cost_among_all() -> None:
    asked, catalog = CASES["coater"], demo_catalog()
    field, purse = fields_of(asked, catalog)[0], Purse(asked, catalog)
    rows, whole = np.array([3, 0, len(field.fronts) - 1]), purse.table(field)
    some = purse.parts(field).table(rows)
    for name in ("purchase", "energy_per_year", "consumables", "open_joints"):
        found = np.broadcast_to(getattr(whole, name), (len(field.fronts), len(field.backs)))
        assert (getattr(some, name) == found[rows]).all()


measures = st.tuples(st.sampled_from(["fits", "marginal", "fails"]), st.integers(1, 6))


@given(
    given_blocks=st.lists(
        st.lists(st.lists(measures, min_size=4, max_size=4), min_size=3, max_size=3),
        min_size=1,
        max_size=3,
    )
)
def test_sets_of_pumps_rank_as_in_a_plain_sort(given_blocks: list[Any]) -> None:
    sets, front_set, back_set = PumpSets(), np.array([0, 1, 1]), np.array([0, 1, 0, 2])
    best: dict[tuple[int, int, int], int] = {}
    for number, rows in enumerate(given_blocks):
        verdict = np.array([[entry[0] for entry in row] for row in rows])
        total = np.array([[entry[1] for entry in row] for row in rows])
        codes = codes_of(verdict == "fits", verdict == "marginal", total)
        kinds = np.array([0, 1])
        sets.add(Block(number, np.arange(3), np.arange(4), front_set, back_set, kinds), codes)
        for row in range(3):
            for column in range(4):
                key = (number, int(front_set[row]), int(back_set[column]))
                if codes[row, column] != NEVER:
                    best[key] = min(best.get(key, NEVER), int(codes[row, column]))
    expected = sorted(best.values())
    assert sets.codes_of_ranks(len(expected) + 1).tolist() == expected
    assert sets.codes_of_ranks(2).tolist() == expected[:2]
    for kind, code in sets.best_of_kinds().items():
        assert code == min(code for key, code in best.items() if key[1] == kind)
        assert sets.before(code) == sum(one < code for one in expected)
        entries = sets.with_codes([code])
        found = {
            (int(n), int(front_set[r]), int(back_set[c]))
            for n, r, c in zip(entries.number, entries.row, entries.column, strict=True)
        }
        assert found == {key for key, one in best.items() if one == code}
