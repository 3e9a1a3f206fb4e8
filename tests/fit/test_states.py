"""Steady states: every node carries its load, base pressures by a calculation of their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from server.catalog.arrays import GRID
from server.catalog.items import BackingPump, FluidKind, Pump, TurboPump
from server.fit.candidates import Front, fields_of
from server.fit.costs import Purse
from server.fit.evaluation import Judged, judge
from server.fit.geometry import chamber_line, foreline, outlet_of, rough_line
from server.fit.loads import loads_of
from server.fit.settled import SettledState
from server.physics.gas import Mixture
from server.physics.line import (
    line_conductance_m3_s,
    molecular_conductance_m3_s,
    upstream_pressure_pa,
)
from server.physics.species import SPECIES
from server.physics.speedtable import SpeedTable
from tests.accuracy import Quantity, keep
from tests.fit.engine_cases import (
    BENCH,
    COATER,
    Judgement,
    Stack,
    a_bench,
    a_jet,
    a_rougher,
    demo_catalog,
    inquiry,
    judged_demo,
)
from tests.fit.stock import a_fluid, a_turbo_pump

ROOM_K = 293.15
LN_GRID = np.log(GRID.pressure_pa)
Floats = NDArray[np.float64]

UHV: dict[str, Any] = {
    "title": "Surface science, 50 L",
    "application": "surface_science",
    "chamber": {"volume": "50 L", "port": "CF 160"},
    "target_pressure": "1e-8 mbar",
    "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "230 V"},
}
ROUGH: dict[str, Any] = {
    "title": "Degassing, 1 mbar",
    "application": "degassing",
    "chamber": {"volume": "60 L", "port": "KF 40", "leak_rate": "1e-2 mbar*L/s"},
    "target_pressure": "1 mbar",
    "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "230 V"},
}


@pytest.fixture(scope="module")
def coater() -> Judgement:
    return judged_demo(COATER)


def speeds(table: SpeedTable, rows: Floats, pressure_pa: Floats) -> Floats:
    """Speeds linear in ln p between nodes, row by row, independent of the engine's own gather."""
    position = (np.log(pressure_pa) - LN_GRID[0]) / (LN_GRID[1] - LN_GRID[0])
    cell = np.clip(np.floor(position), 0, GRID.count - 2).astype(int)
    share = np.clip(position - cell, 0.0, 1.0)
    low, high = (
        table.speed_m3_s[rows.astype(int), cell],
        table.speed_m3_s[rows.astype(int), cell + 1],
    )
    found: Floats = low + (high - low) * share
    return found


def carried(
    load: Mapping[str, Floats], tables: Mapping[str, SpeedTable], rows: Floats, pressure_pa: Floats
) -> Floats:
    """Σ Q_i/S_i(p): the pressure the load needs."""
    total = np.zeros_like(pressure_pa)
    for gas, flow in load.items():
        total += np.where(flow > 0.0, flow / speeds(tables[gas], rows, pressure_pa), 0.0)
    return total


# --- the balance at every node -------------------------------------------------------------------


def states_of(judged: Judged) -> list[tuple[str, SettledState]]:
    states = judged.case.states
    found = [("base", states.base)]
    return found if states.process is None else [*found, ("process", states.process)]


@pytest.mark.parametrize("name", ["coater", "uhv"])
def test_chamber_and_inlet_of_every_returned_stack_carry_the_load(name: str) -> None:
    judgement = judged_demo({"coater": COATER, "uhv": UHV}[name])
    checked = 0
    for judged in judgement.judged:
        inlet = judged.case.states.inlet
        if inlet is None:
            continue
        at = np.nonzero(~judged.fails)
        rows = inlet.row_of_front[at[0]].astype(float)
        for name, state in states_of(judged):
            inlet = judged.case.states.inlet_at_work if name == "process" else inlet
            assert inlet is not None
            chamber, pump = state.chamber_pa[at], state.inlet_pa[at]
            # what is there without load, from the balance at the pump itself
            load = {gas: np.full(rows.shape, flow) for gas, flow in state.load_pa_m3_s.items()}
            passed = {
                gas: flow[rows.astype(int)]
                for gas, flow in inlet.beyond_trap(state.load_pa_m3_s).items()
            }
            resting_chamber = chamber - carried(load, inlet.at_chamber, rows, chamber)
            resting_chamber -= inlet.over_pa[at[0]]  # over what the trap holds
            resting_pump = pump - carried(passed, inlet.at_pump, rows, pump)
            assert np.all(resting_chamber >= -1e-3 * chamber)
            # where a trap holds vapour the pump may stand at the pressure of the chamber
            between = pump < chamber * (1 - 1e-9)
            residual = np.abs(resting_chamber - resting_pump) / chamber
            keep(Quantity.STEADY, np.where(between, residual, 0.0))
            assert np.all((residual <= 1e-3) | ~between)
            assert np.all(pump <= chamber * (1 + 1e-12))
            checked += rows.size
    assert checked > 100


def test_partial_pressures_add_up_to_what_the_load_makes(coater: Judgement) -> None:
    for judged in coater.judged:
        for name, state in states_of(judged):
            offset = judged.case.states.offset_pa
            gas = sum(state.partial_pa.values())
            known = np.isfinite(state.chamber_pa)
            if name == "base":
                whole = np.broadcast_to(gas + offset, state.chamber_pa.shape)
                assert whole[known] == pytest.approx(state.chamber_pa[known], rel=1e-3)
            else:
                assert np.all(np.asarray(gas)[known] <= state.chamber_pa[known] * 1.001)


def test_foreline_of_every_returned_stack_carries_the_load(coater: Judgement) -> None:
    checked = 0
    for judged in coater.judged:
        states, requirements = judged.case.states, coater.requirements
        if states.inlet is None:
            continue
        fronts, backs = judged.case.fronts, judged.case.backs
        for name, state in states_of(judged):
            assert state.foreline_pa is not None
            seen: set[tuple[str, int]] = set()
            for row, column in zip(*np.nonzero(~judged.fails), strict=True):
                outlet = outlet_of(fronts[row].pump, states.backing.catalog)
                if outlet is None or (str(outlet), int(column)) in seen:
                    continue
                seen.add((str(outlet), int(column)))
                entry = float(state.foreline_pa[row, column])
                line = foreline(outlet, backs[column], requirements)
                # a vapour that the front's trap holds does not get here
                place = states.inlet.row_of_front[row]
                load = {
                    gas: flow[[place]]
                    for gas, flow in states.inlet.beyond_trap(state.load_pa_m3_s).items()
                }
                work = states.backing.at_work({gas: float(q[0]) for gas, q in load.items()})
                tables = (work.inlet if name == "process" else states.backing.inlet).each
                # p at the back from the line: ∫ C dp = Q; then Q = S_b·p_b there
                at_back = pressure_behind(
                    line, entry, {gas: float(q[0]) for gas, q in load.items()}
                )
                need = carried(load, tables, np.array([float(column)]), np.array([at_back]))[0]
                if name == "process":  # the vapour over what the back's own trap holds
                    need += work.over_pa[column]
                assert need == pytest.approx(at_back, rel=5e-3), (fronts[row].pump.sku, column)
                checked += 1
    assert checked > 50


def pressure_behind(line: Any, entry_pa: float, load: dict[str, float]) -> float:
    """Exit pressure of a line that carries a load from an entry pressure.

    One gas of the load's composition; Q = ∫ C dp, since every short piece carries C·dp.
    """
    gas = Mixture.of_amounts({SPECIES[name]: flow for name, flow in load.items() if flow > 0.0})
    nodes = np.geomspace(entry_pa * 1e-6, entry_pa, 4001)
    between = np.minimum(line_conductance_m3_s(line, nodes, ROOM_K, gas), 1e9)
    carried_from = np.append(np.cumsum((cells_of(between, nodes))[::-1])[::-1], 0.0)
    return float(np.interp(-sum(load.values()), -carried_from, nodes))


def cells_of(values: Any, nodes: Any) -> Any:
    """∫ over each cell by the trapezoidal rule; 4001 nodes make it good to 1e-6."""
    return (values[1:] + values[:-1]) / 2 * np.diff(nodes)


# --- base pressure by a calculation of its own ---------------------------------------------------


def own_speed(pump: Pump, gas: str, pressure_pa: float) -> float:
    """Speed from the catalogue's own points, straight in logarithms."""
    curves = {curve.gas: curve for curve in pump.curves if not curve.with_ballast}
    curve = curves.get(gas) or curves.get("nitrogen") or curves["air"]
    ln_s = np.interp(np.log(pressure_pa), np.log(curve.pressure_pa), np.log(curve.speed_m3_s))
    return float(np.exp(ln_s))


def surfaces_by_hand(judgement: Judgement) -> dict[str, float]:
    """q₁·A·(24)^−α of each surface, a day after pumping began, and the leak."""
    load = {"air": judgement.loads.leak_pa_m3_s}
    for surface in judgement.loads.surfaces:
        row = surface.row
        rate = row.q1_pa_m_s * surface.area_m2 * 24.0**-row.alpha
        load[row.species] = load.get(row.species, 0.0) + rate
    return load


def base_by_hand(judgement: Judgement, stack: Stack, resting_pa: float) -> float:
    """p = p_rest + Σ Q·(1/S + 1/C), molecular flow, for a high-vacuum stack."""
    assert stack.front is not None
    pump, catalog = stack.front.pump, demo_catalog()
    line = chamber_line(pump, stack.front.trap, judgement.requirements, catalog)
    total = resting_pa
    for gas, flow in surfaces_by_hand(judgement).items():
        conductance = molecular_conductance_m3_s(line, ROOM_K, SPECIES[gas])
        total += flow * (1 / own_speed(pump, gas, 1e-4) + 1 / conductance)
    return total


def returned(judgement: Judgement, kind: str, *, trap: bool | None = None) -> list[Stack]:
    """Every fiftieth returned stack of a kind of high-vacuum pump."""
    chosen = [
        stack
        for stack in judgement.returned()
        if stack.front is not None
        and stack.front.pump.kind == kind
        and (trap is None or (stack.front.trap is not None) is trap)
    ]
    return chosen[:: max(1, len(chosen) // 12)]


def base_of(stack: Stack) -> float:
    return float(stack.judged.case.states.base.chamber_pa[stack.row, stack.column])


def test_base_pressure_of_vapour_jet_stacks_by_hand(coater: Judgement) -> None:
    stacks = returned(coater, "vapour_jet", trap=False)
    assert stacks
    for stack in stacks:
        front = stack.front
        assert front is not None
        assert front.fluid is not None
        fluid = 10 ** (front.fluid.vapour_pressure_a - front.fluid.vapour_pressure_b_k / 298.15)
        resting = max(fluid, front.pump.ultimate_pa)
        assert base_of(stack) == pytest.approx(base_by_hand(coater, stack, resting), rel=0.01)


def test_base_pressure_of_turbo_stacks_by_hand(coater: Judgement) -> None:
    # p = Σ Q_i/S_i + Σ p_fore,i/K₀,i (physics.md; Jousten)
    stacks = returned(coater, "turbomolecular_drag", trap=False)
    stacks += returned(coater, "turbomolecular", trap=False)
    assert stacks
    for stack in stacks:
        front, state = stack.front, stack.judged.case.states.base
        assert front is not None
        pump = front.pump
        assert isinstance(pump, TurboPump)
        assert state.foreline_pa is not None
        behind = float(state.foreline_pa[stack.row, stack.column])
        load = surfaces_by_hand(coater)
        whole = sum(load.values())
        resting = pump.ultimate_pa
        resting += sum(behind * q / whole / pump.compression[gas] for gas, q in load.items())
        assert base_of(stack) == pytest.approx(base_by_hand(coater, stack, resting), rel=0.01)


@pytest.mark.parametrize("kind", ["cryo", "sputter_ion"])
def test_base_pressure_of_capture_stacks_by_hand(kind: str, coater: Judgement) -> None:
    judgement = coater if kind == "cryo" else judged_demo(UHV)
    stacks = returned(judgement, kind)
    assert stacks
    for stack in stacks:
        assert stack.front is not None
        by_hand = base_by_hand(judgement, stack, stack.front.pump.ultimate_pa)
        # a sputter-ion pump slows towards low pressure: 3 % for the speed taken at 1e-4 Pa
        pump, pressure = stack.front.pump, base_of(stack)
        slower = own_speed(pump, "nitrogen", 1e-4) / own_speed(
            pump, "nitrogen", max(pressure, 1e-8)
        )
        assert pressure == pytest.approx(by_hand, rel=0.02 + abs(slower - 1)), pump.sku


def test_base_pressure_of_rough_stacks_by_hand() -> None:
    judgement = judged_demo(ROUGH)
    stacks = [s for s in judgement.returned() if s.front is None and s.back.booster is None]
    assert len(stacks) >= 10
    flow = sum(surfaces_by_hand(judgement).values())
    for stack in stacks:
        pump: BackingPump = stack.back.backing

        def miss(ln_inlet: float, pump: BackingPump = pump) -> float:
            inlet = float(np.exp(ln_inlet))
            net = own_speed(pump, "air", inlet) * (1 - pump.ultimate_pa / inlet)
            return net * inlet - flow

        inlet = float(np.exp(brentq(miss, np.log(pump.ultimate_pa), np.log(1e4))))
        line = rough_line(stack.back, judgement.requirements, demo_catalog())
        by_hand = float(upstream_pressure_pa(line, flow, inlet, ROOM_K, SPECIES["air"]))
        # close to its ultimate pressure the table lets a pump end up to 15 % higher
        spare = 0.03 if inlet > 1.5 * pump.ultimate_pa else 0.16
        assert by_hand * 0.97 <= base_of(stack) <= by_hand * (1 + spare), pump.sku


# --- limits --------------------------------------------------------------------------------------

FLUID = a_fluid("FLUID", "90.00", 65e-6)


def bench(*items: Any, **changes: Any) -> Judged:
    requirements, catalog = inquiry(BENCH, **changes), a_bench(*items)
    field = fields_of(requirements, catalog)[0]
    return judge(field, loads_of(requirements), requirements, catalog, Purse(requirements, catalog))


def test_crossover_is_where_roughing_falls_to_what_the_jet_carries_check_c5() -> None:
    # values.json C5: Q_max = 1 Pa·m³/s, roughing at the chamber 20 L/s: 50 Pa
    jet = replace(
        a_jet(),
        largest_throughput_pa_m3_s=1.0,
        tolerable_foreline_no_load_pa=200.0,
        tolerable_foreline_full_load_pa=200.0,
    )
    states = bench(jet, a_rougher(20e-3), FLUID).case.states
    assert states.capacity_pa_m3_s is not None
    assert states.crossover_limit_pa is not None
    assert states.capacity_pa_m3_s[0, 0] == pytest.approx(1.0)
    assert states.crossover_limit_pa[0, 0] == pytest.approx(50.0, rel=1e-3)


def test_a_large_chamber_is_handed_over_lower_so_that_the_burst_is_short() -> None:
    jet = replace(
        a_jet(),
        largest_throughput_pa_m3_s=1.0,
        tolerable_foreline_no_load_pa=200.0,
        tolerable_foreline_full_load_pa=200.0,
    )
    states = bench(jet, a_rougher(20e-3), FLUID, chamber__volume="4 m3").case.states
    assert states.crossover_limit_pa is not None
    # 1 Pa·m³/s for a minute into 4 m³: 15 Pa
    assert states.crossover_limit_pa[0, 0] == pytest.approx(15.0, rel=1e-3)


def test_other_pumps_start_where_they_say() -> None:
    turbo = replace(a_turbo_pump(), curves=a_jet().curves, compression={"nitrogen": 1e9})
    states = bench(turbo, a_rougher()).case.states
    assert states.crossover_limit_pa is not None
    assert states.crossover_limit_pa[0, 0] == turbo.start_pressure_pa


def test_a_back_that_cannot_carry_the_load_spoils_no_other() -> None:
    # with one back the turbo has no state (NaN); with the other it must keep its own
    turbo = replace(a_turbo_pump(), curves=a_jet(0.2).curves, compression={"nitrogen": 1e9})
    good = a_rougher(20e-3)
    # an exhausted pump: it carries 1e-5 m³/s × 1.3e5 Pa at most
    weak = replace(
        good, sku="WEAK", curves=tuple(replace(c, speed_m3_s=(1e-6, 1e-6)) for c in good.curves)
    )
    process = {"gas": [{"species": "air", "flow": "0.5 Pa*m3/s"}]}
    judged = bench(turbo, weak, good, process=process)
    state = judged.case.states.process
    assert state is not None
    column = {back.backing.sku: index for index, back in enumerate(judged.case.backs)}
    assert np.isnan(state.chamber_pa[0, column["WEAK"]])
    assert state.chamber_pa[0, column["ROUGHER"]] == pytest.approx(0.5 / 0.2, rel=0.01)


def test_the_fluid_alone_sets_the_pressure_at_rest_where_it_is_above_the_pumps_own() -> None:
    mineral = replace(
        FLUID, sku="OTHER", grade="other", kind=FluidKind.MINERAL,
        vapour_pressure_a=12.0, vapour_pressure_b_k=4500.0,
    )  # fmt: skip
    judged = bench(a_jet(), a_rougher(), FLUID, mineral)
    fronts: tuple[Front, ...] = judged.case.fronts
    resting = {
        front.fluid.grade: judged.case.states.offset_pa[row, 0]
        for row, front in enumerate(fronts)
        if front.fluid is not None
    }
    assert resting["trisiloxane"] == pytest.approx(1e-5)
    assert resting["other"] == pytest.approx(10 ** (12 - 4500 / 298.15))
