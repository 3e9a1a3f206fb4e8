"""Workings: what traps and gas ballast take of the vapours."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from server.catalog.items import BackingPump, CapturePump, Trap
from server.fit.cold_walls import over_trap_pa
from server.fit.drying import GoodsSource, goods_sources
from server.fit.drying_shown import drying_of
from server.fit.front_states import process_time_s
from server.fit.loads import ROOM_WATER_PA
from server.fit.margin_vapour import saturation_at_exhaust_pa, vapour_kg_per_day
from server.fit.results import Working
from server.fit.vapour_path import carried_alone_kg_s
from server.fit.vapour_results import Drying
from server.fit.workings.bench import (
    CATALOG,
    INQUIRY,
    Bench,
    Law,
    cite,
    gas_name,
    in_full,
    line,
)
from server.physics.ballast import Ballast, vapour_tolerance_pa
from server.physics.constants import ATMOSPHERE_PA, GAS_CONSTANT_J_MOL_K
from server.physics.species import SPECIES
from server.physics.vapour import SATURATION

SECTION = "Vapour"

_PASSES = Law(
    "Q_passes",
    "Q_passes = p_w·S, at most Q_comes; p_w stands over the wall, S is the speed there towards the "
    "pump, through the second half of the trap",
    "Pa·m³/s",
    f"mass balance at the wall; p_w: {cite('WAGNER-2002')} and others by substance; two like "
    "halves of the trap: assumption",
)
_HELD = Law(
    "ṁ_held", "ṁ_held = ṁ·(Q_comes − Q_passes)/Q of all", "kg/s", "mass balance at the wall"
)
_TRAPPED = Law(
    "ṁ_trap", "ṁ_trap = m_trap/t_day: filled in the time vapour flows in a day", "kg/s", CATALOG
)
_DEFROST = Law("t_defrost", "t = m_trap/ṁ_held/3600", "h", f"{CATALOG}; {INQUIRY}")
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
    for substance, rate in _condensing(bench).items():
        for meeting in _meetings(bench, substance):
            flows_s = vapour_kg_per_day(bench.requirements)[substance] / rate
            yield from _trap_lines(meeting, rate, flows_s)
        yield from _ballast_lines(bench, substance)


def _condensing(bench: Bench) -> dict[str, float]:
    """Return the rates of the vapours that a trap or the gas ballast must take."""
    if bench.front is not None and isinstance(bench.front.pump, CapturePump):
        return {}  # the pump keeps it: see its life among the margins
    vapours = bench.loads.vapour_kg_s
    return {gas: rate for gas, rate in vapours.items() if rate > 0.0 and gas in SATURATION}


@dataclass(frozen=True)
class _Meeting:
    """A vapour that comes to a trap which holds some of it, flows in Pa·m³/s."""

    key: str
    trap: Trap
    substance: str
    comes: float
    passes: float
    of_all: float
    """What comes into the chamber."""


def _meetings(bench: Bench, substance: str) -> Iterator[_Meeting]:
    """Yield the traps that hold a vapour, as they stand on its way."""
    state, back = bench.process, bench.back
    if state is None:
        return
    whole, reaches = state.load_pa_m3_s[substance], state.reaching_pa_m3_s[substance]
    beyond = bench.states.backing.beyond_trap(state.reaching_pa_m3_s)
    past = beyond[substance].item(bench.spot.back_row)
    if bench.front is not None and bench.front.trap is not None and reaches < whole:
        yield _Meeting(f"inlet-{substance}", bench.front.trap, substance, whole, reaches, whole)
    if back.trap is not None and past < reaches:
        yield _Meeting(f"back-{substance}", back.trap, substance, reaches, past, whole)


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


def _trap_lines(meeting: _Meeting, rate_kg_s: float, day_s: float) -> Iterator[Working]:
    trap, key = meeting.trap, meeting.key
    over = over_trap_pa(meeting.substance, trap)
    inputs: dict[str, float | str] = {
        "p_w [Pa]": over,
        "Q_comes [Pa·m³/s]": meeting.comes,
        "S [m³/s]": meeting.passes / over if meeting.passes > 0.0 else "below notice",
    }
    yield line(
        SECTION, f"passes-{key}", f"{trap.name}: {gas_name(meeting.substance)} that passes it",
        _PASSES, inputs, meeting.passes,
    )  # fmt: skip
    if trap.capacity_kg <= 0.0:
        return  # full at once: what it takes counts as passed, see `vapour_shares`
    held = rate_kg_s * (meeting.comes - meeting.passes) / meeting.of_all
    yield line(
        SECTION, f"held-{key}", f"{trap.name}: {gas_name(meeting.substance)} that it holds", _HELD,
        {
            "ṁ given off [kg/s]": rate_kg_s,
            "Q_comes [Pa·m³/s]": meeting.comes,
            "Q_passes [Pa·m³/s]": meeting.passes,
            "Q of all [Pa·m³/s]": meeting.of_all,
        },
        held,
    )  # fmt: skip
    yield line(
        SECTION, f"trap-{key}", f"{trap.name}: rate between daily defrosts", _TRAPPED,
        {"m_trap [kg]": trap.capacity_kg, "t_day [s]": day_s},
        trap.capacity_kg / day_s if day_s > 0.0 else 0.0,
    )  # fmt: skip
    yield line(
        SECTION, f"defrost-{key}", f"{trap.name}: working hours until it must be defrosted",
        _DEFROST, {"m_trap [kg]": trap.capacity_kg, "ṁ_held [kg/s]": held},
        trap.capacity_kg / held / 3600.0,
    )  # fmt: skip


def _ballast_lines(bench: Bench, substance: str) -> Iterator[Working]:
    pump = bench.back.backing
    saturation = saturation_at_exhaust_pa(substance, pump.exhaust_k)
    ambient = ROOM_WATER_PA if substance == "water" else 0.0
    law = Law("p_s", "saturation pressure at the exhaust", "Pa", _saturation_source(substance))
    yield line(
        SECTION, f"saturation-{substance}",
        f"Saturation of {gas_name(substance)} at the exhaust of {pump.name}", law,
        {"T_exhaust [K]": pump.exhaust_k}, saturation,
    )  # fmt: skip
    at_exhaust: dict[str, float | str] = {
        "B [m³/s]": pump.ballast_m3_s,
        "p_s [Pa]": saturation,
        "p_o [Pa]": pump.exhaust_valve_pa,
        "p_n [Pa]": ATMOSPHERE_PA,
        "p_a [Pa]": ambient,
    }
    asked = _tolerating(bench, substance)
    for tolerating, tolerance in zip(
        asked.values(), bench.spot.judged.memory.each(asked, _tolerances_pa), strict=True
    ):
        yield line(
            SECTION, f"tolerance-{substance}",
            f"Tolerance of {pump.name} for the pure vapour", _TOLERANCE,
            {**at_exhaust, "S [m³/s]": tolerating.speed_m3_s}, tolerance,
        )  # fmt: skip
    yield line(
        SECTION, f"carried-{substance}",
        f"Uncondensed {gas_name(substance)} that {pump.name} carries out", _CARRIED,
        {
            **at_exhaust,
            "Q_dry [Pa·m³/s]": _dry_gas_pa_m3_s(bench),
            "M [kg/mol]": SPECIES[substance].molar_mass_kg_mol,
            "R [J/(mol·K)]": GAS_CONSTANT_J_MOL_K,
        },
        carried_alone_kg_s(bench.spot, substance),
    )  # fmt: skip


@dataclass(frozen=True)
class Tolerating:
    """A backing pump that takes a pure vapour at a speed."""

    pump: BackingPump
    substance: str
    speed_m3_s: float


def _tolerating(bench: Bench, substance: str) -> dict[Hashable, Tolerating]:
    """Return a backing pump with its speed, by all that its tolerance depends on, if it has one."""
    pump, speed = bench.back.backing, _backing_speed(bench, substance)
    if speed <= 0.0:
        return {}
    return {("tolerance", substance, pump.sku, speed): Tolerating(pump, substance, speed)}


def solve_tolerances(benches: Sequence[Bench]) -> None:
    """Work out the tolerances of the backing pumps of several stacks of one field."""
    asked = [_tolerating(bench, vapour) for bench in benches for vapour in _condensing(bench)]
    memory = benches[0].spot.judged.memory
    memory.each(dict(item for some in asked for item in some.items()), _tolerances_pa)


def _tolerances_pa(asked: Sequence[Tolerating]) -> list[float]:
    ballast = Ballast(
        flow_m3_s=np.array([one.pump.ballast_m3_s for one in asked]),
        saturation_pa=np.array(
            [saturation_at_exhaust_pa(one.substance, one.pump.exhaust_k) for one in asked]
        ),
        exhaust_pa=np.array([one.pump.exhaust_valve_pa for one in asked]),
        ambient_vapour_pa=np.array(
            [ROOM_WATER_PA if one.substance == "water" else 0.0 for one in asked]
        ),
    )
    speed = np.array([one.speed_m3_s for one in asked])
    found: list[float] = vapour_tolerance_pa(ballast, speed).tolist()
    return found


def _saturation_source(substance: str) -> str:
    return in_full(SATURATION[substance].source)


def _backing_speed(bench: Bench, substance: str) -> float:
    """Speed of a backing pump at its own inlet; 0 behind a booster or a cold wall."""
    state, back = bench.process, bench.back
    held = any(meeting.trap is back.trap for meeting in _meetings(bench, substance))
    if state is None or back.booster is not None or held:
        return 0.0
    at_back = bench.backing_pa(state)
    if not math.isfinite(at_back):
        return 0.0
    return bench.back_speeds(substance, state).at(at_back)


def _dry_gas_pa_m3_s(bench: Bench) -> float:
    load = bench.loads.running_pa_m3_s(process_time_s(bench.requirements))
    return sum(flow for gas, flow in load.items() if gas not in SATURATION)
