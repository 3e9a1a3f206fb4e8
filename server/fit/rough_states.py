"""Steady states of backs that pump a chamber by themselves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.fit.alike import SharedSpeeds
from server.fit.backing import BacksAtWork, BackTables
from server.fit.candidates import Back
from server.fit.front_states import running_load
from server.fit.loads import Loads
from server.fit.requirements import Requirements
from server.fit.settled import SettledState
from server.fit.thresholds import BASE_STATE_AFTER_S
from server.physics.arrays import BoolArray, FloatArray
from server.physics.steady import SteadyState, steady_state


@dataclass(frozen=True)
class RoughStates:
    """The states of backs alone."""

    backs: Sequence[Back]
    loads: Loads
    requirements: Requirements
    backing: BackTables
    alone: None = None
    inlet: None = None
    inlet_at_work: None = None
    capacity_pa_m3_s: None = None
    burst_pa_m3_s: None = None
    crossover_limit_pa: None = None
    rough_floor_pa: None = None
    behind_turbo_pa: None = None

    @property
    def offset_pa(self) -> FloatArray:
        """Pressure in the chamber without load."""
        return np.zeros((1, 1))

    @cached_property
    def base(self) -> SettledState:
        """A day after pumping began, without process gas."""
        load = self.loads.base_pa_m3_s(BASE_STATE_AFTER_S)
        return self._settle(load, self.backing.chamber, self.backing.inlet)

    @cached_property
    def process(self) -> SettledState | None:
        """While the process runs; None without one."""
        load, backs = running_load(self.loads, self.requirements), self.backs_at_work
        if load is None:
            return None
        return self._settle(load, backs.chamber, backs.inlet, backs.over_pa)

    def reaching(self, load: Mapping[str, float]) -> list[tuple[BoolArray, dict[str, float]]]:
        """Return the load itself: nothing stands in front of the backs."""
        return [(np.ones(1, dtype=np.bool_), dict(load))]

    @property
    def backs_at_work(self) -> BacksAtWork:
        """The backs as they and their traps work while the process runs."""
        return self.backing.at_work(running_load(self.loads, self.requirements) or {})

    def _settle(
        self,
        load: Mapping[str, float],
        chamber_speeds: SharedSpeeds,
        own: SharedSpeeds,
        resting_pa: FloatArray | float = 0.0,
    ) -> SettledState:
        resting = np.broadcast_to(resting_pa, len(self.backs))

        def settled(speeds: SharedSpeeds) -> SteadyState:
            return steady_state(
                load, speeds.tables, speeds.rows, offset_pa=resting[speeds.first]
            ).only(speeds.of)

        def chamber() -> tuple[FloatArray, Mapping[str, FloatArray]]:
            found = settled(chamber_speeds)
            partial = {name: value[np.newaxis] for name, value in found.partial_pa.items()}
            return found.pressure_pa[np.newaxis], partial

        def inlet(_chamber_pa: FloatArray, _wanted: BoolArray | None) -> FloatArray:
            return settled(own).pressure_pa[np.newaxis]

        reaching = np.array([[sum(load.values())]])
        return SettledState(load, reaching, None, chamber, inlet, lambda: resting[np.newaxis])
