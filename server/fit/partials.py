"""What the pressure in the chamber of a shown stack consists of, row by row."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np

from server.catalog.arrays import GRID
from server.catalog.items import TurboPump, VapourPump
from server.fit.behind import parts_behind, rest_pa
from server.fit.explain import Spot
from server.fit.front_states import over_front_trap_pa, resting_pressure_pa
from server.fit.inlet import is_caught
from server.fit.loads import AIR
from server.fit.pump_limits import compressions_left
from server.fit.settled import SettledState
from server.fit.vapour_results import PartialPressure
from server.physics.species import SPECIES
from server.physics.speedtable import lookup

_UNSEEN = 1e-7
"""Rows at rest below this share of the pressure are left out: rounding of the solution."""


def partials_of(spot: Spot, state: SettledState, *, working: bool) -> tuple[PartialPressure, ...]:
    """Return the rows that add up to the chamber's pressure; empty where there is none.

    Parameters
    ----------
    spot : Spot
        The stack.
    state : SettledState
        Its base or process state.
    working : bool
        Whether it is the process state, with gas ballast and vapour.
    """
    chamber_pa = spot.at(state.chamber_pa)
    if not math.isfinite(chamber_pa):
        return ()
    parts = {gas: spot.at(part) for gas, part in state.partial_pa.items()}
    without_load = chamber_pa - sum(parts.values())
    if spot.front is None:
        rows = list(_rough_rows(spot, state, parts, chamber_pa, working=working))
        rest = list(_rough_rest(spot, without_load))
    else:
        rows = [_gas_row(gas, state, part) for gas, part in parts.items() if part > 0.0]
        rest = list(_high_vacuum_rest(spot, state, without_load, working=working))
    seen = [row for row in rest if row.pressure_pa > _UNSEEN * chamber_pa]
    return tuple(_with_share(row, chamber_pa) for row in (*rows, *seen))


def _gas_row(gas: str, state: SettledState, pressure_pa: float) -> PartialPressure:
    load = state.load_pa_m3_s[gas]
    return PartialPressure(gas, load, load / pressure_pa, pressure_pa, 0.0)


def _rest_row(what: str, pressure_pa: float, note: str = "") -> PartialPressure:
    return PartialPressure(what, 0.0, None, pressure_pa, 0.0, at_rest=True, note=note)


def _with_share(row: PartialPressure, chamber_pa: float) -> PartialPressure:
    return PartialPressure(
        row.what,
        row.load_pa_m3_s,
        row.speed_m3_s,
        row.pressure_pa,
        row.pressure_pa / chamber_pa,
        row.at_rest,
        row.note,
    )


def _rough_rows(
    spot: Spot,
    state: SettledState,
    parts: Mapping[str, float],
    chamber_pa: float,
    *,
    working: bool,
) -> Iterator[PartialPressure]:
    """Yield the gases, and what the backing pump lets stand at its final pressure.

    Its net speed dies there because air comes back, not because it pumps other gases less: of each
    gas Q/S of the gross speed stands in the chamber, the rest of Q/S_net is that air. A vapour
    that a trap holds knows nothing of it.
    """
    backing, trap = spot.judged.case.states.backing, spot.back.trap
    tables = backing.at_chamber_working if working else backing.at_chamber
    at_rest = float(rest_pa(tables[AIR], np.array([spot.back_row]))[0])
    driven = max(1.0 - at_rest / chamber_pa, 0.0)
    asked = spot.judged.case.requirements
    leaking = 0.0
    for gas, part in parts.items():
        held = working and is_caught(gas, trap, asked)
        own = part if held else part * driven
        leaking += part - own
        if own > 0.0:
            yield _gas_row(gas, state, own)
    if leaking > _UNSEEN * chamber_pa:
        name = spot.back.backing.name
        yield _rest_row(f"final pressure of {name}", leaking, "air that leaks back through it")


def _rough_rest(spot: Spot, pressure_pa: float) -> Iterator[PartialPressure]:
    if spot.back.trap is not None:
        yield _rest_row(f"vapour over {spot.back.trap.name}", pressure_pa, _held_names(spot))


def _held_names(spot: Spot) -> str:
    asked = spot.judged.case.requirements
    traps = (spot.front.trap if spot.front else None, spot.back.trap)
    names = [
        SPECIES[load.substance].name
        for load in asked.process.vapour
        if any(is_caught(load.substance, trap, asked) for trap in traps)
    ]
    return " and ".join(dict.fromkeys(names))


def _high_vacuum_rest(
    spot: Spot, state: SettledState, pressure_pa: float, *, working: bool
) -> Iterator[PartialPressure]:
    """Yield the pump's own pressure, what comes back through a rotor, what a cold trap lets by."""
    front = spot.front
    if front is None:
        return
    own = min(resting_pressure_pa(front), pressure_pa)
    if isinstance(front.pump, VapourPump) and front.fluid is not None:
        fluid = front.fluid.kind.replace("_", " ")
        by_fluid = own > front.pump.ultimate_pa
        note = f"vapour of its fluid, {fluid}" if by_fluid else f"light fractions of its {fluid}"
        yield _rest_row(f"final pressure of {front.pump.name}", own, note)
    else:
        note = "its own surfaces, mostly hydrogen once it is baked"
        yield _rest_row(f"final pressure of {front.pump.name}", own, note)
    least = _UNSEEN * spot.at(state.chamber_pa)
    over = over_front_trap_pa(front, spot.judged.case.requirements) if working else 0.0
    if front.trap is not None and over > least:
        yield _rest_row(f"vapour over {front.trap.name}", over, _held_names(spot))
    left = pressure_pa - own - over
    if left > least and isinstance(front.pump, TurboPump):
        back = returning(spot, state, front.pump, working=working)
        yield _rest_row("back through the rotor from the foreline", left, _leading(back))


def returning(
    spot: Spot, state: SettledState, pump: TurboPump, *, working: bool
) -> Mapping[str, float]:
    """Return p_f,i/(p_f·K_i) of each gas: what comes back through a rotor per foreline pressure.

    The pumps' speeds are read at the foreline pressure itself, a little above that at their inlet.
    """
    states, row = spot.judged.case.states, np.array([spot.back_row])
    foreline_pa = math.nan if state.foreline_pa is None else spot.at(state.foreline_pa)
    if states.inlet is None or not math.isfinite(foreline_pa):
        return {}
    front_row = states.inlet.row_of_front[spot.front_row]
    tables = states.backing.working if working else states.backing.at_inlet
    at = min(max(foreline_pa, GRID.low_pa), GRID.high_pa)
    parts = {}
    for gas, flow in state.load_pa_m3_s.items():
        speed = lookup(tables[gas], row, at)
        reaching = flow * (1.0 - states.inlet.caught[gas][front_row])
        parts[gas] = np.where(speed > 0.0, reaching / np.where(speed > 0.0, speed, 1.0), 0.0)
    shares = parts_behind(parts, rest_pa(tables[AIR], row))
    left = compressions_left(pump, shares, foreline_pa)
    return {gas: float(share[0]) / left[gas] for gas, share in shares.items()}


def _leading(parts_pa: Mapping[str, float]) -> str:
    """Return the gases that make up most of it, such as ``hydrogen 80 %, water 19 %``."""
    total = sum(parts_pa.values())
    if total <= 0.0:
        return ""
    ordered = sorted(parts_pa.items(), key=lambda item: -item[1])
    return ", ".join(
        f"{SPECIES[gas].name} {part / total:.0%}".replace("%", " %")
        for gas, part in ordered
        if part >= 0.05 * total
    )
