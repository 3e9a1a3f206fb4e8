"""Workings: foreline pressure, what the foreline lets through, and the crossover."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np

from server.catalog.items import RootsBooster, TurboPump, VapourPump
from server.fit.evacuation import run_up_s
from server.fit.front_states import process_time_s
from server.fit.loads import AIR
from server.fit.pump_limits import highest_crossover_pa
from server.fit.results import Working
from server.fit.thresholds import BURST_S, CROSSOVER_ROOM, FORELINE_SHARE_AT_CROSSOVER
from server.fit.workings.bench import (
    CATALOG,
    PRACTICE,
    Bench,
    Law,
    Settled,
    cite,
    gas_name,
    line,
)
from server.fit.workings.booster import booster_lines
from server.fit.workings.curves import balance
from server.fit.workings.line import main_gas, molecular_lines
from server.physics.pumps import overload_time_s, tolerable_foreline_pa

SECTION = "Foreline"
CROSSOVER_SECTION = "Crossover"

_AT_BACK = Law(
    "p_b", "p_b = Σ Q_i/S_b,i(p_b), plus the vapour over a condenser", "Pa",
    "definition of pumping speed; Dalton",
)  # fmt: skip
_LINE = Law(
    "C_f", "C_f = ∫ C dp/(p_f − p_b) from p_b to p_f, for the gas of the load", "m³/s",
    cite("SHARIPOV-1998", "OATLEY-1957"),
)  # fmt: skip
_FORELINE = Law("p_f", "p_f = p_b + Q/C_f", "Pa", "definition of conductance")
_TOLERABLE = Law(
    "p_tol", "p_tol = p_no-load − (p_no-load − p_full-load)·Q/Q_max, Q at most Q_max", "Pa",
    f"{cite('HABLANIAN-1997')}; straight line between the two: {PRACTICE}",
)  # fmt: skip
_OWN = Law("Q_limit", "Q_limit = Q_max: the pump's own limit comes first", "Pa·m³/s", CATALOG)
_CARRIED = Law(
    "Q_limit", "Q_limit = S_b·p_b = C_f·(p_tol(Q_limit) − p_b): p_f has reached p_tol", "Pa·m³/s",
    cite("HABLANIAN-1997"),
)  # fmt: skip
_LARGEST_SPEED = Law(
    "S_limit", "S_limit = Q_limit/p_in, whatever the pump's own speed", "m³/s",
    "definition of throughput",
)  # fmt: skip

_ROUGHING = Law(
    "p_1", "p_1 = Q_limit/S_rough(p_1): roughing carries no more than the pump can", "Pa",
    cite("HABLANIAN-1997"),
)  # fmt: skip
_BURST_LIMIT = Law(
    "p_2", f"p_2 = Q_limit·{BURST_S:g} s/V: the burst is over in time", "Pa",
    f"gas in a volume; {BURST_S:g} s: {PRACTICE}",
)  # fmt: skip
_STEP = Law("p_3", f"p_3 = {FORELINE_SHARE_AT_CROSSOVER:g}·p_no-load", "Pa", PRACTICE)
_LIMIT = Law("p_limit", "p_limit = the smallest of p_1, p_2, p_3", "Pa", cite("HABLANIAN-1997"))
_START = Law("p_limit", "p_limit = start pressure of the pump", "Pa", CATALOG)
_FLOOR = Law(
    "p_floor", "p_floor = Σ Q_i/S_rough,i(p_floor) by roughing alone", "Pa",
    "definition of pumping speed; Dalton",
)  # fmt: skip
_CHOSEN = Law(
    "p_x",
    f"p_x = p_limit/{CROSSOVER_ROOM:g} where roughing gets there, else p_limit",
    "Pa",
    PRACTICE,
)
_BURST = Law(
    "t_burst", "t = V·(p − Q_limit/S_eff)/Q_limit, 0 where S_eff·p is below Q_limit", "s",
    cite("HABLANIAN-1997"),
)  # fmt: skip


def foreline_lines(bench: Bench) -> Iterator[Working]:
    """Yield backing pressure, foreline pressure, tolerable pressure and largest throughput."""
    if not bench.has_foreline:
        return
    run = bench.foreline
    if run.parts:
        yield from molecular_lines(SECTION, "foreline", run, AIR)
    for state in bench.settled:
        yield from _pressure_lines(bench, state)
    yield from _largest_lines(bench)


def _pressure_lines(bench: Bench, state: Settled) -> Iterator[Working]:
    at_back = bench.backing_pa(state)
    flow = sum(state.reaching_pa_m3_s.values())
    inputs: dict[str, float | str] = {}
    if resting := bench.back_resting_pa(state):
        inputs["vapour over the condenser [Pa]"] = resting
    for gas in state.gases:
        if not state.reaching_pa_m3_s[gas]:
            inputs[gas_name(gas)] = "held by the trap"
            continue
        inputs[f"Q({gas_name(gas)}) [Pa·m³/s]"] = state.reaching_pa_m3_s[gas]
        if math.isfinite(at_back):
            speed = bench.back_speeds(gas, state).at(at_back)
            inputs[f"S_b({gas_name(gas)}) [m³/s]"] = speed
    yield line(SECTION, f"backing-{state.key}", f"Pressure at the backing side {state.words}",
               _AT_BACK, inputs, at_back)  # fmt: skip
    if math.isfinite(at_back) and isinstance(bench.back.booster, RootsBooster):
        yield from booster_lines(SECTION, bench, state, main_gas(bench, state), at_back)
    foreline_pa = state.foreline_pa
    if math.isfinite(foreline_pa):
        through = bench.foreline_passage(state, state.reaching_pa_m3_s)
        passed = through.between(foreline_pa, at_back)
        yield line(SECTION, f"foreline-c-{state.key}", f"Foreline {state.words}", _LINE,
                   {"p_f [Pa]": foreline_pa, "p_b [Pa]": at_back}, passed)  # fmt: skip
        drop = {"p_b [Pa]": at_back, "Q [Pa·m³/s]": flow, "C_f [m³/s]": passed}
        yield line(SECTION, f"foreline-{state.key}", f"Foreline pressure {state.words}", _FORELINE,
                   drop, foreline_pa)  # fmt: skip
    inputs = _tolerable_inputs(bench, state)
    yield line(SECTION, f"tolerable-{state.key}", f"Tolerable foreline pressure {state.words}",
               _TOLERABLE, inputs, state.tolerable_pa)  # fmt: skip


def _tolerable_inputs(bench: Bench, state: Settled) -> dict[str, float | str]:
    largest, no_load, full_load = bench.spot.limits(state.load_pa_m3_s)
    return {
        "p_no-load [Pa]": no_load,
        "p_full-load [Pa]": full_load,
        "Q [Pa·m³/s]": sum(state.reaching_pa_m3_s.values()),
        "Q_max [Pa·m³/s]": largest,
    }


def _scaled(load_pa_m3_s: Mapping[str, float], flow_pa_m3_s: float) -> dict[str, float]:
    """Return a flow of the gas of a load; of air where there is none."""
    whole = sum(load_pa_m3_s.values())
    if whole <= 0.0:
        return {AIR: flow_pa_m3_s}
    return {gas: flow / whole * flow_pa_m3_s for gas, flow in load_pa_m3_s.items() if flow > 0.0}


def _largest_lines(bench: Bench) -> Iterator[Working]:
    assert bench.front is not None  # noqa: S101 (only pumps with an outlet have a foreline)
    pump = bench.front.pump
    limit = bench.one(bench.states.capacity_pa_m3_s)
    if math.isnan(limit):
        return
    state = bench.settled[-1]
    name = "Largest throughput that pump and foreline carry"
    yield _carried_line(bench, (SECTION, "largest", name), state, limit)
    at_inlets = {"while working": state.inlet_pa}
    if pump.largest_inlet_pa:
        at_inlets["at the largest continuous inlet pressure"] = pump.largest_inlet_pa
    for number, (words, inlet_pa) in enumerate(at_inlets.items(), start=1):
        if math.isfinite(inlet_pa) and inlet_pa > 0.0:
            yield line(
                SECTION, f"largest-speed-{number}",
                f"Largest speed at the inlet that the foreline allows {words}", _LARGEST_SPEED,
                {"Q_limit [Pa·m³/s]": limit, "p_in [Pa]": inlet_pa}, limit / inlet_pa,
            )  # fmt: skip


_AIR: Mapping[str, float] = {AIR: 1.0}


def _carried_line(
    bench: Bench,
    place: tuple[str, str, str],
    state: Settled,
    limit: float,
    *,
    of_air: bool = False,
) -> Working:
    """Return the largest throughput of a load's gas: the pump's own limit or its foreline's."""
    whole, gas = (_AIR, _AIR) if of_air else (state.load_pa_m3_s, state.reaching_pa_m3_s)
    own, no_load, full_load = bench.spot.limits(whole)
    # the table holds the pump's own limit where the root lies at the jump at its end
    if limit >= own * (1.0 - 1e-9):
        return line(*place, _OWN, {"Q_max [Pa·m³/s]": own}, limit)
    load = _scaled(gas, limit)
    speeds = {name: bench.back_speeds(name, state) for name in load}
    at_back = balance(load, speeds, 0.0).pressure_pa if limit > 0.0 else math.nan
    tolerable = float(tolerable_foreline_pa(limit, own, no_load, full_load))
    through = bench.foreline_passage(state, gas)
    inputs = {
        "p_b [Pa]": at_back,
        "S_b [m³/s]": limit / at_back,
        "C_f [m³/s]": through.between(tolerable, at_back),
        "p_tol [Pa]": tolerable,
        "Q_max [Pa·m³/s]": own,
    }
    return line(*place, _CARRIED, inputs, limit)


def crossover_lines(bench: Bench) -> Iterator[Working]:
    """Yield the limit for handing the chamber over, the chosen pressure and the burst after it."""
    front = bench.front
    if front is None:
        return
    if bench.has_foreline and math.isfinite(bench.air_limit_pa_m3_s):
        name = "Largest throughput of the air that is left at the crossover"
        place, limit = (CROSSOVER_SECTION, "crossover-largest", name), bench.air_limit_pa_m3_s
        yield _carried_line(bench, place, bench.base, limit, of_air=True)
    if isinstance(front.pump, VapourPump):
        yield from _jet_limits(bench, front.pump)
    limit = bench.one(bench.states.crossover_limit_pa)
    if not isinstance(front.pump, VapourPump):
        start = highest_crossover_pa(front.pump, bench.loads.volume_m3)
        yield line(CROSSOVER_SECTION, "crossover-limit", "Highest pressure for the crossover",
                   _START, {"start pressure [Pa]": start}, limit)  # fmt: skip
    yield _floor_line(bench)
    if isinstance(bench.back.booster, TurboPump):
        yield _behind_turbo_line(bench, bench.back.booster)
    chosen = bench.crossover_pa
    floor = bench.one(bench.states.rough_floor_pa)
    yield line(
        CROSSOVER_SECTION, "crossover", "Pressure at which the chamber is handed over", _CHOSEN,
        {"p_limit [Pa]": limit, "p_floor [Pa]": floor}, chosen,
    )  # fmt: skip
    if isinstance(front.pump, VapourPump) and math.isfinite(chosen):
        yield _burst_line(bench, chosen)
    if run_up_s(front) > 0.0:
        law = Law("t_run-up", "roughing goes on meanwhile", "s", CATALOG)
        yield line(CROSSOVER_SECTION, "run-up", "Run-up of the rotor", law, {}, run_up_s(front))


def _jet_limits(bench: Bench, pump: VapourPump) -> Iterator[Working]:
    limit = bench.air_limit_pa_m3_s
    level = bench.rough_speeds(AIR).pressure_of_flow_pa(limit)
    volume = bench.loads.volume_m3
    burst, step = (
        limit * BURST_S / volume,
        (FORELINE_SHARE_AT_CROSSOVER * pump.tolerable_foreline_no_load_pa),
    )
    if math.isfinite(level):
        yield line(
            CROSSOVER_SECTION, "crossover-roughing", "Where roughing carries what the pump can",
            _ROUGHING,
            {"Q_limit [Pa·m³/s]": limit, "S_rough(p_1) [m³/s]": bench.rough_speeds(AIR).at(level)},
            level,
        )  # fmt: skip
    yield line(
        CROSSOVER_SECTION, "crossover-burst", "Where the burst lasts its longest", _BURST_LIMIT,
        {"Q_limit [Pa·m³/s]": limit, "V [m³]": volume}, burst,
    )  # fmt: skip
    yield line(
        CROSSOVER_SECTION, "crossover-step", "Well below the tolerable foreline pressure", _STEP,
        {"p_no-load [Pa]": pump.tolerable_foreline_no_load_pa}, step,
    )  # fmt: skip
    yield line(
        CROSSOVER_SECTION, "crossover-limit", "Highest pressure for the crossover", _LIMIT,
        {
            "p_1 [Pa]": level if math.isfinite(level) else "roughing never carries that much",
            "p_2 [Pa]": burst,
            "p_3 [Pa]": step,
        },
        bench.one(bench.states.crossover_limit_pa),
    )  # fmt: skip


def _floor_line(bench: Bench) -> Working:
    floor = bench.one(bench.states.rough_floor_pa)
    load = bench.loads.base_pa_m3_s(process_time_s(bench.requirements))
    inputs: dict[str, float | str] = {}
    for gas, flow in load.items():
        if flow > 0.0 and math.isfinite(floor):
            inputs[f"Q({gas_name(gas)}) [Pa·m³/s]"] = flow
            inputs[f"S_rough({gas_name(gas)}) [m³/s]"] = bench.rough_speeds(gas).at(floor)
    return line(CROSSOVER_SECTION, "rough-floor", "Lowest pressure by roughing alone", _FLOOR,
                inputs, floor)  # fmt: skip


def _behind_turbo_line(bench: Bench, turbo: TurboPump) -> Working:
    law = Law(
        "p_b", "p_b = Σ Q_i/S_b,i(p_b) at the backing pump, at the end of roughing", "Pa",
        "definition of pumping speed; Dalton",
    )  # fmt: skip
    return line(
        CROSSOVER_SECTION, "behind-turbo", f"Foreline pressure of {turbo.name}", law,
        {"tolerable [Pa]": turbo.tolerable_foreline_pa}, bench.one(bench.states.behind_turbo_pa),
    )  # fmt: skip


def _burst_line(bench: Bench, chosen_pa: float) -> Working:
    limit = bench.air_limit_pa_m3_s
    speed = bench.chamber_speeds(AIR, bench.base).at(chosen_pa)
    volume = bench.loads.volume_m3
    return line(
        CROSSOVER_SECTION, "burst", "Time the burst holds the pump at its limit", _BURST,
        {
            "V [m³]": volume,
            "p [Pa]": chosen_pa,
            "S_eff(air) at p [m³/s]": speed,
            "Q_limit [Pa·m³/s]": limit,
        },
        float(overload_time_s(volume, chosen_pa, speed, np.maximum(limit, 1e-12))),
    )  # fmt: skip
