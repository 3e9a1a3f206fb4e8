"""Steady states of every combination: base and process, inlet and foreline, limits of the load.

Shapes: F fronts, B backs. What depends on the front alone has shape (F, 1), on the back alone (1,
B).
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.catalog.items import TurboPump
from server.fit.alike import Groups, SharedSpeeds, Speeds
from server.fit.backing import BacksAtWork, BackTables
from server.fit.candidates import Back, Front
from server.fit.crossover import crossover_limits_pa
from server.fit.foreline import Foreline, ForelineRuns
from server.fit.front_states import FrontStates, process_time_s
from server.fit.geometry import Outlet, outlet_of
from server.fit.inlet import InletTables
from server.fit.loads import AIR, Loads
from server.fit.pump_limits import compression_rows
from server.fit.requirements import Requirements
from server.fit.settled import LinesFor, SettledState
from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.steady import SteadyState, steady_state

BELOW_NOTICE = 1e-6
"""What back-diffusion adds to a pressure is left out below this share of it."""


@dataclass(frozen=True)
class _Rest:
    """Pressure without load at the inlets of the fronts alone, (F,), and with their backs."""

    alone_pa: FloatArray
    with_backs_pa: FloatArray

    def over(self, traps_pa: FloatArray) -> _Rest:
        """Return the same in the chamber, where the vapour over the fronts' traps adds to it."""
        return _Rest(self.alone_pa + traps_pa, self.with_backs_pa + traps_pa[:, np.newaxis])


def _changed(alone: SteadyState, rest: _Rest) -> tuple[IntArray, IntArray]:
    """Find the combinations whose pressure the back changes noticeably."""
    added = rest.with_backs_pa - rest.alone_pa[:, np.newaxis]
    rows, columns = np.nonzero(added > BELOW_NOTICE * alone.pressure_pa[:, np.newaxis])
    return rows, columns


@dataclass(frozen=True)
class HighVacuumStates:
    """The states of high-vacuum fronts with their backs."""

    alone: FrontStates
    backs: Sequence[Back]
    backing: BackTables

    @property
    def fronts(self) -> Sequence[Front]:
        """The fronts."""
        return self.alone.fronts

    @property
    def loads(self) -> Loads:
        """Gas loads of the inquiry."""
        return self.alone.loads

    @property
    def requirements(self) -> Requirements:
        """The inquiry."""
        return self.alone.requirements

    @property
    def inlet(self) -> InletTables:
        """Speed tables of the fronts as their traps work without process."""
        return self.alone.at_base

    @property
    def inlet_at_work(self) -> InletTables:
        """Speed tables of the fronts as their traps work while the process runs."""
        return self.alone.at_work

    def reaching(self, load: Mapping[str, float]) -> list[tuple[BoolArray, dict[str, float]]]:
        """Return fronts that let a load by alike, with what of it reaches their backs."""
        return self.alone.reaching(load)

    @property
    def backs_at_work(self) -> BacksAtWork:
        """The backs as they and their traps work under the whole load of the process."""
        return self.backing.at_work(self.alone.process_load or self.alone.base_load)

    @cached_property
    def base(self) -> SettledState:
        """A day after pumping began, without process gas."""
        alone = self.alone
        reaching, tolerable = self._tolerable(alone.base_load)
        return SettledState(
            alone.base_load,
            reaching,
            tolerable,
            lambda: self._chamber(alone.base_load, alone.base_chamber, self._base_rest, self.inlet),
            lambda chamber_pa, wanted: np.minimum(
                self._at_pump(alone.base_load, alone.base_inlet, self._base_rest, wanted),
                chamber_pa,
            ),
            lambda: self._base_rest.with_backs_pa,
            lambda: self._at_outlets(alone.base_load, self.without_process),
            self.without_process,
        )

    @cached_property
    def process(self) -> SettledState | None:
        """While the process runs; None without one."""
        alone, load = self.alone, self.alone.process_load
        if load is None:
            return None
        reaching, tolerable = self._tolerable(load)
        return SettledState(
            load,
            reaching,
            tolerable,
            lambda: self._chamber(load, alone.process_chamber, self._process_rest, alone.at_work),
            lambda chamber_pa, wanted: np.minimum(
                self._at_pump(load, alone.process_inlet, self._process_rest, wanted), chamber_pa
            ),
            lambda: self._process_rest.with_backs_pa,
            lambda: self._at_outlets(load, self.while_working),
            self.while_working,
        )

    @cached_property
    def capacity_pa_m3_s(self) -> FloatArray:
        """Largest throughput of the gas of the process, or of what is there without one.

        The pump's own or what the foreline lets it carry.
        """
        return self._capacity(self.while_working, self.alone.process_load or self.alone.base_load)

    @cached_property
    def burst_pa_m3_s(self) -> FloatArray:
        """The same for the air that is left at the crossover, whatever gas the process has."""
        return self._capacity(self.without_process, {AIR: 1.0})

    @cached_property
    def crossover_limit_pa(self) -> FloatArray:
        """Highest chamber pressure at which the high-vacuum pump may take over."""
        return crossover_limits_pa(
            self.fronts, self.backing, self.loads.volume_m3, self.burst_pa_m3_s
        )

    @cached_property
    def rough_floor_pa(self) -> FloatArray:
        """Lowest chamber pressure by roughing alone, shape (1, B)."""
        return self._roughed(self.backing.chamber)

    @cached_property
    def behind_turbo_pa(self) -> FloatArray | None:
        """Foreline pressure of turbomolecular pumps that rough for others, shape (1, B)."""
        alone = self.backing.alone
        return self._roughed(alone) if alone else None

    def keep_from(self, other: HighVacuumStates) -> None:
        """Take over from states of the same stacks what another inquiry leaves alone."""
        before = other._rests_on()
        for name, now in self._rests_on().items():
            if name in vars(other) and now == before[name]:
                vars(self)[name] = vars(other)[name]

    def _rests_on(self) -> Mapping[str, tuple[Hashable, ...]]:
        """Return what those parts rest on that not every change of an inquiry touches.

        The pressures in chamber and inlet are none of them: a change of anything moves those.
        """
        asked, alone, loads = self.requirements, self.alone, self.loads
        behind = (asked.foreline, loads.species)
        working = (*behind, bool(asked.process.vapour))
        base = tuple(alone.base_load.items())
        running = tuple((alone.process_load or alone.base_load).items())
        before = tuple(loads.base_pa_m3_s(process_time_s(asked)).items())
        return {
            "_runs": (asked.foreline,),
            "without_process": behind,
            "_lines_at_work": working,
            "_base_rest": (*behind, base),
            "_process_rest": (*working, running),
            "capacity_pa_m3_s": (*working, running),
            "burst_pa_m3_s": behind,
            "crossover_limit_pa": (*behind, asked.rough_line, loads.volume_m3),
            "rough_floor_pa": (asked.rough_line, before),
            "behind_turbo_pa": (before,),
        }

    def with_limits(
        self, burst_pa_m3_s: FloatArray, crossover_pa: FloatArray, resting_pa: FloatArray
    ) -> HighVacuumStates:
        """Return the same stacks with limits and pressures at rest that are known, (F, B) each.

        Of a few combinations of a large field nothing else need be solved; NaN stands for the rest.
        """
        some = HighVacuumStates(self.alone, self.backs, self.backing)
        vars(some).update(
            burst_pa_m3_s=burst_pa_m3_s,
            crossover_limit_pa=crossover_pa,
            _base_rest=_Rest(self.alone.resting_pa, resting_pa),
        )
        return some

    @cached_property
    def offset_pa(self) -> FloatArray:
        """Pressure in the chamber without load."""
        return self._base_rest.over(self.inlet.over_pa).with_backs_pa

    @property
    def still(self) -> Foreline:
        """The forelines with the backs as they work without process."""
        return self.without_process({})

    @property
    def outlet_rows(self) -> IntArray:
        """Outlet of each front among those of the forelines, −1 where it has none."""
        return self._outlets[1]

    @cached_property
    def _base_rest(self) -> _Rest:
        load, alone_pa = self.alone.base_load, self.alone.resting_pa
        return _Rest(alone_pa, self._offset(load, alone_pa, self.without_process))

    @cached_property
    def _process_rest(self) -> _Rest:
        alone = self.alone
        load = alone.process_load or alone.base_load
        return _Rest(alone.resting_pa, self._offset(load, alone.resting_pa, self.while_working))

    @cached_property
    def _runs(self) -> ForelineRuns:
        return ForelineRuns(self._outlets[0], self.backs, self.requirements)

    @cached_property
    def without_process(self) -> LinesFor:
        """The forelines with the backs as they work without process, whatever comes to them."""
        lines = Foreline(self._runs, self.backing.inlet)
        return lambda _load: lines

    def while_working(self, load: Mapping[str, float]) -> Foreline:
        """Return the forelines with the backs as they work while a load of the process comes."""
        backs = self.backing.at_work(load)
        if backs.key not in self._lines_at_work:
            self._lines_at_work[backs.key] = Foreline(self._runs, backs.inlet, backs.over_pa)
        return self._lines_at_work[backs.key]

    @cached_property
    def _lines_at_work(self) -> dict[Hashable, Foreline]:
        """The same by what the traps of the backs hold."""
        return {}

    def _roughed(self, speeds: SharedSpeeds) -> FloatArray:
        """Return where roughing comes to rest, shape (1, B)."""
        load = self.loads.base_pa_m3_s(process_time_s(self.requirements))
        return speeds.settled(load).pressure_pa[np.newaxis]

    @cached_property
    def _outlets(self) -> tuple[list[Outlet], IntArray]:
        """Distinct outlets, and the row of each front (−1: none)."""
        distinct: dict[Outlet, int] = {}
        outlets = [outlet_of(front.pump, self.backing.catalog) for front in self.fronts]
        rows = [
            -1 if outlet is None else distinct.setdefault(outlet, len(distinct))
            for outlet in outlets
        ]
        return list(distinct), np.array(rows, dtype=np.intp)

    def _offset(
        self, load: Mapping[str, float], resting_pa: FloatArray, lines: LinesFor
    ) -> FloatArray:
        """Inlet pressure without load: fluid vapour, own ultimate, back-diffusion of each gas."""
        offset = np.repeat(resting_pa[:, np.newaxis], len(self.backs), axis=1)
        turbos = np.array([isinstance(front.pump, TurboPump) for front in self.fronts])
        if turbos.any():
            for mask, reaching in self.alone.reaching(load):
                rows = np.nonzero(turbos & mask)[0]
                if rows.size:
                    offset[rows] += self._back_diffusion_pa(rows, reaching, lines(reaching))
        return offset

    def _back_diffusion_pa(
        self, rows: IntArray, load: Mapping[str, float], line: Foreline
    ) -> FloatArray:
        """Σ p_f,i/K_i of turbomolecular pumps, shape (rows, B)."""
        foreline_pa = line.pressure_pa(load)[self._outlets[1][rows]]
        standing = np.isfinite(foreline_pa)
        pressed = np.where(standing, foreline_pa, 0.0)
        shares = {gas: share for gas, share in line.shares(load).items() if share.any()}
        compression = compression_rows([self._turbo(row) for row in rows], shares, pressed)
        per_gas = pressed * np.array([*shares.values()])[:, np.newaxis] / compression
        return np.where(standing, per_gas.sum(axis=0), np.nan)

    def _turbo(self, position: int) -> TurboPump:
        pump = self.fronts[position].pump
        assert isinstance(pump, TurboPump)  # noqa: S101 (the caller filtered by class)
        return pump

    def _tolerable(self, load: Mapping[str, float]) -> tuple[FloatArray, FloatArray]:
        """Load that reaches each pump, and the foreline pressure it tolerates then, (F, 1)."""
        reaching, tolerable = self.alone.throughput_pa_m3_s(load), self.alone.tolerable_pa(load)
        return reaching[:, np.newaxis], tolerable[:, np.newaxis]

    def _at_outlets(self, load: Mapping[str, float], lines: LinesFor) -> FloatArray:
        """Return the foreline pressure of every combination; NaN for pumps without outlet."""
        foreline_pa = np.full((len(self.fronts), len(self.backs)), np.nan)
        outlet_row = self._outlets[1]
        for mask, reaching in self.alone.reaching(load):
            wanted = (outlet_row >= 0) & mask
            if wanted.any():
                foreline_pa[wanted] = lines(reaching).pressure_pa(reaching)[outlet_row[wanted]]
        return foreline_pa

    def _chamber(
        self, load: Mapping[str, float], alone: SteadyState, rest: _Rest, tables: InletTables
    ) -> tuple[FloatArray, Mapping[str, FloatArray]]:
        places = _changed(alone, rest)
        standing = rest.over(tables.over_pa)
        return self._with_backs(load, tables.at_chamber, alone, standing, places)

    def _at_pump(
        self,
        load: Mapping[str, float],
        alone: SteadyState,
        rest: _Rest,
        wanted: BoolArray | None,
    ) -> FloatArray:
        places = _changed(alone, rest)
        if wanted is not None:
            some = wanted[places]
            places = places[0][some], places[1][some]
        beyond = self.alone.beyond_trap(load)
        return self._with_backs(beyond, self.inlet.at_pump, alone, rest, places)[0]

    def _with_backs(
        self,
        load: Mapping[str, float] | Mapping[str, FloatArray],
        tables: Speeds,
        alone: SteadyState,
        rest: _Rest,
        places: tuple[IntArray, IntArray],
    ) -> tuple[FloatArray, Mapping[str, FloatArray]]:
        """Pressures of all combinations: those of the fronts alone, but where a back adds to it."""
        offset_pa = rest.with_backs_pa
        shape = offset_pa.shape
        # a foreline that has no state leaves the chamber none either
        pressure = np.where(np.isnan(offset_pa), np.nan, alone.pressure_pa[:, np.newaxis])
        rows, columns = places
        if not rows.size:
            return pressure, {
                gas: np.broadcast_to(part[:, np.newaxis], shape)
                for gas, part in alone.partial_pa.items()
            }
        partial = {
            gas: np.repeat(part[:, np.newaxis], shape[1], axis=1)
            for gas, part in alone.partial_pa.items()
        }
        flows = {gas: np.broadcast_to(flow, shape[:1])[rows] for gas, flow in load.items()}
        found = steady_state(
            flows, tables, self.inlet.row_of_front[rows], offset_pa=offset_pa[rows, columns]
        )
        pressure[rows, columns] = found.pressure_pa
        for gas, part in found.partial_pa.items():
            partial[gas][rows, columns] = part
        return pressure, partial

    def _capacity(self, lines: LinesFor, load: Mapping[str, float]) -> FloatArray:
        """Largest throughput of a gas in the proportions of a load, shape (F, B)."""
        outlet_row = self._outlets[1]
        limits = self.alone.limits(load)
        capacity = np.repeat(limits.largest_pa_m3_s[:, np.newaxis], len(self.backs), axis=1)
        for mask, reaching in self.alone.reaching(load):
            backed = mask & (outlet_row >= 0)
            if not backed.any():
                continue
            pumps = np.flatnonzero(backed)
            own = (limits.largest_pa_m3_s, limits.no_load_pa, limits.full_load_pa)
            alike = Groups.by(
                zip(*(term[pumps].tolist() for term in (outlet_row, *own)), strict=True)
            )
            first = pumps[alike.first]
            found = lines(reaching).largest_throughput_pa_m3_s(
                reaching, outlet_row[first], *(term[first] for term in own)
            )
            capacity[pumps] = found[alike.of]
        return capacity
