"""The lines between the outlets of the high-vacuum pumps and the backs, and what stands in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.catalog.arrays import GRID
from server.fit.alike import Groups, SharedSpeeds
from server.fit.behind import parts_behind
from server.fit.candidates import Back
from server.fit.geometry import Outlet, forelines, groups_by_line
from server.fit.inlet import flow_potential
from server.fit.loads import AIR
from server.fit.requirements import Requirements
from server.fit.thresholds import ROUNDING
from server.physics.arrays import FloatArray, IntArray
from server.physics.entry_speed import FlowPotential
from server.physics.gas import Mixture
from server.physics.roots import at_rising_roots
from server.physics.species import SPECIES
from server.physics.speedtable import SpeedTable, gather, rest_pressure_pa
from server.physics.steady import steady_state


class ForelineRuns:
    """The line from every outlet to every back; a line carries the gas of the load as a mixture."""

    def __init__(
        self, outlets: Sequence[Outlet], backs: Sequence[Back], requirements: Requirements
    ) -> None:
        self.outlets = tuple(outlets)
        self.back_count = len(backs)
        kinds = groups_by_line(backs)
        first = [backs[place] for place in kinds.first]
        self._lines = forelines(outlets, first, requirements)
        self.line_of = self._lines.of.reshape(len(self.outlets), len(first))[:, kinds.of]
        """Line of each run among those of ``potential``, shape (outlets, backs)."""
        self._known: dict[Mixture, FlowPotential] = {}

    def potential(self, load_pa_m3_s: Mapping[str, float]) -> FlowPotential:
        """Return the flow potentials for the gas of a load, line by line."""
        gas = mixture_of(load_pa_m3_s)
        if gas not in self._known:
            self._known[gas] = flow_potential(self._lines, gas)
        return self._known[gas]


def mixture_of(load_pa_m3_s: Mapping[str, float]) -> Mixture:
    """Return the gas of a load; air where there is none."""
    flowing = {SPECIES[gas]: flow for gas, flow in load_pa_m3_s.items() if flow > 0.0}
    return Mixture.of_amounts(flowing or {SPECIES[AIR]: 1.0})


@dataclass(frozen=True)
class Standing:
    """What stands in the forelines at one load; NaN where the backs do not carry it."""

    at_outlet_pa: FloatArray
    """At the high-vacuum pumps, shape (n_outlets, n_backs)."""
    at_back_pa: FloatArray
    """At the inlet of the backs, shape (n_backs,)."""
    air_rest_pa: FloatArray
    """Where the backs stop pumping air, shape (n_backs,)."""
    shares: Mapping[str, FloatArray]
    """Of each gas in the pressure at the backs, shape (n_backs,)."""


class Foreline:
    """The forelines with the backs as they work in one state.

    Parameters
    ----------
    runs : ForelineRuns
        The lines.
    speeds : SharedSpeeds
        Speeds of the backs at their inlets.
    resting_pa : array, scalar or shape (backs,)
        Vapour pressure over what the backs' traps hold.
    """

    def __init__(
        self,
        runs: ForelineRuns,
        speeds: SharedSpeeds,
        resting_pa: FloatArray | float = 0.0,
    ) -> None:
        self.runs, self._speeds = runs, speeds
        self._resting_pa = np.broadcast_to(resting_pa, speeds.of.shape)[speeds.first]
        self._known: dict[tuple[tuple[str, float], ...], Standing] = {}
        self._speed: dict[tuple[tuple[str, float], ...], SpeedTable] = {}

    @cached_property
    def _ultimate_pa(self) -> FloatArray:
        """Where a foreline rests without any gas: its pump has no speed left there."""
        return np.maximum(self._air_rest_pa, GRID.low_pa)

    @cached_property
    def _air_rest_pa(self) -> FloatArray:
        return rest_pressure_pa(self._air)

    @cached_property
    def _air(self) -> SpeedTable:
        """Speeds for air, row by row in use."""
        return SpeedTable(GRID, self._speeds.tables[AIR].speed_m3_s[self._speeds.rows])

    def pressure_pa(self, load_pa_m3_s: Mapping[str, float]) -> FloatArray:
        """Return the foreline pressure at every outlet for a load, shape (n_outlets, n_backs)."""
        return self.standing(load_pa_m3_s).at_outlet_pa

    def shares(self, load_pa_m3_s: Mapping[str, float]) -> Mapping[str, FloatArray]:
        """Return the share of each gas in the pressure at the backs, shape (n_backs,)."""
        return self.standing(load_pa_m3_s).shares

    def standing(self, load_pa_m3_s: Mapping[str, float]) -> Standing:
        """Return what stands in the forelines at a load, solved once."""
        key = tuple(load_pa_m3_s.items())
        if key not in self._known:
            self._known[key] = self._stand(load_pa_m3_s)
        return self._known[key]

    def _stand(self, load_pa_m3_s: Mapping[str, float]) -> Standing:
        speeds = self._speeds
        found = steady_state(load_pa_m3_s, speeds.tables, speeds.rows, offset_pa=self._resting_pa)
        at_back = np.where(found.exists, np.maximum(found.pressure_pa, self._ultimate_pa), 1.0)
        potential, line_of = self.runs.potential(load_pa_m3_s), self.runs.line_of
        exit_pa = np.broadcast_to(at_back[speeds.of], line_of.shape)
        driven = potential.at_pa_m3_s(line_of, exit_pa) + sum(load_pa_m3_s.values())
        entry = np.maximum(potential.pressure_pa(line_of, driven), exit_pa)
        shares = parts_behind(found.partial_pa, self._air_rest_pa)
        exists = found.exists[speeds.of]
        return Standing(
            np.where(exists, entry, np.nan),
            np.where(exists, at_back[speeds.of], np.nan),
            self._air_rest_pa[speeds.of],
            {gas: share[speeds.of] for gas, share in shares.items()},
        )

    def carrying_pa(
        self, load_pa_m3_s: Mapping[str, float], flow_pa_m3_s: FloatArray
    ) -> FloatArray:
        """Return the pressure at every outlet at which a back takes a flow, (n_outlets, n_backs).

        The pressure that a pump must tolerate at that flow if the back is to let it carry so much:
        the same law as that of ``largest_throughput_pa_m3_s``. Infinite where a back never does.

        Parameters
        ----------
        load_pa_m3_s : mapping of float
            The gas: its species in these proportions. [Pa m3/s]
        flow_pa_m3_s : array, shape (n_backs,)
            Flow into each back, zero or more. [Pa m3/s]
        """
        found = steady_state(
            {AIR: flow_pa_m3_s}, {AIR: self._speed_of(load_pa_m3_s)}, self._speeds.of
        )
        potential, line_of = self.runs.potential(load_pa_m3_s), self.runs.line_of
        at_back = np.where(found.exists, np.maximum(found.pressure_pa, GRID.low_pa), 1.0)
        exit_pa = np.broadcast_to(at_back, line_of.shape)
        entry = potential.pressure_pa(
            line_of, potential.at_pa_m3_s(line_of, exit_pa) + flow_pa_m3_s
        )
        return np.where(found.exists, np.maximum(entry, exit_pa), np.inf)

    def between_branches_pa_m3_s(
        self, load_pa_m3_s: Mapping[str, float], up_to_pa: float
    ) -> tuple[FloatArray, FloatArray]:
        """Return the flows, from and to, at which a back has several pressures, (n_backs,) each.

        Where a booster is switched off a back takes less at a higher pressure. Infinite and −
        infinite where it never does up to a pressure.
        """
        below = GRID.pressure_pa <= up_to_pa
        carried = (self._speed_of(load_pa_m3_s).speed_m3_s * GRID.pressure_pa)[:, below]
        most = np.maximum.accumulate(carried, axis=1)
        dips = carried < most * (1.0 - ROUNDING)
        low = np.where(dips, carried, np.inf).min(axis=1, initial=np.inf)
        high = np.where(dips, most, -np.inf).max(axis=1, initial=-np.inf)
        return low[self._speeds.of], high[self._speeds.of]

    def largest_throughput_pa_m3_s(
        self,
        load_pa_m3_s: Mapping[str, float],
        outlet_rows: IntArray,
        largest_pa_m3_s: FloatArray,
        no_load_pa: FloatArray,
        full_load_pa: FloatArray,
    ) -> FloatArray:
        """Return the largest throughput each back lets each pump carry, shape (n_pumps, n_backs).

        Where the foreline pressure at the pump's outlet reaches the tolerable pressure at that very
        load, or the pump's own largest throughput where that comes first: a root in the pressure at
        the back's inlet, where that and the flow into the back ask of the line what it can do.

        Parameters
        ----------
        load_pa_m3_s : mapping of float
            The gas: its species in these proportions.
        outlet_rows : array of int, shape (n_pumps,)
            Outlet of each pump.
        largest_pa_m3_s, no_load_pa, full_load_pa : array, shape (n_pumps,)
            The pumps' own largest throughput and tolerable foreline pressures.
        """
        potential, line_of = self.runs.potential(load_pa_m3_s), self.runs.line_of
        alike = self._columns
        shape = (len(outlet_rows), len(alike.first))
        row = np.broadcast_to(self._speeds.of[alike.first], shape).ravel()
        line = line_of[outlet_rows][:, alike.first].ravel()
        own = (np.repeat(value, shape[1]) for value in (largest_pa_m3_s, no_load_pa, full_load_pa))
        carrying = _Carrying(potential, line, self._speed_of(load_pa_m3_s), row, *own)
        return carrying.largest_pa_m3_s().reshape(shape)[:, alike.of]

    def largest_of_each_pa_m3_s(
        self,
        load_pa_m3_s: Mapping[str, float],
        places: tuple[IntArray, IntArray],
        own: tuple[FloatArray, FloatArray, FloatArray],
    ) -> FloatArray:
        """Return the same for n pumps with a back each, shape (n,).

        Parameters
        ----------
        load_pa_m3_s : mapping of float
            The gas: its species in these proportions.
        places : pair of int arrays, shape (n,)
            Outlet of each pump, and its back.
        own : three arrays, shape (n,)
            The pumps' own largest throughput and tolerable foreline pressures.
        """
        potential, line_of = self.runs.potential(load_pa_m3_s), self.runs.line_of
        row = self._speeds.of[places[1]]
        speeds = self._speed_of(load_pa_m3_s)
        return _Carrying(potential, line_of[places], speeds, row, *own).largest_pa_m3_s()

    @cached_property
    def _columns(self) -> Groups:
        """Backs that pump alike behind lines that pass gas alike."""
        return Groups.by(zip(self._speeds.of.tolist(), *self.runs.line_of.tolist(), strict=True))

    def _speed_of(self, load_pa_m3_s: Mapping[str, float]) -> SpeedTable:
        """Speeds for the gas of a load, row by row in use."""
        key = tuple(load_pa_m3_s.items())
        if key not in self._speed:
            self._speed[key] = self._mixed_speed(load_pa_m3_s)
        return self._speed[key]

    def _mixed_speed(self, load_pa_m3_s: Mapping[str, float]) -> SpeedTable:
        """Speeds for a mixture: p = Σ Q_i/S_i, so 1/S = Σ x_i/S_i."""
        whole = sum(load_pa_m3_s.values())
        if not whole > 0.0:
            return self._air
        slow = np.zeros_like(self._air.speed_m3_s)
        with np.errstate(divide="ignore"):  # where one gas is not pumped at all, the mixture is not
            for gas, flow in load_pa_m3_s.items():
                if flow > 0.0:
                    own = self._speeds.tables[gas].speed_m3_s[self._speeds.rows]
                    slow += flow / whole / own
            return SpeedTable(GRID, 1.0 / slow)


@dataclass(frozen=True)
class _Carrying:
    """What n pumps may carry through their lines into their backs; arrays of shape (n,)."""

    potential: FlowPotential
    line: IntArray
    speeds: SpeedTable
    row: IntArray
    """Row of each back in ``speeds``."""
    own_largest: FloatArray
    no_load_pa: FloatArray
    full_load_pa: FloatArray

    def largest_pa_m3_s(self) -> FloatArray:
        """Return the flow at the root, the pump's own largest where that comes first."""
        # at no pressure nothing is asked, at the tolerable one without load or above too much
        highest = np.log(self.no_load_pa / GRID.low_pa) / GRID.step
        high = np.minimum(highest, GRID.count - 1.0)
        return np.asarray(np.minimum(at_rising_roots(self._asked, high, high), self.own_largest))

    def _asked(self, place: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return ln(asked of the line ÷ what it can do), its rise with the place, and the flow.

        The place is that of the pressure at the back on the grid. Of it the logarithms are nearly
        straight lines: the pressure there and the flow into the back ask for more and more, what
        the line can do from the tolerable pressure falls.
        """
        cell = np.minimum(place.astype(np.intp), GRID.count - 2)
        speed, rise = gather(
            self.speeds.speed_m3_s.ravel(), self.row * GRID.count, cell, place - cell
        )
        pressure = GRID.low_pa * np.exp(place * GRID.step)
        flow, more_flow = speed * pressure, (speed * GRID.step + rise) * pressure
        behind, conductance = self.potential.in_cells(self.line, cell, pressure)
        asked, more_asked = behind + flow, conductance * GRID.step * pressure + more_flow
        # beyond the largest throughput the answer is that: the tolerable pressure may rest there
        share, falls = flow / self.own_largest, self.no_load_pa - self.full_load_pa
        tolerable = np.maximum(self.no_load_pa - falls * np.minimum(share, 1.0), GRID.low_pa)
        able, passing = self.potential.in_cells(self.line, GRID.cell_of(tolerable), tolerable)
        less_able = np.where(share < 1.0, passing * falls * more_flow / self.own_largest, 0.0)
        return np.log(asked / able), more_asked / asked + less_able / able, flow
