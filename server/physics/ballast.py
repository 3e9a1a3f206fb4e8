"""How much vapour a pump with gas ballast carries through, and what stays in its oil."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import FloatArray, floats
from server.physics.constants import ATMOSPHERE_PA


@dataclass(frozen=True)
class Ballast:
    """Gas ballast of a pump and the state at its exhaust valve; every field broadcasts.

    ``flow_m3_s`` is the ballast flow at the ambient pressure ``ambient_pa``; ``ambient_vapour_pa``
    the partial pressure of the same vapour in it (0 for solvents); ``saturation_pa`` the
    saturation pressure at the exhaust temperature; ``exhaust_pa`` the pressure at which the
    exhaust valve opens, at or above the ambient pressure.
    """

    flow_m3_s: ArrayLike
    saturation_pa: ArrayLike
    exhaust_pa: ArrayLike = ATMOSPHERE_PA
    ambient_pa: ArrayLike = ATMOSPHERE_PA
    ambient_vapour_pa: ArrayLike = 0.0

    def __post_init__(self) -> None:
        if np.any(floats(self.flow_m3_s) < 0.0) or np.any(floats(self.saturation_pa) < 0.0):
            raise OutOfRange("Ballast flow and saturation pressure cannot be negative.")
        if np.any(floats(self.exhaust_pa) < floats(self.ambient_pa)):
            raise OutOfRange("An exhaust valve opens at ambient pressure or above it.")
        if np.any(floats(self.ambient_vapour_pa) >= floats(self.ambient_pa)):
            raise OutOfRange("The vapour in the ballast must be less than the ambient pressure.")


def _exhaust_ratio(ballast: Ballast) -> FloatArray:
    """Most vapour per dry gas that leaves the exhaust uncondensed; inf where none condenses."""
    saturation = floats(ballast.saturation_pa)
    room = floats(ballast.exhaust_pa) - saturation
    return floats(np.where(room > 0.0, saturation / np.where(room > 0.0, room, 1.0), np.inf))


def vapour_tolerance_pa(ballast: Ballast, speed_m3_s: ArrayLike) -> FloatArray:
    """Return the highest inlet pressure of pure vapour that leaves without condensing [GAEDE-1935].

    p_W = (B/S)·[p_s·(p_n − p_a)/(p_o − p_s) − p_a], Gaede's condition for an exhaust valve that
    opens at p_o; with p_o = p_n it is (B/S)·p_n·(p_s − p_a)/(p_n − p_s). It is inf where the
    exhaust is so hot that nothing condenses, 0 where the ballast alone is too moist.

    Parameters
    ----------
    ballast : Ballast
        Ballast flow and state of the exhaust. [-]
    speed_m3_s : array
        Speed of the pump, > 0. [m3/s]
    """
    dry = floats(ballast.ambient_pa) - floats(ballast.ambient_vapour_pa)
    bracket = _exhaust_ratio(ballast) * dry - floats(ballast.ambient_vapour_pa)
    share = floats(ballast.flow_m3_s) / floats(speed_m3_s)
    # no ballast at a hot exhaust is 0·inf: nothing condenses, so the tolerance is still inf
    tolerance = np.where(np.isinf(bracket), np.inf, share * np.where(np.isinf(bracket), 0, bracket))
    return floats(np.where(tolerance > 0.0, tolerance, 0.0))


def _room_pa_m3_s(ballast: Ballast, dry_gas_pa_m3_s: ArrayLike) -> FloatArray:
    """Vapour that still finds room in the exhaust; negative where the ballast is too moist."""
    flow = floats(ballast.flow_m3_s)
    moist = flow * floats(ballast.ambient_vapour_pa)
    dry = flow * floats(ballast.ambient_pa) - moist + floats(dry_gas_pa_m3_s)
    ratio = _exhaust_ratio(ballast)
    carried = np.where(np.isinf(ratio), np.inf, np.where(np.isinf(ratio), 0.0, ratio) * dry)
    return floats(carried - moist)


def vapour_carried_pa_m3_s(ballast: Ballast, dry_gas_pa_m3_s: ArrayLike = 0.0) -> FloatArray:
    """Return the largest vapour throughput that leaves the pump uncondensed [GAEDE-1935].

    The permanent gas pumped with the vapour carries it out like ballast does. Without such gas it
    is p_W·S of ``vapour_tolerance_pa``; inf where the exhaust is so hot that nothing condenses.

    Parameters
    ----------
    ballast : Ballast
        Ballast flow and state of the exhaust. [-]
    dry_gas_pa_m3_s : array
        Permanent gas pumped with it. [Pa m3/s]
    """
    return np.maximum(_room_pa_m3_s(ballast, dry_gas_pa_m3_s), 0.0)


def condensed_in_pump_pa_m3_s(
    ballast: Ballast, vapour_pa_m3_s: ArrayLike, dry_gas_pa_m3_s: ArrayLike = 0.0
) -> FloatArray:
    """Return the vapour throughput that condenses in the pump and stays in its oil.

    The permanent gas pumped with the vapour carries it out like ballast does; what exceeds the
    saturated exhaust condenses. Zero up to the tolerance.

    Parameters
    ----------
    ballast : Ballast
        Ballast flow and state of the exhaust. [-]
    vapour_pa_m3_s : array
        Vapour throughput at the inlet. [Pa m3/s]
    dry_gas_pa_m3_s : array
        Permanent gas pumped with it. [Pa m3/s]
    """
    return np.maximum(floats(vapour_pa_m3_s) - _room_pa_m3_s(ballast, dry_gas_pa_m3_s), 0.0)
