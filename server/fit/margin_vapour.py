"""The margin of vapour: what traps, condensers and gas ballast take of what the work gives off."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache

import numpy as np

from server.catalog.items import CapturePump, Trap
from server.fit.alike import Groups
from server.fit.candidates import Back
from server.fit.case import Case, Ledger, ledger
from server.fit.drying import drawn_ratio, goods_sources
from server.fit.front_states import process_time_s
from server.fit.loads import PUMP_K, ROOM_WATER_PA
from server.fit.requirements import Requirements, VapourLoad
from server.fit.vapour_shares import field_shares, stack_shares
from server.physics.arrays import FloatArray
from server.physics.ballast import Ballast, vapour_carried_pa_m3_s
from server.physics.constants import GAS_CONSTANT_J_MOL_K
from server.physics.species import SPECIES
from server.physics.vapour import SATURATION, saturation_pressure_pa
from server.units import Dimension, format_quantity


def vapour(case: Case) -> Ledger | None:
    """Vapour that traps and gas ballast take, or that wet goods deliver, ÷ vapour load.

    What a trap holds fills it by the day, what passes it the gas ballast must carry: of the trap in
    front, the trap behind and the pump the fullest counts. Several vapours share each of them: the
    shares of the load in what could be taken of each alone add up. Where the stack draws less from
    wet goods than the drying asks for, that is the margin.
    """
    fills, whole = [np.zeros((1, 1))] * 3, 0.0
    days = vapour_kg_per_day(case.requirements)
    fronts = np.array(
        [[_capacity_kg(front.trap if front else None)] for front in case.field.fronts]
    )
    backs = np.array([[_capacity_kg(back.trap) for back in case.backs]])
    for substance, rate in case.loads.vapour_kg_s.items():
        if rate <= 0.0 or substance not in SATURATION:
            continue
        shares, day = field_shares(case, substance), days[substance]
        carried = np.maximum(carried_kg_s(case, substance, case.backs), 1e-300)
        added = (
            day * shares.in_front / fronts,
            day * shares.behind / backs,
            rate * shares.on / carried,
        )
        fills = [fill + more for fill, more in zip(fills, added, strict=True)]
        whole += rate
    if whole <= 0.0:
        return None
    fullest = np.maximum(np.maximum(fills[0], fills[1]), fills[2])
    ratio = np.where(fullest > 0.0, 1.0 / np.where(fullest > 0.0, fullest, 1.0), np.inf)
    # a capture pump keeps the vapour: how long is a matter of its life, see `duty`
    keeps = np.array([[isinstance(front.pump, CapturePump)] for front in case.fronts])
    applies = np.where(keeps, np.nan, ratio) if case.fronts else ratio
    drawn = drawn_ratio(case)
    if drawn is not None:
        applies = np.fmin(applies, drawn)
    return ledger(whole, whole * applies, applies)


def _capacity_kg(trap: Trap | None) -> float:
    """Return what a trap holds between two defrosts; without any, nothing is ever held by it."""
    return trap.capacity_kg if trap is not None and trap.capacity_kg > 0.0 else math.inf


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


def vapour_route(case: Case, front_row: int, back_row: int) -> str:
    """Say where a stack's vapour goes, and up to which pressure wet goods hold the chamber."""
    return " ".join([*_way_out(case, front_row, back_row), *_held_up(case.requirements)])


def _way_out(case: Case, front_row: int, back_row: int) -> Iterator[str]:
    front, back = case.field.fronts[front_row], case.backs[back_row]
    load = case.states.process.load_pa_m3_s if case.states.process else {}
    flowing = stack_shares(case, front_row, back_row, load)
    shares = {name: flowing[name] for name in case.loads.vapour_kg_s if name in flowing}
    held_by = (
        (front.trap if front else None, {name: own.in_front for name, own in shares.items()}),
        (back.trap, {name: own.behind for name, own in shares.items()}),
    )
    for trap, held in held_by:
        if trap is not None and any(held.values()):
            yield (
                f"{trap.name} holds {_parts_held(held)}: {trap.capacity_kg * 1000:.0f} g until it "
                "must be defrosted, once a day at most."
            )
    if not any(own.on > 0.0 for own in shares.values()):
        return
    if back.backing.ballast_m3_s > 0.0:
        yield f"Run {back.backing.name} warm and with its gas ballast open."
    else:
        yield "The pump has no gas ballast: the gas pumped with the vapour carries it out."


def _parts_held(shares: Mapping[str, float]) -> str:
    """Say which parts of the vapours are held."""
    if all(share > _ALL for share in shares.values()):
        return "it" if len(shares) == 1 else "all of it"
    return " and ".join(
        f"{'all' if share > _ALL else f'{share:.0%}'} of the {SPECIES[name].name}"
        for name, share in shares.items()
        if share > 0.0
    )


_ALL = 0.995
"""A share that is said to be all."""


def _held_up(requirements: Requirements) -> list[str]:
    return [
        f"Wet goods at {format_quantity(source.goods.temperature_k, Dimension.TEMPERATURE)} give "
        f"off {SPECIES[source.load.substance].name} up to a partial pressure of "
        f"{format_quantity(source.saturation_pa, Dimension.PRESSURE)}: where the pumps draw less "
        "there than the drying asks for, the goods hold the chamber at it."
        for source in goods_sources(requirements.process.vapour)
    ]


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
