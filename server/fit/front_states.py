"""What high-vacuum fronts settle to by themselves, before their backs add anything.

A back can only add to the pressure at a front's inlet (what diffuses back through a turbo), so
these states are exact for most combinations and a bound for all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from server.fit.alike import Groups
from server.fit.candidates import Front
from server.fit.inlet import InletTables
from server.fit.loads import Loads
from server.fit.pump_limits import PumpLimits, limits_for
from server.fit.requirements import Requirements
from server.fit.thresholds import BASE_STATE_AFTER_S
from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.pumps import tolerable_foreline_pa
from server.physics.steady import SteadyState, steady_state
from server.physics.vapour import fluid_vapour_pressure_pa

ROOM_K = 298.15
"""Temperature of an uncooled inlet, where pump fluid evaporates back. [K]"""


def process_time_s(requirements: Requirements) -> float:
    """Return the time after the start of pumping at which the process begins."""
    return requirements.pump_down_time_s or 3600.0


def running_load(loads: Loads, requirements: Requirements) -> Mapping[str, float] | None:
    """Return the load while the process runs, None without a process."""
    if not loads.has_process and requirements.process.pressure_pa is None:
        return None
    return loads.running_pa_m3_s(process_time_s(requirements))


def resting_pressures_pa(fronts: Sequence[Front]) -> FloatArray:
    """Return pressures without gas load, (n,): the pump's own ultimate or its fluid's vapour."""
    resting = np.array([front.pump.ultimate_pa for front in fronts])
    surface = [ROOM_K if front.trap is None else front.trap.surface_k for front in fronts]
    filled = [
        (row, front.fluid.vapour_pressure_a, front.fluid.vapour_pressure_b_k, surface[row])
        for row, front in enumerate(fronts)
        if front.fluid is not None
    ]
    if filled:
        row, *constants = np.array(filled).T
        rows = row.astype(np.intp)
        resting[rows] = np.maximum(resting[rows], fluid_vapour_pressure_pa(*constants))
    return resting


_Load = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class FrontStates:
    """The states of n fronts with nothing but their own pressure at rest; solved when asked for."""

    fronts: tuple[Front, ...]
    loads: Loads
    requirements: Requirements
    inlet: InletTables
    _limits: dict[_Load, PumpLimits] = field(default_factory=dict)
    _reaching: dict[_Load, list[tuple[BoolArray, dict[str, float]]]] = field(
        default_factory=dict, init=False
    )
    """Limits and parts by the load that reaches the traps; each is found once."""

    @cached_property
    def at_base(self) -> InletTables:
        """The tables as the traps work without process."""
        return self.inlet.under(self.base_load)

    @cached_property
    def at_work(self) -> InletTables:
        """The tables as the traps work while the process runs, if there is one."""
        return self.at_base.under(self.process_load or self.base_load)

    @cached_property
    def base_load(self) -> Mapping[str, float]:
        """Load a day after pumping began."""
        return self.loads.base_pa_m3_s(BASE_STATE_AFTER_S)

    @cached_property
    def process_load(self) -> Mapping[str, float] | None:
        """Load while the process runs; None without one."""
        return running_load(self.loads, self.requirements)

    @cached_property
    def resting_pa(self) -> FloatArray:
        """Pressure without gas load, shape (n,)."""
        return resting_pressures_pa(self.fronts)

    def limits(self, load: Mapping[str, float]) -> PumpLimits:
        """Return the limits of the pumps for the gas that reaches them."""
        key = tuple(load.items())
        if key not in self._limits:
            pumps = [pump for pump, _ in self.inlet.arrangements]
            found = limits_for(pumps, self.inlet.beyond_trap(load))
            self._limits[key] = found.of(self.inlet.row_of_front)
        return self._limits[key]

    @cached_property
    def base_chamber(self) -> SteadyState:
        """Chamber a day after pumping began."""
        return self._in_chamber(self.base_load, self.at_base)

    @cached_property
    def base_inlet(self) -> SteadyState:
        """Pump inlet a day after pumping began."""
        return self._at_pump(self.base_load)

    @cached_property
    def process_chamber(self) -> SteadyState:
        """Chamber while the process runs."""
        return self._in_chamber(self.process_load or self.base_load, self.at_work)

    @cached_property
    def process_inlet(self) -> SteadyState:
        """Pump inlet while the process runs."""
        return self._at_pump(self.process_load or self.base_load)

    def _in_chamber(self, load: Mapping[str, float], tables: InletTables) -> SteadyState:
        standing = self.resting_pa + tables.over_pa
        return steady_state(load, tables.at_chamber, tables.row_of_front, offset_pa=standing)

    def _at_pump(self, load: Mapping[str, float]) -> SteadyState:
        inlet = self.inlet
        return steady_state(
            self.beyond_trap(load), inlet.at_pump, inlet.row_of_front, offset_pa=self.resting_pa
        )

    def beyond_trap(self, load: Mapping[str, float]) -> dict[str, FloatArray]:
        """Return the load that reaches each pump, vapours held by its trap taken off."""
        row = self.inlet.row_of_front
        return {gas: flow[row] for gas, flow in self.inlet.beyond_trap(load).items()}

    def throughput_pa_m3_s(self, load: Mapping[str, float]) -> FloatArray:
        """Return the whole of a load that reaches each pump, shape (n,)."""
        nothing = np.zeros(len(self.fronts))
        return np.asarray(sum(self.beyond_trap(load).values(), start=nothing))

    def tolerable_pa(self, load: Mapping[str, float], times: float = 1.0) -> FloatArray:
        """Return the foreline pressure each pump tolerates at so many times a load, shape (n,).

        That of its largest throughput where the load is larger still.
        """
        limits = self.limits(load)
        largest = limits.largest_pa_m3_s
        carried = np.minimum(times * self.throughput_pa_m3_s(load), largest)
        return tolerable_foreline_pa(carried, largest, limits.no_load_pa, limits.full_load_pa)

    def reaching(self, load: Mapping[str, float]) -> list[tuple[BoolArray, dict[str, float]]]:
        """Return fronts whose traps hold the same vapours, with the load that reaches them."""
        key = tuple(load.items())
        if key not in self._reaching:
            beyond = self.inlet.beyond_trap(load)
            groups = Groups.by(zip(*(flow.tolist() for flow in beyond.values()), strict=True))
            group_of_front = groups.of[self.inlet.row_of_front]
            self._reaching[key] = [
                (group_of_front == number, {gas: float(flow[row]) for gas, flow in beyond.items()})
                for number, row in enumerate(groups.first)
                if (group_of_front == number).any()
            ]
        return self._reaching[key]

    def only(self, fronts: IntArray) -> FrontStates:
        """Return the states of some of the fronts; those that are solved already are kept."""
        some = FrontStates(
            tuple(self.fronts[place] for place in fronts),
            self.loads,
            self.requirements,
            self.inlet.only(fronts),
            {load: found.of(fronts) for load, found in self._limits.items()},
        )
        states = ("base_chamber", "base_inlet", "process_chamber", "process_inlet")
        for name in (*states, "at_base", "at_work"):
            if name in vars(self):
                vars(some)[name] = getattr(self, name).only(fronts)
        if "resting_pa" in vars(self):
            vars(some)["resting_pa"] = self.resting_pa[fronts]
        for name in ("base_load", "process_load"):
            if name in vars(self):
                vars(some)[name] = getattr(self, name)
        return some
