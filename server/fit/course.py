"""The pump-down of the shown stacks: curves, phases, spread, foreline against its limit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.catalog.items import TurboPump
from server.fit.envelope import envelopes
from server.fit.explain import Spot, pressure
from server.fit.foreline_course import ForelineCurve, forelines, shown_of
from server.fit.results import BaseSpread, Envelope, PhaseSpan, PumpDown
from server.fit.uncertainty import (
    Courses,
    after_first_cycle,
    as_stated,
    base_pressures_pa,
    clean_and_tight,
    draw,
    follow,
)
from server.physics.arrays import FloatArray

SHARES = (0.1, 0.5, 0.9)
"""P10, P50 and P90: the share of the plausible systems that do better."""


@dataclass(frozen=True)
class Outlook:
    """How a stack pumps down, and where it comes to rest, with their spread."""

    pump_down: PumpDown
    base: BaseSpread
    envelope: Envelope


def outlooks(spots: Sequence[Spot]) -> list[Outlook]:
    """Return the outlook of combinations of one judged field, which must have been followed."""
    if not spots:
        return []
    judged = spots[0].judged
    loads = judged.case.loads
    fronts = np.array([spot.front_row for spot in spots], dtype=np.intp)
    backs = np.array([spot.back_row for spot in spots], dtype=np.intp)
    systems = draw(loads)
    each = np.repeat(np.arange(len(spots)), systems.count)
    every = systems.rows(np.tile(np.arange(systems.count), len(spots)))
    place = (fronts[each], backs[each])
    times = follow(judged, place, every).time_s.reshape(len(spots), -1)
    bases = base_pressures_pa(judged, place, every).reshape(len(spots), -1)
    order = np.argsort(times, axis=1)
    low, _, high = (order[:, number] for number in _ranks(systems.count))
    shown = as_stated(loads, len(spots)).then(systems.rows(low)).then(systems.rows(high))
    shown = shown.then(after_first_cycle(judged, (fronts, backs)))
    shown = shown.then(clean_and_tight(loads, len(spots)))
    place = (np.tile(fronts, KINDS_OF_SYSTEM), np.tile(backs, KINDS_OF_SYSTEM))
    courses = follow(judged, place, shown, trace=True)
    lines = forelines(spots)
    ends = courses.time_s.reshape(KINDS_OF_SYSTEM, -1)
    reach = envelopes(spots, list(zip(ends[4].tolist(), ends[0].tolist(), strict=True)))
    return [
        Outlook(
            _pump_down(spot, position, courses, times[position], lines[position]),
            _base_spread(spot, bases[position]),
            reach[position],
        )
        for position, spot in enumerate(spots)
    ]


KINDS_OF_SYSTEM = 5
"""As stated, P10, P90, after a venting, clean and tight: a traced pump-down of each stack."""


def pump_downs(spots: Sequence[Spot]) -> list[PumpDown]:
    """Return the pump-downs of combinations of one judged field, which must have been followed."""
    return [outlook.pump_down for outlook in outlooks(spots)]


def _ranks(count: int) -> list[int]:
    """Places of P10, P50 and P90 among so many systems in order."""
    return [round(share * (count - 1)) for share in SHARES]


def _base_spread(spot: Spot, bases_pa: FloatArray) -> BaseSpread:
    target = spot.judged.case.requirements.target_pressure_pa
    low, middle, high = np.sort(bases_pa)[_ranks(len(bases_pa))].tolist()
    return BaseSpread(low, middle, high, float(np.mean(bases_pa <= target)), len(bases_pa))


def _pump_down(
    spot: Spot, position: int, courses: Courses, times_s: FloatArray, line: ForelineCurve | None
) -> PumpDown:
    """Pump-down of one stack; rows of the courses as the kinds of system."""
    allowed = spot.judged.case.requirements.pump_down_time_s
    stacks = len(courses.time_s) // KINDS_OF_SYSTEM
    crossover, takeover = _handover(spot, courses, position)
    time, curve = courses.curve(position)
    return PumpDown(
        time_s=float(courses.time_s[position]),
        p10_s=float(courses.time_s[position + stacks]),
        p90_s=float(courses.time_s[position + 2 * stacks]),
        probability_in_time=float(np.mean(times_s <= allowed)) if allowed is not None else None,
        crossover_pressure_pa=crossover,
        curve=_thinned(time, curve),
        curve_p10=_thinned(*courses.curve(position + stacks)),
        curve_p90=_thinned(*courses.curve(position + 2 * stacks)),
        foreline_curve=line.along(time, curve, takeover) if line else (),
        phases=_phases(spot, courses, position),
        later_time_s=float(courses.time_s[position + 3 * stacks]),
        later_phases=_phases(spot, courses, position + 3 * stacks),
        p50_s=float(np.sort(times_s)[_ranks(len(times_s))[1]]),
        probability_reached=float(np.mean(np.isfinite(times_s))),
    )


def _thinned(time_s: FloatArray, pressure_pa: FloatArray) -> tuple[tuple[float, float], ...]:
    """Keep at most ``SHOWN_POINTS`` points, evenly along the curve, first and last among them."""
    shown = shown_of(len(time_s))
    return tuple(zip(time_s[shown].tolist(), pressure_pa[shown].tolist(), strict=True))


def _handover(spot: Spot, stated: Courses, position: int) -> tuple[float | None, float]:
    """Crossover pressure, and when the high-vacuum pump works; (None, ∞) without one."""
    if spot.front is None or stated.high_vacuum is None:
        return None, math.inf
    row = np.nonzero(stated.followed == position)[0]
    if row.size == 0:
        return None, math.inf
    ended = stated.roughing.curve_pressure_pa[position]
    return float(ended[np.isfinite(ended)][-1]), float(stated.takeover_s[position])


def _phases(spot: Spot, stated: Courses, position: int) -> tuple[PhaseSpan, ...]:
    end = float(stated.time_s[position])
    rough_end = float(stated.roughing.time_s[position])
    pump = spot.back.inlet_pump.name
    if spot.front is None or position not in stated.followed:
        return (PhaseSpan("Roughing", 0.0, end, f"{pump} alone"),)
    handed, takeover = _handover(spot, stated, position)
    spans = [PhaseSpan("Roughing", 0.0, rough_end, f"{pump}, down to {pressure(handed or 0.0)}")]
    if takeover > rough_end:
        spans.append(_between(spot, rough_end, takeover))
    spans.append(PhaseSpan("High vacuum", takeover, end, spot.front.pump.name))
    return tuple(spans)


def _between(spot: Spot, start_s: float, end_s: float) -> PhaseSpan:
    if spot.front is not None and isinstance(spot.front.pump, TurboPump):
        return PhaseSpan("Run-up", start_s, end_s, "roughing goes on meanwhile")
    if isinstance(spot.back.booster, TurboPump):
        return PhaseSpan("Run-up", start_s, end_s, f"of {spot.back.booster.name}")
    note = "the foreline carries less than the pump could pass on"
    return PhaseSpan("Burst after crossover", start_s, end_s, note)
