"""What a stack can do at most is where the engine itself first says no."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from server.catalog.arrays import GRID
from server.fit.advice import check
from server.fit.choice import StackChoice
from server.fit.course import Outlook, outlooks
from server.fit.envelope import envelopes
from server.fit.explain import Spot, margins_of
from server.fit.requirements import Requirements
from server.fit.results import LargestLoad, LoadLimit, MarginKey
from server.physics.speedtable import lookup
from tests.fit.engine_cases import (
    BENCH,
    COATER,
    DISTILLATION,
    a_bench,
    a_jet,
    a_rougher,
    demo_catalog,
    inquiry,
    judged_demo,
    spot_of,
)
from tests.fit.stock import a_fluid

LIMITING = {
    MarginKey.THROUGHPUT, MarginKey.FORELINE, MarginKey.INLET, MarginKey.PROCESS_PRESSURE,
}  # fmt: skip
WITHOUT_PRESSURE = LIMITING - {MarginKey.PROCESS_PRESSURE}


def scaled(asked: Requirements, factor: float) -> Requirements:
    """The same inquiry with so much more of each gas and vapour."""
    gas = tuple(replace(g, flow_mol_s=g.flow_mol_s * factor) for g in asked.process.gas)
    vapour = tuple(replace(v, rate_kg_s=v.rate_kg_s * factor) for v in asked.process.vapour)
    return replace(asked, process=replace(asked.process, gas=gas, vapour=vapour))


def choice_of(spot: Spot) -> StackChoice:
    front, back = spot.front, spot.back
    trap = back.trap or (front.trap if front else None)
    return StackChoice(
        front.pump.sku if front else None,
        back.booster.sku if back.booster else None,
        back.backing.sku,
        front.fluid.sku if front and front.fluid else None,
        trap.sku if trap else None,
    )


def ratios(asked: Requirements, choice: StackChoice) -> dict[MarginKey, float]:
    """Margins as ``check`` judges them, without the remedies that it looks for after that."""
    return {m.key: m.ratio for m in margins_of(spot_of(asked, demo_catalog(), choice))}


CASES: dict[str, dict[str, Any]] = {
    "coater": COATER,
    "coater, argon alone": {**COATER, "process": {**COATER["process"], "vapour": []}},
    "still": DISTILLATION,
}


def some(base: dict[str, Any], count: int) -> list[Spot]:
    """Checked stacks of the demo of every kind of front, so many of each."""
    asked = inquiry(base)
    found: list[Spot] = []
    kinds: Counter[str] = Counter()
    for judged in judged_demo(base).judged:
        rows, columns = np.nonzero(judged.fits | judged.marginal)
        order = np.random.default_rng(5).permutation(len(rows))
        for row, column in zip(rows[order].tolist(), columns[order].tolist(), strict=True):
            spot = Spot(judged, row, column)
            kind = spot.front.pump.kind.value if spot.front else "rough"
            both_traps = spot.front and spot.front.trap and spot.back.trap
            if kinds[kind] == count or both_traps:
                continue
            kinds[kind] += 1
            found.append(spot_of(asked, demo_catalog(), choice_of(spot)))
    return found


@pytest.mark.parametrize("name", list(CASES))
def test_the_largest_load_is_where_the_engine_first_says_no(name: str) -> None:
    """At 0.999 of what may be let in every margin holds, at 1.001 the one that is named fails."""
    asked = inquiry(CASES[name])
    limits: Counter[LoadLimit] = Counter()
    for spot in some(CASES[name], 2):
        envelope = outlooks([spot])[0].envelope
        let_in = sum(spot.judged.case.loads.process_pa_m3_s.values())
        both = [(envelope.largest_load, WITHOUT_PRESSURE)]
        if envelope.load_at_process_pressure:
            both.append((envelope.load_at_process_pressure, LIMITING))
        for load, keys in both:
            limits[load.limit] += 1
            assert_limit(asked, spot, load, let_in, keys)
    assert len(limits) >= 2, limits


def assert_limit(
    asked: Requirements, spot: Spot, load: LargestLoad, let_in: float, keys: set[MarginKey]
) -> None:
    said = (choice_of(spot), load)
    share = load.process_pa_m3_s / let_in
    below, above = (ratios(scaled(asked, share * part), choice_of(spot)) for part in (0.999, 1.001))
    failing = {key: below[key] for key in keys & set(below) if below[key] < 1.0}
    assert not failing, said
    if load.margin is not None:
        assert above[load.margin] < 1.0, said
    else:
        assert load.limit is LoadLimit.SPEED, said


def test_a_check_of_the_largest_load_says_the_same() -> None:
    asked = inquiry(COATER)
    spot = some(COATER, 1)[0]
    envelope = check(asked, demo_catalog(), choice_of(spot)).envelope
    assert envelope is not None
    load = envelope.load_at_process_pressure
    assert load is not None
    share = load.process_pa_m3_s / sum(spot.judged.case.loads.process_pa_m3_s.values())
    for part, holds in ((0.999, True), (1.001, False)):
        stack = check(scaled(asked, share * part), demo_catalog(), choice_of(spot))
        margin = next(margin for margin in stack.margins if margin.key is load.margin)
        assert (margin.ratio >= 1.0) is holds


def jet_bench(speed_m3_s: float, ultimate_pa: float = 1e-3, **changes: Any) -> tuple[Spot, Outlook]:
    asked = inquiry(BENCH, **changes)
    rougher = a_rougher(speed_m3_s, ultimate_pa)
    catalog = a_bench(a_jet(), rougher, a_fluid("FLUID", "90.00", 65e-6))
    choice = StackChoice(high_vacuum_pump="JET", backing_pump="ROUGHER", fluid="FLUID")
    spot = spot_of(asked, catalog, choice)
    return spot, outlooks([spot])[0]


def test_a_small_backing_pump_limits_a_jet_by_its_foreline() -> None:
    """2.5 L/s at the tolerable 66.66 Pa carry 0.1667 Pa·m³/s: S_b·p_tol (by hand)."""
    _, outlook = jet_bench(2.5e-3)
    load = outlook.envelope.largest_load
    assert load.limit is LoadLimit.FORELINE
    assert load.throughput_pa_m3_s == pytest.approx(2.5e-3 * 66.66, rel=2e-3)
    # 65 L/s without any line: the chamber then stands at Q/S
    assert load.chamber_pressure_pa == pytest.approx(load.throughput_pa_m3_s / 0.065, rel=1e-3)
    assert outlook.envelope.load_at_process_pressure is None
    assert outlook.envelope.gases == ("air",)


def test_a_back_that_rests_above_the_tolerable_pressure_lets_nothing_in() -> None:
    # at rest 1 mbar stands in the foreline, 66.66 Pa are tolerable: by definition no load
    _, outlook = jet_bench(2.5e-3, ultimate_pa=100.0)
    load = outlook.envelope.largest_load
    assert load.limit is LoadLimit.FORELINE
    assert load.throughput_pa_m3_s == pytest.approx(0.0, abs=1e-12)


def test_a_large_backing_pump_leaves_the_limit_to_the_jets() -> None:
    """65 L/s up to 13.33 Pa: the jets' own 0.866 Pa·m³/s (by hand).

    Tables end at the node before the largest inlet pressure: 1.5 % below it here.
    """
    _, outlook = jet_bench(37.5e-3)
    load = outlook.envelope.largest_load
    assert load.limit in {LoadLimit.PUMP, LoadLimit.INLET}
    assert load.throughput_pa_m3_s == pytest.approx(0.065 * 13.33, rel=0.02)


def test_the_load_at_a_pressure_is_speed_times_pressure() -> None:
    """At 1 Pa the 65 L/s carry 0.065 Pa·m³/s, leak and outgassing included (by hand)."""
    _, outlook = jet_bench(
        37.5e-3, process={"pressure": "1 Pa", "gas": [{"species": "air", "flow": "1 sccm"}]}
    )
    load = outlook.envelope.load_at_process_pressure
    assert load is not None
    assert load.limit is LoadLimit.PROCESS_PRESSURE
    assert load.throughput_pa_m3_s == pytest.approx(0.065, rel=1e-3)
    assert load.chamber_pressure_pa == pytest.approx(1.0, rel=1e-3)
    assert load.process_pa_m3_s < load.throughput_pa_m3_s


def test_the_shortest_time_is_that_of_volume_and_speed() -> None:
    """V/S·ln(p₀/p₁) at 20 L/s from the atmosphere to 50 Pa (textbook law)."""
    asked = inquiry(
        BENCH, target_pressure="50 Pa", chamber__leak_rate="0.2 Pa*m3/s",
        chamber__surfaces=[{"material": "fkm", "area": "1 m2"}],
    )  # fmt: skip
    catalog = a_bench(a_rougher(20e-3))
    envelope = outlooks([spot_of(asked, catalog, StackChoice(backing_pump="ROUGHER"))])[0].envelope
    by_hand = 0.1 / 20e-3 * math.log(101_325 / 50)
    assert envelope.shortest_time_s == pytest.approx(by_hand, rel=5e-3)
    assert envelope.stated_time_s > 1.03 * envelope.shortest_time_s
    assert envelope.clean_pressure_pa < envelope.lowest_pressure_pa
    # without any load a pump comes down to its ultimate pressure, told to a node of the tables
    assert 1e-3 <= envelope.clean_pressure_pa <= 1e-3 * math.exp(GRID.step)


def test_the_operating_point_lies_on_the_map() -> None:
    checked = 0
    for spot in some(COATER, 2):
        found = outlooks([spot])[0].envelope.map
        assert all(flow <= found.ceiling_pa_m3_s for flow in found.throughput_pa_m3_s)
        for name, pressure, flow in found.points:
            assert name == "process"
            there = np.interp(
                math.log(pressure), np.log(found.pressure_pa), np.log(found.throughput_pa_m3_s)
            )
            assert math.exp(there) == pytest.approx(flow, rel=0.01)
            checked += 1
    assert checked >= 4


def test_a_map_of_one_gas_is_its_speed_times_pressure() -> None:
    spot, outlook = jet_bench(
        37.5e-3, process={"pressure": "1 Pa", "gas": [{"species": "air", "flow": "20 sccm"}]},
        chamber__surfaces=[],
    )  # fmt: skip
    found, states = outlook.envelope.map, spot.judged.case.states
    assert states.inlet is not None
    for pressure, flow in zip(found.pressure_pa, found.throughput_pa_m3_s, strict=True):
        speed = float(lookup(states.inlet.at_chamber["air"], 0, pressure))
        rest = spot.at(states.offset_pa)
        by_hand = min(speed * (pressure - rest), found.ceiling_pa_m3_s)
        assert flow == pytest.approx(by_hand, rel=1e-6)


def test_company_changes_nothing() -> None:
    judged = next(j for j in judged_demo(COATER).judged if j.case.states.inlet is not None)
    rows, columns = np.nonzero(np.isfinite(judged.time_s))
    places = np.linspace(0, len(rows) - 1, 6).astype(int)
    spots = [Spot(judged, int(rows[p]), int(columns[p])) for p in places]
    times = [(1.0, 2.0)] * len(spots)
    together = envelopes(spots, times)
    for spot, shared in zip(spots, together, strict=True):
        alone = envelopes([spot], [(1.0, 2.0)])[0]
        assert alone.largest_load.throughput_pa_m3_s == pytest.approx(
            shared.largest_load.throughput_pa_m3_s, rel=1e-3
        )
        assert alone.largest_load.limit is shared.largest_load.limit


def test_nothing_is_asked_of_no_stack() -> None:
    assert envelopes([], []) == []
