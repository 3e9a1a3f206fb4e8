"""Workings: a run of tubes, valves and traps, part by part."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache

from server.fit.loads import PUMP_K
from server.fit.results import Working
from server.fit.workings.bench import (
    CATALOG,
    Bench,
    Inputs,
    Law,
    Settled,
    cite,
    gas_name,
    line,
)
from server.physics.constants import GAS_CONSTANT_J_MOL_K
from server.physics.elements import Aperture, Duct
from server.physics.gas import Mixture, Species, gas_state, mean_speed_m_s
from server.physics.line import (
    Line,
    PartState,
    Passing,
    molecular_conductance_m3_s,
    states_of_flows,
)
from server.physics.parts import CATALOG_TEMPERATURE_K, Part, Restriction, line_elements
from server.physics.species import SPECIES

SECTION = "Line to the chamber"

_MEAN_SPEED = Law("v̄", "v̄ = √(8·R·T/(π·M))", "m/s", cite("BIRD-2002", "CODATA"))
_PASSED_TUBE = Law(
    "W",
    "W = probability to pass a tube of this L/a, diffuse walls "
    "(a 90° bend adds up to 1.5 a, our own fit; long tubes: 8a/(3L))",
    "1",
    cite("CLAUSING-1932", "BERMAN-1965"),
)
_PASSED_ITEM = Law("W", "W = C_N₂/(A·v̄_N₂/4)", "1", CATALOG)
_WALL = Law(
    "C_wall", "C_wall = A·(v̄/4)·W/(1 − W), without its opening", "m³/s", cite("OATLEY-1957")
)
_OPENING = Law(
    "C_open",
    "C_open = A_counted·v̄/4;  1/A_counted = 1/A − 1/A_before, "
    "less 1/A_pump at the end: the pump's own speed counts that opening",
    "m³/s",
    cite("OATLEY-1957", "HAEFER-1980"),
)
_SERIES = Law("C_mol", "1/C_mol = Σ 1/C of openings and walls", "m³/s", cite("OATLEY-1957"))
_DROP = Law(
    "Δp",
    "Δp = Q/C(p̄);  δ = a·p̄/(μ·v₀);  Kn = λ/D;  Re = 4·Q·M/(π·D·μ·R·T)",
    "Pa",
    cite("SHARIPOV-1998", "DAGAN-1982"),
)
_WHOLE_DROP = Law(
    "Σ Δp",
    "Σ Δp of the parts for the mixture; beside it the drop that the speeds give, gas by gas",
    "Pa",
    f"check of the speeds against the flow through each part; {cite('WILKE-1950')}",
)
_AT_MEAN = Law(
    "C",
    "C = ∫ dp/(Σ 1/C_k) from p_in to p_chamber, over their difference; "
    "C_k = C_wall·f_m(δ) + π·a³·v₀·f_v(δ)/(2·L)",
    "m³/s",
    cite("SHARIPOV-1998", "OATLEY-1957"),
)


def line_lines(bench: Bench) -> Iterable[Working]:
    """Return the lines of what stands between the chamber and the pump it works with."""
    # what stands behind a high-vacuum pump has no say in them
    ends = ((state.chamber_pa, state.inlet_pa) if state.exists else None for state in bench.settled)
    key = ("line", bench.chamber_row, *ends)
    return bench.spot.judged.memory.once(key, lambda: tuple(_line_lines(bench)))


def _line_lines(bench: Bench) -> Iterator[Working]:
    run = bench.line
    if not run.parts:
        none = Law("C", "pump and chamber share a flange: no resistance", "m³/s", "inquiry")
        yield line(SECTION, "line", "No line", none, {}, math.inf)
        return
    yield from molecular_lines(SECTION, "line", run, main_gas(bench, bench.settled[-1]))
    for state in reversed(bench.settled):
        if state.exists:
            yield from _state_lines(bench, run, state)


def main_gas(bench: Bench, state: Settled) -> str:
    """Return the gas with the largest load of those no trap holds (of all, if none is left)."""
    unheld = unheld_load(bench, state) or state.load_pa_m3_s
    return max(unheld, key=lambda gas: unheld[gas])


def unheld_load(bench: Bench, state: Settled) -> dict[str, float]:
    """Return the gases that flow through the whole line: no trap or condenser holds any of them."""
    return {
        gas: state.load_pa_m3_s[gas]
        for gas in state.gases
        if not (bench.is_held(gas, state) or bench.is_held_by_back(gas, state))
    }


@lru_cache(maxsize=256)
def molecular_lines(section: str, key: str, run: Line, gas: str) -> tuple[Working, ...]:
    """Return the molecular conductance of a line, opening by opening and wall by wall.

    Parameters
    ----------
    section, key : str
        Heading, and first part of the keys of the lines.
    run : Line
        A line with at least one part.
    gas : str
        Species at ``PUMP_K``.

    Returns
    -------
    tuple of Working
        The lines; stacks that share a line share them.
    """
    return tuple(_molecular_lines(section, key, run, gas))


def _molecular_lines(section: str, key: str, run: Line, gas: str) -> Iterator[Working]:
    mass = SPECIES[gas].molar_mass_kg_mol
    speed = float(mean_speed_m_s(PUMP_K, mass))
    yield line(
        section, f"{key}-mean-speed", f"Mean speed of {gas_name(gas)} at 20 °C", _MEAN_SPEED,
        {"R [J/(mol·K)]": GAS_CONSTANT_J_MOL_K, "T [K]": PUMP_K, "M [kg/mol]": mass}, speed,
    )  # fmt: skip
    parts = {part.name: part for part in run.parts}
    resistances: dict[str, float | str] = {}
    for number, (name, element) in enumerate(line_elements(run), start=1):
        place = f"{key}-{number}"
        if isinstance(element, Aperture):
            opening = float(element.area_m2) * speed / 4
            yield line(
                section, place, f"Opening: {name}", _OPENING,
                {"A_counted [m²]": float(element.area_m2), "v̄ [m/s]": speed}, opening,
            )  # fmt: skip
            resistances[f"{name} [m³/s]"] = opening
        else:
            passed = _passed(element)
            yield _passed_line(section, f"{place}-passed", name, element, parts[name])
            wall = float(element.molecular_area_m2) * speed / 4
            yield line(
                section, place, f"Wall: {name}", _WALL,
                {"A [m²]": float(element.area_m2), "v̄ [m/s]": speed, "W": passed}, wall,
            )  # fmt: skip
            resistances[f"{name}, wall [m³/s]"] = wall
    yield line(
        section, f"{key}-molecular", f"Whole line in molecular flow, {gas_name(gas)}", _SERIES,
        resistances, molecular_conductance_m3_s(run, PUMP_K, SPECIES[gas]),
    )  # fmt: skip


def _passed(duct: Duct) -> float:
    """Transmission probability behind the duct's molecular area A·W/(1 − W)."""
    area = float(duct.area_m2)
    wall = float(duct.molecular_area_m2)
    return wall / (area + wall)


def _passed_line(section: str, key: str, name: str, duct: Duct, item: Part) -> Working:
    if isinstance(item, Restriction):
        nitrogen = float(
            mean_speed_m_s(CATALOG_TEMPERATURE_K, SPECIES["nitrogen"].molar_mass_kg_mol)
        )
        inputs: Inputs = {
            "C_N₂ [m³/s]": item.molecular_conductance_n2_m3_s,
            "equivalent bore [m]": item.bore_m,
            "v̄_N₂ [m/s]": nitrogen,
        }
        return line(section, key, f"{name}: share passed", _PASSED_ITEM, inputs, _passed(duct))
    inputs = {
        "bore [m]": item.bore_m,
        "L [m]": item.length_m,
        "L/a": 2 * item.length_m / item.bore_m,
        "bends of 90°": item.bends,
    }
    return line(section, key, f"{name}: probability to pass", _PASSED_TUBE, inputs, _passed(duct))


def solve_line_states(benches: Sequence[Bench]) -> None:
    """Solve how the parts of the lines of several stacks of one field stand in every state."""
    asked = {
        _place(bench, state): (bench, state)
        for bench in benches
        for state in bench.settled
        if state.exists and bench.line.parts
    }
    flows = {
        key: _flow(bench, state)
        for key, (bench, state) in asked.items()
        if unheld_load(bench, state)
    }
    benches[0].spot.judged.memory.each(flows, _stand)


def _place(bench: Bench, state: Settled) -> tuple[Hashable, ...]:
    """Return all that the parts of a line depend on within a field."""
    return ("line states", state.key, bench.chamber_row, state.inlet_pa)


def _flow(bench: Bench, state: Settled) -> Passing:
    """Return what flows to the pump."""
    load = unheld_load(bench, state)
    return Passing(bench.line, sum(load.values()), state.inlet_pa, _mixture(load))


def _stand(asked: Sequence[Passing]) -> list[tuple[Passing, tuple[PartState, ...]]]:
    """Return each flow with how the parts of its line stand."""
    return list(zip(asked, states_of_flows(asked, PUMP_K), strict=True))


def _state_lines(bench: Bench, run: Line, state: Settled) -> Iterator[Working]:
    load = unheld_load(bench, state)
    gas = main_gas(bench, state)
    mean = (state.chamber_pa + state.inlet_pa) / 2
    yield line(
        SECTION, f"line-{state.key}", f"Whole line {state.words}, {gas_name(gas)}", _AT_MEAN,
        {
            "p_chamber [Pa]": state.chamber_pa,
            "p_in [Pa]": state.inlet_pa,
            "δ on the narrowest bore": _narrowest_rarefaction(run, gas, mean),
        },
        bench.passage(run, gas).between(state.chamber_pa, state.inlet_pa),
    )  # fmt: skip
    if not load:
        return
    flow, parts = bench.spot.judged.memory.once(
        _place(bench, state), lambda: _stand([_flow(bench, state)])[0]
    )
    for number, part in enumerate(parts, start=1):
        key, inputs = f"line-{state.key}-{number}", _part_inputs(part, flow.throughput_pa_m3_s)
        yield line(SECTION, key, f"{part.name} {state.words}", _DROP, inputs,
                   part.upstream_pa - part.downstream_pa)  # fmt: skip
    properties = gas_state(flow.gas, PUMP_K)
    yield line(
        SECTION, f"line-{state.key}-drop", f"Pressure drop of the line {state.words}", _WHOLE_DROP,
        {
            "gas": _make_up(load),
            "M [kg/mol]": float(properties.molar_mass_kg_mol),
            "μ [Pa·s]": float(properties.viscosity_pa_s),
            "v₀ [m/s]": float(properties.most_probable_speed_m_s),
            "Q that reaches the pump [Pa·m³/s]": flow.throughput_pa_m3_s,
            "Σ p_i at the chamber − Σ Q_i/S_i at the pump [Pa]": _drop_by_speeds_pa(bench, state),
        },
        parts[0].upstream_pa - state.inlet_pa,
    )  # fmt: skip


def _drop_by_speeds_pa(bench: Bench, state: Settled) -> float:
    """Pressure drop of the gases that reach the pump: their partial pressures at both ends."""
    drop = 0.0
    for gas, flow in unheld_load(bench, state).items():
        speed = bench.pump_speeds(gas, state).at(state.inlet_pa)
        drop += state.partial_pa[gas] - (flow / speed if speed > 0.0 else math.inf)
    return drop


def _mixture(load_pa_m3_s: Mapping[str, float]) -> Species | Mixture:
    """Return a load as one gas."""
    if len(load_pa_m3_s) == 1:
        (gas,) = load_pa_m3_s
        return SPECIES[gas]
    return Mixture.of_amounts({SPECIES[gas]: flow for gas, flow in load_pa_m3_s.items()})


def _make_up(load_pa_m3_s: Mapping[str, float]) -> str:
    """Say what a load consists of."""
    if len(load_pa_m3_s) == 1:
        return gas_name(*load_pa_m3_s)
    total = sum(load_pa_m3_s.values())
    return ", ".join(f"{flow / total:.1%} {gas_name(gas)}" for gas, flow in load_pa_m3_s.items())


def _narrowest_rarefaction(run: Line, gas: str, pressure_pa: float) -> float:
    radius = min(part.bore_m for part in run.parts) / 2
    return float(gas_state(SPECIES[gas], PUMP_K).rarefaction(radius, pressure_pa))


def _part_inputs(part: PartState, flow_pa_m3_s: float) -> Inputs:
    inputs: dict[str, float | str] = {
        "Q [Pa·m³/s]": flow_pa_m3_s,
        "p before [Pa]": part.upstream_pa,
        "p behind [Pa]": part.downstream_pa,
        "C [m³/s]": part.conductance_m3_s,
        "δ": part.rarefaction,
        "Kn": part.knudsen,
        "regime": part.regime.value,
        "share of the drop": part.share_of_drop,
    }
    if part.reynolds > 0.0:  # an opening has none
        inputs["Re"] = part.reynolds
    return inputs
