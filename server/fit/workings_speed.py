"""Workings: which curve holds, the speed at the pump and what the line leaves of it."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from scipy.optimize import brentq

from server.catalog.arrays import GRID
from server.catalog.gas_curves import curve_for
from server.catalog.items import Pump, RootsBooster, TurboPump
from server.fit.inlet import is_caught, sonic_limit_m3_s
from server.fit.results import Working
from server.fit.workings_bench import (
    CATALOG,
    PRACTICE,
    Bench,
    Inputs,
    Law,
    Settled,
    cite,
    gas_name,
    line,
    speed_at,
)
from server.fit.workings_booster import booster_lines
from server.fit.workings_line import main_gas
from server.fit.workings_states import without_load_pa
from server.physics.species import SPECIES

SECTION = "Pump speed"

_CURVE = Law("S(p)", "ln S monotone over ln p through the points", "", "")
_JOINED = cite("FRITSCH-1980")
_AT_PUMP = Law(
    "S",
    "S read at the pressure p₂ at the pump while the gas alone fills the chamber to p: "
    "S(p₂)·p₂ = C·(p − p₂)",
    "m³/s",
    f"{CATALOG}; {_JOINED}",
)
_LEFT = Law(
    "S_eff",
    "1/S_eff = 1/S + 1/C, the opening both share counted once; "
    "never above the sonic flow of the narrowest bore "
    "(the engine reads a table with 16 points a decade: within 1 % of this)",
    "m³/s",
    cite("OATLEY-1957", "HAEFER-1980", "WHITE-2011"),
)
_COLD = Law(
    "S",
    "S = 2·C_trap·√(M_N₂/M): inlet to cold wall is the first of two like halves",
    "m³/s",
    "assumption; trap's conductance from the catalogue",
)
_CONDENSER = Law(
    "S",
    "S = 2·C_trap: inlet to cold wall is the first of two like halves",
    "m³/s",
    "assumption; condenser's conductance from the catalogue",
)
_OVERALL = Law(
    "Q/(p − p₀)",
    "Q/(p − p₀): check of the speeds against load and pressure, p₀ the pressure without load",
    "m³/s",
    "definition of pumping speed",
)


def speed_lines(bench: Bench) -> Iterator[Working]:
    """Yield curves, speeds at the pump and speeds left at the chamber, state by state."""
    for state in bench.settled:
        for gas in state.gases:
            yield from _gas_lines(bench, state, gas)
        if state.exists:
            yield _overall(bench, state)
        if bench.front is None and isinstance(bench.back.booster, RootsBooster) and state.exists:
            gas = main_gas(state, bench)
            yield from booster_lines(SECTION, bench, state, gas, state.inlet_pa)


def _gas_lines(bench: Bench, state: Settled, gas: str) -> Iterator[Working]:
    key = f"speed-{state.key}-{gas}"
    name = f"{gas_name(gas)} {state.words}"
    yield _curve_line(bench, state, gas, key)
    if not state.exists:
        return
    table, row = bench.chamber_speeds(gas, state)
    left = speed_at(table, row, state.chamber_pa)
    if bench.is_caught(gas):
        yield from _caught_lines(bench, state, gas, left)
        return
    at_pump = pump_pressure_pa(bench, state, gas)
    pumps, pump_row = bench.pump_speeds(gas, state)
    speed = speed_at(pumps, pump_row, at_pump)
    mean = (at_pump + state.chamber_pa) / 2
    conductance = bench.conductance_m3_s(bench.line, gas, mean)
    law = _CONDENSER if _held_in_back(bench, state, gas) else _AT_PUMP
    yield line(
        SECTION, f"{key}-pump", f"Speed at the pump: {name}", law,
        {"p [Pa]": state.chamber_pa, "p₂ [Pa]": at_pump, "C [m³/s]": conductance}, speed,
    )  # fmt: skip
    yield line(
        SECTION, f"{key}-chamber", f"Speed left at the chamber: {name}", _LEFT,
        _left_inputs(bench, gas, speed, conductance), left,
    )  # fmt: skip


def _left_inputs(bench: Bench, gas: str, speed: float, conductance: float) -> Inputs:
    inputs: dict[str, float | str] = {"S [m³/s]": speed, "C [m³/s]": conductance}
    if bench.line.parts:
        inputs["sonic limit [m³/s]"] = float(sonic_limit_m3_s([bench.line], gas)[0, 0])
    return inputs


def _held_in_back(bench: Bench, state: Settled, gas: str) -> bool:
    """Whether a condenser at the back holds the gas, which it does where the chamber is roughed."""
    working = state.key == "process" and bool(bench.requirements.process.vapour)
    return (
        bench.front is None and working and is_caught(gas, bench.back.trap, bench.requirements)
    )


def _curve_line(bench: Bench, state: Settled, gas: str, key: str) -> Working:
    pump, ballast = _curve_pump(bench, state, gas)
    choice = curve_for(pump, gas, with_ballast=ballast)
    inputs: dict[str, float | str] = {"pump": pump.name, "chosen": choice.note}
    if choice.curve is not None:
        inputs["gas ballast"] = "open" if choice.curve.with_ballast else "closed"
        inputs["largest speed of the curve [m³/s]"] = max(choice.curve.speed_m3_s)
    if isinstance(bench.back.booster, RootsBooster) and bench.front is None:
        inputs["booster in front of it"] = bench.back.booster.name
    law = Law(_CURVE.symbol, _CURVE.formula, "", f"{CATALOG}; choice: {PRACTICE}; {_JOINED}")
    chosen = "not pumped" if choice.curve is None else f"curve for {gas_name(choice.curve.gas)}"
    name = f"Curve: {gas_name(gas)} {state.words}"
    return line(SECTION, f"{key}-curve", name, law, inputs, chosen)


def _curve_pump(bench: Bench, state: Settled, gas: str) -> tuple[Pump, bool]:
    """Return the pump whose curve works on the chamber, and whether its gas ballast is open."""
    if bench.front is not None:
        return bench.front.pump, False
    ballast = state.key == "process" and bool(bench.requirements.process.vapour)
    booster = bench.back.booster
    if isinstance(booster, TurboPump) and state.inlet_pa <= booster.start_pressure_pa:
        return booster, False
    return bench.back.backing, ballast


def _caught_lines(bench: Bench, state: Settled, gas: str, left: float) -> Iterator[Working]:
    """Yield the speed of a cold wall for a vapour, and what the line in front of it leaves."""
    front = bench.front
    assert front is not None and front.trap is not None  # noqa: S101, PT018 (caught means a trap)
    key = f"speed-{state.key}-{gas}"
    nitrogen, own = (SPECIES[name].molar_mass_kg_mol for name in ("nitrogen", gas))
    wall = 2.0 * front.trap.molecular_conductance_m3_s * math.sqrt(nitrogen / own)
    yield line(
        SECTION, f"{key}-pump", f"Cold wall of {front.trap.name}: {gas_name(gas)}", _COLD,
        {
            "C_trap, nitrogen [m³/s]": front.trap.molecular_conductance_m3_s,
            "M_N₂ [kg/mol]": nitrogen,
            "M [kg/mol]": own,
        },
        wall,
    )  # fmt: skip
    conductance = _stub_conductance(bench, state, gas, wall)
    yield line(
        SECTION, f"{key}-chamber", f"Speed left at the chamber: {gas_name(gas)} {state.words}", _LEFT,
        {"S [m³/s]": wall, "C of the line to the trap [m³/s]": conductance}, left,
    )  # fmt: skip


def _stub_conductance(bench: Bench, state: Settled, gas: str, wall: float) -> float:
    """Conductance of the line to the trap, at the mean of the pressures at its ends."""
    chamber = state.chamber_pa
    behind = chamber
    for _ in range(60):  # Δp is a contraction here: C hardly changes with pressure
        conductance = bench.conductance_m3_s(bench.stub, gas, (chamber + behind) / 2)
        behind = chamber * conductance / (conductance + wall)
    return bench.conductance_m3_s(bench.stub, gas, (chamber + behind) / 2)


def pump_pressure_pa(bench: Bench, state: Settled, gas: str) -> float:
    """Return the pressure at the pump while one gas alone fills the chamber to its pressure.

    The root of S(p₂)·p₂ = C·(p − p₂), with the tables of the engine.
    """
    table, row = bench.pump_speeds(gas, state)
    run, chamber = bench.line, state.chamber_pa
    if not run.parts:
        return chamber

    def excess(ln_pressure: float) -> float:
        pressure = math.exp(ln_pressure)
        conductance = bench.conductance_m3_s(run, gas, (pressure + chamber) / 2)
        return speed_at(table, row, pressure) * pressure - conductance * (chamber - pressure)

    bottom, top = GRID.ln_low, math.log(max(chamber, GRID.low_pa))
    if top <= bottom or excess(top) <= 0.0:
        return chamber
    root = brentq(excess, bottom, top, xtol=1e-12, rtol=4 * np.finfo(float).eps)
    return math.exp(float(root))


def _overall(bench: Bench, state: Settled) -> Working:
    flow = sum(state.load_pa_m3_s.values())
    without = without_load_pa(bench, state)
    rise = state.chamber_pa - without
    return line(
        SECTION, f"speed-{state.key}", f"All gases together {state.words}", _OVERALL,
        {"Q [Pa·m³/s]": flow, "p [Pa]": state.chamber_pa, "p₀ [Pa]": without},
        flow / rise if rise > 0.0 else math.inf,
    )  # fmt: skip
