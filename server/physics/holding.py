"""Closed volumes: a chamber between its valves, a foreline while its backing pump is away."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import FloatArray, floats
from server.physics.gasload import GasLoad, gas_given_off_pa_m3
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
    volume_m3: float, table: SpeedTable, row: int, start_pa: float, end_pa: float
) -> float:
    """Return how long a pump takes to empty a small tight volume, V·∫ d ln p/S(p).

    Exact for a speed that is linear in ln p between the nodes of the grid; inf where the pump has
    no speed left on the way.

    Parameters
    ----------
    volume_m3 : float
        Volume, ≥ 0. [m3]
    table : SpeedTable
        Speeds, the loss at the ultimate pressure included. [-]
    row : int
        Pump in the table. [-]
    start_pa : float
        Pressure at the start, within the grid. [Pa]
    end_pa : float
        Pressure at the end, within the grid and not above the start. [Pa]

    Raises
    ------
    OutOfRange
        A negative volume, an end above the start, or a pressure outside the grid.
    """
    if not (volume_m3 >= 0.0 and end_pa <= start_pa):
        raise OutOfRange("Emptying needs a volume and an end pressure not above the start.")
    nodes = table.grid.pressure_pa
    between = nodes[(nodes > end_pa) & (nodes < start_pa)]
    pressure = np.concatenate([[end_pa], between, [start_pa]])
    speed = lookup(table, row, pressure)
    if np.any(speed <= 0.0):
        return float(np.inf)
    low, high = speed[:-1], speed[1:]
    rise = np.log(high / low)
    # the mean of 1/S over a cell is ln(S₂/S₁)/(S₂ − S₁), which tends to 1/S where S is level
    level = np.abs(rise) < 1e-9
    mean = np.where(level, 1.0 / low, rise / np.where(level, 1.0, high - low))
    return float(volume_m3 * np.sum(mean * np.diff(np.log(pressure))))
