"""Steady states of every combination: base and process, inlet and foreline, limits of the load.

Shapes: F fronts, B backs. What depends on the front alone has shape (F, 1), on the back alone (1,
B).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.catalog.arrays import GRID
from server.catalog.flanges import Flange
from server.catalog.gas_curves import compression_for
from server.catalog.items import TurboPump, VapourPump
from server.fit.backing import BackTables, Foreline
from server.fit.behind import parts_behind, rest_pa
from server.fit.candidates import Back, Front, HighVacuumPump
from server.fit.fluid_use import vapour_pressure_pa
from server.fit.inlet import InletTables
from server.fit.loads import AIR, Loads
from server.fit.requirements import Requirements
from server.fit.settled import FieldStates, SettledState
from server.fit.thresholds import BASE_STATE_AFTER_S, BURST_S, FORELINE_SHARE_AT_CROSSOVER
from server.physics.arrays import FloatArray, IntArray
from server.physics.pumps import tolerable_foreline_pa
from server.physics.speedtable import SpeedTable
from server.physics.steady import steady_state

ROOM_K = 298.15
"""Temperature of an uncooled inlet, where pump fluid evaporates back. [K]"""


def process_time_s(requirements: Requirements) -> float:
    """Return the time after the start of pumping at which the process begins."""
    return requirements.pump_down_time_s or 3600.0


@dataclass(frozen=True)
class Tables:
    """Speed tables of a field's fronts (None: rough stacks) and backs."""

    inlet: InletTables | None
    backing: BackTables


def field_states(
    fronts: Sequence[Front | None],
    backs: Sequence[Back],
    loads: Loads,
    requirements: Requirements,
    tables: Tables,
) -> FieldStates:
    """Return the steady states of a field; rough stacks where the fronts are (None,)."""
    real = [front for front in fronts if front is not None]
    if tables.inlet is None:
        return _Rough(backs, loads, requirements, tables.backing)
    return _HighVacuum(real, backs, loads, requirements, tables.inlet, tables.backing)


@dataclass(frozen=True)
class _Rough:
    """The states of backs alone."""

    backs: Sequence[Back]
    loads: Loads
    requirements: Requirements
    backing: BackTables
    inlet: None = None
    capacity_pa_m3_s: None = None
    crossover_limit_pa: None = None
    rough_floor_pa: None = None
    behind_turbo_pa: None = None

    @property
    def offset_pa(self) -> FloatArray:
        return np.zeros((1, 1))

    @cached_property
    def base(self) -> SettledState:
        load = self.loads.base_pa_m3_s(BASE_STATE_AFTER_S)
        return self._settle(load, self.backing.at_chamber, self.backing.at_inlet)

    @cached_property
    def process(self) -> SettledState | None:
        load = _running(self.loads, self.requirements)
        if load is None:
            return None
        tables = self.backing
        return self._settle(load, tables.at_chamber_working, tables.working, tables.resting_pa)

    def _settle(
        self,
        load: Mapping[str, float],
        at: Mapping[str, SpeedTable],
        own: Mapping[str, SpeedTable],
        resting_pa: FloatArray | float = 0.0,
    ) -> SettledState:
        rows = np.arange(len(self.backs))

        def chamber() -> tuple[FloatArray, Mapping[str, FloatArray]]:
            found = steady_state(load, at, rows, offset_pa=resting_pa)
            partial = {name: value[np.newaxis] for name, value in found.partial_pa.items()}
            return found.pressure_pa[np.newaxis], partial

        def inlet(_chamber_pa: FloatArray) -> FloatArray:
            found = steady_state(load, own, rows, offset_pa=resting_pa)
            return found.pressure_pa[np.newaxis]

        return SettledState(load, np.array([[sum(load.values())]]), None, chamber, inlet)


def _running(loads: Loads, requirements: Requirements) -> Mapping[str, float] | None:
    """Return the load while the process runs, None without a process."""
    if not loads.has_process and requirements.process.pressure_pa is None:
        return None
    return loads.running_pa_m3_s(process_time_s(requirements))


@dataclass(frozen=True)
class _HighVacuum:
    """The states of high-vacuum fronts with their backs."""

    fronts: Sequence[Front]
    backs: Sequence[Back]
    loads: Loads
    requirements: Requirements
    inlet: InletTables
    backing: BackTables

    @cached_property
    def base(self) -> SettledState:
        return self._settle(self._base_load, lambda: self.offset_pa, self._foreline)

    @cached_property
    def process(self) -> SettledState | None:
        load = _running(self.loads, self.requirements)
        if load is None:
            return None
        return self._settle(load, lambda: self._offset(load, self._working), self._working)

    @cached_property
    def capacity_pa_m3_s(self) -> FloatArray:
        return self._capacity(self._working)

    @cached_property
    def crossover_limit_pa(self) -> FloatArray:
        return self._crossover_limit(self.capacity_pa_m3_s)

    @cached_property
    def rough_floor_pa(self) -> FloatArray:
        return self._roughed(self.backing.at_chamber)

    @cached_property
    def behind_turbo_pa(self) -> FloatArray | None:
        tables = self.backing.behind_turbo
        return self._roughed(tables) if tables else None

    @cached_property
    def offset_pa(self) -> FloatArray:
        return self._offset(self._base_load, self._foreline)

    @cached_property
    def _base_load(self) -> Mapping[str, float]:
        return self.loads.base_pa_m3_s(BASE_STATE_AFTER_S)

    @cached_property
    def _foreline(self) -> Foreline:
        """The forelines with the backs as they work without process."""
        return Foreline(self._outlets[0], self.backs, self.backing.at_inlet, self.requirements)

    @cached_property
    def _working(self) -> Foreline:
        """The forelines with the backs as they work while the process runs."""
        tables = self.backing
        return Foreline(
            self._outlets[0], self.backs, tables.working, self.requirements, tables.resting_pa
        )

    def _roughed(self, tables: Mapping[str, SpeedTable]) -> FloatArray:
        """Return where roughing comes to rest, shape (1, B)."""
        load = self.loads.base_pa_m3_s(process_time_s(self.requirements))
        return steady_state(load, tables, np.arange(len(self.backs))).pressure_pa[np.newaxis]

    @cached_property
    def _outlets(self) -> tuple[list[Flange], IntArray]:
        """Distinct outlets, and the row of each front (−1: none)."""
        distinct: dict[Flange, int] = {}
        rows = [
            -1
            if front.pump.outlet is None
            else distinct.setdefault(front.pump.outlet, len(distinct))
            for front in self.fronts
        ]
        return list(distinct), np.array(rows, dtype=np.intp)

    def _offset(self, load: Mapping[str, float], line: Foreline) -> FloatArray:
        """Inlet pressure without load: fluid vapour, own ultimate, back-diffusion of each gas."""
        offset = np.zeros((len(self.fronts), len(self.backs)))
        for position, front in enumerate(self.fronts):
            offset[position] = resting_pressure_pa(front)
        turbos = [i for i, front in enumerate(self.fronts) if isinstance(front.pump, TurboPump)]
        if not turbos:
            return offset
        for mask, reaching in self._reaching(load):
            self._add_back_diffusion(offset, [i for i in turbos if mask[i]], reaching, line)
        return offset

    def _add_back_diffusion(
        self,
        offset: FloatArray,
        turbos: list[int],
        load: Mapping[str, float],
        line: Foreline,
    ) -> None:
        """Add p_f,i/K₀,i of each gas to the rows of turbomolecular pumps."""
        foreline_pa = line.pressure_pa(load)
        rows = np.arange(len(self.backs))
        partial = steady_state(load, line.tables, rows).partial_pa
        shares = parts_behind(partial, rest_pa(line.tables[AIR], rows))
        for gas, share in shares.items():
            compression = np.array(
                [compression_for(self._turbo(i).compression, gas) for i in turbos]
            )
            behind = foreline_pa[self._outlets[1][turbos]] * share
            offset[turbos] += behind / compression[:, np.newaxis]

    def _reaching(
        self, load: Mapping[str, float]
    ) -> list[tuple[NDArray[np.bool_], dict[str, float]]]:
        """Fronts whose traps hold the same vapours, with the load that reaches their pumps."""
        row = self.inlet.row_of_front
        held = np.stack([self.inlet.caught[gas][row] for gas in load], axis=1)
        patterns, which = np.unique(held, axis=0, return_inverse=True)
        return [
            (
                which.ravel() == number,
                {
                    gas: flow * (1.0 - part)
                    for (gas, flow), part in zip(load.items(), pattern, strict=True)
                },
            )
            for number, pattern in enumerate(patterns)
        ]

    def _turbo(self, position: int) -> TurboPump:
        pump = self.fronts[position].pump
        assert isinstance(pump, TurboPump)  # noqa: S101 (the caller filtered by class)
        return pump

    def _settle(
        self,
        load: Mapping[str, float],
        resting: Callable[[], FloatArray],
        line: Foreline,
    ) -> SettledState:
        largest, no_load, full_load = self._foreline_limits()
        reaching = np.zeros(len(self.fronts))
        for flow in self._beyond_trap(load).values():
            reaching = reaching + flow
        tolerable = tolerable_foreline_pa(
            np.minimum(reaching, largest), largest, no_load, full_load
        )

        def inlet(chamber_pa: FloatArray) -> FloatArray:
            found, _ = self._solve(self._beyond_trap(load), self.inlet.at_pump, resting())
            return np.minimum(found, chamber_pa)

        return SettledState(
            load,
            reaching[:, np.newaxis],
            tolerable[:, np.newaxis],
            lambda: self._solve(load, self.inlet.at_chamber, resting()),
            inlet,
            lambda: self._at_outlets(load, line),
        )

    def _at_outlets(self, load: Mapping[str, float], line: Foreline) -> FloatArray:
        """Return the foreline pressure of every combination; NaN for pumps without outlet."""
        foreline_pa = np.full((len(self.fronts), len(self.backs)), np.nan)
        outlet_row = self._outlets[1]
        has_outlet = outlet_row >= 0
        for mask, reaching in self._reaching(load):
            wanted = has_outlet & mask
            if wanted.any():
                foreline_pa[wanted] = line.pressure_pa(reaching)[outlet_row[wanted]]
        return foreline_pa

    def _beyond_trap(self, load: Mapping[str, float]) -> dict[str, FloatArray]:
        """Load that reaches the pump of each front, vapours held by its trap taken off."""
        row = self.inlet.row_of_front
        return {gas: flow * (1.0 - self.inlet.caught[gas][row]) for gas, flow in load.items()}

    def _solve(
        self,
        load: Mapping[str, float] | Mapping[str, FloatArray],
        tables: Mapping[str, SpeedTable],
        offset: FloatArray,
    ) -> tuple[FloatArray, dict[str, FloatArray]]:
        """Solve for all combinations; fronts whose offset is the same for all backs only once."""
        # NaN differs from itself: a front without foreline state with one back has one with others
        varies = ~(np.ptp(offset, axis=1) == 0.0)
        pressure = np.empty(offset.shape)
        partial = {gas: np.empty(offset.shape) for gas in load}
        for chosen, columns in ((varies, offset.shape[1]), (~varies, 1)):
            if not chosen.any():
                continue
            rows = np.repeat(self.inlet.row_of_front[chosen], columns)
            flows = {
                gas: np.repeat(np.broadcast_to(flow, chosen.shape)[chosen], columns)
                for gas, flow in load.items()
            }
            found = steady_state(flows, tables, rows, offset_pa=offset[chosen, :columns].ravel())
            shape = (int(chosen.sum()), columns)
            pressure[chosen] = found.pressure_pa.reshape(shape)
            for gas, share in found.partial_pa.items():
                partial[gas][chosen] = share.reshape(shape)
        return pressure, partial

    def _foreline_limits(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Largest throughput and tolerable foreline pressures; capture pumps have no foreline."""
        largest = np.array([front.pump.largest_throughput_pa_m3_s for front in self.fronts])
        pairs = [foreline_limits_pa(front.pump) for front in self.fronts]
        return largest, np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])

    def _capacity(self, line: Foreline) -> FloatArray:
        outlet_row = self._outlets[1]
        largest, no_load, full_load = self._foreline_limits()
        capacity = np.repeat(largest[:, np.newaxis], len(self.backs), axis=1)
        backed = outlet_row >= 0
        if not backed.any():
            return capacity
        keys = np.stack([outlet_row, largest, no_load, full_load])[:, backed]
        distinct, row = np.unique(keys, axis=1, return_inverse=True)
        found = line.largest_throughput_pa_m3_s(
            distinct[0].astype(np.intp), distinct[1], distinct[2], distinct[3]
        )
        capacity[backed] = found[row.ravel()]
        return capacity

    def _crossover_limit(self, capacity: FloatArray) -> FloatArray:
        """Highest chamber pressure at which the chamber may be handed to the high-vacuum pump.

        Vapour-jet pumps: where the roughing throughput falls to what pump and foreline carry
        (Hablanian 1997), the burst that follows is over within ``BURST_S``, and the pressure is
        well below the tolerable foreline pressure. Others: their own start pressure.
        """
        skus = np.array([front.pump.sku for front in self.fronts])
        _, first, row = np.unique(skus, return_index=True, return_inverse=True)
        pumps = [self.fronts[position].pump for position in first]
        limit = np.empty((len(pumps), len(self.backs)))
        jets = np.array([isinstance(pump, VapourPump) for pump in pumps])
        limit[~jets] = np.array(
            [[pump.start_pressure_pa] for pump in pumps if not isinstance(pump, VapourPump)]
        ).reshape(-1, 1)
        if jets.any():
            carried = np.maximum(capacity[first[jets]], 1e-12)
            rows = np.tile(np.arange(len(self.backs)), int(jets.sum()))
            level = steady_state({AIR: carried.ravel()}, self.backing.at_chamber, rows).pressure_pa
            burst = carried * BURST_S / self.loads.volume_m3
            tolerable = [
                [foreline_limits_pa(pump)[0]] for pump in pumps if isinstance(pump, VapourPump)
            ]
            share = FORELINE_SHARE_AT_CROSSOVER * np.array(tolerable)
            lowest = np.fmin(np.fmin(level.reshape(carried.shape), burst), share)
            # what carries nothing is never handed a chamber: the tables' end, which none reaches
            limit[jets] = np.maximum(lowest, GRID.low_pa)
        return limit[row.ravel()]


NO_FORELINE_PA = 1e5
"""Stands for the tolerable foreline pressure of a pump without foreline: no limit. [Pa]"""


def foreline_limits_pa(pump: HighVacuumPump) -> tuple[float, float]:
    """Return the tolerable foreline pressure without load and at full load."""
    if isinstance(pump, VapourPump):
        return pump.tolerable_foreline_no_load_pa, pump.tolerable_foreline_full_load_pa
    if isinstance(pump, TurboPump):
        return pump.tolerable_foreline_pa, pump.tolerable_foreline_pa
    return NO_FORELINE_PA, NO_FORELINE_PA


def resting_pressure_pa(front: Front) -> float:
    """Return a front's pressure without gas load: its own ultimate or its fluid's vapour."""
    if front.fluid is None:
        return front.pump.ultimate_pa
    surface = ROOM_K if front.trap is None else front.trap.surface_k
    return max(front.pump.ultimate_pa, vapour_pressure_pa(front.fluid, surface))
