"""Which limit of a pump holds for a gas: as specified for it, else by a rule for the kind of pump.

Rules where nothing is specified for a gas:

- a turbomolecular pump's largest throughput follows what heats its rotor
  (`server.physics.rotor.rotor_heat_ratio`): between specified gases a straight line in logarithms,
  below the one that heats most in proportion, above the others held;
- its tolerable foreline pressure is that of its own row: what a light gas does shows in K₀;
- a vapour jet holds back light gases less well: three quarters of the tolerable foreline pressure
  of air for hydrogen, 0.85 for helium (Hablanian 1997, O'Hanlon 2003; both from memory);
- a booster compresses light gases less (`server.physics.boosters.gas_compression`).
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from server.catalog.items import (
    BackingPump,
    CapturePump,
    RootsBooster,
    TurboPump,
    VapourPump,
)
from server.physics.arrays import FloatArray
from server.physics.boosters import gas_compression
from server.physics.pumps import burst_crossover_pressure_pa, compression_ratio
from server.physics.rotor import rotor_heat_ratio
from server.physics.species import SPECIES

HighVacuumPump = VapourPump | TurboPump | CapturePump

_AIR_LIKE = frozenset({"air", "nitrogen"})
_JET_SHARE: Final = {"hydrogen": 0.75, "helium": 0.85}
NO_FORELINE_PA = 1e5
"""Stands for the tolerable foreline pressure of a pump without foreline: no limit. [Pa]"""


def largest_throughput_for(pump: HighVacuumPump, gas: str) -> float:
    """Return the largest throughput of one gas alone.

    Parameters
    ----------
    pump : VapourPump, TurboPump or CapturePump
        Vapour jets and capture pumps have one value for all gases.
    gas : str
        Species key.

    Returns
    -------
    float
        Largest throughput. [Pa m3/s]
    """
    if not isinstance(pump, TurboPump) or gas in _AIR_LIKE:
        return pump.largest_throughput_pa_m3_s
    stated = pump.largest_throughput_by_gas_pa_m3_s
    if gas in stated:
        return stated[gas]
    known = {"nitrogen": pump.largest_throughput_pa_m3_s, **stated}
    points = sorted((_ln_heat(name), math.log(value)) for name, value in known.items())
    heats, limits = zip(*points, strict=True)
    wanted = _ln_heat(gas)
    # beyond the gas that heats most, in proportion
    return math.exp(float(np.interp(wanted, heats, limits)) + min(wanted - heats[0], 0.0))


@lru_cache(maxsize=64)
def _ln_heat(gas: str) -> float:
    return math.log(rotor_heat_ratio(SPECIES[gas]))


def tolerable_foreline_for(pump: HighVacuumPump, gas: str) -> tuple[float, float]:
    """Return the tolerable foreline pressure for a gas, without load and at full load.

    Parameters
    ----------
    pump : VapourPump, TurboPump or CapturePump
        Capture pumps have no foreline: ``NO_FORELINE_PA``.
    gas : str
        Species key.

    Returns
    -------
    tuple of float
        No-load and full-load value. [Pa]
    """
    if isinstance(pump, CapturePump):
        return NO_FORELINE_PA, NO_FORELINE_PA
    if isinstance(pump, TurboPump):
        tolerable = pump.tolerable_foreline_by_gas_pa.get(gas, pump.tolerable_foreline_pa)
        return tolerable, tolerable
    if gas in pump.tolerable_foreline_no_load_by_gas_pa:
        return (
            pump.tolerable_foreline_no_load_by_gas_pa[gas],
            pump.tolerable_foreline_full_load_by_gas_pa[gas],
        )
    share = _JET_SHARE.get(gas, 1.0)
    return (
        share * pump.tolerable_foreline_no_load_pa,
        share * pump.tolerable_foreline_full_load_pa,
    )


def start_pressure_for(pump: TurboPump | CapturePump, volume_m3: float) -> float:
    """Return the highest pressure at which a pump may be opened to a chamber or started with it.

    Parameters
    ----------
    pump : TurboPump or CapturePump
        A cryopump may state the burst of gas that it absorbs at once.
    volume_m3 : float
        Chamber volume at the pump's gas temperature. [m3]

    Returns
    -------
    float
        Pressure in the chamber. [Pa]
    """
    if not isinstance(pump, CapturePump) or pump.burst_pa_m3 is None:
        return pump.start_pressure_pa
    return float(burst_crossover_pressure_pa(pump.burst_pa_m3, volume_m3, pump.start_pressure_pa))


def booster_compression_for(booster: RootsBooster, gas: str, foreline_pa: ArrayLike) -> FloatArray:
    """Return a booster's zero-flow compression for a gas at foreline pressures.

    Parameters
    ----------
    booster : RootsBooster
        Specified for air at least.
    gas : str
        Species key.
    foreline_pa : array
        Foreline pressure. [Pa]

    Returns
    -------
    array
        Outlet over inlet pressure at rest. [-]
    """
    stated = booster.compression_by_gas.get(gas)
    if stated is not None:
        return compression_ratio(stated.pressure_pa, stated.compression, foreline_pa)
    air = compression_ratio(booster.compression_pressure_pa, booster.compression_k0, foreline_pa)
    return air if gas in _AIR_LIKE else gas_compression(air, foreline_pa, SPECIES[gas])


def stated_vapour_kg_s(pump: BackingPump, substance: str) -> float | None:
    """Return the vapour a dry pump is stated to pass continuously; None where it states nothing.

    The rate is stated for water; of another vapour the pump passes the same volume, so as many
    moles (common practice, no source).

    Parameters
    ----------
    pump : BackingPump
        Any.
    substance : str
        Species key of the vapour.

    Returns
    -------
    float or None
        Mass rate. [kg/s]
    """
    if pump.largest_vapour_kg_s is None:
        return None
    water = SPECIES["water"].molar_mass_kg_mol
    return pump.largest_vapour_kg_s * SPECIES[substance].molar_mass_kg_mol / water
