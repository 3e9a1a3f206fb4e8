"""Between which times the cycles of a day take, of many combinations (``cycle_times``).

A foreline that is shut while the chamber is roughed is pumped before that, and in a few pauses of
it: no longer each than its volume takes from the atmosphere, which next to a cycle is little. So
these are bounded by that; whether a day starts from cold is decided exactly.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from server.catalog.arrays import GRID
from server.catalog.gas_limits import tolerable_foreline_for
from server.fit.foreline_hold import MOST_PAUSES, REST_ROOM, START_SHARE, is_held
from server.fit.habits import (
    back_draws,
    front_draws,
    habits_of,
    pays_to_stop,
    power_w,
    restart_of,
    stop_of,
)
from server.fit.level_rest import Rest
from server.fit.level_time import Between, Times
from server.fit.loads import AIR
from server.fit.running import DAY_S
from server.fit.states import HighVacuumStates
from server.physics.arrays import BoolArray, FloatArray, IntArray


class DayBounds:
    """Bounds of the days of fronts with the backs of one portion.

    Parameters
    ----------
    states : HighVacuumStates
        All fronts with the backs of the portion.
    rest : Rest
        What stands in their forelines without process.
    """

    def __init__(self, states: HighVacuumStates, rest: Rest) -> None:
        self._states, self._rest = states, rest
        self._duty = states.requirements.duty
        habits = [habits_of(front, states.requirements) for front in states.fronts]
        self._warm_up_s = np.array([0.0 if own.nonstop else own.warm_up_s for own in habits])
        self._held = np.array([is_held(own.front) for own in habits])
        self._restarts = np.array([restart_of(own) for own in habits]).reshape(-1, 5).T
        self._front_w = np.array([power_w(front_draws(own)) for own in habits])
        self._back_w = np.array([power_w(back_draws(back)) for back in states.backs])

    def needed_s(self, rows: IntArray, times: Times) -> Between:
        """Return bounds of the time the cycles of a day take, (rows, backs)."""
        beside = self._duty.time_at_pressure_s + self._duty.vent_time_s
        start, emptied = self._start_s(rows, times.rough)
        least = times.first.least_s + start.least_s + beside
        most = times.first.most_s + start.most_s + beside
        if times.later is not None:
            more = self._duty.cycles_per_day - 1.0
            least = least + more * (times.later.least_s + beside)
            most = most + more * (times.later.most_s + MOST_PAUSES * emptied + beside)
        return Between(least, most)

    def _start_s(self, rows: IntArray, rough: Between) -> tuple[Between, FloatArray]:
        """Return what the first cycle takes beside its pump-down, and pumping the foreline once."""
        emptied, cold = self._emptied_s(rows), self._from_cold(rows)
        warm_up = self._warm_up_s[rows, np.newaxis]
        least = np.where(cold, np.maximum(warm_up - rough.most_s, 0.0), 0.0)
        paused = MOST_PAUSES * emptied
        from_cold = emptied + np.maximum(paused, warm_up - rough.least_s)
        return Between(least, np.where(cold, from_cold, paused)), emptied

    def _from_cold(self, rows: IntArray) -> BoolArray:
        """Say which combinations start the day from cold, (rows, backs)."""
        warming = self._warm_up_s[rows] > 0.0
        found = np.zeros((len(rows), len(self._back_w)), dtype=np.bool_)
        some = rows[warming]
        stop = stop_of(
            [part[:, np.newaxis] for part in self._restarts[:, some]],
            self._front_w[some, np.newaxis],
            self._back_w,
        )
        found[warming] = pays_to_stop(stop, DAY_S - self._duty.shift_s)
        return found

    def _emptied_s(self, rows: IntArray) -> FloatArray:
        """Return how long a shut foreline takes from the atmosphere at most, (rows, backs).

        Down to a tenth of its limit; where its pump comes to rest near that, it is not bounded.
        """
        found = np.zeros((len(rows), len(self._back_w)))
        held = np.flatnonzero(self._held[rows])
        if held.size:
            fronts = rows[held]
            start, place = self._start_pa[fronts], self._rest.standing.places.of_front[fronts]
            node = np.searchsorted(GRID.pressure_pa, start, side="right") - 1
            of = self._states.backing.inlet.of
            slow = self._slowness[of[np.newaxis], node[:, np.newaxis]]
            near = REST_ROOM * self._rest.standing.pressure_pa[place] > start[:, np.newaxis]
            found[held] = np.where(near, np.inf, slow * self._volume_m3[fronts, np.newaxis])
        return found

    @cached_property
    def _start_pa(self) -> FloatArray:
        """Pressure down to which a shut foreline is pumped, shape (fronts,)."""
        fronts = self._states.fronts
        limits = [tolerable_foreline_for(front.pump, AIR)[0] for front in fronts]
        return START_SHARE * np.array(limits)

    @cached_property
    def _volume_m3(self) -> FloatArray:
        """Volume of each front's foreline at most, shape (fronts,)."""
        run = self._states.requirements.foreline
        outlets = [front.pump.outlet for front in self._states.fronts]
        bore = np.array([run.bore_m or (out.bore_m if out else 0.0) for out in outlets])
        return np.asarray(np.pi / 4.0 * bore**2 * max(run.length_m, 0.0))

    @cached_property
    def _slowness(self) -> FloatArray:
        """At most ∫ d ln p/S from each node to the atmosphere, row by row of backs in use."""
        speeds = self._states.backing.inlet
        speed = speeds.tables[AIR].speed_m3_s[speeds.rows]
        with np.errstate(divide="ignore"):
            cells = GRID.step / np.minimum(speed[:, 1:], speed[:, :-1])
        above = np.cumsum(cells[:, ::-1], axis=1)[:, ::-1]
        return np.pad(above, ((0, 0), (0, 1)))
