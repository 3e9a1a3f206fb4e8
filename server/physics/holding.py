"""Closed volumes: a chamber between its valves, a foreline while its backing pump is away."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import FloatArray, floats
from server.physics.gasload import GasLoad, gas_given_off_pa_m3
from server.physics.pumpdown_paths import mean_inverse
from server.physics.speedtable import SpeedTable, lookup


def hold_isolated(
    volume_m3: ArrayLike,
    load: GasLoad,
    start_pressure_pa: ArrayLike,
    start_time_s: ArrayLike,
    end_time_s: ArrayLike,
) -> FloatArray:
    """Return the pressure to which a closed chamber rises, p₀ + ∫Q dt/V, in closed form.

    Parameters
    ----------
    volume_m3 : array, scalar or shape (n,)
        Chamber volume, > 0. [m3]
    load : GasLoad
        Constant and decaying load; its clock starts with pumping. [-]
    start_pressure_pa : array, scalar or shape (n,)
        Pressure when the valves close. [Pa]
    start_time_s : array, scalar or shape (n,)
        Clock when they close. [s]
    end_time_s : array, scalar or shape (n,)
        Clock when they open again. [s]
    """
    volume = floats(volume_m3)
    if np.any(~(volume > 0.0)):
        raise OutOfRange("The chamber volume must be above zero.")
    gas = gas_given_off_pa_m3(load, start_time_s, end_time_s)
    return floats(floats(start_pressure_pa) + gas / volume)


def foreline_hold_s(
    foreline_volume_m3: ArrayLike,
    throughput_pa_m3_s: ArrayLike,
    start_pressure_pa: ArrayLike,
    tolerable_pa: ArrayLike,
) -> FloatArray:
    """Return how long a foreline takes the exhaust while the shared backing pump roughs.

    V·(p_tol − p₀)/Q: the high-vacuum pump keeps running into the closed foreline; inf without
    throughput, 0 when the foreline is at its limit already.

    Parameters
    ----------
    foreline_volume_m3 : array
        Volume of foreline and any reservoir, > 0. [m3]
    throughput_pa_m3_s : array
        What the high-vacuum pump delivers meanwhile, ≥ 0. [Pa m3/s]
    start_pressure_pa : array
        Foreline pressure when its valve closes. [Pa]
    tolerable_pa : array
        Tolerable foreline pressure at that throughput. [Pa]
    """
    room = np.maximum(floats(tolerable_pa) - floats(start_pressure_pa), 0.0)
    flow = floats(throughput_pa_m3_s)
    time = floats(foreline_volume_m3) * room / np.where(flow > 0.0, flow, 1.0)
    return np.where(flow > 0.0, time, np.where(room > 0.0, np.inf, 0.0))


def emptying_s(
    volume_m3: ArrayLike,
    table: SpeedTable,
    rows: ArrayLike,
    start_pa: ArrayLike,
    end_pa: ArrayLike,
) -> FloatArray:
    """Return how long pumps take to empty small tight volumes, V·∫ d ln p/S(p).

    Exact for a speed that is linear in ln p between the nodes of the grid; inf where the pump has
    no speed left on the way.

    Parameters
    ----------
    volume_m3 : array, scalar or shape (n,)
        Volume, ≥ 0. [m3]
    table : SpeedTable
        Speeds, the loss at the ultimate pressure included. [-]
    rows : array of int, scalar or shape (n,)
        Pump in the table. [-]
    start_pa : array, scalar or shape (n,)
        Pressure at the start, within the grid. [Pa]
    end_pa : array, scalar or shape (n,)
        Pressure at the end, within the grid and not above the start. [Pa]

    Raises
    ------
    OutOfRange
        A negative volume, an end above the start, or a pressure outside the grid.
    """
    volume, start, end = floats(volume_m3), floats(start_pa), floats(end_pa)
    if not (np.all(volume >= 0.0) and np.all(end <= start)):
        raise OutOfRange("Emptying needs a volume and an end pressure not above the start.")
    row, grid = np.asarray(rows, dtype=np.intp), table.grid
    at_end, at_start = lookup(table, row, end), lookup(table, row, start)
    bottom, top = grid.place_of(end), grid.place_of(start)
    # from the end up to the next node, over whole cells, and from the last node to the start
    upper = np.minimum(np.ceil(bottom).astype(np.intp), grid.count - 1)
    lower = np.minimum(top.astype(np.intp), grid.count - 1)
    in_a_cell = upper > lower
    used, of = np.unique(row, return_inverse=True)
    speed, of = table.speed_m3_s[used], of.reshape(row.shape)
    from_end = mean_inverse(at_end, np.where(in_a_cell, at_start, speed[of, upper]))
    to_start = mean_inverse(np.where(in_a_cell, at_start, speed[of, lower]), at_start)
    slow = mean_inverse(speed[:, :-1], speed[:, 1:])
    below = np.pad(np.cumsum(slow, axis=1), ((0, 0), (1, 0)))
    stuck = np.pad(np.cumsum(slow == 0.0, axis=1), ((0, 0), (1, 0)))
    lower = np.maximum(lower, upper)  # nothing between them within one cell
    never = (from_end == 0.0) | (to_start == 0.0) | (stuck[of, lower] > stuck[of, upper])
    slowness = below[of, lower] - below[of, upper] + from_end * (np.minimum(upper, top) - bottom)
    slowness += to_start * np.maximum(top - lower, 0.0)
    return floats(np.where(never, np.inf, volume * slowness * grid.step))
