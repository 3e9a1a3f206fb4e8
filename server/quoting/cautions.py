"""Cautions: what can hurt people or machines, always printed with what it concerns.

General trade knowledge without a single source; every list ends by deferring to the codes of the
place and to licensed people.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from server.catalog.items import (
    OIL_SEALED_KINDS,
    SILICONE_FLUIDS,
    TURBO_KINDS,
    Catalog,
    FluidKind,
    Pump,
    PumpKind,
    TrapKind,
    VapourPump,
)
from server.fit.fluid_use import exposure_of
from server.fit.gas_hazards import hazards_brought
from server.fit.requirements import Hazard, Requirements
from server.fit.results import Part
from server.quoting.stack_items import StackItems, stack_items

# Loads that one person should not lift alone: common practice, no source.
HEAVY_KG = 20.0


@dataclass(frozen=True)
class Caution:
    """One caution: what it concerns, and what to do or leave."""

    about: str
    text: str


_LOCAL_CODES = Caution(
    "Codes and trained people",
    "These cautions are not complete and replace neither the law nor the codes of the place nor "
    "the work of licensed electricians, gas fitters and safety specialists. Where they say more, "
    "they hold.",
)
_MAINS = Caution(
    "Electricity",
    "Disconnect and lock out the supply before opening a pump, its controller or its terminal box; "
    "connection is work for a licensed electrician.",
)

_VAPOUR_JET = (
    Caution(
        "Hot boiler",
        "The boiler and its surroundings burn skin and char cables: guard them, and let the pump "
        "cool down before touching or opening it.",
    ),
    Caution(
        "Air on hot fluid",
        "Never let air into a hot vapour-jet pump: the fluid oxidises or may catch fire, and is "
        "thrown into chamber and foreline.",
    ),
    Caution(
        "Heater",
        "Never run the heater without cooling and without a working backing pump. Keep the "
        "interlocks on temperature, cooling and foreline pressure in the heater's circuit and "
        "test them.",
    ),
    Caution(
        "Solvents for cleaning",
        "Acetone (flash point about −20 °C) and isopropanol (about 12 °C) give vapours that burn "
        "and explode: ventilate, no flame or spark, gloves and goggles that stand the solvent, "
        "earthed vessels; never pour used solvent down the drain.",
    ),
)
_TURBO = Caution(
    "Fast rotor",
    "The rotor stores much energy: fasten the pump as its mounting rules say, keep the splinter "
    "screen fitted, let air in slowly and never open the pump before the rotor stands still.",
)
_CRYO = Caution(
    "Gas held by the cryopump",
    "The pump gives back all the gas it holds when it warms up: never block its relief valve, "
    "vent it to a safe place, and regenerate early when flammable gas or oxygen was pumped.",
)
_ION = Caution(
    "High voltage and magnets",
    "Sputter-ion pumps run at several kilovolts and have strong magnets: switch off and earth "
    "before unplugging; keep pacemakers, cards and instruments away.",
)
_OIL_MIST = Caution(
    "Exhaust",
    "The exhaust carries oil mist and whatever was pumped: use the mist filter and lead the "
    "exhaust out of the room; never close or throttle it.",
)
_NITROGEN = Caution(
    "Liquid nitrogen",
    "Boiling nitrogen drives the air out of a room (asphyxiation) and burns like fire: ventilate, "
    "measure the oxygen, wear face shield and loose insulating gloves. Never close off a space "
    "that holds liquid, and never leave air freezing into an open trap.",
)
_SILICONE = Caution(
    "Silicone fluid",
    "Backstreamed silicone turns into insulating, dull layers under electron or ion bombardment: "
    "not for optics, analysers and contacts without a trap that holds it back.",
)
_PFPE = Caution(
    "Perfluoropolyether",
    # The temperature is from memory.
    "Above about 290 °C it gives off toxic and corrosive fumes: no smoking "
    "where it is handled, no hot work on parts that are wetted with it.",
)
_GLASS = Caution(
    "Glass under vacuum",
    "Glass vessels can implode: use undamaged vessels made for vacuum, shield or tape them, wear "
    "eye protection.",
)

_HAZARDS: dict[Hazard, Caution] = {
    Hazard.OXYGEN_RICH: Caution(
        "Oxygen-rich gas",
        "Mineral and other hydrocarbon oils can explode in it. Only fully fluorinated fluids or "
        "dry pumps made for oxygen, free of grease, in a system designed for oxygen by "
        "specialists.",
    ),
    Hazard.CORROSIVE: Caution(
        "Corrosive gas",
        "Purge before stopping, keep condensate out of the pumps, check seals and fluids more "
        "often than this document says, and neutralise the exhaust.",
    ),
    Hazard.FLAMMABLE: Caution(
        "Flammable gas or vapour",
        "Inert-gas purge, exclusion of ignition sources, flame arrest and treatment of the "
        "exhaust are to be designed by specialists for the zone that applies.",
    ),
    Hazard.TOXIC: Caution(
        "Toxic gas",
        "Treat the exhaust, check for leaks before each start. A pump that comes back from this "
        "service is accepted only with a signed declaration of decontamination.",
    ),
    Hazard.PARTICULATES: Caution(
        "Dust",
        "Dust from filters and oil may be harmful or flammable: wear protection when changing "
        "them and dispose of them as what was pumped demands.",
    ),
    Hazard.PYROPHORIC: Caution(
        "Pyrophoric gas",
        "It burns by itself in air, also in leaks and exhaust lines: purge, dilution, exhaust "
        "treatment and the order of valves are to be designed by specialists.",
    ),
}


def cautions_for(
    parts: Iterable[Part], requirements: Requirements, catalog: Catalog
) -> tuple[Caution, ...]:
    """Return the cautions that a stack and its gas ask for, the general ones last.

    Parameters
    ----------
    parts : iterable of Part
        The stack's parts.
    requirements : Requirements
        Hazards and chamber.
    catalog : Catalog
        Where the parts are looked up.
    """
    items = stack_items(parts, catalog, exposure_of(requirements))
    found: list[Caution] = []
    for entry in items.pumps:
        found += _pump_cautions(entry.pump)
    found += _fluid_and_trap_cautions(items)
    hazards = requirements.hazards | hazards_brought(requirements.process)
    found += [_HAZARDS[hazard] for hazard in Hazard if hazard in hazards]
    if any("glass" in surface.material for surface in requirements.chamber.surfaces):
        found.append(_GLASS)
    heavy = [entry.pump for entry in items.pumps if entry.pump.mass_kg > HEAVY_KG]
    if heavy:
        listed = ", ".join(f"{pump.name} ({pump.mass_kg:.0f} kg)" for pump in heavy)
        found.append(Caution("Lifting", f"Lift with two people or lifting gear: {listed}."))
    return tuple(dict.fromkeys((*found, _MAINS, _LOCAL_CODES)))


def _pump_cautions(pump: Pump) -> tuple[Caution, ...]:
    if isinstance(pump, VapourPump):
        return _VAPOUR_JET
    if pump.kind in TURBO_KINDS:
        return (_TURBO,)
    if pump.kind is PumpKind.CRYO:
        return (_CRYO,)
    if pump.kind is PumpKind.SPUTTER_ION:
        return (_ION,)
    return (_OIL_MIST,) if pump.kind in OIL_SEALED_KINDS else ()


def _fluid_and_trap_cautions(items: StackItems) -> Iterable[Caution]:
    kinds = {entry.fluid.kind for entry in items.pumps if entry.fluid is not None}
    if kinds & SILICONE_FLUIDS:
        yield _SILICONE
    if FluidKind.PERFLUOROPOLYETHER in kinds:
        yield _PFPE
    if any(trap.kind is TrapKind.NITROGEN_TRAP for trap in items.traps):
        yield _NITROGEN
