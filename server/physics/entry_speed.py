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
from server.physics.speedtable import LogGrid

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
        cells = (conductance[:, 1:] + conductance[:, :-1]) / 2 * np.diff(pressure)
        first = conductance[:, :1] * pressure[0]
        return np.cumsum(np.concatenate([first, cells], axis=1), axis=1)

    @cached_property
    def _ln_nodes(self) -> EndToEnd:
        return EndToEnd(np.log(self.nodes_pa_m3_s))

    def at_pa_m3_s(self, rows: IntArray, pressure_pa: FloatArray) -> FloatArray:
        """Return Φ of some lines at some pressures, both of one shape."""
        grid = self.grid
        above = np.log(pressure_pa / grid.low_pa) / grid.step
        cell = np.clip(above.astype(np.intp), 0, grid.count - 2)
        low, slope, begin = self._cell(rows, cell)
        past = pressure_pa - grid.pressure_pa[cell]
        return floats(begin + (low + slope * np.maximum(past, 0.0) / 2) * past)

    def pressure_pa(self, rows: IntArray, potential_pa_m3_s: FloatArray) -> FloatArray:
        """Return the pressures at which some lines have some potentials, above zero."""
        grid = self.grid
        place = self._ln_nodes.first_reaching(rows, np.log(potential_pa_m3_s))
        cell = np.clip(place - 1, 0, grid.count - 2)
        low, slope, begin = self._cell(rows, cell)
        more = potential_pa_m3_s - begin
        # more = low·x + slope·x²/2, written so that it holds without a slope; none below the grid
        root = np.sqrt(np.maximum(low * low + 2 * slope * np.maximum(more, 0.0), 0.0))
        return floats(grid.pressure_pa[cell] + 2 * more / (low + root))

    def in_cells(self, rows: IntArray, cell: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return Φ, C and dC/dp at the lower node of a cell of each of some lines.

        Within the cell Φ(p) = Φ + (C + dC/dp·Δp/2)·Δp.
        """
        low, slope, begin = self._cell(rows, cell)
        return begin, low, slope

    def _cell(self, rows: IntArray, cell: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Conductance at the lower node of cells, its slope dC/dp within, Φ at the node."""
        index = rows * self.grid.count + cell
        flat = self.conductance_m3_s.ravel()
        low = flat[index]
        slope = (flat[index + 1] - low) / np.diff(self.grid.pressure_pa)[cell]
        return low, slope, self.nodes_pa_m3_s.ravel()[index]


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
    pressure, nodes = lines.grid.pressure_pa, lines.nodes_pa_m3_s
    ln_pressure, ln_nodes = np.log(pressure), np.log(nodes)
    # where the throughput falls with pressure the lower of two exits is the one that is stable
    drawn = np.maximum.accumulate(nodes[line_of] + speed_m3_s * pressure, axis=1)
    ln_exit = np.empty_like(speed_m3_s)
    for row, (line, ln_drawn) in enumerate(zip(line_of.tolist(), np.log(drawn), strict=True)):
        ln_exit[row] = np.interp(ln_nodes[line], ln_drawn, ln_pressure)
    place = (ln_exit - lines.grid.ln_low) / lines.grid.step
    cell = np.minimum(place.astype(np.intp), lines.grid.count - 2)
    index = np.arange(len(speed_m3_s))[:, np.newaxis] * lines.grid.count + cell
    flat = speed_m3_s.ravel()
    low = flat[index]
    left = low + (flat[index + 1] - low) * (place - cell)
    speed = left * np.exp(ln_exit) / pressure
    # below the first entry pressure speed and conductance are constant: the series law is exact
    first = speed_m3_s[:, :1] / (1 + speed_m3_s[:, :1] / lines.conductance_m3_s[line_of, :1])
    speed = np.where(nodes[line_of] <= drawn[:, :1], first, speed)
    # a pump that takes nothing up to this pressure takes nothing behind a line, rounding or not
    takes = np.maximum.accumulate(speed_m3_s, axis=1) > 0.0
    return floats(np.where(takes, np.minimum(speed, choked_m3_s), 0.0))
