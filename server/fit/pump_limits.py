"""The limits of high-vacuum pumps for the gas they carry, each gas by its share of the load."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from server.catalog.gas_curves import compression_for
from server.catalog.gas_limits import (
    largest_throughput_for,
    start_pressure_for,
    tolerable_foreline_for,
)
from server.catalog.items import TurboPump, VapourPump
from server.fit.alike import Groups
from server.fit.candidates import HighVacuumPump
from server.fit.loads import AIR
from server.fit.thresholds import FORELINE_SHARE_AT_CROSSOVER
from server.physics.arrays import FloatArray, IntArray
from server.physics.pumps import largest_of_mixture_pa_m3_s, tolerable_of_mixture_pa
from server.physics.rotor import compression_at_foreline


@dataclass(frozen=True)
class PumpLimits:
    """Limits of n pumps for the gas of a load, each of shape (n,)."""

    largest_pa_m3_s: FloatArray
    no_load_pa: FloatArray
    """Tolerable foreline pressure without load."""
    full_load_pa: FloatArray
    """Tolerable foreline pressure at the largest throughput."""

    def of(self, pumps: IntArray) -> PumpLimits:
        """Return the limits of some of the pumps."""
        return PumpLimits(
            self.largest_pa_m3_s[pumps], self.no_load_pa[pumps], self.full_load_pa[pumps]
        )


def limits_for(
    pumps: Sequence[HighVacuumPump], load_pa_m3_s: Mapping[str, ArrayLike]
) -> PumpLimits:
    """Return the limits of pumps for loads of their own.

    Parameters
    ----------
    pumps : sequence, n
        High-vacuum pumps; those without an outlet tolerate any foreline pressure.
    load_pa_m3_s : mapping of float or array, shape (n,)
        What reaches each pump, gas by gas. [Pa m3/s]
    """
    groups = Groups.by(pump.sku for pump in pumps)
    kinds, kind_of = [pumps[place] for place in groups.first], groups.of
    largest, no_load, full_load = {}, {}, {}
    for gas in load_pa_m3_s:
        largest[gas] = np.array([largest_throughput_for(pump, gas) for pump in kinds])[kind_of]
        both = np.array([tolerable_foreline_for(pump, gas) for pump in kinds])[kind_of]
        no_load[gas], full_load[gas] = both[:, 0], both[:, 1]
    return PumpLimits(
        largest_of_mixture_pa_m3_s(load_pa_m3_s, largest),
        tolerable_of_mixture_pa(load_pa_m3_s, no_load),
        tolerable_of_mixture_pa(load_pa_m3_s, full_load),
    )


def highest_crossover_pa(pump: HighVacuumPump, volume_m3: float) -> float:
    """Return the highest pressure at which a pump takes over the chamber, whatever its back."""
    if isinstance(pump, VapourPump):
        return FORELINE_SHARE_AT_CROSSOVER * tolerable_foreline_for(pump, AIR)[0]
    return start_pressure_for(pump, volume_m3)


@dataclass(frozen=True)
class Compressing:
    """A turbomolecular pump with a gas at a foreline pressure."""

    pump: TurboPump
    gas: str
    foreline_pa: float


def compressions_left(asked: Sequence[Compressing]) -> list[float]:
    """Return the compression of a gas that foreline pressures leave turbomolecular pumps."""
    stated = [compression_for(one.pump.compression, one.gas) for one in asked]
    foreline = [one.foreline_pa for one in asked]
    tolerable = [one.pump.tolerable_foreline_pa for one in asked]
    left: list[float] = compression_at_foreline(stated, foreline, tolerable).tolist()
    return left


def compression_rows(
    pumps: Sequence[TurboPump], gases: Collection[str], foreline_pa: FloatArray
) -> FloatArray:
    """Return the compressions of many turbomolecular pumps for several gases, (gases, n, m).

    Parameters
    ----------
    pumps : sequence, n
        The pumps.
    gases : collection of str
        The gases.
    foreline_pa : array, shape (n, m)
        Foreline pressures of each. [Pa]
    """
    stated = [[[compression_for(pump.compression, gas)] for pump in pumps] for gas in gases]
    tolerable = np.array([[pump.tolerable_foreline_pa] for pump in pumps])
    return compression_at_foreline(stated, foreline_pa, tolerable)
