"""Workings: what traps and gas ballast take of the vapours."""

from __future__ import annotations

import math
from collections.abc import Iterator

from server.catalog.items import CapturePump, Trap
from server.fit.front_states import process_time_s
from server.fit.inlet import is_caught
from server.fit.loads import PUMP_K
from server.fit.margin_vapour import AMBIENT_WATER_PA, working_time_per_day_s
from server.fit.results import Working
from server.fit.workings.bench import (
    CATALOG,
    INQUIRY,
    Bench,
    Law,
    cite,
    gas_name,
    line,
)
from server.physics.ballast import Ballast, vapour_carried_pa_m3_s, vapour_tolerance_pa
from server.physics.constants import ATMOSPHERE_PA, GAS_CONSTANT_J_MOL_K
from server.physics.species import SPECIES
from server.physics.vapour import SATURATION, saturation_model, saturation_pressure_pa

SECTION = "Vapour"

_TRAPPED = Law("ṁ_trap", "ṁ_trap = m_trap/t_day: filled in one working day", "kg/s", CATALOG)
_DEFROST = Law("t_defrost", "t = m_trap/ṁ/3600", "h", f"{CATALOG}; {INQUIRY}")
_TOLERANCE = Law(
    "p_W",
    "p_W = (B/S)·[p_s·(p_n − p_a)/(p_o − p_s) − p_a]",
    "Pa",
    cite("GAEDE-1935"),
)
_CARRIED = Law(
    "ṁ_W",
    "ṁ_W = {p_s/(p_o − p_s)·[B·(p_n − p_a) + Q_dry] − B·p_a}·M/(R·293.15 K)",
    "kg/s",
    cite("GAEDE-1935"),
)


def vapour_lines(bench: Bench) -> Iterator[Working]:
    """Yield what trap and gas ballast take of each substance the work gives off."""
    if bench.front is not None and isinstance(bench.front.pump, CapturePump):
        return  # the pump keeps it: see its life among the margins
    for substance, rate in bench.loads.vapour_kg_s.items():
        if rate <= 0.0 or substance not in SATURATION:
            continue
        traps = (bench.front.trap if bench.front else None, bench.back.trap)
        for place, trap in zip(("inlet", "back"), traps, strict=True):
            if trap is not None and is_caught(substance, trap, bench.requirements):
                yield from _trap_lines(bench, f"{place}-{substance}", trap, rate)
        yield from _ballast_lines(bench, substance)


def _trap_lines(bench: Bench, key: str, trap: Trap, rate_kg_s: float) -> Iterator[Working]:
    day = working_time_per_day_s(bench.requirements)
    yield line(
        SECTION, f"trap-{key}", f"{trap.name}: rate between daily defrosts", _TRAPPED,
        {"m_trap [kg]": trap.capacity_kg, "t_day [s]": day},
        trap.capacity_kg / day if day > 0.0 else 0.0,
    )  # fmt: skip
    yield line(
        SECTION, f"defrost-{key}", f"{trap.name}: working hours until it must be defrosted",
        _DEFROST, {"m_trap [kg]": trap.capacity_kg, "ṁ [kg/s]": rate_kg_s},
        trap.capacity_kg / rate_kg_s / 3600.0,
    )  # fmt: skip


def _ballast_lines(bench: Bench, substance: str) -> Iterator[Working]:
    pump, model = bench.back.backing, saturation_model(substance)
    boils = pump.exhaust_k >= model.high_k
    saturation = math.inf if boils else float(saturation_pressure_pa(substance, pump.exhaust_k))
    ambient = AMBIENT_WATER_PA if substance == "water" else 0.0
    law = Law("p_s", "saturation pressure at the exhaust", "Pa", _saturation_source(substance))
    yield line(
        SECTION, f"saturation-{substance}",
        f"Saturation of {gas_name(substance)} at the exhaust of {pump.name}", law,
        {"T_exhaust [K]": pump.exhaust_k}, saturation,
    )  # fmt: skip
    ballast = Ballast(
        flow_m3_s=pump.ballast_m3_s, saturation_pa=saturation, exhaust_pa=pump.exhaust_valve_pa,
        ambient_vapour_pa=ambient,
    )  # fmt: skip
    at_exhaust: dict[str, float | str] = {
        "B [m³/s]": pump.ballast_m3_s,
        "p_s [Pa]": saturation,
        "p_o [Pa]": pump.exhaust_valve_pa,
        "p_n [Pa]": ATMOSPHERE_PA,
        "p_a [Pa]": ambient,
    }
    speed = _backing_speed(bench, substance)
    if speed > 0.0:
        yield line(
            SECTION, f"tolerance-{substance}",
            f"Tolerance of {pump.name} for the pure vapour", _TOLERANCE,
            {**at_exhaust, "S [m³/s]": speed}, float(vapour_tolerance_pa(ballast, speed)),
        )  # fmt: skip
    dry = _dry_gas_pa_m3_s(bench)
    mass = SPECIES[substance].molar_mass_kg_mol
    carried = float(vapour_carried_pa_m3_s(ballast, dry)) * mass / (GAS_CONSTANT_J_MOL_K * PUMP_K)
    yield line(
        SECTION, f"carried-{substance}",
        f"Uncondensed {gas_name(substance)} that {pump.name} carries out", _CARRIED,
        {
            **at_exhaust,
            "Q_dry [Pa·m³/s]": dry,
            "M [kg/mol]": mass,
            "R [J/(mol·K)]": GAS_CONSTANT_J_MOL_K,
        },
        carried,
    )  # fmt: skip


def _saturation_source(substance: str) -> str:
    source = SATURATION[substance].source
    return cite(source) if source in {"WAGNER-2002", "COOLPROP-2014"} else source


def _backing_speed(bench: Bench, substance: str) -> float:
    """Speed of a backing pump at its own inlet; 0 behind a booster or a cold wall."""
    state, back = bench.process, bench.back
    held = is_caught(substance, back.trap, bench.requirements)
    if state is None or back.booster is not None or held:
        return 0.0
    at_back = bench.backing_pa(state)
    if not math.isfinite(at_back):
        return 0.0
    return bench.back_speeds(substance, state).at(at_back)


def _dry_gas_pa_m3_s(bench: Bench) -> float:
    load = bench.loads.running_pa_m3_s(process_time_s(bench.requirements))
    return sum(flow for gas, flow in load.items() if gas not in SATURATION)
