"""What a customer must be told about a stack besides its margins."""

from __future__ import annotations

from collections.abc import Sequence

from server.catalog.compatibility import leaves_silicone
from server.catalog.items import (
    OIL_SEALED_KINDS,
    Cooling,
    RootsBooster,
    Trap,
    TrapKind,
    TurboPump,
    VapourPump,
)
from server.fit.explain import Spot, duration, pressure
from server.fit.requirements import Application, Condition, Requirements
from server.fit.thresholds import VANE_CLEAN_ROUGHING_PA
from server.fit.vapour_shares import stack_shares

SILICONE_MATTERS = frozenset(
    {Application.OPTICS, Application.COATING, Application.ANALYSER, Application.SURFACE_SCIENCE}
)
"""Work that a film of silicone spoils (common practice, no source)."""


def flags_of(spot: Spot) -> tuple[str, ...]:
    """Return what the customer must be told about a stack besides its margins."""
    asked = spot.judged.case.requirements
    flags = [
        *_chamber_flags(asked),
        *_fluid_flags(spot, asked),
        *_trap_flags(spot),
        *_pump_flags(spot),
    ]
    return tuple(dict.fromkeys(flags))


def _chamber_flags(asked: Requirements) -> list[str]:
    if all(surface.condition is not Condition.BAKED for surface in asked.chamber.surfaces):
        return []
    return [
        "The pump-down counts from a chamber whose walls are baked already and took up no water "
        "since. After an opening to air a bake-out of a day or more comes on top."
    ]


def _fluid_flags(spot: Spot, asked: Requirements) -> list[str]:
    front, flags = spot.front, []
    if front is not None and front.fluid is not None and leaves_silicone(front.fluid):
        where = "spoils optics, coatings and analysers"
        if asked.application in SILICONE_MATTERS:
            flags.append(
                f"{front.fluid.name} is a silicone: in the chamber electrons or plasma turn it "
                f"into a film that {where}. A polyphenyl ether or an oil-free pump "
                "avoids it."
            )
        else:
            flags.append(f"{front.fluid.name} is a silicone: its deposits matter where it {where}.")
    if spot.back.oil is not None and spot.judged.case.loads.vapour_kg_s and spot.back.trap is None:
        flags.append("Vapour goes through the backing pump's oil: check the oil weekly at first.")
    return flags


def _trap_flags(spot: Spot) -> list[str]:
    flags = []
    case = spot.judged.case
    load = case.states.process.load_pa_m3_s if case.states.process else {}
    shares = stack_shares(case, spot.front_row, spot.back_row, load)
    rates = {gas: rate for gas, rate in case.loads.vapour_kg_s.items() if gas in shares}
    traps: Sequence[tuple[Trap | None, float]] = (
        (
            spot.front.trap if spot.front else None,
            sum(rate * shares[gas].in_front for gas, rate in rates.items()),
        ),
        (spot.back.trap, sum(rate * shares[gas].behind for gas, rate in rates.items())),
    )
    for trap, caught in traps:
        if trap is None:
            continue
        if trap.kind is TrapKind.NITROGEN_TRAP:
            flags.append(
                f"{trap.name}: liquid nitrogen displaces breathing air and burns skin; ventilate, "
                "wear face shield and gloves, never close a trap that holds liquid."
            )
        if caught > 0.0:
            flags.append(
                f"{trap.name}: full after {duration(trap.capacity_kg / caught)} of vapour load."
            )
    return flags


def _pump_flags(spot: Spot) -> list[str]:
    front, back, flags = spot.front, spot.back, []
    if front is not None and isinstance(front.pump, VapourPump):
        flags.append(
            f"From cold the pump needs {duration(front.pump.warm_up_s)} to be ready; the pump-down "
            "time counts from a hot, backed pump behind its closed isolation valve."
        )
    if front is not None and isinstance(front.pump, TurboPump):
        flags.append(
            "The chamber is roughed through the turbomolecular pump while it runs up; the time it "
            "takes is reckoned through the roughing line that was stated or assumed."
        )
    if front is not None and front.pump.cooling is Cooling.WATER:
        flags.append(f"{front.pump.name} needs cooling water whenever it is warm.")
    oily = back.backing.kind in OIL_SEALED_KINDS and back.trap is None
    if oily and not isinstance(back.booster, RootsBooster):
        limit = spot.judged.case.states.crossover_limit_pa
        if front is None or (limit is not None and spot.at(limit) < VANE_CLEAN_ROUGHING_PA):
            flags.append(
                f"Below about {pressure(VANE_CLEAN_ROUGHING_PA)} an oil-sealed pump without trap "
                "sends oil vapour up its line."
            )
    return flags
