"""Steady states of every combination: base and process, inlet and foreline, limits of the load.

Shapes: F fronts, B backs. What depends on the front alone has shape (F, 1), on the back alone (1,
B).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.catalog.arrays import GRID
from server.catalog.flanges import Flange
from server.catalog.gas_curves import compression_for
from server.catalog.items import TurboPump, VapourPump
from server.fit.backing import BackTables
from server.fit.candidates import Back, Front, HighVacuumPump
from server.fit.foreline import Foreline, ForelineRuns
from server.fit.front_states import FrontStates, process_time_s
from server.fit.inlet import InletTables
from server.fit.loads import AIR, Loads
from server.fit.requirements import Requirements
from server.fit.settled import SettledState
from server.fit.thresholds import BURST_S, FORELINE_SHARE_AT_CROSSOVER
from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.pumps import tolerable_foreline_pa
from server.physics.speedtable import SpeedTable
from server.physics.steady import SteadyState, steady_state

BELOW_NOTICE = 1e-6
"""What back-diffusion adds to a pressure is left out below this share of it."""


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
        """Speed tables of the fronts."""
        return self.alone.inlet

    @cached_property
    def base(self) -> SettledState:
        """A day after pumping began, without process gas."""
        alone = self.alone
        line = self._foreline
        largest, tolerable = self._tolerable(alone.base_load)
        return SettledState(
            alone.base_load,
            largest,
            tolerable,
            lambda: self._chamber(alone.base_load, alone.base_chamber, self.offset_pa),
            lambda chamber_pa: np.minimum(
                self._at_pump(alone.base_load, alone.base_inlet, self.offset_pa), chamber_pa
            ),
            lambda: self._at_outlets(alone.base_load, line),
        )

    @cached_property
    def process(self) -> SettledState | None:
        """While the process runs; None without one."""
        alone, load = self.alone, self.alone.process_load
        if load is None:
            return None
        line = self._working
        reaching, tolerable = self._tolerable(load)
        return SettledState(
            load,
            reaching,
            tolerable,
            lambda: self._chamber(load, alone.process_chamber, self._process_offset_pa),
            lambda chamber_pa: np.minimum(
                self._at_pump(load, alone.process_inlet, self._process_offset_pa), chamber_pa
            ),
            lambda: self._at_outlets(load, line),
        )

    @cached_property
    def capacity_pa_m3_s(self) -> FloatArray:
        """Largest throughput: the pump's own or what the foreline lets it carry."""
        return self._capacity(self._working)

    @cached_property
    def crossover_limit_pa(self) -> FloatArray:
        """Highest chamber pressure at which the high-vacuum pump may take over."""
        return self._crossover_limit(self.capacity_pa_m3_s)

    @cached_property
    def rough_floor_pa(self) -> FloatArray:
        """Lowest chamber pressure by roughing alone, shape (1, B)."""
        return self._roughed(self.backing.at_chamber)

    @cached_property
    def behind_turbo_pa(self) -> FloatArray | None:
        """Foreline pressure of turbomolecular pumps that rough for others, shape (1, B)."""
        tables = self.backing.behind_turbo
        return self._roughed(tables) if tables else None

    @cached_property
    def offset_pa(self) -> FloatArray:
        """Pressure at the pump's inlet without load."""
        return self._offset(self.alone.base_load, self._foreline)

    @cached_property
    def _process_offset_pa(self) -> FloatArray:
        return self._offset(self.alone.process_load or self.alone.base_load, self._working)

    @cached_property
    def _runs(self) -> ForelineRuns:
        return ForelineRuns(self._outlets[0], self.backs, self.requirements)

    @cached_property
    def _foreline(self) -> Foreline:
        """The forelines with the backs as they work without process."""
        return Foreline(self._runs, self.backing.at_inlet)

    @cached_property
    def _working(self) -> Foreline:
        """The forelines with the backs as they work while the process runs."""
        return Foreline(self._runs, self.backing.working, self.backing.resting_pa)

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
        offset = np.repeat(self.alone.resting_pa[:, np.newaxis], len(self.backs), axis=1)
        turbos = np.array([isinstance(front.pump, TurboPump) for front in self.fronts])
        if turbos.any():
            for mask, reaching in self.alone.reaching(load):
                rows = np.nonzero(turbos & mask)[0]
                if rows.size:
                    offset[rows] += self._back_diffusion_pa(rows, reaching, line)
        return offset

    def _back_diffusion_pa(
        self, rows: IntArray, load: Mapping[str, float], line: Foreline
    ) -> FloatArray:
        """Σ p_f,i/K₀,i of turbomolecular pumps, shape (rows, B)."""
        foreline_pa = line.pressure_pa(load)[self._outlets[1][rows]]
        added = np.zeros(foreline_pa.shape)
        for gas, share in line.shares(load).items():
            compression = np.array(
                [compression_for(self._turbo(row).compression, gas) for row in rows]
            )
            added += foreline_pa * share / compression[:, np.newaxis]
        return added

    def _turbo(self, position: int) -> TurboPump:
        pump = self.fronts[position].pump
        assert isinstance(pump, TurboPump)  # noqa: S101 (the caller filtered by class)
        return pump

    def _tolerable(self, load: Mapping[str, float]) -> tuple[FloatArray, FloatArray]:
        """Load that reaches each pump, and the foreline pressure it tolerates then, (F, 1)."""
        largest, no_load, full_load = self._foreline_limits()
        reaching = sum(self.alone.beyond_trap(load).values(), start=np.zeros(len(largest)))
        tolerable = tolerable_foreline_pa(
            np.minimum(reaching, largest), largest, no_load, full_load
        )
        return reaching[:, np.newaxis], tolerable[:, np.newaxis]

    def _at_outlets(self, load: Mapping[str, float], line: Foreline) -> FloatArray:
        """Return the foreline pressure of every combination; NaN for pumps without outlet."""
        foreline_pa = np.full((len(self.fronts), len(self.backs)), np.nan)
        outlet_row = self._outlets[1]
        for mask, reaching in self.alone.reaching(load):
            wanted = (outlet_row >= 0) & mask
            if wanted.any():
                foreline_pa[wanted] = line.pressure_pa(reaching)[outlet_row[wanted]]
        return foreline_pa

    def _chamber(
        self, load: Mapping[str, float], alone: SteadyState, offset_pa: FloatArray
    ) -> tuple[FloatArray, Mapping[str, FloatArray]]:
        return self._with_backs(load, self.inlet.at_chamber, alone, offset_pa)

    def _at_pump(
        self, load: Mapping[str, float], alone: SteadyState, offset_pa: FloatArray
    ) -> FloatArray:
        beyond = self.alone.beyond_trap(load)
        return self._with_backs(beyond, self.inlet.at_pump, alone, offset_pa)[0]

    def _with_backs(
        self,
        load: Mapping[str, float] | Mapping[str, FloatArray],
        tables: Mapping[str, SpeedTable],
        alone: SteadyState,
        offset_pa: FloatArray,
    ) -> tuple[FloatArray, Mapping[str, FloatArray]]:
        """Pressures of all combinations: those of the fronts alone, but where a back adds to it."""
        shape = offset_pa.shape
        # a foreline that has no state leaves the chamber none either
        pressure = np.where(np.isnan(offset_pa), np.nan, alone.pressure_pa[:, np.newaxis])
        rows, columns = self._changed(alone, offset_pa)
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

    def _changed(self, alone: SteadyState, offset_pa: FloatArray) -> tuple[IntArray, IntArray]:
        """Find the combinations whose pressure the back changes noticeably."""
        added = offset_pa - self.alone.resting_pa[:, np.newaxis]
        changed: BoolArray = added > BELOW_NOTICE * alone.pressure_pa[:, np.newaxis]
        rows, columns = np.nonzero(changed)
        return rows, columns

    def _foreline_limits(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Largest throughput and tolerable foreline pressures; capture pumps have no foreline."""
        largest = np.array([front.pump.largest_throughput_pa_m3_s for front in self.fronts])
        pairs = [foreline_limits_pa(front.pump) for front in self.fronts]
        return largest, np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])

    def _capacity(self, line: Foreline) -> FloatArray:
        """Largest throughput of the gas of the process, or of what is there without one."""
        outlet_row = self._outlets[1]
        largest, no_load, full_load = self._foreline_limits()
        capacity = np.repeat(largest[:, np.newaxis], len(self.backs), axis=1)
        load = self.alone.process_load or self.alone.base_load
        for mask, reaching in self.alone.reaching(load):
            backed = mask & (outlet_row >= 0)
            if not backed.any():
                continue
            keys = np.stack([outlet_row, largest, no_load, full_load])[:, backed]
            distinct, row = np.unique(keys, axis=1, return_inverse=True)
            found = line.largest_throughput_pa_m3_s(
                reaching, distinct[0].astype(np.intp), distinct[1], distinct[2], distinct[3]
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


def highest_crossover_pa(pump: HighVacuumPump) -> float:
    """Return the highest pressure at which a pump takes over the chamber, whatever its back."""
    if isinstance(pump, VapourPump):
        return FORELINE_SHARE_AT_CROSSOVER * foreline_limits_pa(pump)[0]
    return pump.start_pressure_pa


def foreline_limits_pa(pump: HighVacuumPump) -> tuple[float, float]:
    """Return the tolerable foreline pressure without load and at full load."""
    if isinstance(pump, VapourPump):
        return pump.tolerable_foreline_no_load_pa, pump.tolerable_foreline_full_load_pa
    if isinstance(pump, TurboPump):
        return pump.tolerable_foreline_pa, pump.tolerable_foreline_pa
    return NO_FORELINE_PA, NO_FORELINE_PA
