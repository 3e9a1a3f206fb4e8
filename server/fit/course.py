"""The pump-down of the shown stacks: curves, phases, spread, foreline against its limit."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from server.catalog.arrays import GRID
from server.catalog.items import TurboPump
from server.fit.explain import Spot, pressure
from server.fit.geometry import foreline
from server.fit.inlet import conductance_rows
from server.fit.loads import AIR
from server.fit.results import PhaseSpan, PumpDown
from server.fit.states import foreline_limits_pa
from server.fit.uncertainty import Courses, after_first_cycle, as_stated, draw, follow
from server.physics.arrays import FloatArray
from server.physics.entry_speed import entry_pressure_pa
from server.physics.pumps import tolerable_foreline_pa
from server.physics.speedtable import SpeedTable, lookup

SHOWN_POINTS = 240
"""Points of a curve that are worth drawing."""


def pump_downs(spots: Sequence[Spot]) -> list[PumpDown]:
    """Return the pump-downs of combinations of one judged field, which must have been followed."""
    if not spots:
        return []
    judged = spots[0].judged
    loads = judged.case.loads
    fronts = np.array([spot.front_row for spot in spots], dtype=np.intp)
    backs = np.array([spot.back_row for spot in spots], dtype=np.intp)
    systems = draw(loads)
    each = np.repeat(np.arange(len(spots)), systems.count)
    every = systems.rows(np.tile(np.arange(systems.count), len(spots)))
    spread = follow(judged, (fronts[each], backs[each]), every).time_s.reshape(len(spots), -1)
    order = np.argsort(spread, axis=1)
    low, high = (order[:, round(share * (systems.count - 1))] for share in (0.1, 0.9))
    shown = as_stated(loads, len(spots)).then(systems.rows(low)).then(systems.rows(high))
    shown = shown.then(after_first_cycle(judged, (fronts, backs)))
    place = (np.tile(fronts, 4), np.tile(backs, 4))
    courses = follow(judged, place, shown, trace=True)
    return [
        _pump_down(spot, position, courses, spread[position]) for position, spot in enumerate(spots)
    ]


def _pump_down(spot: Spot, position: int, courses: Courses, times_s: FloatArray) -> PumpDown:
    """Pump-down of one stack; rows of the courses: as stated, P10, P90 and later of every stack."""
    allowed = spot.judged.case.requirements.pump_down_time_s
    stacks = len(courses.time_s) // 4
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
        foreline_curve=_foreline_curve(spot, time, curve, takeover),
        phases=_phases(spot, courses, position),
        later_time_s=float(courses.time_s[position + 3 * stacks]),
        later_phases=_phases(spot, courses, position + 3 * stacks),
    )


def _thinned(time_s: FloatArray, pressure_pa: FloatArray) -> tuple[tuple[float, float], ...]:
    """Keep at most ``SHOWN_POINTS`` points, evenly along the curve, first and last among them."""
    if len(time_s) > SHOWN_POINTS:
        kept = np.unique(np.linspace(0, len(time_s) - 1, SHOWN_POINTS).round().astype(int))
        time_s, pressure_pa = time_s[kept], pressure_pa[kept]
    return tuple(zip(time_s.tolist(), pressure_pa.tolist(), strict=True))


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


def _foreline_curve(
    spot: Spot, time_s: FloatArray, chamber_pa: FloatArray, takeover_s: float
) -> tuple[tuple[float, float, float], ...]:
    """Foreline pressure and its limit while the high-vacuum pump works, from what it draws."""
    front, states = spot.front, spot.judged.case.states
    if front is None or front.pump.outlet is None or states.inlet is None:
        return ()
    if states.capacity_pa_m3_s is None or not math.isfinite(takeover_s):
        return ()
    working = time_s >= takeover_s
    row = states.inlet.row_of_front[spot.front_row]
    drawn = lookup(states.inlet.at_chamber[AIR], row, chamber_pa[working]) * chamber_pa[working]
    drawn = np.minimum(drawn, spot.at(states.capacity_pa_m3_s))
    standing = _foreline_at(spot, drawn)
    no_load, full_load = foreline_limits_pa(front.pump)
    largest = front.pump.largest_throughput_pa_m3_s
    limit = tolerable_foreline_pa(np.minimum(drawn, largest), largest, no_load, full_load)
    points = np.stack([time_s[working], standing, limit], axis=1)
    kept = np.unique(np.linspace(0, len(points) - 1, SHOWN_POINTS).round().astype(int))
    return tuple((float(t), float(p), float(most)) for t, p, most in points[kept])


def _foreline_at(spot: Spot, throughput_pa_m3_s: FloatArray) -> FloatArray:
    """Foreline pressure at the pump's outlet for throughputs the back carries."""
    case = spot.judged.case
    assert spot.front is not None  # noqa: S101 (the caller asked)
    assert spot.front.pump.outlet is not None  # noqa: S101
    line = foreline(spot.front.pump.outlet, spot.back, case.requirements)
    own: SpeedTable = case.states.backing.at_inlet[AIR]
    at_back = GRID.pressure_pa[np.newaxis]
    carried = own.speed_m3_s[[spot.back_row]] * at_back
    conductance = np.minimum(conductance_rows([line], AIR), 1e9)
    entry = entry_pressure_pa(GRID, conductance, carried, at_back)[0]
    rising = np.maximum.accumulate(carried[0])
    # below the ultimate pressure nothing is carried: the last such node is where the foreline rests
    first = int(np.argmax(rising > 0.0)) - 1
    start = max(first, 0)
    return np.asarray(np.interp(throughput_pa_m3_s, rising[start:], entry[start:]))
