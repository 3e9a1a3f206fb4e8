"""Speed left at the entry of a line, tabulated for many pumps at once.

A pump of speed S(p₂) behind a line of conductance C(p̄) draws Q = S(p₂)·p₂ = C((p₁ + p₂)/2)·(p₁ −
p₂); at the entry it looks like a pump of speed Q/p₁ at the pressure p₁. Tabulating that on the
grid of the pumps' own curves lets a chamber state be solved as if the pump were mounted on the
chamber.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import FloatArray, floats
from server.physics.boosters import invert_rows
from server.physics.speedtable import LogGrid

_ACCURACY = 1e-9
_MOST_STEPS = 80
_NO_RESISTANCE_M3_S = 1e9


def _at(grid: LogGrid, table: FloatArray, pressure_pa: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Values of each row's table at its pressures, with the slope per ln p; ends are held."""
    position = np.clip((np.log(pressure_pa) - grid.ln_low) / grid.step, 0.0, grid.count - 1)
    cell = np.minimum(position.astype(np.intp), grid.count - 2)
    low = np.take_along_axis(table, cell, axis=1)
    rise = np.take_along_axis(table, cell + 1, axis=1) - low
    inside = (pressure_pa > grid.low_pa) & (pressure_pa < grid.high_pa)
    return low + rise * (position - cell), np.where(inside, rise / grid.step, 0.0)


def entry_pressure_pa(
    grid: LogGrid,
    conductance_m3_s: FloatArray,
    throughput_pa_m3_s: FloatArray,
    exit_pa: FloatArray,
) -> FloatArray:
    """Return the pressure at the entry of lines that carry a throughput, C(p̄)·(p₁ − p₂) = Q.

    Newton's method from above: C rises with pressure (but for the shallow minimum near δ = 0.3), so
    C at the exit pressure gives an upper start and every step stays above the root.

    Parameters
    ----------
    grid : LogGrid
        Grid of the conductance tables. [-]
    conductance_m3_s : array, shape (n, grid.count)
        Conductance of each line against mean pressure. [m3/s]
    throughput_pa_m3_s : array, shape (n, m)
        Throughput carried. [Pa m3/s]
    exit_pa : array, shape (n, m)
        Pressure at the exit. [Pa]

    Raises
    ------
    OutOfRange
        When no entry pressure is found.
    """
    exit_pressure = floats(exit_pa)
    start, _ = _at(grid, conductance_m3_s, exit_pressure)
    # 0.6 makes room for Knudsen's minimum, 0.92 of the molecular conductance at the deepest
    entry = exit_pressure + throughput_pa_m3_s / (0.6 * start)
    for _ in range(_MOST_STEPS):
        mean = (entry + exit_pressure) / 2
        conductance, slope = _at(grid, conductance_m3_s, mean)
        drop = entry - exit_pressure
        miss = conductance * drop - throughput_pa_m3_s
        steepness = conductance + slope * drop / (2 * mean)
        # the slope may be negative in the minimum; C alone then keeps the step short enough
        step = miss / np.maximum(steepness, 0.7 * conductance)
        entry = np.maximum(entry - step, exit_pressure)
        if np.all(np.abs(step) <= _ACCURACY * entry):
            return entry
    raise OutOfRange("The pressure at the entry of the line could not be found; check its sizes.")


def entry_speed_m3_s(
    grid: LogGrid,
    speed_m3_s: FloatArray,
    conductance_m3_s: FloatArray,
    choked_m3_s: ArrayLike = np.inf,
) -> FloatArray:
    """Return each pump's speed at the entry of its line, on the grid.

    Parameters
    ----------
    grid : LogGrid
        Common grid. [-]
    speed_m3_s : array, shape (n, grid.count)
        Speed at the exit of the line, against the pressure there. [m3/s]
    conductance_m3_s : array, shape (n, grid.count)
        Conductance of the line against mean pressure. [m3/s]
    choked_m3_s : array, scalar or shape (n, 1)
        Largest volume flow at the entry, sonic in the narrowest bore. [m3/s]
    """
    exit_pa = np.broadcast_to(grid.pressure_pa, speed_m3_s.shape)
    flow = speed_m3_s * exit_pa
    # a line without resistance is infinite; a finite stand-in keeps the slopes of the table defined
    conductance = np.minimum(conductance_m3_s, _NO_RESISTANCE_M3_S)
    entry = entry_pressure_pa(grid, conductance, flow, exit_pa)
    ln_entry = np.log(entry)
    # where the speed is zero, or falls like 1/p, entry pressures bunch up: keep them rising
    ln_entry = np.maximum.accumulate(ln_entry + 1e-13 * np.arange(grid.count), axis=1)
    ln_exit = np.maximum(invert_rows(ln_entry, np.log(grid.pressure_pa), grid), grid.ln_low)
    left, _ = _at(grid, speed_m3_s, np.exp(ln_exit))
    speed = left * np.exp(ln_exit) / grid.pressure_pa
    # below the first entry pressure speed and conductance are constant: the series law is exact
    first = speed_m3_s[:, :1] / (1 + speed_m3_s[:, :1] / conductance[:, :1])
    speed = np.where(np.log(grid.pressure_pa) <= ln_entry[:, :1], first, speed)
    return floats(np.minimum(speed, choked_m3_s))
