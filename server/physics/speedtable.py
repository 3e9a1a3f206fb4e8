"""Speed curves of many pumps on one common grid that is uniform in the logarithm of pressure.

Published points are joined by a monotone cubic (PCHIP [FRITSCH-1980]) of ln S over ln p: it cannot
overshoot, keeps speeds positive, and the two regimes every pump shows, constant speed and
constant throughput, are straight lines in these coordinates and so come out exactly. On the grid
the speed is linear in ln p between nodes, which costs one gather per look-up and makes a root in a
cell and a step of the pump-down closed-form work.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import FloatArray, IntArray, floats


@dataclass(frozen=True)
class LogGrid:
    """Pressures from ``low_pa`` to ``high_pa``, equally spaced in ln p."""

    low_pa: float
    high_pa: float
    count: int

    def __post_init__(self) -> None:
        if not (0.0 < self.low_pa < self.high_pa and self.count >= 2):
            raise OutOfRange("A pressure grid needs 0 < lowest < highest and two nodes or more.")

    @cached_property
    def step(self) -> float:
        """Distance of two nodes in ln p."""
        return float(np.log(self.high_pa / self.low_pa) / (self.count - 1))

    @cached_property
    def ln_low(self) -> float:
        """Logarithm of the lowest pressure in pascal."""
        return float(np.log(self.low_pa))

    @cached_property
    def pressure_pa(self) -> FloatArray:
        """Pressure of every node, shape (count,)."""
        return floats(np.geomspace(self.low_pa, self.high_pa, self.count))

    @cached_property
    def ln_pressure(self) -> FloatArray:
        """Logarithm of the pressure in pascal of every node, shape (count,)."""
        return floats(np.log(self.pressure_pa))

    @cached_property
    def width_pa(self) -> FloatArray:
        """Pressure from each node to the next, shape (count − 1,)."""
        return np.diff(self.pressure_pa)

    def place_of(self, pressure_pa: FloatArray) -> FloatArray:
        """Return where pressures lie on the grid: nodes from the lowest one, and part of a cell."""
        place = np.log(pressure_pa)
        place -= self.ln_low
        place /= self.step
        return place

    def cell_of(self, pressure_pa: FloatArray) -> IntArray:
        """Return the lower node of the cell of each pressure; beyond the grid that of its end."""
        place = self.place_of(pressure_pa)
        return np.minimum(np.maximum(place, 0.0).astype(np.intp), self.count - 2)


@dataclass(frozen=True)
class SpeedTable:
    """Speeds of many pumps (rows) on one grid, shape (n_pumps, grid.count)."""

    grid: LogGrid
    speed_m3_s: FloatArray

    def __post_init__(self) -> None:
        if self.speed_m3_s.ndim != 2 or self.speed_m3_s.shape[1] != self.grid.count:
            raise OutOfRange("A speed table has one row per pump and one column per grid node.")
        lowest, highest = self.speed_m3_s.min(initial=0.0), self.speed_m3_s.max(initial=0.0)
        if not (lowest >= 0.0 and highest < np.inf):
            raise OutOfRange("Speeds in a table are finite and not negative.")

    @cached_property
    def largest_throughput_pa_m3_s(self) -> FloatArray:
        """Largest S·p up to each node, above zero, shape (n_pumps, grid.count)."""
        return largest_so_far(np.maximum(self.speed_m3_s * self.grid.pressure_pa, LEAST_PA_M3_S))


def largest_so_far(rows: FloatArray) -> FloatArray:
    """Return the largest value up to each place of each row; it may be the array itself.

    Parameters
    ----------
    rows : array, shape (n, k)
        Values along rows, such as throughputs along the nodes of a grid. [any]
    """
    # going along the places is slow, and most pumps carry the more the higher the pressure
    falls = (rows[:, 1:] < rows[:, :-1]).any(axis=1)
    if falls.any():
        rows = rows.copy()
        rows[falls] = np.maximum.accumulate(rows[falls], axis=1)
    return rows


LEAST_PA_M3_S = 1e-100
"""Stands for no throughput where logarithms are taken, or where it divides."""


def log_grid(low_pa: float, high_pa: float, nodes_per_decade: float = 16.0) -> LogGrid:
    """Return a grid with at least so many nodes per decade.

    Parameters
    ----------
    low_pa : float
        Lowest pressure, > 0. [Pa]
    high_pa : float
        Highest pressure, above the lowest. [Pa]
    nodes_per_decade : float
        16 keeps the linear interpolation of 1/p within 0.3 % of the curve. [-]
    """
    if not 0.0 < low_pa < high_pa:
        raise OutOfRange("A pressure grid needs 0 < lowest < highest.")
    return LogGrid(low_pa, high_pa, int(np.ceil(np.log10(high_pa / low_pa) * nodes_per_decade)) + 1)


def tabulate(
    points_pressure_pa: ArrayLike,
    points_speed_m3_s: ArrayLike,
    grid: LogGrid,
    largest_inlet_pa: float | None = None,
) -> FloatArray:
    """Return one pump's speed on the grid from its published points.

    Below the lowest point its speed is held: gas goes into the pump at the same speed, the
    ultimate pressure is a matter of what comes back (``net_speed_m3_s``). A first point with speed
    zero is an ultimate pressure p₀ that is included already; up to the next point the curve
    follows S ∝ 1 − p₀/p. Above the last point the speed is held up to ``largest_inlet_pa`` and zero
    beyond; a last point with speed zero is such a limit itself.

    Parameters
    ----------
    points_pressure_pa : array, shape (k,)
        Inlet pressures, rising. [Pa]
    points_speed_m3_s : array, shape (k,)
        Speed at each of them, zero only at the first or last. [m3/s]
    grid : LogGrid
        Common grid. [-]
    largest_inlet_pa : float, optional
        Largest inlet pressure; left out: the last point. [Pa]

    Raises
    ------
    OutOfRange
        Fewer than two points above zero, pressures that do not rise, negative speeds, a zero
        within the curve.
    """
    pressure, speed = floats(points_pressure_pa), floats(points_speed_m3_s)
    _check_points(pressure, speed)
    positive = speed > 0.0
    known_p, known_s = pressure[positive], speed[positive]
    inside = np.clip(grid.ln_pressure, np.log(known_p[0]), np.log(known_p[-1]))
    result = floats(np.exp(monotone_cubic(np.log(known_p), np.log(known_s), inside)))
    if speed[0] == 0.0:
        drop = (1.0 - pressure[0] / grid.pressure_pa) / (1.0 - pressure[0] / known_p[0])
        result = np.where(grid.pressure_pa < known_p[0], result * np.maximum(drop, 0.0), result)
    limit = pressure[-1] if largest_inlet_pa is None else largest_inlet_pa
    if speed[-1] == 0.0:
        # linear in ln p from the last speed above zero down to the point where there is none
        fall = np.log(pressure[-1] / grid.pressure_pa) / np.log(pressure[-1] / known_p[-1])
        result = np.where(grid.pressure_pa > known_p[-1], result * np.maximum(fall, 0.0), result)
        limit = min(limit, pressure[-1])
    # the node at the limit itself may differ from it by rounding
    return np.where(grid.pressure_pa > limit * (1.0 + 1e-9), 0.0, result)


def monotone_cubic(points_x: FloatArray, points_y: FloatArray, wanted_x: FloatArray) -> FloatArray:
    """Return the piecewise cubic through points that rises and falls only where they do (PCHIP).

    The slope at an inner point is the harmonic mean of the neighbouring chords, weighted by their
    lengths, and zero at an extremum; at the ends it follows three points [FRITSCH-1980]. Written
    here because the library's own takes longer to load than all curves take to be tabulated.

    Parameters
    ----------
    points_x : array, shape (k,)
        Rising, two or more. [any]
    points_y : array, shape (k,)
        Values at the points. [any]
    wanted_x : array
        Places within the points. [any]
    """
    width = np.diff(points_x)
    chord = np.diff(points_y) / width
    slope = _slopes(width, chord)
    cell = np.searchsorted(points_x, wanted_x, side="right") - 1
    cell = np.minimum(cell, len(width) - 1)
    left, right = slope[cell], slope[cell + 1]
    length, mean = width[cell], chord[cell]
    along = wanted_x - points_x[cell]
    cubic = (left + right - 2.0 * mean) / length**2
    square = (3.0 * mean - 2.0 * left - right) / length
    return floats(points_y[cell] + along * (left + along * (square + along * cubic)))


def _slopes(width: FloatArray, chord: FloatArray) -> FloatArray:
    if len(width) == 1:
        return np.repeat(chord, 2)
    slope = np.zeros(len(width) + 1)
    before, after = chord[:-1], chord[1:]
    weight_before, weight_after = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    same = before * after > 0.0
    total = (weight_before + weight_after)[same]
    slope[1:-1][same] = total / (
        weight_before[same] / before[same] + weight_after[same] / after[same]
    )
    slope[0] = _end_slope(width[0], width[1], chord[0], chord[1])
    slope[-1] = _end_slope(width[-1], width[-2], chord[-1], chord[-2])
    return slope


def _end_slope(width: float, next_width: float, chord: float, next_chord: float) -> float:
    """Three-point slope at an end, held within what keeps the first cell monotone."""
    slope = ((2.0 * width + next_width) * chord - width * next_chord) / (width + next_width)
    if slope * chord <= 0.0:
        return 0.0
    if chord * next_chord <= 0.0 and abs(slope) > 3.0 * abs(chord):
        return 3.0 * chord
    return slope


def _check_points(pressure_pa: FloatArray, speed_m3_s: FloatArray) -> None:
    if pressure_pa.ndim != 1 or pressure_pa.shape != speed_m3_s.shape:
        raise OutOfRange("A speed curve needs one speed for each pressure.")
    if np.any(pressure_pa <= 0.0) or np.any(np.diff(pressure_pa) <= 0.0):
        raise OutOfRange("The pressures of a speed curve must be above zero and rise.")
    if np.any(speed_m3_s < 0.0) or not np.all(np.isfinite(speed_m3_s)):
        raise OutOfRange("The speeds of a speed curve must be finite and not negative.")
    if np.count_nonzero(speed_m3_s) < 2 or np.any(speed_m3_s[1:-1] == 0.0):
        raise OutOfRange("A speed curve needs two speeds above zero, and zeros only at its ends.")


def net_speed_m3_s(
    speed_m3_s: ArrayLike, pressure_pa: ArrayLike, ultimate_pa: ArrayLike
) -> FloatArray:
    """Return the speed left above an ultimate pressure, S·(1 − p_ult/p), zero at and below it.

    For curves that do not include the ultimate pressure already.

    Parameters
    ----------
    speed_m3_s : array
        Speed without the ultimate pressure. [m3/s]
    pressure_pa : array
        Inlet pressure, > 0. [Pa]
    ultimate_pa : array
        Ultimate pressure, ≥ 0. [Pa]
    """
    left = 1.0 - floats(ultimate_pa) / floats(pressure_pa)
    return floats(floats(speed_m3_s) * np.maximum(left, 0.0))


def gather(
    flat_speed: FloatArray, row_start: IntArray, cell: IntArray, fraction: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return speed and rise over the cell at a place in each row's table.

    The one gather that steady states and pump-down share; callers keep the cells in range.

    Parameters
    ----------
    flat_speed : array, shape (n_pumps * count,)
        Flattened table. [m3/s]
    row_start : array, shape (n,)
        Index at which each row starts. [-]
    cell : array, shape (n,)
        Cell, 0 to count − 2. [-]
    fraction : array, shape (n,)
        Place in the cell, 0 to 1. [-]
    """
    index = row_start + cell
    low = flat_speed.take(index)
    rise = flat_speed.take(index + 1)
    rise -= low
    value = rise * fraction
    value += low
    return value, rise


def lookup(table: SpeedTable, rows: ArrayLike, pressure_pa: ArrayLike) -> FloatArray:
    """Return the speeds of the given pumps at the given pressures, linear in ln p.

    Parameters
    ----------
    table : SpeedTable
        Speeds on the common grid. [-]
    rows : array of int, shape (n,) or scalar
        Pump of each entry; broadcast against the pressures. [-]
    pressure_pa : array, shape (n,) or scalar
        Inlet pressure, within the grid. [Pa]

    Raises
    ------
    OutOfRange
        A pressure outside the grid.
    """
    grid = table.grid
    pressure = floats(pressure_pa)
    slack = 1.0 + 1e-9
    lowest, highest = pressure.min(initial=grid.high_pa), pressure.max(initial=grid.low_pa)
    if not (lowest * slack >= grid.low_pa and highest <= grid.high_pa * slack):
        raise OutOfRange(
            f"Speeds are tabulated from {grid.low_pa:g} Pa to {grid.high_pa:g} Pa only."
        )
    position = grid.place_of(pressure)
    cell = np.minimum(np.maximum(position, 0.0).astype(np.intp), grid.count - 2)
    row_start = np.asarray(rows, dtype=np.intp) * grid.count
    value, _ = gather(table.speed_m3_s.ravel(), row_start, cell, position - cell)
    return value


def rest_pressure_pa(table: SpeedTable) -> FloatArray:
    """Return the pressure at and below which each pump takes nothing; 0 where there is none.

    Parameters
    ----------
    table : SpeedTable
        Speeds, ultimate pressure included. [m3/s]
    """
    first = np.argmax(table.speed_m3_s > 0.0, axis=1)
    return np.where(first > 0, table.grid.pressure_pa[np.maximum(first, 1) - 1], 0.0)
