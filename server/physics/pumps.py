"""How pumps behave beyond their speed curve: foreline limit, compression, burst, capacity."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import FloatArray, floats


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
    if (floats(full_load_pa) > no_load).any():
        raise OutOfRange("The tolerable foreline pressure cannot rise with load.")
    tolerable = no_load - (no_load - floats(full_load_pa)) * share
    return np.where(share <= 1.0, tolerable, 0.0)


def load_share(
    throughput_pa_m3_s: Mapping[str, ArrayLike], largest_pa_m3_s: Mapping[str, ArrayLike]
) -> FloatArray:
    """Return the share of a pump's capacity that a mixed load takes, Σ Q_i/Q_max,i.

    Each gas heats or loads the pump in proportion to its own largest throughput, and the shares
    add; up to 1 the pump carries the load (common practice, no source).

    Parameters
    ----------
    throughput_pa_m3_s : mapping of array
        Load of each gas, ≥ 0. [Pa m3/s]
    largest_pa_m3_s : mapping of array
        Largest throughput of each of these gases alone, > 0; inf for no limit. [Pa m3/s]
    """
    share = floats(0.0)
    for gas, flow in throughput_pa_m3_s.items():
        largest = floats(largest_pa_m3_s[gas])
        carried = floats(flow)
        if not ((largest > 0.0).all() and (carried >= 0.0).all()):
            raise OutOfRange("A load is zero or more, a largest throughput above zero.")
        share = share + carried / largest
    return floats(share)


def largest_of_mixture_pa_m3_s(
    throughput_pa_m3_s: Mapping[str, ArrayLike], largest_pa_m3_s: Mapping[str, ArrayLike]
) -> FloatArray:
    """Return the largest throughput of a gas mixture in the proportions of a load.

    Σ Q_i/(Σ Q_i/Q_max,i), where ``load_share`` reaches 1 when every part of the load grows alike;
    without load the smallest of all gases.

    Parameters
    ----------
    throughput_pa_m3_s : mapping of array
        Load of each gas, ≥ 0. [Pa m3/s]
    largest_pa_m3_s : mapping of array
        Largest throughput of each of these gases alone, > 0. [Pa m3/s]
    """
    share = load_share(throughput_pa_m3_s, largest_pa_m3_s)
    whole = _sum(throughput_pa_m3_s)
    least = _least({gas: largest_pa_m3_s[gas] for gas in throughput_pa_m3_s})
    return np.where(share > 0.0, whole / np.where(share > 0.0, share, 1.0), least)


def tolerable_of_mixture_pa(
    throughput_pa_m3_s: Mapping[str, ArrayLike], tolerable_pa: Mapping[str, ArrayLike]
) -> FloatArray:
    """Return the tolerable foreline pressure for a gas mixture: the mean by throughput.

    Common practice, no source; without load the smallest of all gases.

    Parameters
    ----------
    throughput_pa_m3_s : mapping of array
        Load of each gas, ≥ 0. [Pa m3/s]
    tolerable_pa : mapping of array
        Tolerable foreline pressure of each of these gases alone. [Pa]
    """
    whole = _sum(throughput_pa_m3_s)
    weighted = _sum({
        gas: floats(flow) * floats(tolerable_pa[gas]) for gas, flow in throughput_pa_m3_s.items()
    })  # fmt: skip
    least = _least({gas: tolerable_pa[gas] for gas in throughput_pa_m3_s})
    return np.where(whole > 0.0, weighted / np.where(whole > 0.0, whole, 1.0), least)


def _sum(values: Mapping[str, ArrayLike]) -> FloatArray:
    total = floats(0.0)
    for value in values.values():
        total = total + floats(value)
    return floats(total)


def _least(values: Mapping[str, ArrayLike]) -> FloatArray:
    if not values:
        raise OutOfRange("A gas load needs at least one gas.")
    least = floats(np.inf)
    for value in values.values():
        least = np.minimum(least, floats(value))
    return least


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


def burst_crossover_pressure_pa(
    burst_pa_m3: ArrayLike, volume_m3: ArrayLike, largest_start_pa: ArrayLike = np.inf
) -> FloatArray:
    """Return the chamber pressure at which a cryopump may take the chamber over at once.

    Its cold head absorbs the gas of the chamber, p·V, in one burst without warming up beyond
    recovery: p = burst/V [OHANLON-2003, HABLANIAN-1997, from memory]. A small chamber would allow
    any pressure; a stated largest start pressure still holds.

    Parameters
    ----------
    burst_pa_m3 : array
        Gas quantity p·V the cold head absorbs at once, > 0; inf where none is stated. [Pa m3]
    volume_m3 : array
        Chamber volume at the gas temperature the quantity is stated for, > 0. [m3]
    largest_start_pa : array
        Largest start pressure, > 0. [Pa]
    """
    burst, volume, largest = floats(burst_pa_m3), floats(volume_m3), floats(largest_start_pa)
    if np.any(~(burst > 0.0)) or np.any(~(volume > 0.0)) or np.any(~(largest > 0.0)):
        raise OutOfRange("A burst, a chamber volume and a start pressure are above zero.")
    return np.minimum(burst / volume, largest)


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
