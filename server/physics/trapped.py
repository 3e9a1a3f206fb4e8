"""Vapours that a cold trap holds: what they leave in the chamber, and what the pump sees."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import FloatArray, floats
from server.physics.speedtable import SpeedTable
from server.physics.steady import SteadyState, steady_state
from server.physics.vapour import saturation_pressure_pa


def pressure_over_trap_pa(substances: Sequence[str], trap_temperature_k: ArrayLike) -> FloatArray:
    """Return the pressure that stays over what a trap holds, Σ p_sat,i at the cold surface.

    Nothing in front of the trap falls below it. Ices that dissolve in each other have less: the sum
    is the safe side.

    Parameters
    ----------
    substances : sequence of str
        Keys of the substances held, each once; none leaves no pressure. [-]
    trap_temperature_k : array
        Temperature of the cold surface. [K]
    """
    temperature = floats(trap_temperature_k)
    total = np.zeros_like(temperature)
    for substance in dict.fromkeys(substances):
        total = total + saturation_pressure_pa(substance, temperature)
    return total


def steady_past_trap(
    load_pa_m3_s: Mapping[str, ArrayLike],
    held: Mapping[str, ArrayLike],
    speed: Mapping[str, SpeedTable],
    rows: ArrayLike,
    *,
    resting_pa: ArrayLike = 0.0,
) -> SteadyState:
    """Solve for the chamber pressure where a trap holds part of the load before the pump.

    The pump behind the trap never meets the vapour that is held: what passes settles by itself on
    top of the pressure at rest, p₁ = p_rest + Σ Q_i/S_i(p₁), and its speeds are read at p₁. The
    vapour flows to the cold surface through all that stands in the chamber, p = p₁ + Σ Q_j/S_j(p).
    Reading the passing gases' speeds at p instead would let a wet load hide a pump that fades
    below p, or push a good one past its knee.

    Parameters
    ----------
    load_pa_m3_s : mapping of array, each scalar or shape (n,)
        Load of each species, ≥ 0. [Pa m3/s]
    held : mapping of array, each scalar or shape (n,)
        Share of each species that the trap holds, 0 to 1. [-]
    speed : mapping of SpeedTable
        Speeds at the chamber: towards the cold surface where a species is held, towards the pump
        where it is not; all on one grid with the same rows. [m3/s]
    rows : array of int, shape (n,)
        Row of the tables that belongs to each candidate. [-]
    resting_pa : array, scalar or shape (n,)
        Pressure without load, ``pressure_over_trap_pa`` included. [Pa]

    Raises
    ------
    OutOfRange
        A share outside 0 to 1, and whatever ``steady_state`` refuses.
    """
    shares = {gas: floats(held.get(gas, 0.0)) for gas in load_pa_m3_s}
    if any(np.any(~((share >= 0.0) & (share <= 1.0))) for share in shares.values()):
        raise OutOfRange("A trap holds a share from 0 to 1 of a gas.")
    passing = {gas: floats(load) * (1.0 - shares[gas]) for gas, load in load_pa_m3_s.items()}
    first = steady_state(passing, speed, rows, offset_pa=resting_pa)
    staying = {
        gas: floats(load) * shares[gas]
        for gas, load in load_pa_m3_s.items()
        if np.any(shares[gas] > 0.0)
    }
    if not staying:
        return first
    whole = steady_state(staying, speed, rows, offset_pa=first.pressure_pa)
    partial = {
        gas: first.partial_pa[gas] + (whole.partial_pa[gas] if gas in staying else 0.0)
        for gas in load_pa_m3_s
    }
    return SteadyState(whole.pressure_pa, whole.exists, partial)
