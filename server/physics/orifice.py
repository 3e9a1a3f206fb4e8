"""Openings and nozzles: sonic flow, and an opening in a wall at any pressure."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.gas import Floats, GasState

# Sharp-edged openings: 0.82 of the ideal nozzle, common to the sonic limit of openings into vacuum
# (SHARIPOV-2004: about 0.84) and to one and a half velocity heads lost at small differences.
DISCHARGE_COEFFICIENT = 0.82
# Viscous conductance of a hole relative to A v̄/4 is 2δ/(3√π) (SAMPSON-1891).
_CREEPING = 2 / (3 * math.sqrt(math.pi))
# Rarefaction at which inertia counts half; our own fit to SHARIPOV-2004 over δ 0.1 to 1000.
_INERTIA_HALF = 9.0


def critical_pressure_ratio(heat_capacity_ratio: ArrayLike) -> Floats:
    """Return the pressure ratio below which a nozzle is choked (WHITE-2011).

    Parameters
    ----------
    heat_capacity_ratio : array
        cp/cv. [-]

    Returns
    -------
    array
        Downstream over upstream pressure: 0.528 for air. [-]
    """
    gamma = np.asarray(heat_capacity_ratio, dtype=np.float64)
    value: Floats = (2 / (gamma + 1)) ** (gamma / (gamma - 1))
    return value


def sonic_factor(heat_capacity_ratio: ArrayLike) -> Floats:
    """Return the sonic mass flow divided by A p √(M/RT) (WHITE-2011).

    Parameters
    ----------
    heat_capacity_ratio : array
        cp/cv. [-]

    Returns
    -------
    array
        Factor: 0.6847 for γ = 1.4. [-]
    """
    gamma = np.asarray(heat_capacity_ratio, dtype=np.float64)
    value: Floats = np.sqrt(gamma) * (2 / (gamma + 1)) ** ((gamma + 1) / (2 * (gamma - 1)))
    return value


def choked_mass_flow_kg_s(
    state: GasState, area_m2: ArrayLike, pressure_pa: ArrayLike, discharge_coefficient: float = 1.0
) -> Floats:
    """Return the largest mass flow through a throat, at the speed of sound (WHITE-2011).

    Parameters
    ----------
    state : GasState
        Gas at its temperature at rest. [-]
    area_m2 : array
        Area of the throat. [m2]
    pressure_pa : array
        Pressure at rest upstream. [Pa]
    discharge_coefficient : float
        Fraction of the ideal flow: 1 for a rounded nozzle. [-]

    Returns
    -------
    array
        Mass flow. [kg/s]
    """
    product: Floats = np.multiply(area_m2, pressure_pa, dtype=np.float64)
    factor = discharge_coefficient * sonic_factor(state.heat_capacity_ratio)
    return product * factor / math.sqrt(state.gas_factor_m2_s2)


def nozzle_mass_flow_kg_s(
    state: GasState,
    area_m2: ArrayLike,
    upstream_pa: ArrayLike,
    downstream_pa: ArrayLike,
    discharge_coefficient: float = 1.0,
) -> Floats:
    """Return the isentropic mass flow of a converging nozzle, choked or not (WHITE-2011).

    Parameters
    ----------
    state : GasState
        Gas at its temperature at rest. [-]
    area_m2 : array
        Area of the throat. [m2]
    upstream_pa : array
        Pressure at rest upstream. [Pa]
    downstream_pa : array
        Pressure downstream, at most the upstream one. [Pa]
    discharge_coefficient : float
        Fraction of the ideal flow. [-]

    Returns
    -------
    array
        Mass flow. [kg/s]

    Raises
    ------
    OutOfRange
        If the pressures do not drive gas forward.
    """
    upstream = np.asarray(upstream_pa, dtype=np.float64)
    downstream = np.asarray(downstream_pa, dtype=np.float64)
    check_forward(upstream, downstream)
    gamma = state.heat_capacity_ratio
    ratio = np.divide(downstream, upstream, out=np.ones_like(upstream + downstream),
                      where=upstream > 0)  # fmt: skip
    held = np.maximum(ratio, critical_pressure_ratio(gamma))
    bracket = held ** (2 / gamma) - held ** ((gamma + 1) / gamma)
    factor = np.sqrt(2 * gamma / (gamma - 1) * np.maximum(bracket, 0.0))
    area = np.asarray(area_m2, dtype=np.float64)
    flow: Floats = discharge_coefficient * area * upstream * factor
    return flow / math.sqrt(state.gas_factor_m2_s2)


def check_pressure(pressure_pa: Floats) -> None:
    """Refuse a pressure that is none.

    Parameters
    ----------
    pressure_pa : array
        Pressure, zero or more. [Pa]

    Raises
    ------
    OutOfRange
        If a pressure is negative or not finite.
    """
    if not bool(np.all((pressure_pa >= 0) & np.isfinite(pressure_pa))):
        raise OutOfRange("A pressure must be zero or more.")


def check_forward(upstream_pa: Floats, downstream_pa: Floats) -> None:
    """Refuse pressures that do not drive gas from upstream to downstream.

    Parameters
    ----------
    upstream_pa : array
        Pressure upstream. [Pa]
    downstream_pa : array
        Pressure downstream. [Pa]

    Raises
    ------
    OutOfRange
        If a pressure is negative or the downstream one is the higher.
    """
    forward = (downstream_pa >= 0) & (upstream_pa >= downstream_pa)
    if not bool(np.all(forward)):
        raise OutOfRange(
            "The pressure upstream must be at least the one downstream, and neither below zero."
        )


def molecular_aperture_m3_s(state: GasState, area_m2: ArrayLike) -> Floats:
    """Return the conductance A v̄/4 of an opening in molecular flow (KNUDSEN-1909).

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    area_m2 : array
        Area of the opening. [m2]

    Returns
    -------
    array
        Conductance. [m3/s]
    """
    area = np.asarray(area_m2, dtype=np.float64)
    return area * (state.mean_speed_m_s / 4)


def linear_aperture_m3_s(state: GasState, area_m2: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Return the conductance of an opening for a vanishing pressure difference.

    The sum of the molecular (KNUDSEN-1909) and the creeping viscous limit (SAMPSON-1891).

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    area_m2 : array
        Area of the opening. [m2]
    pressure_pa : array
        Mean pressure. [Pa]

    Returns
    -------
    array
        Conductance. [m3/s]
    """
    area = np.asarray(area_m2, dtype=np.float64)
    delta = state.rarefaction(np.sqrt(area / math.pi), pressure_pa)
    return molecular_aperture_m3_s(state, area) * (1 + _CREEPING * delta)


def inertia_weight(rarefaction: ArrayLike) -> Floats:
    """Return how far inertia shapes the flow: 0 molecular, 1 viscous.

    δ/(δ + 9), our own fit: with it the flow of an opening into vacuum follows SHARIPOV-2004.

    Parameters
    ----------
    rarefaction : array
        δ at the upstream pressure. [-]

    Returns
    -------
    array
        Weight. [-]
    """
    delta = np.asarray(rarefaction, dtype=np.float64)
    return delta / (delta + _INERTIA_HALF)


def aperture_throughput_pa_m3_s(
    state: GasState, area_m2: ArrayLike, downstream_pa: ArrayLike, drop_pa: ArrayLike
) -> Floats:
    """Return the throughput of a sharp-edged opening at any pressures.

    A linear (molecular and creeping) and an inertial law joined by Q/Q₁ + (Q/Q₂)² = 1. The
    inertial law is the sonic flow times the ellipse of ISO-6358, weighted by
    :func:`inertia_weight`. Exact in molecular flow; sonic flow times 0.82 when dense and choked.

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    area_m2 : array
        Area of the opening. [m2]
    downstream_pa : array
        Pressure downstream, zero or more. [Pa]
    drop_pa : array
        Pressure upstream less the one downstream, zero or more; given by itself, because it may
        be too small to show in the difference of two pressures. [Pa]

    Returns
    -------
    array
        Throughput at the gas temperature. [Pa m3/s]
    """
    area = np.asarray(area_m2, dtype=np.float64)
    downstream = np.asarray(downstream_pa, dtype=np.float64)
    drop = np.asarray(drop_pa, dtype=np.float64)
    upstream = downstream + drop
    linear = linear_aperture_m3_s(state, area, downstream + drop / 2)
    gamma = state.heat_capacity_ratio
    critical = critical_pressure_ratio(gamma)
    fraction = np.divide(drop, upstream, out=np.zeros_like(upstream), where=upstream > 0)
    # 1 − ((r − b)/(1 − b))² with r the pressure ratio, b the critical one; 1 when choked.
    below = np.minimum(fraction / (1 - critical), 1.0)
    ellipse = below * (2 - below)
    sonic = DISCHARGE_COEFFICIENT * sonic_factor(gamma) * np.sqrt(state.gas_factor_m2_s2)
    weight = inertia_weight(state.rarefaction(np.sqrt(area / math.pi), upstream))
    squared = (sonic * area * upstream) ** 2 * ellipse
    return joined_throughput(linear * drop, squared, weight)


def joined_throughput(linear: Floats, squared: Floats, weight: Floats) -> Floats:
    """Return the root of Q/linear + weight Q²/squared = 1.

    Parameters
    ----------
    linear : array
        Throughput of the linear law. [Pa m3/s]
    squared : array
        Square of the throughput of the inertial law. [Pa2 m6/s2]
    weight : array
        Weight of inertia. [-]

    Returns
    -------
    array
        Throughput. [Pa m3/s]
    """
    # The ratio before its square: the square of a tiny throughput has no inverse in a double.
    inertial = np.sqrt(squared)
    ratio = np.divide(linear, inertial, out=np.zeros_like(linear + inertial), where=inertial > 0)
    # 2/(b + √(b² + 4a)) with b = 1/linear, times linear twice, keeps every digit and Q = 0.
    value: Floats = 2 * linear / (1 + np.sqrt(1 + 4 * weight * ratio * ratio))
    return value
