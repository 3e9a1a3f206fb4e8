"""Which fluid, trap, gas, hazard and supply go together with a pump, and why not.

Every rule returns whether it allows the pairing and a sentence that says why. The rules are common
practice of the trade without a published source, except where one is named.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable
from typing import NamedTuple

from server.catalog.flanges import Flange
from server.catalog.items import (
    BACKING_KINDS,
    CAPTURE_KINDS,
    OIL_SEALED_KINDS,
    SILICONE_FLUIDS,
    TURBO_KINDS,
    VAPOUR_KINDS,
    BackingPump,
    Catalog,
    Cooling,
    Fluid,
    FluidKind,
    FluidService,
    Pump,
    PumpKind,
    Trap,
    TrapKind,
    TrapPlace,
    VapourPump,
)
from server.catalog.words import CLEANLINESS, SOLVENTS
from server.errors import UnknownName

# EN 50160: the supply stays within ±10 % of its nominal voltage.
VOLTAGE_TOLERANCE = 0.10
# Traps that hold back or condense vapours before they reach a backing pump.
VAPOUR_TRAPS = frozenset({TrapKind.NITROGEN_TRAP, TrapKind.REFRIGERATED_TRAP, TrapKind.CONDENSER})
# Traps that keep a sealed pump's oil vapour out of the line.
OIL_TRAPS = frozenset(
    {TrapKind.FORELINE_SORPTION, TrapKind.NITROGEN_TRAP, TrapKind.REFRIGERATED_TRAP}
)


class Rule(NamedTuple):
    """Whether a pairing is allowed, and why in a sentence."""

    allowed: bool
    reason: str


def fluid_fits(pump: VapourPump, fluid: Fluid) -> Rule:
    """Say whether a vapour pump may run with a fluid."""
    if fluid.service is not FluidService.VAPOUR:
        return Rule(False, f"{fluid.name} is an oil for sealed pumps.")
    if fluid.kind not in pump.fluid_kinds:
        return Rule(False, f"{pump.name} is not made for fluids of the kind {_words(fluid.kind)}.")
    if pump.needs_heat_stable_fluid and not fluid.heat_stable:
        return Rule(False, f"{pump.name} runs hot and takes heat-stable fluids only.")
    if fluid.largest_boiler_k < pump.boiler_k:
        return Rule(
            False,
            f"{fluid.name} stands {_celsius(fluid.largest_boiler_k)} at most; the boiler runs at "
            f"{_celsius(pump.boiler_k)}.",
        )
    return Rule(True, f"{fluid.name} stands the boiler of {_celsius(pump.boiler_k)}.")


def oil_fits(pump: BackingPump, oil: Fluid) -> Rule:
    """Say whether an oil-sealed pump may run with an oil."""
    if pump.kind not in OIL_SEALED_KINDS:
        return Rule(False, f"{pump.name} runs dry: there is no oil in the pumped space.")
    if oil.service is not FluidService.SEALED:
        return Rule(False, f"{oil.name} is a fluid for vapour pumps.")
    if oil.kind not in pump.oil_kinds:
        return Rule(False, f"{pump.name} is not made for oils of the kind {_words(oil.kind)}.")
    if oil.largest_boiler_k < pump.exhaust_k:
        return Rule(False, f"{oil.name} does not stand the pump's {_celsius(pump.exhaust_k)}.")
    return Rule(True, f"{pump.name} is made for oils of the kind {_words(oil.kind)}.")


def trap_fits(flange: Flange, trap: Trap, place: TrapPlace) -> Rule:
    """Say whether a trap or baffle bolts to a flange without adaptors, at a place of the stack."""
    if trap.place is not place:
        return Rule(False, f"{trap.name} does not stand in the {_words(place)}.")
    if not trap.inlet.mates_with(flange):
        return Rule(False, f"{trap.name} does not mate with {flange}.")
    return Rule(True, f"{trap.name} mates with {flange}.")


def fluids_for(pump: VapourPump, catalog: Catalog) -> tuple[Fluid, ...]:
    """Return the fluids that a vapour pump may run with, in the order of the catalogue."""
    return tuple(fluid for fluid in catalog.of_type(Fluid) if fluid_fits(pump, fluid).allowed)


def oils_for(pump: BackingPump, catalog: Catalog) -> tuple[Fluid, ...]:
    """Return the oils that a sealed pump may run with; none for a dry pump."""
    return tuple(oil for oil in catalog.of_type(Fluid) if oil_fits(pump, oil).allowed)


def traps_for(flange: Flange, catalog: Catalog, place: TrapPlace) -> tuple[Trap, ...]:
    """Return the traps and baffles that bolt to a flange at a place of the stack."""
    return tuple(trap for trap in catalog.of_type(Trap) if trap_fits(flange, trap, place).allowed)


def leaves_silicone(fluid: Fluid) -> bool:
    """Say whether backstreamed fluid leaves silicone, which spoils optics and analysers."""
    return fluid.kind in SILICONE_FLUIDS


def supply_allows(
    pump: Pump, *, cooling_water: bool, three_phase: bool, mains_voltage_v: float | None
) -> Rule:
    """Say whether a site can feed a pump.

    Parameters
    ----------
    pump : Pump
        The pump.
    cooling_water : bool
        Whether there is cooling water.
    three_phase : bool
        Whether there is a three-phase supply.
    mains_voltage_v : float or None
        The site's voltage, phase to neutral (230 V) or, for three phases, between phases (400 V);
        None when it is not known. [V]

    Returns
    -------
    Rule
        The first thing that is lacking, or that nothing is.
    """
    if pump.cooling is Cooling.WATER and not cooling_water:
        return Rule(False, f"{pump.name} needs cooling water.")
    if pump.phases == 3 and not three_phase:
        return Rule(False, f"{pump.name} needs a three-phase supply.")
    if mains_voltage_v is not None:
        offered = _offered_voltages(mains_voltage_v, pump.phases, three_phase=three_phase)
        if not any(_close(have, want) for have in offered for want in pump.mains_voltages):
            wanted = " or ".join(f"{volt} V" for volt in pump.mains_voltages)
            return Rule(False, f"{pump.name} is built for {wanted}, not for {mains_voltage_v:g} V.")
    return Rule(True, "The site can feed the pump.")


def _offered_voltages(mains_v: float, phases: int, *, three_phase: bool) -> tuple[float, ...]:
    """Voltage between phases is √3 times that to neutral; a site states either of them."""
    if phases == 3:
        return (mains_v, mains_v * math.sqrt(3))
    return (mains_v, mains_v / math.sqrt(3)) if three_phase else (mains_v,)


def _close(have_v: float, want_v: float) -> bool:
    return abs(have_v - want_v) <= VOLTAGE_TOLERANCE * want_v


def cleanliness_allows(cleanliness: str, pump: Pump, traps: Iterable[Trap] = ()) -> Rule:
    """Say whether a pump is clean enough.

    Parameters
    ----------
    cleanliness : str
        ``tolerant``, ``low_oil`` or ``oil_free``.
    pump : Pump
        Any pump of the stack.
    traps : iterable of Trap
        The traps and baffles of the stack.

    Returns
    -------
    Rule
        ``oil_free`` refuses oil-sealed and vapour pumps anywhere; ``low_oil`` wants a foreline
        trap with an oil-sealed pump and a trap or baffle above a vapour pump.

    Raises
    ------
    UnknownName
        When the word is none of the three.
    """
    oily = pump.kind in OIL_SEALED_KINDS or pump.kind in VAPOUR_KINDS
    if cleanliness == "tolerant" or (cleanliness in {"low_oil", "oil_free"} and not oily):
        return Rule(True, "The pump is clean enough.")
    if cleanliness == "oil_free":
        what = "a vapour pump" if pump.kind in VAPOUR_KINDS else "an oil-sealed pump"
        return Rule(False, f"{pump.name} is {what}: nothing oil-free comes of it.")
    if cleanliness != "low_oil":
        raise UnknownName("cleanliness", cleanliness, sorted(CLEANLINESS))
    if pump.kind in VAPOUR_KINDS:
        if any(trap.place is TrapPlace.HIGH_VACUUM for trap in traps):
            return Rule(True, "A trap or baffle keeps the fluid's vapour back.")
        return Rule(False, f"{pump.name} needs a trap or baffle to be low in oil.")
    if any(trap.place is TrapPlace.FORELINE and trap.kind in OIL_TRAPS for trap in traps):
        return Rule(True, "A foreline trap keeps the oil vapour back.")
    return Rule(False, f"{pump.name} needs a foreline trap to be low in oil.")


def solvents_allow(pump: Pump, substances: Collection[str], traps: Iterable[Trap] = ()) -> Rule:
    """Say whether a backing pump stands the solvents of a process.

    Parameters
    ----------
    pump : Pump
        Any pump of the stack; only those that exhaust to atmosphere compress the vapour until it
        may condense inside.
    substances : collection of str
        Species keys of the vapours.
    traps : iterable of Trap
        The traps of the stack; one that takes the vapour up front spares the pump.

    Returns
    -------
    Rule
        Chemistry-resistant builds always; plain diaphragm pumps never; the others behind a cold
        trap or condenser.
    """
    solvents = sorted(SOLVENTS.intersection(substances))
    if not solvents or pump.kind not in BACKING_KINDS:
        return Rule(True, "No solvent reaches a place in the pump where it condenses.")
    named = _words(solvents[0])
    if pump.kind is PumpKind.DIAPHRAGM_CHEMISTRY or "corrosive" in pump.prepared_for:
        return Rule(True, f"The build stands {named}.")
    if pump.kind is PumpKind.DIAPHRAGM:
        return Rule(False, f"{named.capitalize()} swells the diaphragms of {pump.name}.")
    if any(trap.kind in VAPOUR_TRAPS and trap.place is TrapPlace.FORELINE for trap in traps):
        return Rule(True, f"A cold trap or condenser takes up the {named} in front of the pump.")
    what = "dilutes the oil" if pump.kind in OIL_SEALED_KINDS else "attacks seals and bearings"
    return Rule(
        False,
        f"{named.capitalize()} {what} of {pump.name}: a cold trap or condenser in front, or a "
        "chemistry-resistant pump, is needed.",
    )


def hazards_allow(hazards: Iterable[str], pump: Pump, fluid: Fluid | None) -> Rule:
    """Say whether a pump with its fluid may take gas with these hazards.

    Parameters
    ----------
    hazards : iterable of str
        Words of `server.catalog.words.HAZARDS`.
    pump : Pump
        Any pump of the stack.
    fluid : Fluid or None
        Fluid of a vapour pump or oil of a sealed pump; None for pumps without.

    Returns
    -------
    Rule
        The first refusal, or what the hazards ask for.

    Raises
    ------
    UnknownName
        When a hazard is none of the words.
    """
    asked: list[str] = []
    for hazard in sorted(hazards):
        rule = hazard_allows(hazard, pump, fluid)
        if not rule.allowed:
            return rule
        asked.append(rule.reason)
    return Rule(True, " ".join(dict.fromkeys(asked)) or "No hazard is named.")


def hazard_allows(hazard: str, pump: Pump, fluid: Fluid | None) -> Rule:
    """Say whether a pump with its fluid may take gas with one hazard; see `hazards_allow`."""
    rule = _RULES.get(hazard)
    if rule is None:
        raise UnknownName("hazard", hazard, sorted(_RULES))
    if hazard in pump.prepared_for and pump.kind not in _FILLED_KINDS:
        return Rule(True, f"{pump.name} is built for {_words(hazard)} gas.")
    return rule(pump, fluid)


_FILLED_KINDS = OIL_SEALED_KINDS | VAPOUR_KINDS


def _inert(fluid: Fluid | None) -> bool:
    return fluid is not None and fluid.kind is FluidKind.PERFLUOROPOLYETHER


def _oxygen_rich(pump: Pump, fluid: Fluid | None) -> Rule:
    if pump.kind in _FILLED_KINDS:
        if _inert(fluid):
            return Rule(True, "The fluid is fully fluorinated and does not burn in oxygen.")
        return Rule(
            False,
            f"Oxygen-rich gas over any fluid but perfluoropolyether can explode in {pump.name}.",
        )
    if pump.kind is PumpKind.SPUTTER_ION:
        return Rule(True, "There is no lubricant in a sputter-ion pump.")
    if pump.kind is PumpKind.CRYO:
        return Rule(False, f"{pump.name} stores oxygen and sets it free at once when it warms up.")
    return Rule(False, f"{pump.name} has lubricants that are not made for oxygen-rich gas.")


def _corrosive(pump: Pump, fluid: Fluid | None) -> Rule:
    if pump.kind in CAPTURE_KINDS:
        return Rule(False, f"{pump.name} keeps the corrosive gas inside.")
    if pump.kind in VAPOUR_KINDS:
        if _inert(fluid):
            return Rule(True, "Perfluoropolyether stands corrosive gas.")
        return Rule(False, f"Corrosive gas breaks down the fluid of {pump.name}.")
    if "corrosive" not in pump.prepared_for:
        return Rule(False, f"{pump.name} is not built for corrosive gas.")
    if _inert(fluid):
        return Rule(True, "The build and its perfluoropolyether stand corrosive gas.")
    return Rule(False, f"{pump.name} takes corrosive gas with perfluoropolyether oil only.")


def _flammable(pump: Pump, _fluid: Fluid | None) -> Rule:
    if pump.kind is PumpKind.CRYO:
        return Rule(False, f"{pump.name} stores flammable gas and sets it free when it warms up.")
    if pump.kind in OIL_SEALED_KINDS:
        return Rule(
            True, "Purge with inert gas and lead the exhaust away; have it judged by specialists."
        )
    if pump.kind in BACKING_KINDS:
        return Rule(
            False, f"{pump.name} compresses in a dry space and is not built for flammable gas."
        )
    return Rule(True, "The pump works below the pressures that carry a flame; keep air out.")


def _pyrophoric(pump: Pump, _fluid: Fluid | None) -> Rule:
    if pump.kind in CAPTURE_KINDS:
        return Rule(False, f"{pump.name} stores pyrophoric gas.")
    if pump.kind in TURBO_KINDS | {PumpKind.ROOTS_BOOSTER}:
        return Rule(True, "Purge with inert gas; have it judged by specialists.")
    return Rule(False, f"{pump.name} is not built for gas that burns in air by itself.")


def _toxic(pump: Pump, _fluid: Fluid | None) -> Rule:
    if pump.kind is PumpKind.CRYO:
        return Rule(False, f"{pump.name} stores toxic gas and sets it free when it warms up.")
    return Rule(True, "Lead the exhaust to treatment; decontaminate the pump before any service.")


def _particulates(pump: Pump, _fluid: Fluid | None) -> Rule:
    if pump.kind is PumpKind.SCROLL:
        return Rule(False, f"Dust wears the tip seals of {pump.name}.")
    if pump.kind in TURBO_KINDS:
        return Rule(False, f"Dust damages the fast rotor of {pump.name}.")
    if pump.kind in BACKING_KINDS | {PumpKind.ROOTS_BOOSTER}:
        return Rule(True, "A dust filter belongs in front of the pump.")
    return Rule(True, "The pump stands some dust; a screen keeps pieces out.")


_RULES = {
    "oxygen_rich": _oxygen_rich,
    "corrosive": _corrosive,
    "flammable": _flammable,
    "pyrophoric": _pyrophoric,
    "toxic": _toxic,
    "particulates": _particulates,
}


def _words(value: str) -> str:
    return value.replace("_", " ")


def _celsius(kelvin: float) -> str:
    return f"{kelvin - 273.15:.0f} °C"
