"""Levels of the crossover, and between which pressures it lies, for many combinations.

The highest pressure at which a vapour-jet pump may take over is the least of three (``states``):
its own limit, where roughing falls to what pump and foreline carry, and where the burst is over in
time. It reaches a pressure if pump and foreline carry the flow that goes with it: one flow for each
back, so that a combination costs comparisons. Other pumps have a limit of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.catalog.arrays import GRID
from server.catalog.items import VapourPump
from server.fit.alike import Groups
from server.fit.habits import lowest_asked_pa, stands_idle
from server.fit.level_rest import borne_ratio, with_several_pa_m3_s
from server.fit.levels import Span, open_where, span_of_steps
from server.fit.loads import AIR
from server.fit.pump_limits import highest_crossover_pa
from server.fit.results import MarginKey
from server.fit.states import HighVacuumStates
from server.fit.thresholds import BURST_S, RULES
from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.pumps import tolerable_foreline_pa
from server.physics.speedtable import lookup


@dataclass(frozen=True)
class Flow:
    """What a crossover pressure asks for, back by back."""

    pressure_pa: FloatArray
    """Shape (backs,), NaN where roughing comes to no rest."""
    flow_pa_m3_s: FloatArray
    """Flow of air that pump and foreline must carry, shape (backs,)."""
    foreline_pa: FloatArray
    """Foreline pressure then, shape (outlets, backs)."""
    has_several: BoolArray
    """Whether it may be another one as well, shape (backs,)."""


class Crossover:
    """Where high-vacuum pumps may take over with the backs of one portion.

    Parameters
    ----------
    states : HighVacuumStates
        All fronts with the backs of the portion.
    """

    def __init__(self, states: HighVacuumStates) -> None:
        self._states = states
        pumps = Groups.by(front.pump.sku for front in states.fronts)
        self.pump_of, first = pumps.of, pumps.first
        fronts = [states.fronts[place] for place in first]
        volume = states.loads.volume_m3
        self.is_jet = np.array([isinstance(front.pump, VapourPump) for front in fronts])
        self.own_limit_pa = np.array([highest_crossover_pa(f.pump, volume) for f in fronts])
        self._idle = np.array([stands_idle(front, states.requirements) for front in fronts])
        self.limits = states.alone.limits({AIR: 1.0}).of(first)
        self.outlet_rows = states.outlet_rows[first]
        assert states.rough_floor_pa is not None  # noqa: S101 (set for every high-vacuum field)
        self.floor_pa: FloatArray = states.rough_floor_pa[0]

    def span(self, rows: IntArray) -> Span:
        """Return the levels of the crossover margin of some fronts."""
        pumps, at = np.unique(self.pump_of[rows], return_inverse=True)
        works, passes = (self.reach(pumps, flow) for flow in self._asked)
        works[self._idle[pumps]] = 0.0
        several = self._asked[0].has_several | self._asked[1].has_several
        unknown = several & self.is_jet[pumps][:, np.newaxis]
        return open_where(unknown, span_of_steps(works, passes)).at_rows(at)

    def reach(self, pumps: IntArray, flow: Flow) -> FloatArray:
        """Return 1 or more where the limit of pumps reaches a pressure, (pumps, backs).

        How much above or below 1 says nothing but for rounding.
        """
        with np.errstate(divide="ignore"):
            ratio = self.own_limit_pa[pumps, np.newaxis] / flow.pressure_pa
        jets = np.flatnonzero(self.is_jet[pumps])
        ratio[jets] = np.minimum(ratio[jets], self.carry(pumps[jets], flow))
        return np.where(np.isnan(flow.pressure_pa), 0.0, ratio)

    def carry(self, pumps: IntArray, flow: Flow) -> FloatArray:
        """Return 1 or more where pumps and their forelines carry a flow, (pumps, backs)."""
        own, no_load, full_load = (
            values[pumps, np.newaxis]
            for values in (
                self.limits.largest_pa_m3_s, self.limits.no_load_pa, self.limits.full_load_pa,
            )
        )  # fmt: skip
        carried = np.minimum(flow.flow_pa_m3_s, own)
        tolerable = tolerable_foreline_pa(carried, own, no_load, full_load)
        borne = borne_ratio(tolerable, flow.foreline_pa[self.outlet_rows[pumps]])
        with np.errstate(divide="ignore"):
            return np.minimum(borne, own / flow.flow_pa_m3_s)

    def flow_for(self, pressure_pa: FloatArray) -> Flow:
        """Return what crossover pressures ask for, one for each back, shape (backs,)."""
        asked = np.clip(np.nan_to_num(pressure_pa, nan=1.0), GRID.low_pa, GRID.high_pa)
        flow = np.maximum(self._roughed(asked), asked * self._states.loads.volume_m3 / BURST_S)
        # what carries nothing is handed the chamber at the tables' end all the same
        flow = np.where(pressure_pa <= GRID.low_pa, 0.0, flow)
        low, high = self._between_branches
        foreline_pa = self._states.still.carrying_pa({AIR: 1.0}, flow)
        return Flow(pressure_pa, flow, foreline_pa, (flow >= low) & (flow <= high))

    def _roughed(self, pressure_pa: FloatArray) -> FloatArray:
        """Largest flow that roughing takes from the chamber up to a pressure, shape (backs,)."""
        speeds = self._states.backing.chamber
        rows = speeds.rows[speeds.of]
        at = lookup(speeds.tables[AIR], rows, pressure_pa) * pressure_pa
        below = np.searchsorted(GRID.pressure_pa, pressure_pa, side="right") - 1
        return np.maximum(at, self._highest_flow[speeds.of, np.maximum(below, 0)])

    @cached_property
    def _highest_flow(self) -> FloatArray:
        """Largest flow of air up to each node, row by row in use."""
        speeds = self._states.backing.chamber
        carried = speeds.tables[AIR].speed_m3_s[speeds.rows] * GRID.pressure_pa
        return np.asarray(np.maximum.accumulate(carried, axis=1))

    @cached_property
    def _asked(self) -> Sequence[Flow]:
        """What the crossover asks for where it works, and where it passes."""
        lowest = lowest_asked_pa(self._states.requirements)
        return tuple(
            self.flow_for(np.maximum(border * self.floor_pa, lowest))
            for border in (1.0, RULES[MarginKey.CROSSOVER].threshold)
        )

    @cached_property
    def _between_branches(self) -> tuple[FloatArray, FloatArray]:
        """Flows of air at which backs may have several pressures."""
        return with_several_pa_m3_s(
            self._states.still, {AIR: 1.0}, self.limits.no_load_pa, self.outlet_rows
        )
