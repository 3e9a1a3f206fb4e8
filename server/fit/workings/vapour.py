"""Workings: what traps and gas ballast take of the vapours."""

from __future__ import annotations

import math
from collections.abc import Iterator

from server.catalog.items import CapturePump, Trap
from server.fit.drying import GoodsSource, goods_sources
from server.fit.drying_shown import drying_of
from server.fit.front_states import process_time_s
from server.fit.inlet import is_caught
from server.fit.loads import PUMP_K, ROOM_WATER_PA
from server.fit.margin_vapour import vapour_kg_per_day
from server.fit.results import Working
from server.fit.vapour_results import Drying
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

_TRAPPED = Law(
    "ṁ_trap", "ṁ_trap = m_trap/t_day: filled in the time vapour flows in a day", "kg/s", CATALOG
)
_DEFROST = Law("t_defrost", "t = m_trap/ṁ/3600", "h", f"{CATALOG}; {INQUIRY}")
_DRAWN = Law(
    "ṁ", "the smaller of supply and S·p_w, where p_w stays at or below p_sat", "kg/s",
    cite("DUSHMAN-1962"),
)  # fmt: skip
_DRYING = Law("t_dry", "t = m/ṁ", "s", INQUIRY)
_HEAT = Law("P", "P = ṁ·h, h = −R·d(ln p_sat)/d(1/T)/M", "W", cite("POLING-2001"))
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
    """Yield how goods dry, and what trap and gas ballast take of each substance."""
    sources = goods_sources(bench.requirements.process.vapour)
    for number, (source, dried) in enumerate(
        zip(sources, drying_of(bench.spot), strict=True) if sources else (), start=1
    ):
        yield from _goods_lines(number, source, dried)
    if bench.front is not None and isinstance(bench.front.pump, CapturePump):
        return  # the pump keeps it: see its life among the margins
    for substance, rate in bench.loads.vapour_kg_s.items():
        if rate <= 0.0 or substance not in SATURATION:
            continue
        traps = (bench.front.trap if bench.front else None, bench.back.trap)
        for place, trap in zip(("inlet", "back"), traps, strict=True):
            if trap is not None and is_caught(substance, trap, bench.requirements):
                flows_s = vapour_kg_per_day(bench.requirements)[substance] / rate
                yield from _trap_lines(f"{place}-{substance}", trap, rate, flows_s)
        yield from _ballast_lines(bench, substance)


def _goods_lines(number: int, source: GoodsSource, dried: Drying) -> Iterator[Working]:
    name, key, goods = gas_name(dried.substance), f"goods-{number}", source.goods
    law = Law(
        "p_sat", "saturation pressure at the goods", "Pa", _saturation_source(dried.substance)
    )
    yield line(
        SECTION, f"{key}-saturation", f"Wet goods: vapour pressure of {name}", law,
        {"T_goods [K]": goods.temperature_k}, dried.saturation_pa,
    )  # fmt: skip
    yield line(
        SECTION, f"{key}-rate", f"Wet goods: {name} drawn off", _DRAWN,
        {
            "supply by heat and diffusion [kg/s]": source.load.rate_kg_s,
            "p_w, its part of the chamber's pressure [Pa]": dried.partial_pressure_pa,
            "limit": dried.limited_by,
        },
        dried.rate_kg_s,
    )  # fmt: skip
    yield line(
        SECTION, f"{key}-time", "Wet goods: time until dry", _DRYING,
        {"m [kg]": dried.mass_kg, "ṁ [kg/s]": dried.rate_kg_s}, dried.drying_time_s,
    )  # fmt: skip
    yield line(
        SECTION, f"{key}-heat", "Wet goods: heat that keeps them at their temperature", _HEAT,
        {"ṁ [kg/s]": dried.rate_kg_s, "h [J/kg]": source.heat_j_kg}, dried.heat_w,
    )  # fmt: skip


def _trap_lines(key: str, trap: Trap, rate_kg_s: float, day_s: float) -> Iterator[Working]:
    yield line(
        SECTION, f"trap-{key}", f"{trap.name}: rate between daily defrosts", _TRAPPED,
        {"m_trap [kg]": trap.capacity_kg, "t_day [s]": day_s},
        trap.capacity_kg / day_s if day_s > 0.0 else 0.0,
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
    ambient = ROOM_WATER_PA if substance == "water" else 0.0
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
