"""Turbomolecular rotors: what heats them, gas by gas, and how a foreline weakens compression."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import FloatArray, floats
from server.physics.species import SPECIES, Species

DECADES_AT_TOLERABLE = 1.0
"""Decades of compression lost at the tolerable foreline pressure (common practice, no source)."""


def rotor_heat_ratio(gas: Species) -> float:
    """Return how much of a gas heats a rotor as much as one part of nitrogen.

    Molecules leave the blades with the blades' speed: a mole costs the rotor work and heat in
    proportion to its mass M. The rotor turns in vacuum and gives its heat away by radiation and
    through thin gas, which carries (γ + 1)/((γ − 1)·√M) for a pressure [KNUDSEN-1911]; the ratio is
    (γ + 1)/(γ − 1)·M^(−3/2) to that of nitrogen. Argon: 0.39; data of the trade lie between a third
    and two thirds (from memory). The proportion is a judgement of our own; that heavy noble gases
    heat a rotor most is in [JOUSTEN-2016, OHANLON-2003].

    Parameters
    ----------
    gas : Species
        The gas. [-]

    Returns
    -------
    float
        Above 1 for gases that heat less than nitrogen does, below 1 for those that heat more. [-]
    """
    return _carried_per_heat(gas) / _carried_per_heat(SPECIES["nitrogen"])


def _carried_per_heat(gas: Species) -> float:
    ratio = gas.heat_capacity_ratio
    return (ratio + 1.0) / (
        (ratio - 1.0) * gas.molar_mass_kg_mol * math.sqrt(gas.molar_mass_kg_mol)
    )


def compression_at_foreline(
    compression: ArrayLike, foreline_pa: ArrayLike, tolerable_pa: ArrayLike
) -> FloatArray:
    """Return what is left of a zero-flow compression as the foreline pressure rises.

    A moving wall drags gas against a backflow that has a molecular and a viscous part: dp/dx ∝
    p/(1 + p/p_v) [GAEDE-1913]. Between inlet and foreline that integrates to ln K + (p_f/p_v)·
    (1 − 1/K) = ln K₀: at low pressure K₀, in dense gas a difference of pressures instead of a
    ratio. p_v is set so that a large compression has lost one decade at the tolerable foreline
    pressure (common practice, no source). The law is that of a drag stage; for a rotor of blades
    alone the shape is a judgement.

    Parameters
    ----------
    compression : array
        Zero-flow compression K₀ at low foreline pressure, ≥ 1. [-]
    foreline_pa : array
        Foreline pressure, ≥ 0. [Pa]
    tolerable_pa : array
        Tolerable foreline pressure, > 0. [Pa]

    Returns
    -------
    array
        Compression, 1 to K₀. [-]
    """
    k0, foreline, tolerable = floats(compression), floats(foreline_pa), floats(tolerable_pa)
    if not ((k0 >= 1.0).all() and (foreline >= 0.0).all() and (tolerable > 0.0).all()):
        raise OutOfRange("A compression is 1 or more, a tolerable foreline pressure above zero.")
    load = foreline / tolerable * (DECADES_AT_TOLERABLE * math.log(10.0))
    # w = (p_f/p_v)/K solves w + ln w = ln(p_f/p_v) + p_f/p_v − ln K₀
    shown = np.maximum(load, _THIN)
    weakened = shown / _omega(np.log(shown) + shown - np.log(k0))
    return floats(np.where(load > _THIN, weakened, k0))


_THIN = 1e-12  # the exponent below which the loss of compression is lost in rounding
_STEPS = 2  # one leaves 10⁻⁴, two reach the last digits for any value


def _omega(wanted: FloatArray) -> FloatArray:
    """Return w with w + ln w = z (Wright's ω), by an iteration of fourth order [FRITSCH-1973]."""
    grown = np.exp(np.minimum(wanted, 1.0))
    large = np.maximum(wanted, 1.0)
    w = np.where(wanted > 1.0, large - np.log(large), grown / (1.0 + grown))
    for _ in range(_STEPS):
        miss = wanted - w - np.log(w)
        more = 1.0 + w
        weight = 2.0 * more * (more + 2.0 / 3.0 * miss)
        w = w * (1.0 + miss / more * (weight - miss) / (weight - 2.0 * miss))
    return floats(w)
