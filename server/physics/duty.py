"""Working day after day: what a short venting does to surfaces, and what standing idle costs.

A chamber that was under vacuum and is opened for minutes is not a fresh one: only part of the
sites that hold water are filled again. Measured uptake grows more slowly than the exposure (LI-1994
finds it so for steel and water vapour); the square root used here, as for diffusion into a porous
oxide, is a planning figure: common practice, no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import FloatArray, floats
from server.physics.gasload import GasLoad
from server.physics.outgassing import surface_decay

FULL_EXPOSURE_S = 4.0 * 3600.0
"""Standing open this long in room air makes a surface a fresh one: common practice, no source."""


def refilled_share(vent_s: ArrayLike, humidity: ArrayLike) -> FloatArray:
    """Return the share of the water sites that one venting fills, min(1, h·√(t/4 h)).

    Parameters
    ----------
    vent_s : array
        How long the chamber is open, ≥ 0. [s]
    humidity : array
        Uptake from the gas let in relative to room air, 0 to 1; the gas's own share of the
        sites filled after the same time. [-]

    Raises
    ------
    OutOfRange
        A negative time, or a humidity outside 0 to 1.
    """
    time, damp = floats(vent_s), floats(humidity)
    if np.any(~(time >= 0.0)):
        raise OutOfRange("A chamber cannot be open for less than no time.")
    if np.any(~((damp >= 0.0) & (damp <= 1.0))):
        raise OutOfRange("The gas let in is between bone-dry (0) and as damp as room air (1).")
    return floats(np.minimum(1.0, damp * np.sqrt(time / FULL_EXPOSURE_S)))


def after_venting(load: GasLoad, share: ArrayLike, pumped_s: ArrayLike) -> GasLoad:
    """Return the load of a chamber that was pumped, then opened for a while.

    The refilled share of each surface gives off gas like a fresh one; the rest goes on at the rate
    it had come down to, held constant: an upper bound, since it keeps falling. Up to ``pumped_s``
    the result is therefore never more than the load of fresh surfaces.

    Parameters
    ----------
    load : GasLoad
        Of fresh surfaces; n candidates. [-]
    share : array, scalar or shape (n,)
        Share of the sites filled by the venting, 0 to 1. [-]
    pumped_s : array, scalar or shape (n,)
        How long the chamber had been pumped before it was opened. [s]

    Raises
    ------
    OutOfRange
        A share outside 0 to 1, or a negative time.
    """
    filled = floats(share)
    if np.any(~((filled >= 0.0) & (filled <= 1.0))):
        raise OutOfRange("The share of the sites that a venting fills lies between 0 and 1.")
    if np.all(filled == 1.0):
        return load
    amplitude = floats(load.amplitude_pa_m3_s)
    kept = (1.0 - filled)[..., np.newaxis] * surface_decay(
        floats(pumped_s)[..., np.newaxis], load.alpha
    )
    constant = floats(load.constant_pa_m3_s) + np.sum(amplitude * kept, axis=-1)
    return GasLoad(constant, amplitude * filled[..., np.newaxis], load.alpha)


def break_even_idle_s(idle_w: ArrayLike, restart_j: ArrayLike) -> FloatArray:
    """Return how long pumps may stand idle before stopping them saves energy, E_restart/P_idle.

    Conservation of energy; time has no price in it. inf for pumps that take nothing idle.

    Parameters
    ----------
    idle_w : array
        What the idle pumps take, ≥ 0. [W]
    restart_j : array
        What stopping and starting takes: cool-down with what must run on, and warm-up. [J]

    Raises
    ------
    OutOfRange
        A negative power or energy.
    """
    power, energy = floats(idle_w), floats(restart_j)
    if np.any(~(power >= 0.0)) or np.any(~(energy >= 0.0)):
        raise OutOfRange("Power and energy of pumps cannot be negative.")
    return floats(np.where(power > 0.0, energy / np.where(power > 0.0, power, 1.0), np.inf))
