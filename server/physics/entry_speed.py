"""Speed left at the entry of a line, tabulated for many pumps at once.

A line of conductance C(p) between two pressures carries Q = ∫ C dp from p₂ to p₁, because every
short piece of it carries C·dp: with the *flow potential* Φ(p) = ∫₀ᵖ C dp that is Q = Φ(p₁) −
Φ(p₂). A pump of speed S(p₂) behind it draws S(p₂)·p₂, so Φ(p₁) = Φ(p₂) + S(p₂)·p₂: rising on both
sides, one reading of a table instead of a root for each pressure. Tabulated on the grid of the
pumps' own curves, a chamber state is then solved as if the pump were mounted on the chamber.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from server.physics.arrays import FloatArray, IntArray, floats
from server.physics.end_to_end import EndToEnd
from server.physics.speedtable import LogGrid, gather, largest_so_far

_NO_RESISTANCE_M3_S = 1e9


@dataclass(frozen=True)
class FlowPotential:
    """Flow potential of n lines: Φ(p) = ∫₀ᵖ C dp, with C linear in p between nodes.

    That is exact in molecular flow, where C is constant, and in viscous flow, where C ∝ p. Below
    the grid the conductance of the lowest node holds, above it that of the last cell goes on.

    Parameters
    ----------
    grid : LogGrid
        Pressures of the nodes. [-]
    conductance_m3_s : array, shape (n, grid.count)
        Conductance of each line for small pressure differences, finite. [m3/s]
    """

    grid: LogGrid
    conductance_m3_s: FloatArray

    @classmethod
    def of_lines(cls, grid: LogGrid, conductance_m3_s: FloatArray) -> FlowPotential:
        """Return the potential of lines, some of which may have no resistance (infinite)."""
        # a finite stand-in keeps sums and slopes of the table defined
        return cls(grid, np.minimum(conductance_m3_s, _NO_RESISTANCE_M3_S))

    @cached_property
    def nodes_pa_m3_s(self) -> FloatArray:
        """Φ at the nodes, shape (n, grid.count)."""
        pressure, conductance = self.grid.pressure_pa, self.conductance_m3_s
        cells = (conductance[:, 1:] + conductance[:, :-1]) / 2 * self.grid.width_pa
        first = conductance[:, :1] * pressure[0]
        return np.cumsum(np.concatenate([first, cells], axis=1), axis=1)

    @cached_property
    def _rising(self) -> EndToEnd:
        return EndToEnd(self.nodes_pa_m3_s)

    def at_pa_m3_s(self, rows: IntArray, pressure_pa: FloatArray) -> FloatArray:
        """Return Φ of some lines at some pressures, both of one shape."""
        return self.in_cells(rows, self.grid.cell_of(pressure_pa), pressure_pa)[0]

    def in_cells(
        self, rows: IntArray, cell: IntArray, pressure_pa: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return Φ and C of some lines at pressures whose cells are known, all of one shape."""
        low, slope, begin = self._cell(rows, cell)
        past = pressure_pa - self.grid.pressure_pa.take(cell)
        more = slope * np.maximum(past, 0.0)
        return begin + (low + more / 2) * past, low + more

    def pressure_pa(self, rows: IntArray, potential_pa_m3_s: FloatArray) -> FloatArray:
        """Return the pressures at which some lines have some potentials, above zero."""
        grid = self.grid
        place = self._rising.first_reaching(rows, potential_pa_m3_s)
        cell = np.minimum(np.maximum(place - 1, 0), grid.count - 2)
        low, slope, begin = self._cell(rows, cell)
        more = potential_pa_m3_s - begin
        # more = low·x + slope·x²/2, written so that it holds without a slope; none below the grid
        root = np.sqrt(np.maximum(low * low + 2 * slope * np.maximum(more, 0.0), 0.0))
        return floats(grid.pressure_pa.take(cell) + 2 * more / (low + root))

    def _cell(self, rows: IntArray, cell: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Conductance at the lower node of cells, its slope dC/dp within, Φ at the node."""
        index = rows * self.grid.count + cell
        low = self.conductance_m3_s.take(index)
        slope = (self.conductance_m3_s.take(index + 1) - low) / self.grid.width_pa.take(cell)
        return low, slope, self.nodes_pa_m3_s.take(index)


def entry_pressure_pa(
    grid: LogGrid,
    conductance_m3_s: FloatArray,
    throughput_pa_m3_s: FloatArray,
    exit_pa: FloatArray,
) -> FloatArray:
    """Return the pressure at the entry of lines that carry a throughput, Φ(p₁) = Φ(p₂) + Q.

    Parameters
    ----------
    grid : LogGrid
        Grid of the conductance tables. [-]
    conductance_m3_s : array, shape (n, grid.count)
        Conductance of each line against pressure. [m3/s]
    throughput_pa_m3_s : array, shape (n, m)
        Throughput carried. [Pa m3/s]
    exit_pa : array, shape (n, m)
        Pressure at the exit, above zero. [Pa]
    """
    lines = FlowPotential.of_lines(grid, conductance_m3_s)
    exit_pressure = floats(exit_pa)
    rows = np.broadcast_to(np.arange(len(conductance_m3_s))[:, np.newaxis], exit_pressure.shape)
    driven = lines.at_pa_m3_s(rows, exit_pressure) + throughput_pa_m3_s
    return np.maximum(lines.pressure_pa(rows, driven), exit_pressure)


def entry_speed_m3_s(
    lines: FlowPotential,
    line_of: IntArray,
    speed_m3_s: FloatArray,
    choked_m3_s: ArrayLike = np.inf,
) -> FloatArray:
    """Return each pump's speed at the entry of its line, on the grid of the lines.

    Parameters
    ----------
    lines : FlowPotential
        The lines. [-]
    line_of : array of int, shape (n,)
        Line of each pump. [-]
    speed_m3_s : array, shape (n, grid.count)
        Speed at the exit of the line, against the pressure there. [m3/s]
    choked_m3_s : array, scalar or shape (n, 1)
        Largest volume flow at the entry, sonic in the narrowest bore. [m3/s]
    """
    grid = lines.grid
    first_taking = _first_taking(speed_m3_s)
    # a backing pump takes nothing at most nodes: from the last of those that no pump takes at
    begin = max(int(first_taking.min(initial=grid.count - 1)) - 1, 0)
    pressure, nodes = grid.pressure_pa[begin:], lines.nodes_pa_m3_s[line_of, begin:]
    speed = np.ascontiguousarray(speed_m3_s[:, begin:])
    # where the throughput falls with pressure the lower of two exits is the one that is stable
    drawn = largest_so_far(nodes + speed * pressure)
    place = _exits(np.log(lines.nodes_pa_m3_s[:, begin:]), line_of, np.log(drawn))
    cell = np.minimum(place.astype(np.intp), speed.shape[1] - 2)
    starts = np.arange(0, speed.size, speed.shape[1])[:, np.newaxis]
    at_exit, _ = gather(speed.ravel(), starts, cell, place - cell)
    left = at_exit * np.exp(place * grid.step) * (pressure[0] / pressure)
    # below the first entry pressure speed and conductance are constant: the series law is exact
    first = speed[:, :1] / (1 + speed[:, :1] / lines.conductance_m3_s[line_of, begin : begin + 1])
    left = np.where(nodes <= drawn[:, :1], first, left)
    # a pump that takes nothing up to a pressure takes nothing behind a line, rounding or not
    takes = np.arange(begin, grid.count) >= first_taking[:, np.newaxis]
    found = np.zeros_like(speed_m3_s)
    np.minimum(left, choked_m3_s, out=found[:, begin:], where=takes)
    return found


def _first_taking(speed_m3_s: FloatArray) -> IntArray:
    """First node at which each pump takes something, the number of nodes where none does."""
    takes = speed_m3_s > 0.0
    first = np.where(takes.any(axis=1), takes.argmax(axis=1), speed_m3_s.shape[1])
    return np.asarray(first)


def _exits(ln_nodes: FloatArray, line_of: IntArray, ln_drawn: FloatArray) -> FloatArray:
    """Where on the grid the exit of each pump's line is while the entry is at each node."""
    place, nodes = np.empty_like(ln_drawn), np.arange(ln_drawn.shape[1], dtype=np.float64)
    for row, line in enumerate(line_of.tolist()):
        place[row] = np.interp(ln_nodes[line], ln_drawn[row], nodes)
    return place
