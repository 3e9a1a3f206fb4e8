"""What bounds decide of fronts with many backs, margin by margin (``level_*``)."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import numpy as np

from server.catalog.items import CapturePump
from server.fit.alike import Groups
from server.fit.candidates import Field
from server.fit.case import Case, Ledger
from server.fit.cycle_times import Days
from server.fit.followed import days_of
from server.fit.level_crossover import Crossover
from server.fit.level_day import DayBounds
from server.fit.level_falls import FrontFalls
from server.fit.level_foreline import ForelineLevels
from server.fit.level_pressure import PressureLevels
from server.fit.level_rest import Places, Rest, standing_in
from server.fit.level_time import TimeBounds
from server.fit.levels import FAILS, Levels, Span, span_of
from server.fit.margin_vapour import vapour
from server.fit.margins import backstreaming, duty_in, fluid, pump_down_in
from server.fit.results import MarginKey
from server.fit.settled import LinesFor, let_go
from server.fit.states import HighVacuumStates
from server.physics.arrays import IntArray


class Decided:
    """Narrows the levels of fronts with the backs of one portion.

    Parameters
    ----------
    states : HighVacuumStates
        All fronts with the backs of the portion.
    falls : FrontFalls
        The fronts' pump-downs by themselves.
    """

    def __init__(self, states: HighVacuumStates, falls: FrontFalls) -> None:
        self.states = states
        alone = states.alone
        self.base_rest = _rest(states, alone.base_load, states.without_process)
        process = None
        if alone.process_load is not None:
            process = _rest(states, alone.process_load, states.while_working)
        self._crossover = Crossover(states)
        self._case = self.case_of(np.arange(len(states.fronts)))
        self._forelines = ForelineLevels(self._case, states, self.base_rest, process)
        self._pressures = PressureLevels(alone, self.base_rest, process)
        self.times = TimeBounds(states, self._crossover, self.base_rest, falls)
        self.day = DayBounds(states, self.base_rest)

    def narrow_steady(self, levels: Levels, rows: IntArray) -> None:
        """Narrow levels by every margin without price or time.

        Parts that the site or the gas rules out are in no field: nothing is left to ask for them.
        """
        levels.hold(MarginKey.THROUGHPUT, self._forelines.throughput(rows))
        levels.hold(MarginKey.FORELINE, self._forelines.foreline(rows))
        levels.hold(MarginKey.CROSSOVER, self._crossover.span(rows))
        levels.hold(MarginKey.VAPOUR, self._vapour(rows))
        # what has failed needs no pressures over a turbomolecular pump to be solved
        failed, pressures = levels.most == FAILS, self._pressures
        levels.hold(MarginKey.ULTIMATE, pressures.ultimate(rows, failed))
        levels.hold(MarginKey.PROCESS_PRESSURE, pressures.process_pressure(rows, failed))
        levels.hold(MarginKey.INLET, pressures.inlet(rows, failed))
        for key, span in self._of_fronts.items():
            levels.hold(key, span.at_rows(rows))

    def narrow_timed(self, levels: Levels, rows: IntArray) -> None:
        """Narrow levels by every margin that needs the pump-down time."""
        times, case = self.times.between_s(rows), self.case_of(rows)
        needed = self.day.needed_s(rows, times)
        slow, quick = (pump_down_in(case, s) for s in (times.first.most_s, times.first.least_s))
        if slow is not None and quick is not None:
            key = MarginKey.PUMP_DOWN
            levels.hold(key, span_of(key, slow.ratio, quick.ratio))
        slow, quick = duty_in(case, needed.most_s), duty_in(case, needed.least_s)
        levels.hold(MarginKey.DUTY, span_of(MarginKey.DUTY, slow.ratio, quick.ratio))

    def days(self, chosen: tuple[IntArray, IntArray]) -> Days:
        """Return the days of chosen combinations, each of them followed."""
        return days_of(self.states, self._crossover, self.base_rest, chosen)

    def _vapour(self, rows: IntArray) -> Span | None:
        """Return the levels of the vapour margin: one front stands for all whose trap does as much.

        What is drawn from wet goods depends on every front's own speed.
        """
        if any(load.goods for load in self._case.requirements.process.vapour):
            found = self._vapour_in(rows)
            return None if found is None else span_of(MarginKey.VAPOUR, found.ratio)
        span = self._vapour_of_traps
        return None if span is None else span.at_rows(self._traps.of[rows])

    @cached_property
    def _traps(self) -> Groups:
        states = self.states
        load, letting_by = states.alone.process_load, np.zeros(len(states.fronts), dtype=np.intp)
        for number, (mask, _) in enumerate(states.reaching(load) if load else ()):
            letting_by[mask] = number
        return Groups.by(
            (number, front.trap.sku if front.trap else "", isinstance(front.pump, CapturePump))
            for number, front in zip(letting_by.tolist(), states.fronts, strict=True)
        )

    @cached_property
    def _vapour_of_traps(self) -> Span | None:
        found = self._vapour_in(self._traps.first)
        if found is None:
            return None
        shape = (len(self._traps.first), len(self.states.backs))
        return span_of(MarginKey.VAPOUR, np.broadcast_to(found.ratio, shape))

    def _vapour_in(self, rows: IntArray) -> Ledger | None:
        """Return the vapour margin of some fronts with all backs, (rows, backs) or less."""
        case = self.case_of(rows)
        found = vapour(case)
        let_go(case.states)
        return found

    @cached_property
    def _of_fronts(self) -> Mapping[MarginKey, Span]:
        """Levels of the margins that the fronts alone decide, shape (fronts, 1)."""
        margins = {MarginKey.BACKSTREAMING: backstreaming, MarginKey.FLUID: fluid}
        found = {key: margin(self._case) for key, margin in margins.items()}
        return {key: span_of(key, led.ratio) for key, led in found.items() if led is not None}

    def case_of(self, rows: IntArray) -> Case:
        """Return the case of some fronts with all backs, without prices."""
        states = self.states
        some = HighVacuumStates(states.alone.only(rows), states.backs, states.backing)
        field = Field(tuple(some.fronts), tuple(states.backs))
        nothing = np.zeros((1, 1))
        return Case(field, some.loads, some.requirements, some, nothing, nothing.astype(np.bool_))


def _rest(states: HighVacuumStates, load: Mapping[str, float], lines: LinesFor) -> Rest:
    """Return the pressures without load in the state that a load and its forelines make."""
    alone = states.alone
    places = Places(alone, load, states.outlet_rows)
    return Rest(alone, alone.resting_pa, standing_in(lines, load, places))
