"""The margin of vapour: what traps, condensers and gas ballast take of what the work gives off."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np

from server.catalog.items import CapturePump, Trap
from server.fit.alike import Groups
from server.fit.candidates import Back, Front
from server.fit.case import Case, Ledger, ledger
from server.fit.drying import drawn_ratio, goods_sources
from server.fit.front_states import process_time_s
from server.fit.inlet import is_caught
from server.fit.loads import PUMP_K, ROOM_WATER_PA
from server.fit.requirements import Requirements, VapourLoad
from server.physics.arrays import FloatArray
from server.physics.ballast import Ballast, vapour_carried_pa_m3_s
from server.physics.constants import GAS_CONSTANT_J_MOL_K
from server.physics.species import SPECIES
from server.physics.vapour import SATURATION, saturation_pressure_pa
from server.units import Dimension, format_quantity


def vapour(case: Case) -> Ledger | None:
    """Vapour that trap, condenser or gas ballast takes, or wet goods deliver, ÷ vapour load.

    Several vapours share trap and ballast: the shares of the load in what could be taken of each
    alone add up, and the margin is one over their sum. Where the stack draws less from wet goods
    than the drying asks for, that is the margin.
    """
    share: FloatArray | None = None
    whole = 0.0
    days = vapour_kg_per_day(case.requirements)
    for substance, rate in case.loads.vapour_kg_s.items():
        if rate <= 0.0 or substance not in SATURATION:
            continue
        held = _capacity_kg(case, substance)
        # what a trap holds never gets to the pump: its capacity counts, not the gas ballast
        trapped = days[substance] / np.where(held > 0.0, held, 1.0)
        carried = rate / np.maximum(carried_kg_s(case, substance, case.backs), 1e-300)
        part = np.where(held > 0.0, trapped, carried)
        share = part if share is None else share + part
        whole += rate
    if share is None:
        return None
    ratio = np.where(share > 0.0, 1.0 / np.where(share > 0.0, share, 1.0), np.inf)
    # a capture pump keeps the vapour: how long is a matter of its life, see `duty`
    keeps = np.array([[isinstance(front.pump, CapturePump)] for front in case.fronts])
    applies = np.where(keeps, np.nan, ratio) if case.fronts else ratio
    drawn = drawn_ratio(case)
    if drawn is not None:
        applies = np.fmin(applies, drawn)
    return ledger(whole, whole * applies, applies)


def working_time_per_day_s(requirements: Requirements) -> float:
    """Return how long vapour comes off in a day."""
    duty = requirements.duty
    return min(duty.cycles_per_day * duty.time_at_pressure_s, 86_400.0)


def vapour_kg_per_day(requirements: Requirements) -> Mapping[str, float]:
    """Return the mass of each vapour that the work gives off in a day."""
    day: dict[str, float] = {}
    for load in requirements.process.vapour:
        day[load.substance] = day.get(load.substance, 0.0) + _kg_per_day(load, requirements)
    return day


def _kg_per_day(load: VapourLoad, requirements: Requirements) -> float:
    """Return what comes off all the time at pressure, of wet goods until they are dry."""
    steady = load.rate_kg_s * working_time_per_day_s(requirements)
    if load.goods is None:
        return steady
    return min(load.goods.mass_kg * requirements.duty.cycles_per_day, steady)


def _capacity_kg(case: Case, substance: str) -> FloatArray:
    """Return what the trap that takes a vapour holds between two defrosts, shape (F or 1, B).

    The first trap on the way takes it all; one behind it gets only what passes.
    """
    asked = case.requirements
    behind = _held_kg([back.trap for back in case.backs], substance, asked)[np.newaxis]
    if case.states.inlet is None:
        return behind
    before = _held_kg([front.trap for front in case.fronts], substance, asked)[:, np.newaxis]
    return np.where(before > 0.0, before, behind)


def _held_kg(
    traps: Sequence[Trap | None], substance: str, requirements: Requirements
) -> FloatArray:
    """Return what each of many traps holds of a vapour, shape (n,)."""
    kinds = Groups.by("" if trap is None else trap.sku for trap in traps)
    held = [holds_kg(traps[place], substance, requirements) for place in kinds.first]
    return np.array(held)[kinds.of]


def vapour_route(case: Case, front: Front | None, back: Back) -> str:
    """Say where a stack's vapour goes, and up to which pressure wet goods hold the chamber."""
    return " ".join([_way_out(case, front, back), *_held_up(case.requirements)])


def _way_out(case: Case, front: Front | None, back: Back) -> str:
    for substance in case.loads.vapour_kg_s:
        for trap in (front.trap if front else None, back.trap):
            if holds_kg(trap, substance, case.requirements) > 0.0 and trap is not None:
                grams = f"{trap.capacity_kg * 1000:.0f} g"
                return (
                    f"{trap.name} holds it: {grams} until it must be defrosted, once a day at most."
                )
    if back.backing.ballast_m3_s > 0.0:
        return f"Run {back.backing.name} warm and with its gas ballast open."
    return "The pump has no gas ballast: the gas pumped with the vapour carries it out."


def _held_up(requirements: Requirements) -> list[str]:
    return [
        f"Wet goods at {format_quantity(source.goods.temperature_k, Dimension.TEMPERATURE)} give "
        f"off {SPECIES[source.load.substance].name} up to a partial pressure of "
        f"{format_quantity(source.saturation_pa, Dimension.PRESSURE)}: where the pumps draw less "
        "there than the drying asks for, the goods hold the chamber at it."
        for source in goods_sources(requirements.process.vapour)
    ]


def holds_kg(trap: Trap | None, substance: str, requirements: Requirements) -> float:
    """Return how much of a vapour a trap holds; 0 where it does not catch it."""
    if trap is None or not is_caught(substance, trap, requirements):
        return 0.0
    return trap.capacity_kg


def carried_kg_s(case: Case, substance: str, backs: Sequence[Back]) -> FloatArray:
    """Return the vapour that passes each backing pump uncondensed, shape (1, backs)."""
    kinds = Groups.by(back.backing.sku for back in backs)
    pumps = [backs[place].backing for place in kinds.first]
    ballast = Ballast(
        flow_m3_s=np.array([pump.ballast_m3_s for pump in pumps]),
        saturation_pa=np.array(
            [saturation_at_exhaust_pa(substance, pump.exhaust_k) for pump in pumps]
        ),
        exhaust_pa=np.array([pump.exhaust_valve_pa for pump in pumps]),
        ambient_vapour_pa=ROOM_WATER_PA if substance == "water" else 0.0,
    )
    permanent = sum(
        flow
        for gas, flow in case.loads.running_pa_m3_s(process_time_s(case.requirements)).items()
        if gas not in SATURATION
    )
    carried = vapour_carried_pa_m3_s(ballast, permanent)
    per_throughput = SPECIES[substance].molar_mass_kg_mol / (GAS_CONSTANT_J_MOL_K * PUMP_K)
    result: FloatArray = np.asarray(carried * per_throughput)[np.newaxis, kinds.of]
    return result


@lru_cache(maxsize=1024)
def saturation_at_exhaust_pa(substance: str, exhaust_k: float) -> float:
    """Return the vapour's saturation pressure there, infinite where none of it condenses."""
    if exhaust_k >= SATURATION[substance].high_k:
        return math.inf
    return float(saturation_pressure_pa(substance, exhaust_k))
