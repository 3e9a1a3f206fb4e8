"""The judgement a practitioner expects, over the demo catalogue, and the counts."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import pytest

from server.catalog.gas_curves import compression_for
from server.catalog.items import (
    CAPTURE_KINDS,
    OIL_SEALED_KINDS,
    SILICONE_FLUIDS,
    VAPOUR_KINDS,
    Cooling,
    FluidKind,
    Pump,
    PumpKind,
    TurboPump,
    VapourPump,
)
from server.fit.candidates import Field
from server.fit.costs import Purse
from server.fit.crossover import crossover_pressure_pa
from server.fit.evaluation import How, judge
from server.fit.results import MarginKey
from server.fit.thresholds import RULES
from tests.fit.engine_cases import (
    COATER,
    DISTILLATION,
    Stack,
    demo_catalog,
    judged_demo,
    stack_of,
)

HYDROGEN: dict[str, Any] = {
    "process__gas": [{"species": "hydrogen", "flow": "20 sccm"}],
    "process__vapour": None,
}


def pumps_of(stack: Stack) -> list[Pump]:
    parts = [stack.front.pump if stack.front else None, stack.back.backing, stack.back.booster]
    return [part for part in parts if part is not None]


def returned(base: dict[str, Any], **changes: Any) -> list[Stack]:
    """Every stack that nothing fails; at least one, so that no check is empty."""
    stacks = judged_demo(base, **changes).returned()
    assert stacks
    return stacks


# --- counts --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("base", "target"),
    [(COATER, "2e-5 mbar"), (DISTILLATION, "5 Pa"), (COATER, "1e-10 mbar")],
    ids=["coater", "distillation", "nothing fits"],
)
def test_every_combination_is_counted_once(base: dict[str, Any], target: str) -> None:
    judgement = judged_demo(base, target_pressure=target)
    sorted_out = judgement.count("fits") + judgement.count("marginal")
    assert judgement.considered == sorted_out + sum(judgement.rejected.values())
    assert set(judgement.rejected) <= {key.value for key in MarginKey}


def test_nothing_fits_is_an_answer() -> None:
    judgement = judged_demo(COATER, target_pressure="1e-10 mbar")
    assert judgement.returned() == []
    assert judgement.rejected["ultimate"] > 1000


def test_fits_means_every_margin_reaches_its_threshold() -> None:
    judgement = judged_demo(COATER)
    for judged in judgement.judged:
        shape = judged.worst_share.shape
        passed = np.ones(shape, dtype=bool)
        alive = np.ones(shape, dtype=bool)
        for key, ledger in judged.ledgers.items():
            ratio = np.broadcast_to(ledger.ratio, shape)
            applies = ~np.isnan(ratio)
            passed &= ~applies | (ratio >= RULES[key].threshold * (1 - 1e-6))
            alive &= ~applies | (ratio >= 1.0 - 1e-6)
        assert np.array_equal(judged.fits, passed & alive)
        assert np.array_equal(judged.marginal, alive & ~passed)


# --- cleanliness and hazards ---------------------------------------------------------------------


def test_oil_free_has_no_oil_anywhere() -> None:
    for stack in returned(COATER, cleanliness="oil_free"):
        assert not {pump.kind for pump in pumps_of(stack)} & (OIL_SEALED_KINDS | VAPOUR_KINDS)
        assert stack.back.oil is None


def test_low_oil_puts_a_trap_between_oil_and_chamber() -> None:
    for stack in returned(COATER, cleanliness="low_oil"):
        if stack.front is not None and stack.front.pump.kind in VAPOUR_KINDS:
            assert stack.front.trap is not None
        if stack.back.backing.kind in OIL_SEALED_KINDS:
            assert stack.back.trap is not None


def test_oxygen_rich_gas_meets_fluorinated_fluid_or_no_fluid() -> None:
    stacks = returned(COATER, hazards=["oxygen_rich"], process__vapour=None)
    for stack in stacks:
        for fluid in (stack.front.fluid if stack.front else None, stack.back.oil):
            assert fluid is None or fluid.kind is FluidKind.PERFLUOROPOLYETHER
    # both ways out are offered: fluorinated fluid under a jet, and dry pumps
    assert {stack.back.backing.kind in OIL_SEALED_KINDS for stack in stacks} == {True, False}


# --- the site ------------------------------------------------------------------------------------


def test_without_cooling_water_nothing_needs_any() -> None:
    for stack in returned(COATER, utilities__cooling_water=False):
        parts = [*pumps_of(stack), stack.back.trap, stack.front.trap if stack.front else None]
        assert all(part is None or part.cooling is not Cooling.WATER for part in parts)


def test_without_three_phases_nothing_needs_them_and_with_them_some_do() -> None:
    single = returned(COATER)
    assert all(pump.phases == 1 for stack in single for pump in pumps_of(stack))
    three = returned(COATER, utilities__three_phase=True, cleanliness="oil_free")
    assert any(pump.phases == 3 for stack in three for pump in pumps_of(stack))


def test_mains_of_115_v_feeds_only_what_is_built_for_it() -> None:
    for stack in returned(COATER, utilities__mains_voltage="115 V"):
        for pump in pumps_of(stack):
            assert any(abs(volt - 115) <= 12 for volt in pump.mains_voltages), pump.sku


# --- vapour --------------------------------------------------------------------------------------


def test_a_condensable_load_brings_ballast_or_a_trap_with_capacity() -> None:
    daily_kg = 3e-3 * 6 * 0.75  # 3 g/h, six cycles of 45 min
    for stack in returned(COATER):
        if stack.front is not None and stack.front.pump.kind in CAPTURE_KINDS:
            continue  # keeps the vapour itself
        traps = (stack.back.trap, stack.front.trap if stack.front else None)
        held = max((trap.capacity_kg for trap in traps if trap is not None), default=0.0)
        assert stack.back.backing.ballast_m3_s > 0.0 or held >= daily_kg, stack.skus
        assert stack.ratio("vapour") >= 1.0 - 1e-9


def test_much_vapour_leaves_only_what_takes_it() -> None:
    # 300 g/h of water for 4.5 h a day: more than a kilogram, beyond small pumps' ballast
    asked: dict[str, Any] = {
        "target_pressure": "1 mbar",
        "process": {
            "pressure": "20 mbar",
            "vapour": [{"substance": "water", "rate": "300 g/h"}],
        },
        "pump_down_time": None,
    }
    for stack in returned(COATER, **asked):
        trap = stack.back.trap
        held = trap.capacity_kg if trap else 0.0
        # ballast: B·p_s/(p_o − p_s) of vapour per second at most (Gaede), p_s(72–110 °C) < 1.5 bar
        assert held >= 0.3 * 4.5 or stack.back.backing.ballast_m3_s > 0.0


# --- vapour-jet pumps ----------------------------------------------------------------------------


@pytest.mark.parametrize("base", [COATER, DISTILLATION], ids=["coater", "distillation"])
def test_no_jet_is_crossed_over_above_its_limit_nor_run_above_its_foreline(
    base: dict[str, Any],
) -> None:
    for judged in judged_demo(base).judged:
        states = judged.case.states
        if states.inlet is None:
            continue
        assert states.crossover_limit_pa is not None
        assert states.base.foreline_pa is not None
        shape = judged.worst_share.shape
        jets = np.array([[isinstance(front.pump, VapourPump)] for front in judged.case.fronts])
        kept = ~judged.fails & np.broadcast_to(jets, shape)
        crossed = np.broadcast_to(crossover_pressure_pa(states), shape)[kept]
        no_load = np.array(
            [
                [getattr(front.pump, "tolerable_foreline_no_load_pa", np.nan)]
                for front in judged.case.fronts
            ]
        )
        assert np.all(crossed <= np.broadcast_to(states.crossover_limit_pa, shape)[kept] + 1e-9)
        assert np.all(crossed < np.broadcast_to(no_load, shape)[kept])
        for state in (states.base, states.process):
            if state is None:
                continue
            assert state.foreline_pa is not None
            assert state.tolerable_pa is not None
            tolerable = np.broadcast_to(state.tolerable_pa, shape)[kept]
            assert np.all(state.foreline_pa[kept] <= tolerable)


def test_distillation_around_10_pa_takes_no_standard_jet_over_its_limit() -> None:
    stacks = returned(DISTILLATION)
    fronts = {stack.front.pump.sku: stack.front for stack in stacks if stack.front is not None}
    kinds = {front.pump.kind for front in fronts.values()}
    variants = [
        front.pump
        for front in fronts.values()
        if isinstance(front.pump, VapourPump) and front.pump.variant_of
    ]
    # each of the three ways out is offered: high-load variant, vapour booster, rough stack
    assert variants
    assert PumpKind.VAPOUR_BOOSTER in kinds
    assert any(stack.front is None for stack in stacks)
    for stack in stacks:
        front, state = stack.front, stack.judged.case.states.process
        if front is None or front.pump.largest_inlet_pa is None:
            continue
        assert state is not None
        inlet = float(
            np.broadcast_to(state.inlet_pa, stack.judged.worst_share.shape)[stack.row, stack.column]
        )
        assert inlet <= front.pump.largest_inlet_pa * (1 + 1e-9)


def test_a_standard_jet_is_refused_where_its_high_load_variant_is_taken() -> None:
    judgement = judged_demo(DISTILLATION)
    kept = {stack.front.pump.sku for stack in judgement.returned() if stack.front is not None}
    catalog = demo_catalog()
    pairs = [
        (pump.variant_of, pump.sku)
        for pump in catalog.of_type(VapourPump)
        if pump.variant_of and pump.sku in kept
    ]
    assert pairs
    assert any(standard not in kept for standard, _ in pairs)


def test_a_high_load_variant_runs_on_heat_stable_fluid_only() -> None:
    variants = [
        stack.front
        for stack in returned(DISTILLATION)
        if stack.front is not None
        and isinstance(stack.front.pump, VapourPump)
        and stack.front.pump.needs_heat_stable_fluid
    ]
    assert variants
    for front in variants:
        assert front.fluid is not None
        assert front.fluid.heat_stable
        assert isinstance(front.pump, VapourPump)
        assert front.fluid.largest_boiler_k >= front.pump.boiler_k


def test_silicone_and_other_fluids_are_both_offered_where_either_will_do() -> None:
    kinds = Counter(
        stack.front.fluid.kind in SILICONE_FLUIDS
        for stack in returned(COATER)
        if stack.front is not None and stack.front.fluid is not None
    )
    assert kinds[True]
    assert kinds[False]


# --- hydrogen ------------------------------------------------------------------------------------


def test_hydrogen_is_judged_with_hydrogens_curves_and_compression() -> None:
    stacks = [
        stack
        for stack in returned(COATER, **HYDROGEN)
        if stack.front is not None and isinstance(stack.front.pump, TurboPump)
    ]
    assert stacks
    for stack in stacks[::20]:
        judged, front = stack.judged, stack.front
        assert front is not None
        pump = front.pump
        assert isinstance(pump, TurboPump)
        states = judged.case.states
        state = states.process
        assert state is not None
        assert state.foreline_pa is not None
        partial = float(state.partial_pa["hydrogen"][stack.row, stack.column])
        # the speed the partial pressure stands for is below that of the pump's hydrogen curve
        own = next(curve for curve in pump.curves if curve.gas == "hydrogen")
        assert state.load_pa_m3_s["hydrogen"] / partial <= max(own.speed_m3_s) * 1.001
        # and what diffuses back through the rotor is there, 10⁵ times more than of nitrogen
        back = float(state.foreline_pa[stack.row, stack.column]) / compression_for(
            pump.compression, "hydrogen"
        )
        chamber = float(state.chamber_pa[stack.row, stack.column])
        assert chamber >= partial + 0.5 * back


def test_hydrogen_is_not_sent_to_a_cryopump_that_does_not_hold_it_for_long() -> None:
    for stack in returned(COATER, **HYDROGEN):
        if stack.front is not None and stack.front.pump.kind is PumpKind.CRYO:
            assert stack.ratio("duty") >= 1.0


# --- a way to be roughed -------------------------------------------------------------------------


def test_every_high_vacuum_pump_gets_a_way_to_be_roughed() -> None:
    judgement = judged_demo(COATER)
    purse = Purse(judgement.requirements, demo_catalog())
    by_kind = {
        stack.front.pump.kind: stack for stack in judgement.returned() if stack.front is not None
    }
    assert len(by_kind) >= 3
    for kind, stack in by_kind.items():
        assert stack.ratio("crossover") >= 1.0
        parts = purse.stack_assembly(stack.front, stack.back).parts
        lines = [part.item.name.lower() for part in parts]
        if kind in VAPOUR_KINDS | CAPTURE_KINDS:
            assert any("roughing" in name for name in lines), kind


RUN_UP = {
    "chamber": {"volume": "2.5 L"},
    "target_pressure": "0.165 Pa",
    "pump_down_time": "10 min",
    "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "400 V"},
    "process": {
        "pressure": "1 Pa",
        "gas": [{"species": "nitrogen", "flow": "10 sccm"}],
        "vapour": [{"substance": "water", "rate": "0.4 g/h"}],
    },
}
"""Roughing comes to the target while a turbo still runs up, and traps take part of the load."""


@pytest.mark.parametrize("base", [COATER, RUN_UP])
def test_a_stack_is_judged_alike_alone_and_in_its_field(base: dict[str, Any]) -> None:
    judgement = judged_demo(base)
    returned = judgement.returned()
    checked = 0
    for stack in returned[:: max(1, len(returned) // 25)]:
        field = Field((stack.front,), (stack.back,))
        purse = Purse(judgement.requirements, demo_catalog())
        alone = judge(
            field, judgement.loads, judgement.requirements, demo_catalog(), purse, How(True)
        )
        one = stack_of(alone, 0, 0)
        for key in stack.judged.ledgers:
            in_field = stack.ratio(key)
            assert one.ratio(key) == pytest.approx(in_field, rel=1e-9, nan_ok=True), one.skus
        checked += 1
    assert checked >= 20
