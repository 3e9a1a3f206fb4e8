"""What a pressure consists of: rows add up, each gas at flow ÷ speed, at rest what is there."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from server.catalog.items import TurboPump
from server.fit.costs import Purse
from server.fit.explain import Spot
from server.fit.partials import partials_of
from server.fit.vapour_results import PartialPressure
from server.fit.workings.bench import Bench
from tests.fit.benches import judged_bench
from tests.fit.engine_cases import (
    COATER,
    DISTILLATION,
    a_jet,
    a_rougher,
    demo_catalog,
    inquiry,
    judge_all,
)
from tests.fit.stock import a_fluid

BAKED: dict[str, Any] = {
    "chamber": {
        "volume": "50 L",
        "port": "CF 160",
        "surfaces": [{"material": "stainless_steel", "area": "1 m2", "condition": "baked"}],
        "leak_rate": "1e-10 mbar*L/s",
    },
    "target_pressure": "1e-8 mbar",
    "cleanliness": "oil_free",
    "utilities": {"cooling_water": True, "three_phase": True},
}
DRYING: dict[str, Any] = {
    "chamber": {"volume": "100 L"},
    "target_pressure": "5e-3 mbar",
    "process": {"pressure": "1 mbar", "vapour": [{"substance": "water", "rate": "50 g/h"}]},
    "utilities": {"cooling_water": True, "three_phase": True},
}
CASES = {"coater": COATER, "still": DISTILLATION, "baked": BAKED, "drying": DRYING}


def bench_of(spot: Spot) -> Bench:
    return Bench(spot, Purse(spot.judged.case.requirements, demo_catalog()))


@cache
def shown(name: str) -> list[tuple[Spot, bool, tuple[PartialPressure, ...]]]:
    """Every tenth or so of the returned stacks, each state with its rows."""
    stacks = judge_all(inquiry(CASES[name]), demo_catalog()).returned()
    found = []
    for stack in stacks[:: max(1, len(stacks) // 40)]:
        spot = Spot(stack.judged, stack.row, stack.column)
        bench = bench_of(spot)
        for state in bench.settled:
            found.append((spot, state.working, partials_of(bench, state)))
    return found


def chamber_pa(spot: Spot, *, working: bool) -> float:
    states = spot.judged.case.states
    state = states.process if working else states.base
    assert state is not None
    return spot.at(state.chamber_pa)


@pytest.mark.parametrize("name", list(CASES))
def test_the_rows_add_up_to_the_pressure_of_the_chamber(name: str) -> None:
    rows = shown(name)
    assert rows
    for spot, working, parts in rows:
        total = chamber_pa(spot, working=working)
        assert sum(row.pressure_pa for row in parts) == pytest.approx(total, rel=1e-5)
        assert sum(row.share for row in parts) == pytest.approx(1.0, rel=1e-5)


@pytest.mark.parametrize("name", list(CASES))
def test_each_gas_is_its_flow_over_its_speed_and_all_its_load_is_there(name: str) -> None:
    for spot, working, parts in shown(name):
        states = spot.judged.case.states
        state = states.process if working else states.base
        assert state is not None
        for row in parts:
            assert row.pressure_pa > 0.0
            if row.at_rest:
                assert row.speed_m3_s is None
                assert row.load_pa_m3_s == 0.0
            else:
                assert row.load_pa_m3_s == state.load_pa_m3_s[row.what]
                assert row.speed_m3_s is not None
                assert row.speed_m3_s * row.pressure_pa == pytest.approx(row.load_pa_m3_s)
        gases = {row.what for row in parts if not row.at_rest}
        assert gases == {gas for gas, flow in state.load_pa_m3_s.items() if flow > 0.0}


def test_at_its_final_pressure_a_backing_pump_holds_air_of_its_own() -> None:
    """A rough stack near its ultimate: the chamber holds the pump's air, hardly any load's."""
    found = [
        (spot, row)
        for spot, working, parts in shown("drying")
        if spot.front is None and not working
        for row in parts
        if row.at_rest and row.what.startswith("final pressure")
    ]
    assert found
    for spot, row in found:
        booster = spot.back.booster
        if booster is None:
            # S·(1 − p_ult/p): what stands at rest is the stated ultimate, within the grid's step
            assert row.pressure_pa == pytest.approx(spot.back.backing.ultimate_pa, rel=0.15)


def test_behind_a_turbo_what_comes_back_is_the_foreline_over_the_compression() -> None:
    """Σ p_f,i/K₀,i by hand from the foreline's shares, against what the states leave for it."""
    seen = 0
    for spot, _, parts in shown("baked"):
        for row in parts:
            if not row.what.startswith("back through the rotor") or row.share < 0.01:
                continue
            state = spot.judged.case.states.base
            assert spot.front is not None
            assert isinstance(spot.front.pump, TurboPump)
            assert state.foreline_pa is not None
            bench = bench_of(spot)
            back = bench.back_diffusion(bench.base)
            by_hand = sum(behind / compression for behind, compression in back.values())
            assert row.pressure_pa == pytest.approx(by_hand, rel=1e-3)
            behind_pa = sum(behind for behind, _ in back.values())
            assert behind_pa == pytest.approx(spot.at(state.foreline_pa))
            assert "%" in row.note
            seen += 1
    assert seen


def test_a_jets_final_pressure_is_said_to_be_its_fluids_where_the_fluid_sets_it() -> None:
    """10^(A − B/T) Pa at 25 °C against the pump's own ultimate pressure."""
    # 10^(14.4 − 6500/298.15) = 4e-8 Pa and 10^(12 − 4500/298.15) = 8e-4 Pa, the pump's own 1e-5 Pa
    notes = {}
    for a, b in ((14.4, 6500.0), (12.0, 4500.0)):
        fluid = replace(
            a_fluid("FLUID", "90.00", 65e-6), vapour_pressure_a=a, vapour_pressure_b_k=b
        )
        spot = Spot(judged_bench(a_jet(), a_rougher(), fluid), 0, 0)
        bench = bench_of(spot)
        (row,) = [
            row
            for row in partials_of(bench, bench.base)
            if row.what.startswith("final pressure of")
        ]
        assert row.pressure_pa == pytest.approx(max(1e-5, 10 ** (a - b / 298.15)), rel=0.01)
        notes[a] = row.note
    assert notes[14.4] == "light fractions of its pentaphenyl trisiloxane"
    assert notes[12.0] == "vapour of its fluid, pentaphenyl trisiloxane"


def test_a_stack_without_a_state_has_no_rows() -> None:
    judged = judge_all(
        inquiry(DRYING, process__vapour=[{"substance": "water", "rate": "50 kg/h"}]),
        demo_catalog(),
    ).judged
    for field in judged:
        state = field.case.states.process
        assert state is not None
        lost = np.argwhere(np.isnan(np.broadcast_to(state.chamber_pa, field.worst_share.shape)))
        if len(lost):
            row, column = lost[0].tolist()
            bench = bench_of(Spot(field, row, column))
            assert bench.process is not None
            assert partials_of(bench, bench.process) == ()
            return
    raise AssertionError("no stack is without a state: the load must be larger")
