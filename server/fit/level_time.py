"""Between which times combinations reach their target, without following each of them.

Roughing is followed once for each back, and each front from the corners of a net (``level_falls``).
When and where a front takes over lies between two crossover pressures, one that pump and foreline
carry the flow of and one that they do not; from there its way lies between two corners of the net.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.catalog.arrays import GRID
from server.fit.crossover import NEAR_FLOOR, has_room
from server.fit.evacuation import (
    HORIZON_S,
    RUN_ON_SHARE,
    RoughCurves,
    rough_curves,
    roughing_run_up_s,
    run_up_s,
)
from server.fit.level_crossover import Crossover, Flow
from server.fit.level_falls import FrontFalls, Net
from server.fit.level_rest import Rest
from server.fit.loads import AIR
from server.fit.states import HighVacuumStates
from server.fit.thresholds import CROSSOVER_ROOM, ROUNDING
from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.constants import ATMOSPHERE_PA
from server.physics.gasload import load_at_pa_m3_s

FOLLOWED_WITHIN = 5e-3
"""Pump-downs of one front compare to their order within this share of their time.

Ours; ``tests/fit/test_bounded.py`` tries it with speeds and loads that are drawn.
"""

_RUNGS_APART, _RUNGS_ABOVE, _MOST_LIMITS = 1.15, 6, 24
"""Ratio of crossover pressures that are told apart, how many there are above all limits, and of how
many limits each is one. More or fewer make the bounds narrower or wider, never wrong: ours."""
_LOWEST_RUNG, _HIGHEST_RUNG = 0.1, 10.0
"""The lowest and the highest of them ÷ the lowest and the highest limit of vapour-jet pumps."""


@dataclass(frozen=True)
class _Rungs:
    """Rising crossover pressures: what they ask for, and when roughing gets there."""

    pressure_pa: FloatArray
    """Shape (rungs,)."""
    asked: tuple[Flow, ...]
    flow_pa_m3_s: FloatArray
    """Flow of each, shape (rungs, backs)."""
    reached_s: FloatArray
    """When roughing with each back reaches it, shape (rungs, backs)."""
    with_room_s: FloatArray
    """When it reaches ``CROSSOVER_ROOM`` below it."""
    curves: RoughCurves


@dataclass(frozen=True)
class Between:
    """Bounds of times, of one shape."""

    least_s: FloatArray
    most_s: FloatArray


@dataclass(frozen=True)
class Times:
    """Bounds of what margins of time rest on, shape (fronts, backs)."""

    first: Between
    """First pump-down."""
    later: Between | None
    """Later ones, where a day has any."""
    rough: Between
    """Roughing down to the crossover."""


@dataclass(frozen=True)
class _Takeovers:
    """Between which clocks and pressures pumps take over, (pumps, backs) each."""

    rough: Between
    """When roughing has reached the crossover."""
    first_s: FloatArray
    last_s: FloatArray
    lowest_pa: FloatArray
    highest_pa: FloatArray


class TimeBounds:
    """Bounds of the pump-down times of fronts with the backs of one portion.

    Parameters
    ----------
    states : HighVacuumStates
        All fronts with the backs of the portion.
    crossover : Crossover
        Where they may take over.
    rest : Rest
        Their pressures without load.
    falls : FrontFalls
        The fronts by themselves.
    """

    def __init__(
        self, states: HighVacuumStates, crossover: Crossover, rest: Rest, falls: FrontFalls
    ) -> None:
        self._states, self._crossover, self._rest, self._falls = states, crossover, rest, falls
        self._front_of_pump = np.unique(crossover.pump_of, return_index=True)[1]
        fronts = [states.fronts[row] for row in self._front_of_pump]
        self._run_up_s = np.array([run_up_s(front) for front in fronts])
        self._has_outlet = states.outlet_rows[self._front_of_pump] >= 0
        self._rotor_s = np.array([roughing_run_up_s(back) for back in states.backs])

    def between_s(self, rows: IntArray) -> Times:
        """Return bounds of the pump-downs of some fronts with all backs."""
        pumps, at = np.unique(self._crossover.pump_of[rows], return_inverse=True)
        taken, falls = self._takeovers(pumps), self._falls
        target = self._states.requirements.target_pressure_pa
        # what is reached while roughing, or with more back-diffusion, is not bounded here
        unknown = (taken.lowest_pa <= target)[at]
        beyond = unknown.copy()
        turbo = np.flatnonzero(self._rest.is_turbo[rows])
        if turbo.size:
            beyond[turbo] |= self._rest.added_pa(rows[turbo])[1] > falls.added_pa
        first = (rows * falls.first.least_s[0].size)[:, np.newaxis]
        quick, slow = (
            first + corner[at] for corner in (self._quick(pumps, taken), self._slow(pumps, taken))
        )

        def along(net: Net) -> Between:
            least = taken.first_s[at] + net.least_s.ravel()[quick]
            most = taken.last_s[at] + net.most_s.ravel()[slow]
            return Between(
                np.where(unknown, 0.0, least * (1.0 - FOLLOWED_WITHIN)),
                np.where(beyond, np.inf, most * (1.0 + FOLLOWED_WITHIN)),
            )

        found, later = along(falls.first), None
        if falls.later is not None:
            later = along(falls.later)
            # the quickest of them follow a first one that is no longer than the net allows for
            longer = found.most_s > falls.clock_s[-1]
            taking_over = taken.first_s[at] * (1.0 - FOLLOWED_WITHIN)
            quickest = np.where(longer & ~unknown, taking_over, later.least_s)
            later = Between(quickest, later.most_s)
        rough = Between(taken.rough.least_s[at], taken.rough.most_s[at])
        return Times(found, later, rough)

    def _quick(self, pumps: IntArray, taken: _Takeovers) -> IntArray:
        """Corner of the net, as one number, from which falls take no longer, (pumps, backs)."""
        falls = self._falls
        net = falls.pressure_pa[self._front_of_pump[pumps]]
        pressure = (net[:, :, np.newaxis] > taken.lowest_pa[:, np.newaxis]).sum(axis=1)
        clock = np.searchsorted(falls.clock_s, taken.first_s)
        return np.asarray(pressure * falls.first.least_s.shape[2] + clock)

    def _slow(self, pumps: IntArray, taken: _Takeovers) -> IntArray:
        """Corner of the net, as one number, from which falls take at least as long."""
        falls = self._falls
        net = falls.pressure_pa[self._front_of_pump[pumps]] * (1.0 + ROUNDING)
        above = (net[:, :, np.newaxis] >= taken.highest_pa[:, np.newaxis]).sum(axis=1)
        pressure = np.where(above > 0, above - 1, net.shape[1])
        clock = np.searchsorted(falls.clock_s, taken.last_s, side="right") - 1
        beyond = ~(taken.last_s < np.inf)
        clock = np.where(beyond, len(falls.clock_s), clock)
        return np.asarray(pressure * falls.first.most_s.shape[2] + clock)

    def _takeovers(self, pumps: IntArray) -> _Takeovers:
        """Return when and where pumps take over: between a rung they reach and one they do not."""
        rungs, floor = self._rungs, self._crossover.floor_pa
        reached = self._reached(pumps)
        low, high = self._rungs_of_limit(pumps, reached)
        lowest, highest = rungs.pressure_pa[low], rungs.pressure_pa[high]
        roomy, tight = has_room(lowest, floor), ~has_room(highest, floor)
        back = np.arange(len(floor))
        first = np.where(roomy, rungs.with_room_s[high, back], rungs.reached_s[high, back])
        last = np.where(tight, rungs.reached_s[low, back], rungs.with_room_s[low, back])
        highest = np.where(roomy, highest / CROSSOVER_ROOM, highest)
        lowest = np.where(tight, lowest, lowest / CROSSOVER_ROOM)
        held = self._held_back_s(pumps, reached, highest, first)
        wait = self._run_up_s[pumps, np.newaxis]
        rough = Between(first, last)
        first, last = first + wait, last + wait
        lowest, highest = self._run_on(pumps, (first, last), (lowest, highest))
        unknown = low < 0
        return _Takeovers(
            Between(np.where(unknown, 0.0, rough.least_s), np.where(unknown, np.inf, rough.most_s)),
            np.where(unknown, 0.0, first + self._rotor_s),
            np.where(unknown, np.inf, last + self._rotor_s + held),
            np.where(unknown, 0.0, lowest),
            highest,
        )

    def _run_on(
        self,
        pumps: IntArray,
        clocks_s: tuple[FloatArray, FloatArray],
        pressures_pa: tuple[FloatArray, FloatArray],
    ) -> tuple[FloatArray, FloatArray]:
        """Return bounds of the pressure that is handed over: roughing goes on during a run-up."""
        lowest, highest = pressures_pa
        waiting = np.flatnonzero(self._run_up_s[pumps] > 0.0)
        if waiting.size:
            curves, shape = self._rungs.curves, (len(waiting), lowest.shape[1])
            back = np.broadcast_to(np.arange(shape[1]), shape).ravel()
            high, low = (
                curves.pressure_at(back, np.fmin(clock[waiting], HORIZON_S).ravel()).reshape(shape)
                for clock in clocks_s
            )
            least = RUN_ON_SHARE * lowest[waiting]
            lowest[waiting] = np.clip(low, least, lowest[waiting])
            highest[waiting] = np.clip(high, least, highest[waiting])
        return lowest, highest

    def _reached(self, pumps: IntArray) -> IntArray:
        """Return how many rungs pumps and their forelines carry the flow of, (pumps, backs).

        None where several pressures may belong to a flow; all where there is no foreline.
        """
        rungs = self._rungs
        count = np.full((len(pumps), len(self._crossover.floor_pa)), len(rungs.asked))
        piped = np.flatnonzero(self._has_outlet[pumps])
        carried = np.zeros((len(piped), count.shape[1]), dtype=np.intp)
        for asked in rungs.asked:
            carried += self._crossover.carry(pumps[piped], asked) >= 1.0
        several = np.any([asked.has_several for asked in rungs.asked], axis=0)
        count[piped] = np.where(several, 0, carried)
        return count

    def _rungs_of_limit(self, pumps: IntArray, reached: IntArray) -> tuple[IntArray, IntArray]:
        """Return the rungs below and above the limit of pumps, −1 where it lies below all."""
        limit, jets = self._crossover.own_limit_pa[pumps], self._crossover.is_jet[pumps]
        below = np.searchsorted(self._rungs.pressure_pa, limit, side="right")[:, np.newaxis] - 1
        above = np.searchsorted(self._rungs.pressure_pa, limit)[:, np.newaxis]
        many = np.where(jets[:, np.newaxis], reached, len(self._rungs.asked))
        return np.minimum(many - 1, below), np.minimum(many, above)

    def _held_back_s(
        self, pumps: IntArray, reached: IntArray, highest_pa: FloatArray, first_s: FloatArray
    ) -> FloatArray:
        """Return how long a weak foreline may hold the burst back at most, (pumps, backs).

        No longer than the whole gas takes at the flow that is surely carried.
        """
        rungs, back = self._rungs, np.arange(reached.shape[1])
        carried = np.where(reached > 0, rungs.flow_pa_m3_s[np.maximum(reached - 1, 0), back], 0.0)
        limited = self._has_outlet[pumps, np.newaxis] & (
            carried < self._drawn_pa_m3_s[pumps, np.newaxis]
        )
        loads = self._states.loads
        load = loads.weighted({gas: np.ones(1) for gas in loads.species})
        given_off = load_at_pa_m3_s(load, np.array([first_s.min(initial=HORIZON_S)]))[0]
        spare = carried - given_off
        longest = loads.volume_m3 * highest_pa / np.where(spare > 0.0, spare, 1.0)
        return np.where(limited, np.where(spare > 0.0, longest, np.inf), 0.0)

    @cached_property
    def _drawn_pa_m3_s(self) -> FloatArray:
        """Most that any front of each pump draws up to the pressure it takes over at."""
        inlet, crossover = self._states.alone.inlet, self._crossover
        drawn = inlet.at_chamber[AIR].speed_m3_s * GRID.pressure_pa
        limit = crossover.own_limit_pa[crossover.pump_of, np.newaxis] * np.exp(GRID.step)
        within = np.where(GRID.pressure_pa <= limit, drawn[inlet.row_of_front], 0.0).max(axis=1)
        most = np.zeros(len(crossover.own_limit_pa))
        np.maximum.at(most, crossover.pump_of, within)
        return most

    @cached_property
    def _rungs(self) -> _Rungs:
        crossover, states = self._crossover, self._states
        pressure = _rung_pressures(crossover.own_limit_pa, crossover.is_jet)
        asked = tuple(crossover.flow_for(np.full(len(states.backs), one)) for one in pressure)
        handed = np.where(self._run_up_s > 0.0, RUN_ON_SHARE, 1.0) * crossover.own_limit_pa
        lowest = min(pressure[0], float(handed.min())) / CROSSOVER_ROOM
        lowest = np.fmax(lowest, NEAR_FLOOR * crossover.floor_pa)
        curves = rough_curves(states.loads, states, np.fmin(lowest, ATMOSPHERE_PA))
        return _Rungs(
            pressure,
            asked,
            np.stack([flow.flow_pa_m3_s for flow in asked]),
            _times_at(curves, pressure),
            _times_at(curves, pressure / CROSSOVER_ROOM),
            curves,
        )


def _rung_pressures(limit_pa: FloatArray, is_jet: BoolArray) -> FloatArray:
    """Return pressures around the limits of pumps: the limits themselves, and others between."""
    limits = np.unique(limit_pa)
    if len(limits) > _MOST_LIMITS:
        limits = limits[np.linspace(0, len(limits) - 1, _MOST_LIMITS).astype(np.intp)]
    if not is_jet.any():
        return limits
    low, high = limit_pa[is_jet].min() * _LOWEST_RUNG, limit_pa[is_jet].max()
    count = int(np.log(high / low) / np.log(_RUNGS_APART)) + 2
    above = np.geomspace(high, high * _HIGHEST_RUNG, _RUNGS_ABOVE)
    return np.unique(np.concatenate([limits, np.geomspace(low, high, count), above]))


def _times_at(curves: RoughCurves, pressure_pa: FloatArray) -> FloatArray:
    """Return when each back reaches each pressure, shape (pressures, backs)."""
    shape = (len(pressure_pa), len(curves.curve_of))
    backs = np.broadcast_to(np.arange(shape[1]), shape).ravel()
    return curves.time_at(backs, np.repeat(pressure_pa, shape[1])).reshape(shape)
