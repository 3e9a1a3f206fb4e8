"""Tubes and annuli: molecular transmission, reduced flow at any rarefaction, bends, friction."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.gas import Floats

# G(0) of a long tube with diffuse walls, 8/(3√π): Knudsen's molecular flow.
MOLECULAR_REDUCED_FLOW = 8 / (3 * math.sqrt(math.pi))
# Viscous slip at a diffuse wall, linearised kinetic equation (CERCIGNANI-1966, SHARIPOV-1998).
SLIP_COEFFICIENT = 1.018
# Below this length the closed form of the transmission loses digits, and its last term is < 1e-7.
_SHORT = 0.01
_LONGEST = 1e6
# Below this Reynolds number the friction of CHURCHILL-1977 differs from 64/Re by less than 1e-5.
_LAMINAR_REYNOLDS = 1500.0
# Two Gauss points: the mean of G over any pressure range is right to 0.4 %.
_GAUSS = 0.5 / math.sqrt(3)
# A bend with legs shorter than this length per radius would not close; the ratio is held there.
_SHORTEST_BEND = 2.0


def tube_transmission(length_over_radius: ArrayLike) -> Floats:
    """Return the transmission probability of a round tube in molecular flow, diffuse walls.

    The variational solution of Clausing's integral equation (BERMAN-1965) stays within 0.07 % of
    the exact one (CLAUSING-1932, COLE-1977) at every length; the limits are exact.

    Parameters
    ----------
    length_over_radius : array
        Length divided by radius, zero or more. [-]

    Returns
    -------
    array
        Probability: 1 at zero length, 8R/3L when long. [-]

    Raises
    ------
    OutOfRange
        If a length is negative.
    """
    ratio = np.asarray(length_over_radius, dtype=np.float64)
    if not bool(np.all(ratio >= 0)):
        raise OutOfRange("The length of a tube cannot be negative.")
    # Beyond a million radii rounding eats the difference; 1/L carries on from there.
    held = np.minimum(ratio, _LONGEST)
    root = np.sqrt(held * held + 4)
    # Written without differences of large numbers, so that long tubes keep their digits.
    first = 1 - held / (root + held)
    safe = np.maximum(held, _SHORT)
    safe_root = np.sqrt(safe * safe + 4)
    top = 8 * safe_root - 16 - 4 * safe * safe / (safe_root + safe)
    bottom = 72 * safe * safe_root - 288 * np.arcsinh(safe / 2)
    value: Floats = first - np.where(held > _SHORT, top * top / bottom, held**3 / 24)
    return value * np.minimum(_LONGEST / np.maximum(ratio, _LONGEST), 1.0)


def annulus_transmission(inner_over_outer: ArrayLike, length_over_outer: ArrayLike) -> Floats:
    """Return the molecular transmission of the space between two concentric tubes.

    The short limit follows the wetted perimeter, the long one the annulus factor of DUSHMAN-1962
    as remembered (1.07 to 1.7), joined by a fit of our own to Monte Carlo values: within 2 % for
    inner/outer 0 to 0.75.

    Parameters
    ----------
    inner_over_outer : array
        Inner radius divided by outer radius, 0 to 0.9. [-]
    length_over_outer : array
        Length divided by outer radius. [-]

    Returns
    -------
    array
        Probability, relative to the open area of the annulus. [-]

    Raises
    ------
    OutOfRange
        If the radii are not 0 ≤ inner/outer ≤ 0.9.
    """
    ratio = np.asarray(inner_over_outer, dtype=np.float64)
    if not bool(np.all((ratio >= 0) & (ratio <= 0.9))):
        raise OutOfRange("An annulus is known for inner radii of 0 to 0.9 of the outer radius.")
    gap_lengths = np.asarray(length_over_outer, dtype=np.float64) / (1 - ratio)
    long_factor = -0.212 * np.log1p(-ratio)
    factor = 1 + long_factor * gap_lengths / (gap_lengths + 4.0)
    return 1 / (1 + (1 / tube_transmission(gap_lengths) - 1) / factor)


def bend_added_length(axis_length_over_radius: ArrayLike) -> Floats:
    """Return the straight length that a 90° mitre bend adds in molecular flow, per radius.

    Our own fit to Monte Carlo values of two equal and unequal legs: the transmission comes within
    2 %. Short bends pass slightly more than a straight tube of the same axis, so the value is
    negative there; it grows to 1.5 radii.

    Parameters
    ----------
    axis_length_over_radius : array
        Length along the axis that belongs to this bend, divided by the radius. [-]

    Returns
    -------
    array
        Added length divided by the radius. [-]
    """
    length = np.asarray(axis_length_over_radius, dtype=np.float64)
    held = np.maximum(length, _SHORTEST_BEND)
    added: Floats = (1.5 - 12.0 / (held + 5.0)) * np.minimum(length / _SHORTEST_BEND, 1.0)
    return added


def molecular_share(rarefaction: ArrayLike) -> Floats:
    """Return the part of G(δ) that dies out as the gas gets dense, relative to G(0).

    Parameters
    ----------
    rarefaction : array
        δ = a p/(μ v₀). [-]

    Returns
    -------
    array
        1 in molecular flow, towards 0 in viscous flow (SHARIPOV-1998). [-]
    """
    return _molecular_share(*_powers(np.asarray(rarefaction, dtype=np.float64)))


def molecular_share_of_product(scale: ArrayLike, pressure: ArrayLike) -> Floats:
    """Return ``molecular_share`` where δ is a product, for every pair of many factors.

    A power of a product is the product of powers, so each factor needs its own once, and no pair
    any.

    Parameters
    ----------
    scale : array, shape (n, 1)
        First factor, as δ at one unit of pressure. [any]
    pressure : array, shape (m,)
        Second factor. [any]

    Returns
    -------
    array, shape (n, m)
        The share. [-]
    """
    low, high, logarithm = _powers(np.asarray(scale, dtype=np.float64))
    other_low, other_high, other = _powers(np.asarray(pressure, dtype=np.float64))
    return _molecular_share(low * other_low, high * other_high, logarithm + other)


def _powers(values: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the powers of δ in SHARIPOV-1998, 0.7 and 0.8, and its logarithm."""
    logarithm = np.log(np.maximum(values, 1e-300))
    return np.exp(0.7 * logarithm), np.exp(0.8 * logarithm), logarithm


def _molecular_share(low: Floats, high: Floats, logarithm: Floats) -> Floats:
    share: Floats = (1 + 0.04 * low * logarithm) / (1 + 0.78 * high)
    return share


def viscous_share(rarefaction: ArrayLike) -> Floats:
    """Return the part of G(δ) that grows to δ/4 + 1.018 as the gas gets dense.

    Parameters
    ----------
    rarefaction : array
        δ = a p/(μ v₀). [-]

    Returns
    -------
    array
        0 in molecular flow, δ/4 plus slip in viscous flow (SHARIPOV-1998). [-]
    """
    delta = np.asarray(rarefaction, dtype=np.float64)
    share: Floats = (delta / 4 + SLIP_COEFFICIENT) * delta / (1 + delta)
    return share


def reduced_flow(rarefaction: ArrayLike) -> Floats:
    """Return the reduced flow G(δ) of a long round tube with diffuse walls.

    Q = π a³ v₀ G Δp/(2L). The interpolation of SHARIPOV-1998 is within 0.2 % of the S-model and
    1.5 % of the BGK solution (CERCIGNANI-1966) at every δ, with the minimum near δ = 0.3.

    Parameters
    ----------
    rarefaction : array
        δ = a p/(μ v₀) at the mean pressure, zero or more. [-]

    Returns
    -------
    array
        Reduced flow: 8/(3√π) at zero, δ/4 + 1.018 when dense. [-]

    Raises
    ------
    OutOfRange
        If a rarefaction is negative.
    """
    delta = np.asarray(rarefaction, dtype=np.float64)
    if not bool(np.all(delta >= 0)):
        raise OutOfRange("A pressure below zero has no flow.")
    return MOLECULAR_REDUCED_FLOW * molecular_share(delta) + viscous_share(delta)


def gauss_points(first: ArrayLike, second: ArrayLike) -> tuple[Floats, Floats]:
    """Return the two Gauss points between two values, for means over a pressure range.

    Parameters
    ----------
    first : array
        One end of the range. [any]
    second : array
        Other end of the range. [any]

    Returns
    -------
    tuple of two arrays
        The points; the mean of a function is the mean of its values there. [any]
    """
    one = np.asarray(first, dtype=np.float64)
    two = np.asarray(second, dtype=np.float64)
    middle, half = (one + two) / 2, (two - one) * _GAUSS
    return middle - half, middle + half


def friction_factor(reynolds: ArrayLike) -> Floats:
    """Return the Darcy friction factor of a smooth tube, laminar to turbulent (CHURCHILL-1977).

    Parameters
    ----------
    reynolds : array
        Reynolds number on the bore, above zero. [-]

    Returns
    -------
    array
        Friction factor: 64/Re below about 2000. [-]
    """
    number = np.asarray(reynolds, dtype=np.float64)
    rough = np.maximum(number, _LAMINAR_REYNOLDS)
    first = (2.457 * np.log(1 / (7 / rough) ** 0.9)) ** 16
    second = (37530.0 / rough) ** 16
    turbulent: Floats = 8 * ((8 / rough) ** 12 + (first + second) ** -1.5) ** (1 / 12)
    return np.where(number < _LAMINAR_REYNOLDS, 64 / number, turbulent)


def turbulence_factor(reynolds: ArrayLike) -> Floats:
    """Return by how much turbulence raises the friction above laminar flow.

    Parameters
    ----------
    reynolds : array
        Reynolds number on the bore, zero or more. [-]

    Returns
    -------
    array
        1 in laminar flow, Re·f/64 beyond (CHURCHILL-1977). [-]
    """
    number = np.asarray(reynolds, dtype=np.float64)
    if not bool(np.any(number > _LAMINAR_REYNOLDS)):
        return np.ones_like(number)
    bounded = np.maximum(number, _LAMINAR_REYNOLDS)
    factor: Floats = np.maximum(friction_factor(bounded) * bounded / 64, 1.0)
    return np.where(number > _LAMINAR_REYNOLDS, factor, 1.0)
