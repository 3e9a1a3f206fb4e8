"""How the kinds of pumps behave beyond their speed curve: limits, compression, capacity, fluid."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import BoolArray, FloatArray, floats

# --- vapour-jet and turbomolecular pumps: throughput ------------------------------------------


def throughput_limited_speed_m3_s(
    pressure_pa: ArrayLike,
    speed_m3_s: ArrayLike,
    largest_throughput_pa_m3_s: ArrayLike,
    largest_inlet_pa: ArrayLike = np.inf,
) -> FloatArray:
    """Return the speed of a pump with constant speed, then constant throughput, then overload.

    The knee lies at Q_max/S; above the largest inlet pressure the pump is overloaded and its
    speed is gone [HABLANIAN-1997].

    Parameters
    ----------
    pressure_pa : array
        Inlet pressure, > 0. [Pa]
    speed_m3_s : array
        Speed below the knee. [m3/s]
    largest_throughput_pa_m3_s : array
        Throughput above the knee. [Pa m3/s]
    largest_inlet_pa : array
        Inlet pressure above which the pump is overloaded. [Pa]
    """
    pressure = floats(pressure_pa)
    speed = np.minimum(floats(speed_m3_s), floats(largest_throughput_pa_m3_s) / pressure)
    return np.where(pressure <= floats(largest_inlet_pa), speed, 0.0)


def backing_limited_speed_m3_s(
    speed_m3_s: ArrayLike,
    inlet_pa: ArrayLike,
    foreline_limit_pa: ArrayLike,
    backing_speed_m3_s: ArrayLike,
) -> FloatArray:
    """Return the speed that the backing pump lets a high-vacuum pump have.

    At the foreline limit the backing pump carries S_b·p_f,max; no more can enter, so the chamber
    sees at most that throughput divided by the inlet pressure.

    Parameters
    ----------
    speed_m3_s : array
        Speed of the high-vacuum pump at that pressure. [m3/s]
    inlet_pa : array
        Inlet pressure, > 0. [Pa]
    foreline_limit_pa : array
        Highest foreline pressure at which the pump still works. [Pa]
    backing_speed_m3_s : array
        Speed of the backing pump at the foreline port at that pressure. [m3/s]
    """
    carried = floats(foreline_limit_pa) * floats(backing_speed_m3_s)
    return np.minimum(floats(speed_m3_s), carried / floats(inlet_pa))


def tolerable_foreline_pa(
    throughput_pa_m3_s: ArrayLike,
    largest_throughput_pa_m3_s: ArrayLike,
    no_load_pa: ArrayLike,
    full_load_pa: ArrayLike,
) -> FloatArray:
    """Return the highest foreline pressure at which a high-vacuum pump works, at this load.

    It falls with throughput from the no-load to the full-load value, taken as linear (the usual
    reading of published curves [HABLANIAN-1997]; common practice). Above the largest throughput
    the pump is overloaded and no foreline pressure is low enough: 0.

    Parameters
    ----------
    throughput_pa_m3_s : array
        Load. [Pa m3/s]
    largest_throughput_pa_m3_s : array
        Largest throughput, > 0. [Pa m3/s]
    no_load_pa : array
        Tolerable foreline pressure without load. [Pa]
    full_load_pa : array
        Tolerable foreline pressure at the largest throughput, not above the other. [Pa]
    """
    share = floats(throughput_pa_m3_s) / floats(largest_throughput_pa_m3_s)
    no_load = floats(no_load_pa)
    if np.any(floats(full_load_pa) > no_load):
        raise OutOfRange("The tolerable foreline pressure cannot rise with load.")
    tolerable = no_load - (no_load - floats(full_load_pa)) * share
    return np.where(share <= 1.0, tolerable, 0.0)


def is_stalled(foreline_pa: ArrayLike, tolerable_pa: ArrayLike) -> BoolArray:
    """Tell where a vapour-jet pump has stalled: its jets no longer seal against the foreline.

    A stalled pump has no speed and throws its fluid into the chamber; the stack has failed.

    Parameters
    ----------
    foreline_pa : array
        Foreline pressure; NaN (no state exists) counts as stalled. [Pa]
    tolerable_pa : array
        Tolerable foreline pressure at the same load. [Pa]
    """
    return np.asarray(~(floats(foreline_pa) <= floats(tolerable_pa)), dtype=np.bool_)


# --- base pressure ----------------------------------------------------------------------------


def inlet_partial_pa(
    throughput_pa_m3_s: ArrayLike,
    speed_m3_s: ArrayLike,
    foreline_partial_pa: ArrayLike,
    compression: ArrayLike,
) -> FloatArray:
    """Return the partial pressure at the inlet, Q_i/S_i + p_fore,i/K₀,i [JOUSTEN-2016].

    Follows from the flow Q_i = S_i·(p_in,i − p_fore,i/K₀,i); without load it is the base pressure
    that compression of this gas allows.

    Parameters
    ----------
    throughput_pa_m3_s : array
        Load of the species. [Pa m3/s]
    speed_m3_s : array
        Speed for the species, > 0. [m3/s]
    foreline_partial_pa : array
        Its partial pressure in the foreline. [Pa]
    compression : array
        Zero-flow compression for the species at that foreline pressure, ≥ 1. [-]
    """
    flow = floats(throughput_pa_m3_s) / floats(speed_m3_s)
    return floats(flow + floats(foreline_partial_pa) / floats(compression))


def compression_ratio(
    points_foreline_pa: ArrayLike, points_compression: ArrayLike, foreline_pa: ArrayLike
) -> FloatArray:
    """Return the zero-flow compression at a foreline pressure from published points.

    Linear in logarithms. Below the lowest point it is held (molecular flow: compression does not
    depend on pressure); above the highest it keeps falling with the last slope, never below 1.

    Parameters
    ----------
    points_foreline_pa : array, shape (k,)
        Foreline pressures, rising. [Pa]
    points_compression : array, shape (k,)
        Compression at each, ≥ 1. [-]
    foreline_pa : array
        Foreline pressure asked for, > 0. [Pa]
    """
    known_p, known_k = floats(points_foreline_pa), floats(points_compression)
    if known_p.ndim != 1 or known_p.shape != known_k.shape or known_p.size == 0:
        raise OutOfRange("A compression curve needs one value for each foreline pressure.")
    if np.any(known_p <= 0.0) or np.any(np.diff(known_p) <= 0.0) or np.any(known_k < 1.0):
        raise OutOfRange("A compression curve needs rising pressures and values of 1 or more.")
    x, y, wanted = np.log(known_p), np.log(known_k), np.log(floats(foreline_pa))
    inside = np.interp(wanted, x, y)
    if known_p.size > 1:
        slope = min((y[-1] - y[-2]) / (x[-1] - x[-2]), 0.0)
        inside = np.where(wanted > x[-1], y[-1] + slope * (wanted - x[-1]), inside)
    return floats(np.exp(np.maximum(inside, 0.0)))


# --- backstreaming ----------------------------------------------------------------------------


def backstreaming_kg_s(
    rate_kg_m2_s: ArrayLike, inlet_area_m2: ArrayLike, *transmitted: ArrayLike
) -> FloatArray:
    """Return the pump fluid that goes towards the chamber.

    Parameters
    ----------
    rate_kg_m2_s : array
        Rate of the bare pump per inlet area. [kg/(m2 s)]
    inlet_area_m2 : array
        Inlet area. [m2]
    *transmitted : array
        Share that each cap, baffle or trap lets through, 0 to 1. [-]
    """
    total = floats(rate_kg_m2_s) * floats(inlet_area_m2)
    for share in transmitted:
        if np.any(floats(share) < 0.0) or np.any(floats(share) > 1.0):
            raise OutOfRange("A baffle or trap lets through a share between 0 and 1.")
        total = total * floats(share)
    return floats(total)


# --- crossover --------------------------------------------------------------------------------


def crossover_pressure_pa(
    largest_throughput_pa_m3_s: ArrayLike, roughing_speed_m3_s: ArrayLike
) -> FloatArray:
    """Return the pressure where the roughing throughput falls to what the pump can carry, Q/S.

    Changed over earlier, a vapour-jet pump gets more gas than it can carry [HABLANIAN-1997].

    Parameters
    ----------
    largest_throughput_pa_m3_s : array
        Largest throughput of the high-vacuum pump. [Pa m3/s]
    roughing_speed_m3_s : array
        Roughing speed at the chamber, > 0. [m3/s]
    """
    return floats(floats(largest_throughput_pa_m3_s) / floats(roughing_speed_m3_s))


def overload_time_s(
    volume_m3: ArrayLike,
    crossover_pa: ArrayLike,
    speed_m3_s: ArrayLike,
    largest_throughput_pa_m3_s: ArrayLike,
    load_pa_m3_s: ArrayLike = 0.0,
) -> FloatArray:
    """Return how long the burst after crossover holds the pump at its largest throughput.

    V·(p_x − p_k)/(Q_max − Q) down to the knee p_k = Q_max/S; 0 when it starts below the knee, inf
    when the load alone takes all of Q_max.

    Parameters
    ----------
    volume_m3 : array
        Chamber volume. [m3]
    crossover_pa : array
        Pressure at the crossover. [Pa]
    speed_m3_s : array
        Speed at the chamber below the knee, > 0. [m3/s]
    largest_throughput_pa_m3_s : array
        Largest throughput of the pump. [Pa m3/s]
    load_pa_m3_s : array
        Gas load meanwhile. [Pa m3/s]
    """
    largest = floats(largest_throughput_pa_m3_s)
    excess = np.maximum(floats(crossover_pa) - largest / floats(speed_m3_s), 0.0)
    spare = largest - floats(load_pa_m3_s)
    time = floats(volume_m3) * excess / np.where(spare > 0.0, spare, 1.0)
    return np.where(spare > 0.0, time, np.where(excess > 0.0, np.inf, 0.0))


# --- capture pumps ----------------------------------------------------------------------------


def capture_life_s(capacity_pa_m3: ArrayLike, throughput_pa_m3_s: ArrayLike) -> FloatArray:
    """Return the time until a cryo- or sorption pump is full, capacity ÷ throughput; inf at 0.

    Parameters
    ----------
    capacity_pa_m3 : array
        Gas it holds between regenerations, per species. [Pa m3]
    throughput_pa_m3_s : array
        Load of that species, ≥ 0. [Pa m3/s]
    """
    flow = floats(throughput_pa_m3_s)
    life = floats(capacity_pa_m3) / np.where(flow > 0.0, flow, 1.0)
    return np.where(flow > 0.0, life, np.inf)


def sputter_ion_life_s(
    rated_life_s: ArrayLike, rated_pressure_pa: ArrayLike, pressure_pa: ArrayLike
) -> FloatArray:
    """Return the life of a sputter-ion pump's cathodes, inversely proportional to pressure.

    Parameters
    ----------
    rated_life_s : array
        Life at the rated pressure. [s]
    rated_pressure_pa : array
        Pressure the life is stated at. [Pa]
    pressure_pa : array
        Working pressure, > 0. [Pa]
    """
    return floats(floats(rated_life_s) * floats(rated_pressure_pa) / floats(pressure_pa))


def burst_crossover_pressure_pa(burst_pa_m3: ArrayLike, volume_m3: ArrayLike) -> FloatArray:
    """Return the highest crossover pressure of a cryopump, its permitted gas burst ÷ volume.

    Parameters
    ----------
    burst_pa_m3 : array
        Amount of gas the cold stages take at once. [Pa m3]
    volume_m3 : array
        Chamber volume, > 0. [m3]
    """
    return floats(floats(burst_pa_m3) / floats(volume_m3))
