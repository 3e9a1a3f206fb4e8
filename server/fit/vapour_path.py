"""Where the vapour of the work goes on a shown stack, in kilograms a day."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from server.catalog.items import CapturePump, Trap
from server.fit.candidates import Back
from server.fit.cold_walls import over_trap_pa
from server.fit.explain import Spot
from server.fit.loads import PUMP_K
from server.fit.margin_vapour import carried_kg_s, working_time_per_day_s
from server.fit.vapour_results import Drying, VapourPath
from server.fit.vapour_shares import VapourShares, stack_shares
from server.physics.gas import throughput_from_mass_rate_pa_m3_s
from server.physics.species import SPECIES
from server.physics.vapour import SATURATION, time_to_defrost_s


@dataclass(frozen=True)
class _Way:
    """Rates of one vapour along a stack [kg/s], and the mass of a day [kg]."""

    enters: float
    in_front: float
    behind: float
    reaches: float
    """The backing pump; 0 behind a capture pump, which keeps it."""
    per_day_kg: float


def vapour_path_of(spot: Spot, drying: Sequence[Drying] = ()) -> tuple[VapourPath, ...]:
    """Return where each vapour goes; what reaches the backing pump shares its gas ballast.

    Parameters
    ----------
    spot : Spot
        The stack.
    drying : sequence of Drying
        How its wet goods dry: what they really give off counts, not what could be supplied.
    """
    ways = _ways(spot, drying)
    able = {substance: carried_alone_kg_s(spot, substance) for substance in ways}
    filled = sum(
        way.reaches / able[substance] if able[substance] > 0.0 else math.inf
        for substance, way in ways.items()
        if way.reaches > 0.0
    )
    carried = min(1.0, 1.0 / filled) if filled > 0.0 else 1.0
    in_front = sum(way.in_front for way in ways.values())
    behind = sum(way.behind for way in ways.values())
    front_trap = spot.front.trap if spot.front else None
    fronts = _Taker(front_trap, in_front, _is_open_to(spot))
    backs = _Taker(spot.back.trap, behind, passes_on=True)
    return tuple(_path(substance, way, carried, (fronts, backs)) for substance, way in ways.items())


def carried_alone_kg_s(spot: Spot, substance: str) -> float:
    """Return what of one vapour alone leaves a stack's backing pump uncondensed."""
    return _carried_kg_s([spot], substance)[0]


def solve_carried(spots: Sequence[Spot]) -> None:
    """Work out ``carried_alone_kg_s`` of stacks of one field at once."""
    for substance, rate in spots[0].judged.case.loads.vapour_kg_s.items():
        if rate > 0.0 and substance in SATURATION:
            _carried_kg_s(spots, substance)


def _carried_kg_s(spots: Sequence[Spot], substance: str) -> list[float]:
    judged = spots[0].judged
    backs = {("carried", substance, spot.back.backing.sku): spot.back for spot in spots}

    def carried(some: list[Back]) -> list[float]:
        found: list[float] = carried_kg_s(judged.case, substance, some)[0].tolist()
        return found

    return judged.memory.each(backs, carried)


@dataclass(frozen=True)
class _Taker:
    """A trap with the rate of all vapours that it takes [kg/s]."""

    trap: Trap | None
    takes: float
    passes_on: bool
    """Whether what it lets by goes on towards the backing pump."""

    @property
    def full_after_s(self) -> float:
        return float(time_to_defrost_s(self.trap.capacity_kg if self.trap else 0.0, self.takes))


def _is_open_to(spot: Spot) -> bool:
    return spot.front is None or not isinstance(spot.front.pump, CapturePump)


def _ways(spot: Spot, drying: Sequence[Drying]) -> Mapping[str, _Way]:
    """Return the ways of all vapours that condense: wet goods as they really dry."""
    case = spot.judged.case
    asked = case.requirements
    working_s, cycles = working_time_per_day_s(asked), asked.duty.cycles_per_day
    dried = iter(drying)
    rates: dict[str, float] = {}
    days: dict[str, float] = {}
    for load in asked.process.vapour:
        rate, day = load.rate_kg_s, load.rate_kg_s * working_s
        if load.goods is not None:
            rate = next((found.rate_kg_s for found in dried), rate)
            day = min(load.goods.mass_kg * cycles, rate * working_s)
        rates[load.substance] = rates.get(load.substance, 0.0) + rate
        days[load.substance] = days.get(load.substance, 0.0) + day
    shares = stack_shares(case, spot.front_row, spot.back_row, _flowing(spot, rates))
    return {
        substance: _way(spot, rate, days[substance], shares[substance])
        for substance, rate in rates.items()
        if rate > 0.0 and substance in SATURATION
    }


def _flowing(spot: Spot, rates_kg_s: Mapping[str, float]) -> Mapping[str, float]:
    """Return the load of the process with each vapour as it really comes off."""
    case = spot.judged.case
    load = dict(case.states.process.load_pa_m3_s if case.states.process else {})
    for substance, rate in rates_kg_s.items():
        mass = SPECIES[substance].molar_mass_kg_mol
        less = case.loads.vapour_kg_s[substance] - rate
        flow = load[substance] - float(throughput_from_mass_rate_pa_m3_s(less, mass, PUMP_K))
        load[substance] = max(flow, 0.0)
    return load


def _way(spot: Spot, rate: float, per_day_kg: float, shares: VapourShares[float]) -> _Way:
    held = rate * shares.in_front
    if not _is_open_to(spot):
        return _Way(rate, held, 0.0, 0.0, per_day_kg)
    return _Way(rate, held, rate * shares.behind, rate * shares.on, per_day_kg)


def _path(substance: str, way: _Way, carried: float, takers: tuple[_Taker, _Taker]) -> VapourPath:
    in_front, behind = takers
    day = way.per_day_kg / way.enters
    held = [
        taker for taker, rate in zip(takers, (way.in_front, way.behind), strict=True) if rate > 0.0
    ]
    return VapourPath(
        substance=substance,
        enters_kg_s=way.enters,
        enters_kg_per_day=way.per_day_kg,
        front_trap=_name(in_front, way.in_front),
        front_trap_passes_pa=_passes_pa(in_front, way.in_front, substance),
        held_by_front_trap_kg_per_day=way.in_front * day,
        back_trap=_name(behind, way.behind),
        back_trap_passes_pa=_passes_pa(behind, way.behind, substance),
        held_by_back_trap_kg_per_day=way.behind * day,
        kept_by_pump_kg_per_day=0.0 if in_front.passes_on else (way.enters - way.in_front) * day,
        carried_out_kg_per_day=way.reaches * carried * day,
        stays_in_pump_kg_per_day=way.reaches * (1.0 - carried) * day,
        carried_share=carried if way.reaches > 0.0 else None,
        defrost_after_s=min((taker.full_after_s for taker in held), default=None),
    )


def _name(taker: _Taker, rate: float) -> str:
    return taker.trap.name if taker.trap is not None and rate > 0.0 else ""


def _passes_pa(taker: _Taker, rate: float, substance: str) -> float | None:
    return over_trap_pa(substance, taker.trap) if taker.trap is not None and rate > 0.0 else None
