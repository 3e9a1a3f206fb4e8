"""Conductances of single parts in any regime, and how conductances combine."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.elements import (
    Aperture,
    Duct,
    Element,
    chain_throughput_pa_m3_s,
    linear_chain_m3_s,
    profile_heads,
    tube_duct,
)
from server.physics.gas import Floats, GasState
from server.physics.orifice import aperture_throughput_pa_m3_s, check_forward, linear_aperture_m3_s
from server.physics.tube import annulus_transmission


def series_m3_s(*conductances_m3_s: ArrayLike) -> Floats:
    """Return the conductance of parts one behind the other, without interstage correction.

    Parameters
    ----------
    *conductances_m3_s : arrays
        Conductances above zero; infinite ones have no effect. [m3/s]

    Returns
    -------
    array
        1/Σ(1/C): below the smallest. [m3/s]
    """
    resistance: Floats = np.zeros(())
    for conductance in conductances_m3_s:
        resistance = resistance + 1 / np.asarray(conductance, dtype=np.float64)
    return np.divide(1.0, resistance, out=np.full_like(resistance, np.inf), where=resistance > 0)


def parallel_m3_s(*conductances_m3_s: ArrayLike) -> Floats:
    """Return the conductance of parts side by side.

    Parameters
    ----------
    *conductances_m3_s : arrays
        Conductances. [m3/s]

    Returns
    -------
    array
        ΣC: above the largest. [m3/s]
    """
    total: Floats = np.zeros(())
    for conductance in conductances_m3_s:
        total = total + np.asarray(conductance, dtype=np.float64)
    return total


def effective_speed_m3_s(
    speed_m3_s: ArrayLike, conductance_m3_s: ArrayLike, shared_aperture_m3_s: ArrayLike = math.inf
) -> Floats:
    """Return the speed that is left at the far end of a conductance.

    1/S = 1/S_pump + 1/C − 1/C_shared. The last term (OATLEY-1957) is for molecular flow into a
    pump of the bore of the line: the opening is then counted in the pump's own speed already.

    Parameters
    ----------
    speed_m3_s : array
        Speed at the inlet of the pump; zero stays zero. [m3/s]
    conductance_m3_s : array
        Conductance of the line. [m3/s]
    shared_aperture_m3_s : array
        Conductance A v̄/4 of the opening that both values contain. [m3/s]

    Returns
    -------
    array
        Speed at the chamber. [m3/s]
    """
    speed = np.asarray(speed_m3_s, dtype=np.float64)
    shared = 1 / np.asarray(shared_aperture_m3_s, dtype=np.float64)
    extra = 1 / np.asarray(conductance_m3_s, dtype=np.float64) - shared
    value: Floats = speed / (1 + speed * extra)
    return value


def tube_conductance_m3_s(
    state: GasState,
    radius_m: ArrayLike,
    length_m: ArrayLike,
    upstream_pa: ArrayLike,
    downstream_pa: ArrayLike,
) -> Floats:
    """Return throughput per pressure difference of a tube between two chambers, any regime.

    Molecular flow is exact (BERMAN-1965, 0.07 %); a long tube follows G(δ) (SHARIPOV-1998); a
    viscous tube has its entrance loss, turbulence beyond Re ≈ 2300 (CHURCHILL-1977), and never
    more than 0.82 of the ideal sonic flow. Equal pressures give the limit of small differences.
    Between the regimes a short tube at a large pressure ratio is an interpolation of our own that
    was not checked against a published table; its limits (orifice, long tube) were.

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    radius_m : array
        Inner radius. [m]
    length_m : array
        Length, above zero. [m]
    upstream_pa : array
        Pressure upstream. [Pa]
    downstream_pa : array
        Pressure downstream, at most the one upstream. [Pa]

    Returns
    -------
    array
        Conductance. [m3/s]

    Raises
    ------
    OutOfRange
        If a size is not above zero or the pressures do not drive gas forward.
    """
    radius, length, up, down = _spread(radius_m, length_m, upstream_pa, downstream_pa)
    duct = tube_duct(radius, length)
    return _conductance(state, (Aperture(duct.area_m2), duct), up, down)


def tube_conductance_at_mean_m3_s(
    state: GasState, radius_m: ArrayLike, length_m: ArrayLike, pressure_pa: ArrayLike
) -> Floats:
    """Return the conductance of a tube for small pressure differences: one evaluation, no solve.

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    radius_m : array
        Inner radius. [m]
    length_m : array
        Length, above zero. [m]
    pressure_pa : array
        Mean pressure. [Pa]

    Returns
    -------
    array
        Conductance; has Knudsen's minimum, as long tubes do. [m3/s]
    """
    radius, length, pressure = _spread(radius_m, length_m, pressure_pa)
    duct = tube_duct(radius, length)
    return linear_chain_m3_s(state, (Aperture(duct.area_m2), duct), pressure)


def orifice_conductance_m3_s(
    state: GasState, area_m2: ArrayLike, upstream_pa: ArrayLike, downstream_pa: ArrayLike
) -> Floats:
    """Return throughput per pressure difference of a sharp-edged opening, any regime.

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    area_m2 : array
        Area. [m2]
    upstream_pa : array
        Pressure upstream. [Pa]
    downstream_pa : array
        Pressure downstream, at most the one upstream. [Pa]

    Returns
    -------
    array
        Conductance. [m3/s]

    Raises
    ------
    OutOfRange
        If the area is not above zero or the pressures do not drive gas forward.
    """
    area = np.asarray(area_m2, dtype=np.float64)
    if not bool(np.all(area > 0)):
        raise OutOfRange("An opening needs an area above zero.")
    area, up, down = _spread(area, upstream_pa, downstream_pa)
    check_forward(up, down)
    flow = aperture_throughput_pa_m3_s(state, area, down, up - down)
    linear = linear_aperture_m3_s(state, area, (up + down) / 2)
    return np.divide(flow, up - down, out=np.array(linear), where=up > down)


def annulus_conductance_m3_s(
    state: GasState,
    radii_m: tuple[ArrayLike, ArrayLike],
    length_m: ArrayLike,
    upstream_pa: ArrayLike,
    downstream_pa: ArrayLike,
) -> Floats:
    """Return throughput per pressure difference between two concentric tubes, any regime.

    Molecular: :func:`annulus_transmission`; viscous: the exact solution (BIRD-2002); between
    them the blend of the round tube with the gap as its radius.

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    radii_m : pair of arrays
        Inner and outer radius; inner above zero. [m]
    length_m : array
        Length, above zero. [m]
    upstream_pa : array
        Pressure upstream. [Pa]
    downstream_pa : array
        Pressure downstream, at most the one upstream. [Pa]

    Returns
    -------
    array
        Conductance. [m3/s]

    Raises
    ------
    OutOfRange
        If the radii are not 0 < inner < 0.9 outer, or as for a tube.
    """
    inner, outer, length, up, down = _spread(*radii_m, length_m, upstream_pa, downstream_pa)
    if not bool(np.all((inner > 0) & (outer > inner) & (length > 0))):
        raise OutOfRange("An annulus needs an inner radius below the outer one, and a length.")
    area = math.pi * (outer**2 - inner**2)
    passed = annulus_transmission(inner / outer, length / outer)
    gap = outer - inner
    section = outer**4 - inner**4 - (outer**2 - inner**2) ** 2 / np.log(outer / inner)
    duct = Duct(
        area_m2=area,
        radius_m=gap,
        viscous_length_m=length * gap**4 / section,
        molecular_area_m2=area * passed / (1 - passed),
        heads=profile_heads(length / gap),
    )
    return _conductance(state, (Aperture(area), duct), up, down)


def _conductance(
    state: GasState, elements: tuple[Element, ...], up_pa: Floats, down_pa: Floats
) -> Floats:
    check_forward(up_pa, down_pa)
    linear = linear_chain_m3_s(state, elements, (up_pa + down_pa) / 2)
    flow = chain_throughput_pa_m3_s(state, elements, up_pa, down_pa)
    return np.divide(flow, up_pa - down_pa, out=np.array(linear), where=up_pa > down_pa)


def _spread(*values: ArrayLike) -> tuple[Floats, ...]:
    """Return the values as arrays of one shape."""
    return np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values))
