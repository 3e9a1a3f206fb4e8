"""Workings: pressure without load, and the base and process states as sums of partial pressures."""

from __future__ import annotations

import math
from collections.abc import Iterator

from server.fit.fluid_use import vapour_pressure_pa
from server.fit.front_states import ROOM_K
from server.fit.results import Working
from server.fit.workings.bench import (
    CATALOG,
    PRACTICE,
    Bench,
    Inputs,
    Law,
    Settled,
    cite,
    gas_name,
    line,
)

BASE_SECTION = "Base pressure"
PROCESS_SECTION = "Process state"

_FLUID = Law(
    "p_fluid", "log10(p_fluid/Pa) = A − B/T", "Pa", f"{CATALOG}; T of the surface: {PRACTICE}"
)
_RESTING = Law("p_rest", "p_rest = the larger of p_ult and p_fluid", "Pa", cite("OHANLON-2003"))
_ULTIMATE = Law("p_rest", "p_rest = p_ult", "Pa", CATALOG)
_BACK_DIFFUSION = Law(
    "p_back",
    "p_back = p_f,i/K_i; ln K_i + (p_f/p_v)·(1 − 1/K_i) = ln K₀,i, p_v = p_tol/ln 10; "
    "p_f,i = p_f/p_b·Q_i/S_b,i·(1 − p_rest,b/p_b), and the rest of p_f is "
    "air: the backing pump's speed dies at p_rest,b because air leaks back through it",
    "Pa",
    cite("JOUSTEN-2016", "GAEDE-1913"),
)
_WITHOUT = Law(
    "p₀", "p₀ = p_rest + p_trap (vapour over what the trap holds) + Σ p_back", "Pa",
    "partial pressures add (Dalton)",
)  # fmt: skip
_CONDENSER = Law("p₀", "p₀ = saturation pressure at the condenser's surface", "Pa", CATALOG)
_PARTIAL = Law("p_i", "p_i = Q_i/S_eff,i", "Pa", "definition of pumping speed")
_CHAMBER = Law("p", "p = p₀ + Σ p_i", "Pa", "partial pressures add (Dalton)")
_INLET = Law(
    "p_in",
    "p_in = p₀,pump + Σ Q_i/S_i(p_in) of what reaches the pump, at most p; "
    "p₀,pump = p₀ without p_trap",
    "Pa",
    "definition of pumping speed; Dalton",
)
_BALANCE = Law(
    "ΔQ/Q",
    "ΔQ/Q = (p − p₀)/Σ(Q_i/S_eff,i(p)) − 1, zero where all that comes in is pumped",
    "1",
    "mass balance",
)


def base_lines(bench: Bench) -> Iterator[Working]:
    """Yield the pressure at rest and the base state."""
    yield from _resting_lines(bench)
    yield from _state_lines(BASE_SECTION, bench, bench.base)


def process_lines(bench: Bench) -> Iterator[Working]:
    """Yield the state while the process runs."""
    if bench.process is not None:
        yield from _state_lines(PROCESS_SECTION, bench, bench.process)


def _resting_lines(bench: Bench) -> Iterator[Working]:
    front = bench.front
    if front is None:
        return
    ultimate = front.pump.ultimate_pa
    if front.fluid is None:
        yield line(BASE_SECTION, "resting", f"{front.pump.name} without load", _ULTIMATE,
                   {"p_ult [Pa]": ultimate}, bench.resting_pa)  # fmt: skip
        return
    surface = ROOM_K if front.trap is None else front.trap.surface_k
    fluid = front.fluid
    vapour = vapour_pressure_pa(fluid, surface)
    held_by = "the inlet at room temperature" if front.trap is None else front.trap.name
    yield line(
        BASE_SECTION, "fluid-vapour", f"Vapour of {fluid.name}", _FLUID,
        {
            "A": fluid.vapour_pressure_a,
            "B [K]": fluid.vapour_pressure_b_k,
            "T [K]": surface,
            "surface": held_by,
        },
        vapour,
    )  # fmt: skip
    yield line(
        BASE_SECTION, "resting", f"{front.pump.name} without load", _RESTING,
        {"p_ult [Pa]": ultimate, "p_fluid [Pa]": vapour}, bench.resting_pa,
    )  # fmt: skip


def _state_lines(section: str, bench: Bench, state: Settled) -> Iterator[Working]:
    without = state.without_load_pa
    if bench.front is not None:
        parts: dict[str, float | str] = {"p_rest [Pa]": bench.resting_pa}
        if over := state.over_trap_pa:
            parts["p_trap [Pa]"] = over
        for gas, (behind, compression) in bench.back_diffusion(state).items():
            yield line(
                section, f"{state.key}-back-{gas}", f"Back-diffusion of {gas_name(gas)}",
                _BACK_DIFFUSION,
                {
                    "p_f,i [Pa]": behind,
                    "K_i": compression,
                    "p_f [Pa]": state.foreline_pa,
                    "p_b [Pa]": bench.backing_pa(state),
                    "p_rest,b [Pa]": bench.back_rest_pa(state),
                },
                behind / compression,
            )  # fmt: skip
            parts[f"p_back({gas_name(gas)}) [Pa]"] = behind / compression
        name = f"Pressure without load {state.words}"
        yield line(section, f"{state.key}-without-load", name, _WITHOUT, parts, without)
    elif without > 0.0:
        key, trap = f"{state.key}-without-load", bench.back.trap
        held_by: Inputs = {"condenser": trap.name if trap else "none"}
        yield line(section, key, "Vapour over the condenser", _CONDENSER, held_by, without)
    yield from _partial_lines(section, bench, state)
    inputs: dict[str, float | str] = {"p₀ [Pa]": without}
    inputs |= {f"p({gas_name(gas)}) [Pa]": state.partial_pa[gas] for gas in state.gases}
    yield line(section, f"{state.key}-chamber", f"Chamber pressure {state.words}", _CHAMBER,
               inputs, state.chamber_pa)  # fmt: skip
    if state.exists:
        yield _balance_line(section, bench, state)
        yield _inlet_line(section, bench, state)


def _partial_lines(section: str, bench: Bench, state: Settled) -> Iterator[Working]:
    for gas in state.gases:
        speed = bench.chamber_speeds(gas, state).at(state.chamber_pa) if state.exists else math.nan
        yield line(
            section, f"{state.key}-partial-{gas}", f"Partial pressure of {gas_name(gas)}", _PARTIAL,
            {"Q_i [Pa·m³/s]": state.load_pa_m3_s[gas], "S_eff,i at p [m³/s]": speed},
            state.partial_pa[gas],
        )  # fmt: skip


def _balance_line(section: str, bench: Bench, state: Settled) -> Working:
    without = state.without_load_pa
    needed = 0.0
    for gas in state.gases:
        speed = bench.chamber_speeds(gas, state).at(state.chamber_pa)
        needed += state.load_pa_m3_s[gas] / speed
    return line(
        section, f"{state.key}-balance", f"Mass balance {state.words}", _BALANCE,
        {"p [Pa]": state.chamber_pa, "p₀ [Pa]": without, "Σ Q_i/S_eff,i [Pa]": needed},
        (state.chamber_pa - without) / needed - 1.0 if needed > 0.0 else 0.0,
    )  # fmt: skip


def _inlet_line(section: str, bench: Bench, state: Settled) -> Working:
    at_rest = state.pump_without_load_pa
    inputs: dict[str, float | str] = {"p₀,pump [Pa]": at_rest, "p [Pa]": state.chamber_pa}
    for gas in state.gases:
        if not state.reaching_pa_m3_s[gas]:
            inputs[f"{gas_name(gas)}"] = "held by the trap"
            continue
        inputs[f"Q({gas_name(gas)}) [Pa·m³/s]"] = state.reaching_pa_m3_s[gas]
        inputs[f"S({gas_name(gas)}) [m³/s]"] = bench.pump_speeds(gas, state).at(state.inlet_pa)
    name = f"Pressure at the pump's inlet {state.words}"
    return line(section, f"{state.key}-inlet", name, _INLET, inputs, state.inlet_pa)
