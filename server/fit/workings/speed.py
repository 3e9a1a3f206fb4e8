"""Workings: which curve holds, the speed at the pump and what the line leaves of it."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from server.catalog.gas_curves import curve_for
from server.catalog.items import Pump, RootsBooster, TurboPump
from server.fit.inlet import cold_surface_speed
from server.fit.results import Working
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
from server.fit.workings.curves import (
    AtExit,
    Curve,
    Leaving,
    at_exits,
    passages,
    sonic_limit,
)
from server.fit.workings.line import main_gas
from server.physics.line import Line

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
    "(the engine reads a table with 16 points a decade: within 1 % of this, "
    "within 10 % where speed dies at the ultimate pressure)",
    "m³/s",
    cite("OATLEY-1957", "HAEFER-1980", "WHITE-2011"),
)
_COLD = Law(
    "S",
    "S = 2·C_trap at (p₂ + p_w)/2, C_trap ~ 1/√M in molecular flow: inlet to cold wall is the "
    "first of two like halves; p_w over the wall is counted in p₀; never above its sonic flow",
    "m³/s",
    "assumption; conductance from the catalogue",
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
            yield from _shared_gas_lines(bench, state, gas)
        if state.exists:
            yield _overall(state)
        if bench.front is None and isinstance(bench.back.booster, RootsBooster) and state.exists:
            gas = main_gas(bench, state)
            yield from booster_lines(SECTION, bench, state, gas, state.inlet_pa)


def _shared_gas_lines(bench: Bench, state: Settled, gas: str) -> Iterable[Working]:
    """Return the lines of one gas; what stands behind a high-vacuum pump has no say in them."""
    if bench.front is None:
        return _gas_lines(bench, state, gas)
    key = ("speed", *_place(bench, state, gas))
    return bench.spot.judged.memory.once(key, lambda: tuple(_gas_lines(bench, state, gas)))


def _place(bench: Bench, state: Settled, gas: str) -> tuple[Hashable, ...]:
    """Return all that the speeds for one gas depend on within a field."""
    return (state.key, gas, bench.chamber_row, state.chamber_pa if state.exists else None)


def _gas_lines(bench: Bench, state: Settled, gas: str) -> Iterator[Working]:
    key = f"speed-{state.key}-{gas}"
    name = f"{gas_name(gas)} {state.words}"
    yield _curve_line(bench, state, gas, key)
    if not state.exists:
        return
    exit_ = _exit(bench, state, gas)
    found = exit_.found(bench, state)
    yield line(
        SECTION, f"{key}-pump", f"Speed at the {exit_.words}: {name}", exit_.law,
        {
            "p [Pa]": state.chamber_pa,
            "p₂ [Pa]": found.pressure_pa,
            "C [m³/s]": found.conductance_m3_s,
        },
        found.speed_m3_s,
    )  # fmt: skip
    inputs: dict[str, float | str] = {
        "S [m³/s]": found.speed_m3_s,
        "C [m³/s]": found.conductance_m3_s,
    }
    if exit_.run.parts:
        inputs["sonic limit [m³/s]"] = sonic_limit(exit_.run, gas)
    left = bench.chamber_speeds(gas, state).at(state.chamber_pa)
    yield line(SECTION, f"{key}-chamber", f"Speed left at the chamber: {name}", _LEFT, inputs, left)


@dataclass(frozen=True)
class Exit:
    """Where a gas leaves the line: at the pump, or on a cold wall."""

    gas: str
    words: str
    run: Line
    speeds: Curve
    law: Law

    def asked(self, bench: Bench, state: Settled) -> dict[Hashable, Leaving]:
        """Return what there is to be solved, by all that it depends on; nothing without a line."""
        if not self.run.parts:
            return {}
        leaving = Leaving(bench.passage(self.run, self.gas), self.speeds, state.chamber_pa)
        return {("exit", *_place(bench, state, self.gas)): leaving}

    def found(self, bench: Bench, state: Settled) -> AtExit:
        """Return how the gas leaves while it alone fills the chamber."""
        if not self.run.parts:
            return AtExit(state.chamber_pa, self.speeds.at(state.chamber_pa), math.inf)
        (found,) = bench.spot.judged.memory.each(self.asked(bench, state), at_exits)
        return found


def solve_exits(benches: Sequence[Bench]) -> None:
    """Solve at once how every gas leaves the lines of several stacks of one field."""
    wanted = {
        _place(bench, state, gas): (bench, state, gas)
        for bench in benches
        for state in bench.settled
        if state.exists
        for gas in state.gases
    }
    exits = [(_exit(*one), *one[:2]) for one in wanted.values()]
    memory = benches[0].spot.judged.memory
    runs = {("passage", found.run, found.gas): (found.run, found.gas) for found, *_ in exits}
    memory.each(runs, passages)
    asked = [found.asked(bench, state) for found, bench, state in exits]
    memory.each(dict(item for some in asked for item in some.items()), at_exits)


def _exit(bench: Bench, state: Settled, gas: str) -> Exit:
    front = bench.front
    if front is not None and front.trap is not None and bench.is_held(gas, state):
        wall = Curve(cold_surface_speed(front.trap, gas))
        words = f"cold wall of {front.trap.name}"
        return Exit(gas, words, bench.stub, wall, _COLD)
    speeds = bench.pump_speeds(gas, state)
    if bench.is_held_by_back(gas, state):
        return Exit(gas, "cold wall at the pump", bench.rough_stub, speeds, _COLD)
    return Exit(gas, "pump", bench.line, speeds, _AT_PUMP)


def _curve_line(bench: Bench, state: Settled, gas: str, key: str) -> Working:
    pump, ballast = _curve_pump(bench, state)
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


def _curve_pump(bench: Bench, state: Settled) -> tuple[Pump, bool]:
    """Return the pump whose curve works on the chamber, and whether its gas ballast is open."""
    if bench.front is not None:
        return bench.front.pump, False
    ballast = state.working and bool(bench.requirements.process.vapour)
    booster = bench.back.booster
    if isinstance(booster, TurboPump) and state.inlet_pa <= booster.start_pressure_pa:
        return booster, False
    return bench.back.backing, ballast


def _overall(state: Settled) -> Working:
    flow = sum(state.load_pa_m3_s.values())
    without = state.without_load_pa
    rise = state.chamber_pa - without
    return line(
        SECTION, f"speed-{state.key}", f"All gases together {state.words}", _OVERALL,
        {"Q [Pa·m³/s]": flow, "p [Pa]": state.chamber_pa, "p₀ [Pa]": without},
        flow / rise if rise > 0.0 else math.inf,
    )  # fmt: skip
