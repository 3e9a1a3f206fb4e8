"""Levels of the margins that a foreline decides: its pressure, and the gas load it lets through.

Both ask whether a front stands the pressure that a back leaves at its outlet, at the load or at so
many times the load. That pressure depends on the front by its outlet and by what its trap holds
alone, so that it is worked out once for each of these, and a combination costs comparisons.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.fit.case import Case, quotient
from server.fit.level_rest import Rest, borne_ratio, with_several_pa_m3_s
from server.fit.levels import Span, both, open_where, span_of, span_of_steps
from server.fit.margins import turbo_roughing
from server.fit.results import MarginKey
from server.fit.states import HighVacuumStates
from server.fit.thresholds import RULES
from server.physics.arrays import BoolArray, FloatArray, IntArray

Load = Mapping[str, float]


@dataclass(frozen=True)
class _Bearing:
    """What so many times a load asks of fronts and backs."""

    own_share: FloatArray
    """Largest throughput of each front ÷ what reaches it then."""
    tolerable_pa: FloatArray
    """Foreline pressure each front tolerates then."""
    brought_pa: FloatArray
    """Foreline pressure then, shape (places, backs)."""
    has_several: BoolArray
    """Whether it may be another one as well, the same shape."""


class ForelineLevels:
    """Levels of foreline and throughput for fronts with the backs of one portion.

    Parameters
    ----------
    case : Case
        All fronts with the backs of the portion.
    states : HighVacuumStates
        Their states.
    base, process : Rest
        What stands in the forelines without process and while it runs, None without one.
    """

    def __init__(
        self, case: Case, states: HighVacuumStates, base: Rest, process: Rest | None
    ) -> None:
        self._case, self._states, self._alone = case, states, states.alone
        self._base, self._process = base, process

    def foreline(self, rows: IntArray) -> Span:
        """Return the levels of the foreline margin of some fronts."""
        spans = [
            span_of(MarginKey.FORELINE, rest.borne(rows, tolerable))
            for rest, tolerable in self._tolerated
        ]
        span = both(spans[0], spans[-1])
        unbacked = self._states.outlet_rows[rows] < 0
        if unbacked.any():
            roughing = span_of(MarginKey.FORELINE, turbo_roughing(self._case).ratio)
            span.least[unbacked], span.most[unbacked] = roughing.least, roughing.most
        return span

    def throughput(self, rows: IntArray) -> Span | None:
        """Return the levels of the throughput margin of some fronts; None without process."""
        if self._process is None or self._bearings is None:
            return None
        place = self._process.standing.places.of_front[rows]
        works, passes = (
            np.minimum(
                borne_ratio(bearing.tolerable_pa[rows, np.newaxis], bearing.brought_pa[place]),
                bearing.own_share[rows, np.newaxis],
            )
            for bearing in self._bearings
        )
        unknown = self._bearings[0].has_several | self._bearings[1].has_several
        return open_where(unknown[place], span_of_steps(works, passes))

    @cached_property
    def _tolerated(self) -> list[tuple[Rest, FloatArray]]:
        """What stands in the forelines and what each front tolerates there, state by state."""
        found = [(self._base, self._alone.tolerable_pa(self._alone.base_load))]
        if self._process is not None and self._alone.process_load is not None:
            found.append((self._process, self._alone.tolerable_pa(self._alone.process_load)))
        return found

    @cached_property
    def _bearings(self) -> tuple[_Bearing, _Bearing] | None:
        """At the load of the process, and at as much as passes."""
        load, rest = self._alone.process_load, self._process
        if load is None or rest is None:
            return None
        own = quotient(
            self._alone.limits(load).largest_pa_m3_s, self._alone.throughput_pa_m3_s(load)
        )
        lines, backs = self._states.while_working, len(self._states.backs)
        outlets = len(lines(load).runs.outlets)
        no_load, rows = self._alone.limits(load).no_load_pa, self._states.outlet_rows

        def at(times: float) -> _Bearing:
            def carrying(reaching: Load) -> FloatArray:
                flow = np.full(backs, times * sum(reaching.values()))
                return lines(reaching).carrying_pa(reaching, flow)

            def several(reaching: Load) -> FloatArray:
                flow, shape = times * sum(reaching.values()), (outlets, backs)
                low, high = with_several_pa_m3_s(lines(reaching), reaching, no_load, rows)
                within = (flow >= low) & (flow <= high)
                return np.broadcast_to(within.astype(float), shape)

            places = rest.standing.places
            brought, unknown = places.lay(backs, carrying), places.lay(backs, several)
            return _Bearing(
                own / times, self._alone.tolerable_pa(load, times), brought, unknown > 0.0
            )

        return at(1.0), at(RULES[MarginKey.THROUGHPUT].threshold)
