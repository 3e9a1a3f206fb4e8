"""How much pump fluid and oil is used up, and how often it is changed.

Change intervals are the fluid's life shortened by what it is exposed to. The shares are common
practice with no published source (from memory): they say which way, and roughly how far.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from server.catalog.compatibility import fluids_for, hazards_allow, oils_for
from server.catalog.items import (
    BackingPump,
    Catalog,
    Fluid,
    FluidKind,
    FluidService,
    OxidationStability,
    Pump,
    PumpKind,
    Trap,
    TrapKind,
    VapourPump,
)
from server.errors import OutOfRange, UnknownName
from server.fit.requirements import Duty, Hazard, Requirements
from server.physics.constants import GAS_CONSTANT_J_MOL_K
from server.physics.species import SPECIES
from server.physics.vapour import SATURATION, fluid_vapour_pressure_pa, saturation_pressure_pa


@dataclass(frozen=True)
class Exposure:
    """What the fluids of a stack are exposed to."""

    hazards: frozenset[Hazard] = frozenset()
    vapour: bool = False
    """Condensable vapour reaches the backing pump."""
    frozen_j_per_day: float = 0.0
    """Heat that a day's vapour gives off on a wall that freezes it."""


NO_EXPOSURE = Exposure()
"""Clean, dry, inert gas."""


def exposure_of(requirements: Requirements) -> Exposure:
    """Return what a stack for these requirements is exposed to."""
    working_s = requirements.duty.cycles_per_day * requirements.duty.time_at_pressure_s
    heat_w = sum(
        load.rate_kg_s * heat_of_evaporation_j_kg(load.substance)
        for load in requirements.process.vapour
    )
    vapour = bool(requirements.process.vapour)
    return Exposure(requirements.hazards, vapour, heat_w * min(working_s, _DAY_S))


def heat_of_evaporation_j_kg(substance: str) -> float:
    """Return R·T²/M·d ln p_s/dT at room temperature (Clausius and Clapeyron).

    What freezing and cooling on give besides is left out: a fifth to a third more.

    Parameters
    ----------
    substance : str
        Key of a vapour. [-]
    """
    model = SATURATION[substance]
    # a substance whose curve ends below room temperature is taken as warm as it reaches
    middle = min(_ROOM_K, model.high_k - 1.5)
    low, high = saturation_pressure_pa(substance, np.array([middle - 1.0, middle + 1.0]))
    slope = math.log(high / low) / 2.0
    return float(GAS_CONSTANT_J_MOL_K * middle**2 * slope / SPECIES[substance].molar_mass_kg_mol)


@dataclass(frozen=True)
class FluidLife:
    """Hours between changes, and what shortens them."""

    hours: float
    reasons: tuple[str, ...]


# Cycles per day that halve the life of a hot fluid, by its stability against air.
_HALVING_CYCLES = {
    OxidationStability.LOW: 8.0,
    OxidationStability.FAIR: 16.0,
    OxidationStability.GOOD: 64.0,
    OxidationStability.INERT: math.inf,
}
_HALF = 0.5

# Wall temperature of a vapour-jet pump's outlet, at which the gas leaves with fluid vapour in it.
_OUTLET_WALL_K = 320.0
_ROOM_K = 293.15
_DAY_S = 86_400.0

_RETURNING = frozenset({TrapKind.WATER_BAFFLE, TrapKind.AIR_BAFFLE, TrapKind.REFRIGERATED_TRAP})


def charge_m3(pump: Pump) -> float:
    """Return the fluid or oil a pump is filled with, zero where there is none. [m3]."""
    if isinstance(pump, VapourPump):
        return pump.charge_m3
    return pump.oil_charge_m3 if isinstance(pump, BackingPump) else 0.0


def containers_of(grade: str, catalog: Catalog) -> tuple[Fluid, ...]:
    """Return the containers a grade is sold in.

    Raises
    ------
    UnknownName
        When no fluid of the catalogue is of this grade.
    """
    fluids = catalog.of_type(Fluid)
    found = tuple(fluid for fluid in fluids if fluid.grade == grade)
    if not found:
        raise UnknownName("fluid grade", grade, sorted({fluid.grade for fluid in fluids}))
    return found


def usual_grade(pump: Pump, exposure: Exposure, catalog: Catalog) -> str:
    """Return the grade a pump is filled with when nobody has chosen one.

    Among what pump and gas allow: the kind the pump is delivered with, else the cheapest kind. Of
    one kind, vapour-jet and two-stage pumps take the grade of
    lowest vapour pressure; boosters and single-stage pumps, which work higher, the cheapest.

    Raises
    ------
    OutOfRange
        When no fluid of the catalogue suits pump and gas.
    """
    fluids = [
        fluid
        for fluid in _suitable(pump, catalog)
        if hazards_allow(exposure.hazards, pump, fluid).allowed
    ]
    if not fluids:
        raise OutOfRange(f"The catalogue has no fluid for {pump.name} and this gas.")
    clean = pump.kind in {PumpKind.VAPOUR_JET, PumpKind.VANE_TWO_STAGE}
    rate_of_kind: dict[FluidKind, float] = {}
    for fluid in fluids:
        rate_of_kind[fluid.kind] = min(rate_of_kind.get(fluid.kind, math.inf), _rate(fluid))

    def order(fluid: Fluid) -> tuple[bool, float, float, float, str]:
        pressure = vapour_pressure_pa(fluid, _ROOM_K) if clean else 0.0
        supplied = first_charge_supplied(pump, fluid.kind)
        return (not supplied, rate_of_kind[fluid.kind], pressure, _rate(fluid), fluid.sku)

    return min(fluids, key=order).grade


def vapour_pressure_pa(fluid: Fluid, temperature_k: float) -> float:
    """Return a fluid's vapour pressure at a temperature [K], by its two constants. [Pa]."""
    return float(
        fluid_vapour_pressure_pa(fluid.vapour_pressure_a, fluid.vapour_pressure_b_k, temperature_k)
    )


def first_charge_supplied(pump: Pump, kind: FluidKind) -> bool:
    """Say whether a first charge of this kind comes with the pump."""
    return any(part.fluid is kind for part in pump.supplied)


def fluid_life(fluid: Fluid, duty: Duty, exposure: Exposure) -> FluidLife:
    """Return the running hours between changes.

    Parameters
    ----------
    fluid : Fluid
        The fluid; its stability decides what harms it.
    duty : Duty
        How often air comes in.
    exposure : Exposure
        What else comes in.
    """
    sealed = fluid.service is FluidService.SEALED
    inert = fluid.oxidation is OxidationStability.INERT
    share = 1.0
    reasons = []
    harm = (
        (Hazard.OXYGEN_RICH in exposure.hazards and not inert, "oxygen-rich gas halves its life"),
        (Hazard.CORROSIVE in exposure.hazards and not inert, "corrosive gas halves its life"),
        (Hazard.PARTICULATES in exposure.hazards and sealed, "dust halves its life"),
        (exposure.vapour and sealed, "condensed vapour halves its life"),
    )
    for applies, reason in harm:
        if applies:
            share *= _HALF
            reasons.append(reason)
    if not sealed and not inert:
        air = 1.0 / (1.0 + duty.cycles_per_day / _HALVING_CYCLES[fluid.oxidation])
        share *= air
        if air < 1.0:
            reasons.append(f"air at {duty.cycles_per_day:g} cycles a day leaves {air:.0%} of it")
    return FluidLife(fluid.life_hours * share, tuple(reasons))


def loss_m3_s(pump: Pump, fluid: Fluid, trap: Trap | None) -> float:
    """Return what a vapour-jet pump loses: backstreaming, and vapour carried off in the foreline.

    Parameters
    ----------
    pump : Pump
        Only vapour-jet pumps and vapour boosters lose fluid worth counting.
    fluid : Fluid
        What it is filled with.
    trap : Trap or None
        A baffle lets what it catches drip back; a liquid-nitrogen trap keeps it.

    Returns
    -------
    float
        Volume of liquid: backstreaming per throat area, and saturated vapour at the outlet's wall
        in the gas of full load at the tolerable foreline pressure, an upper bound. [m3/s]
    """
    if not isinstance(pump, VapourPump):
        return 0.0
    passed = trap.backstreaming_factor if trap is not None and trap.kind in _RETURNING else 1.0
    back_kg_s = pump.backstreaming_kg_m2_s * math.pi / 4 * pump.throat_m**2 * passed
    saturated_pa = vapour_pressure_pa(fluid, _OUTLET_WALL_K)
    vapour_kg_m3 = saturated_pa * fluid.molar_mass_kg_mol / (GAS_CONSTANT_J_MOL_K * _OUTLET_WALL_K)
    gas_m3_s = pump.largest_throughput_pa_m3_s / pump.tolerable_foreline_full_load_pa
    return (back_kg_s + vapour_kg_m3 * gas_m3_s) / fluid.density_kg_m3


def volume_text(volume_m3: float) -> str:
    """Return a volume of liquid [m3] as people write it on a bottle."""
    if volume_m3 < 1e-3 * (1 - 1e-9):
        return f"{volume_m3 * 1e6:.3g} cm³"
    return f"{volume_m3 * 1000:.3g} L"


def _rate(fluid: Fluid) -> float:
    return float(fluid.price) / fluid.container_m3


def _suitable(pump: Pump, catalog: Catalog) -> tuple[Fluid, ...]:
    if isinstance(pump, VapourPump):
        return fluids_for(pump, catalog)
    return oils_for(pump, catalog) if isinstance(pump, BackingPump) else ()
