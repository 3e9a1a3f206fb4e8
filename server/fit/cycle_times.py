"""How long the cycles of a day take: start, pump-downs, time at pressure, chamber open.

One reckoning for the duty margin of every combination and for the day of a shown stack. The first
cycle starts in the state the night leaves: from cold where the pumps are switched off, else with
the pumps ready. The later ones follow a short venting. Opening the chamber ends every cycle, the
last one too: what was worked on must come out.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from server.fit.case import Case
from server.fit.evacuation import Evacuation
from server.fit.foreline_hold import foreline_holds, is_held, paused_s
from server.fit.habits import (
    back_draws,
    front_draws,
    habits_of,
    pays_to_stop,
    power_w,
    restart_of,
    stop_of,
)
from server.fit.requirements import Duty
from server.fit.running import DAY_S
from server.physics.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Start:
    """What the days of n combinations take beside their pump-downs."""

    from_cold: BoolArray
    """Whether the day starts from cold: the pumps are switched off overnight."""
    warm_up_s: FloatArray
    foreline_s: FloatArray
    """How long the foreline is pumped before the heater goes on."""
    hold_s: FloatArray
    """How long the foreline holds while its pump roughs; inf where nothing has to be held."""
    pause_s: FloatArray
    """How long each pause of roughing takes that pumps the foreline again."""

    def only(self, places: IntArray) -> Start:
        """Return the start of some of the combinations."""
        return Start(*(getattr(self, part.name)[places] for part in fields(self)))

    def roughing_s(self, rough_s: FloatArray) -> FloatArray:
        """Return how long roughing takes with its pauses. [s]."""
        return rough_s + paused_s(rough_s, self.hold_s, self.pause_s)

    def cold_roughing_s(self, rough_s: FloatArray) -> FloatArray:
        """Return how long it takes from cold to the end of roughing, which warm-up goes beside."""
        return self.foreline_s + np.maximum(self.roughing_s(rough_s), self.warm_up_s)

    def first_cycle_s(self, rough_s: FloatArray, time_s: FloatArray, duty: Duty) -> FloatArray:
        """Return the length of the first cycle of a day.

        Parameters
        ----------
        rough_s, time_s : array, shape (n,)
            Roughing, and the whole first pump-down with it. [s]
        duty : Duty
            Time at pressure and of the chamber open.
        """
        warm, cold = self.roughing_s(rough_s), self.cold_roughing_s(rough_s)
        ready = np.where(self.from_cold, cold, warm)
        return ready + (time_s - rough_s) + duty.time_at_pressure_s + duty.vent_time_s

    def later_cycle_s(self, rough_s: FloatArray, time_s: FloatArray, duty: Duty) -> FloatArray:
        """Return the length of a later cycle.

        Parameters
        ----------
        rough_s, time_s : array, shape (n,)
            Roughing, and the whole later pump-down with it. [s]
        duty : Duty
            Time at pressure and of the chamber open.
        """
        pumped = self.roughing_s(rough_s) + (time_s - rough_s)
        return pumped + duty.time_at_pressure_s + duty.vent_time_s


def start_of(case: Case, chosen: tuple[IntArray, IntArray]) -> Start:
    """Return what the days of combinations take beside their pump-downs.

    Whether the pumps are switched off overnight is a matter of the shift that was asked for and of
    energy, whatever the cycles take: a day that is too short for its cycles starts no warmer.

    Parameters
    ----------
    case : Case
        The field.
    chosen : pair of int arrays, shape (n,)
        Front and back of each combination.
    """
    asked, (fronts, backs) = case.requirements, chosen
    used, each = np.unique(fronts, return_inverse=True)
    habits = [habits_of(case.field.fronts[row], asked) for row in used]
    warm_up = np.array([0.0 if own.nonstop else own.warm_up_s for own in habits])[each]
    held = np.array([is_held(own.front) for own in habits], dtype=np.bool_)[each]
    foreline, pause, hold = (np.full(len(each), value) for value in (0.0, 0.0, np.inf))
    if held.any():
        found = foreline_holds(case, (fronts[held], backs[held]))
        foreline[held], pause[held], hold[held] = found.emptied_s, found.pause_s, found.hold_s
    restarts = np.array([restart_of(own) for own in habits]).reshape(-1, 5).T[:, each]
    front_w = np.array([power_w(front_draws(own)) for own in habits])[each]
    back_w = np.array([power_w(back_draws(back)) for back in case.backs])[backs]
    stop = stop_of(restarts, front_w, back_w)
    from_cold = (warm_up > 0.0) & pays_to_stop(stop, DAY_S - asked.duty.shift_s)
    return Start(from_cold, warm_up, foreline, hold, pause)


@dataclass(frozen=True)
class DayNeeds:
    """How long the day's work of n combinations takes; inf where a target is not reached."""

    first_s: FloatArray
    """First cycle."""
    later_s: FloatArray
    """Each later cycle; NaN where a day has none."""
    needed_s: FloatArray
    """All cycles of a day; of less than one a day the cycle itself."""


@dataclass(frozen=True)
class Days:
    """Pump-downs and days of some combinations of a field, worked out when first asked for."""

    case: Case
    evacuation: Evacuation
    chosen: tuple[IntArray, IntArray]
    """Front and back of each combination, n of them, in the order of the field."""

    def spread(self, values: FloatArray) -> FloatArray:
        """Return values of the combinations in the shape of the field, inf for all others."""
        field = self.case.field
        found = np.full((len(field.fronts), len(field.backs)), np.inf)
        found[self.chosen] = values
        return found

    @cached_property
    def start(self) -> Start:
        """What the days take beside their pump-downs."""
        return start_of(self.case, self.chosen)

    @cached_property
    def needs(self) -> DayNeeds:
        """How long the day's work takes."""
        duty, course = self.case.requirements.duty, self.evacuation
        ends = np.isfinite(course.time_s)
        first, later = (np.where(ends, s, 0.0) for s in (course.time_s, course.later_s))
        # where the target lies above the crossover, roughing ends there and not at the crossover
        rough = np.fmin(course.rough_s, first)
        first = np.where(ends, self.start.first_cycle_s(rough, first, duty), np.inf)
        later = np.where(ends, self.start.later_cycle_s(rough, later, duty), np.inf)
        return DayNeeds(first, later, needed_s(first, later, duty))

    def places(self, fronts: IntArray, backs: IntArray) -> IntArray:
        """Return where combinations stand among the chosen ones, of which they must be."""
        columns = len(self.case.field.backs)
        known = self.chosen[0] * columns + self.chosen[1]
        return np.searchsorted(known, fronts * columns + backs)


def needed_s(first_s: FloatArray, later_s: FloatArray, duty: Duty) -> FloatArray:
    """Return how long all cycles of a day take, t_first + (n − 1)·t_later.

    Parameters
    ----------
    first_s, later_s : array, shape (n,)
        Cycles; the later one does not matter where a day has one or less. [s]
    duty : Duty
        With the number of cycles, whole or on average.
    """
    if not duty.repeats:
        return first_s
    return first_s + (duty.cycles_per_day - 1.0) * later_s


def room_s(duty: Duty) -> float:
    """Return the time there is for ``needed_s``: a shift, or all shifts from cycle to cycle. [s].

    Parameters
    ----------
    duty : Duty
        Shift and number of cycles.
    """
    return duty.shift_s / min(1.0, duty.cycles_per_day)
