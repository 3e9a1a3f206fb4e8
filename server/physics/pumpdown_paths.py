"""Sums along the nodes of a speed table, for ways down a row that need no steps.

A chamber whose pump takes more than a load Q falls from p₁ to p₂ in

    ∫ V·dp/(S·p − Q) = V·Σ Qᵏ·∫ d ln p/(S·(S·p)ᵏ),

a difference of running sums over the cells, made once for each row, and a part of a cell at either
end. Between the nodes 1/S counts by its mean over the cell, exact for k = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.end_to_end import EndToEnd
from server.physics.speedtable import LogGrid, SpeedTable


@dataclass(frozen=True)
class End:
    """An end of n ways: its pressure [Pa], the speed there, and a node that bounds its cell."""

    pressure: FloatArray
    speed: FloatArray
    node: IntArray


@dataclass(frozen=True)
class Paths:
    """Sums along the nodes of those m rows of a table that are used, from the highest start down.

    Speeds are in units of the table; where there is none the sums do not count it, and
    ``least`` tells.
    """

    grid: LogGrid
    speed: FloatArray
    """Shape (m, nodes)."""
    least: FloatArray
    """Least S·p from each node up to the highest start."""
    place: IntArray
    """Which of the m each row of the table is, −1 for the others."""
    counts: BoolArray
    """Cells on a way, shape (m, nodes − 1): from the lowest end of all to each highest start."""

    def lowest_node(self, rows: IntArray, carried: FloatArray) -> IntArray:
        """Return the lowest node above which a pump takes so much all the way up.

        Parameters
        ----------
        rows : array of int, shape (n,)
            Which of the m rows. [-]
        carried : array, shape (n,)
            Throughput, > 0. [Pa m3/s]
        """
        return self._least.first_reaching(rows, carried)

    def rises(self, rows: IntArray, low: IntArray, high: IntArray) -> BoolArray:
        """Say where S·p never falls with p between two nodes.

        Parameters
        ----------
        rows : array of int, shape (n,)
            Which of the m rows. [-]
        low, high : array of int, shape (n,)
            Nodes. [-]
        """
        start = rows * self.grid.count
        flat = self._falls.ravel()
        rises: BoolArray = flat.take(start + low) == flat.take(start + high)
        return rises

    def sums(self, rows: IntArray, upper: End, lower: End) -> list[FloatArray]:
        """Return ∫ d ln p/(S·(S·p)ᵏ) between two ends, for k = 0, 1, 2.

        Parameters
        ----------
        rows : array of int, shape (n,)
            Which of the m rows. [-]
        upper, lower : End
            Where the way begins and ends. [-]
        """
        parts = zip(
            self.part(rows, upper), self.between(rows, upper.node, lower.node),
            self.part(rows, lower), strict=True,
        )  # fmt: skip
        return [above + along - below for above, along, below in parts]

    def between(self, rows: IntArray, high: IntArray, low: IntArray) -> list[FloatArray]:
        """Return the sums between two nodes.

        Parameters
        ----------
        rows : array of int, shape (n,)
            Which of the m rows. [-]
        high, low : array of int, shape (n,) or (k, n)
            Nodes. [-]
        """
        start = rows * self.grid.count
        return [one.take(start + low) - one.take(start + high) for one in self._sums]

    def part(self, rows: IntArray, end: End) -> list[FloatArray]:
        """Return the sums over the part of a cell from a node up to an end; less than 0 if down.

        Parameters
        ----------
        rows : array of int, shape (n,)
            Which of the m rows. [-]
        end : End
            Within a cell of its node. [-]
        """
        node = self.grid.pressure_pa[end.node]
        speed = self.speed.ravel().take(rows * self.grid.count + end.node)
        mean = mean_inverse(speed, end.speed)
        at_node, at_end = 1.0 / node, 1.0 / end.pressure
        per_load = mean * mean * (at_node - at_end)
        square = per_load * mean * (0.5 * (at_node + at_end))
        return [mean * np.log(end.pressure * at_node), per_load, square]

    def lag(self, rows: IntArray, high: IntArray, low: IntArray) -> FloatArray:
        """Return ∫ a db between two nodes, a and b the sums for k = 0 and 1 from the upper one.

        Divided by b it is the mean of a, weighed by what the load adds.

        Parameters
        ----------
        rows : array of int, shape (n,)
            Which of the m rows. [-]
        high, low : array of int, shape (n,) or (k, n)
            Nodes. [-]
        """
        start = rows * self.grid.count
        without, per_load = self._sums[:2]
        found: FloatArray = self._lags.take(start + low) - self._lags.take(start + high)
        found -= without.take(start + high) * (
            per_load.take(start + low) - per_load.take(start + high)
        )
        return found

    @cached_property
    def _least(self) -> EndToEnd:
        return EndToEnd(self.least)

    @cached_property
    def _falls(self) -> IntArray:
        """How many cells up to each node have an S·p that falls with p."""
        falls = np.diff(self.speed * self.grid.pressure_pa, axis=1) < 0.0
        count = np.zeros(self.speed.shape, dtype=np.intp)
        np.cumsum(falls, axis=1, out=count[:, 1:])
        return count

    @cached_property
    def _cells(self) -> list[FloatArray]:
        inverse = 1.0 / self.grid.pressure_pa
        mean = np.zeros(self.counts.shape)
        mean[self.counts] = mean_inverse(
            self.speed[:, :-1][self.counts], self.speed[:, 1:][self.counts]
        )
        per_load = mean * mean * -np.diff(inverse)
        return [
            mean * self.grid.step,
            per_load,
            per_load * mean * (0.5 * (inverse[:-1] + inverse[1:])),
        ]

    @cached_property
    def _sums(self) -> list[FloatArray]:
        """Sums from each node up to the highest, flat."""
        return [_from_top(cells).ravel() for cells in self._cells]

    @cached_property
    def _lags(self) -> FloatArray:
        without = self._sums[0].reshape(self.speed.shape)
        middle = 0.5 * (without[:, :-1] + without[:, 1:])
        return _from_top(middle * self._cells[1]).ravel()


def paths_of(table: SpeedTable, rows: IntArray, start_pa: FloatArray, end_pa: FloatArray) -> Paths:
    """Return the sums along the rows of a table that are used.

    Parameters
    ----------
    table : SpeedTable
        Speeds. [m3/s]
    rows : array of int, shape (n,)
        Row of each way. [-]
    start_pa : array, shape (n,)
        Where each way begins, at the highest. [Pa]
    end_pa : array, shape (n,)
        Where each ends, at the lowest. [Pa]
    """
    grid = table.grid
    used = np.flatnonzero(np.bincount(rows))
    place = np.full(len(table.speed_m3_s), -1)
    place[used] = np.arange(used.size)
    highest = np.zeros(used.size, dtype=np.intp)
    np.maximum.at(highest, place[rows], node_below(grid, start_pa))
    below = np.arange(grid.count) <= highest[:, np.newaxis]
    speed = table.speed_m3_s[used]
    carried = np.where(below, speed * grid.pressure_pa, np.inf)
    least = np.minimum.accumulate(carried[:, ::-1], axis=1)[:, ::-1]
    lowest = max(int(node_above(grid, end_pa.min(initial=grid.high_pa))) - 1, 0)
    counts = below[:, 1:] & (np.arange(grid.count - 1) >= lowest)
    return Paths(grid, speed, np.ascontiguousarray(least), place, counts)


def node_below(grid: LogGrid, pressure_pa: FloatArray) -> IntArray:
    """Return the highest node at or below each pressure.

    Parameters
    ----------
    grid : LogGrid
        The grid. [-]
    pressure_pa : array, shape (n,)
        Pressures within the grid. [Pa]
    """
    place = grid.place_of(pressure_pa) + _ROUNDING
    return np.minimum(place.astype(np.intp), grid.count - 1)


def node_above(grid: LogGrid, pressure_pa: FloatArray) -> IntArray:
    """Return the lowest node at or above each pressure.

    Parameters
    ----------
    grid : LogGrid
        The grid. [-]
    pressure_pa : array, shape (n,)
        Pressures within the grid. [Pa]
    """
    place = grid.place_of(pressure_pa) - _ROUNDING
    return np.maximum(np.ceil(place).astype(np.intp), 0)


_ROUNDING = 1e-9
"""Share of a cell by which a pressure at a node may miss it."""


def mean_inverse(one: FloatArray, other: FloatArray) -> FloatArray:
    """Return the mean of 1/S between two speeds, S linear; 0 where there is none.

    Parameters
    ----------
    one, other : array
        Speeds, ≥ 0. [m3/s]
    """
    works = (one > 0.0) & (other > 0.0)
    low, high = np.where(works, one, 1.0), np.where(works, other, 1.0)
    bend = (high - low) / low
    flat = np.abs(bend) < _FLAT
    mean = np.log(high / low) / np.where(flat, 1.0, bend)
    mean = np.where(flat, 1.0 - 0.5 * bend, mean) / low
    return np.where(works, mean, 0.0)


_FLAT = 1e-5
"""Change of speed within a cell below which it counts as linear in the change."""


def _from_top(per_cell: FloatArray) -> FloatArray:
    total = np.zeros((per_cell.shape[0], per_cell.shape[1] + 1))
    np.cumsum(per_cell[:, ::-1], axis=1, out=total[:, -2::-1])
    return total
