"""The pump-down of the shown stacks: curves, phases, spread, foreline against its limit."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from server.catalog.arrays import GRID
from server.fit.explain import Spot, pressure
from server.fit.geometry import foreline
from server.fit.inlet import conductance_rows
from server.fit.loads import AIR
from server.fit.results import PhaseSpan, PumpDown
from server.fit.states import foreline_limits_pa
from server.fit.uncertainty import Courses, Draws, as_stated, draw, follow
from server.physics.arrays import FloatArray, IntArray
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
    chosen = (
        np.array([spot.front_row for spot in spots], dtype=np.intp),
        np.array([spot.back_row for spot in spots], dtype=np.intp),
    )
    loads = judged.case.loads
    stated = follow(judged, chosen, as_stated(loads), trace=True)
    draws = draw(loads)
    spread = follow(judged, chosen, draws).time_s
    return [
        _pump_down(spot, position, stated, spread[position], draws)
        for position, spot in enumerate(spots)
    ]


def _pump_down(
    spot: Spot, position: int, stated: Courses, times_s: FloatArray, draws: Draws
) -> PumpDown:
    allowed = spot.judged.case.requirements.pump_down_time_s
    order = np.argsort(times_s)
    low, high = (int(order[round(share * (len(order) - 1))]) for share in (0.1, 0.9))
    crossover, takeover = _handover(spot, stated, position)
    time, curve = stated.curve(position)
    return PumpDown(
        time_s=float(stated.time_s[position, 0]),
        p10_s=float(times_s[low]),
        p90_s=float(times_s[high]),
        probability_in_time=float(np.mean(times_s <= allowed)) if allowed is not None else None,
        crossover_pressure_pa=crossover,
        curve=_thinned(time, curve),
        curve_p10=_curve_of(spot, draws, low),
        curve_p90=_curve_of(spot, draws, high),
        foreline_curve=_foreline_curve(spot, time, curve, takeover),
        phases=_phases(spot, stated, position),
    )


def _curve_of(spot: Spot, draws: Draws, which: int) -> tuple[tuple[float, float], ...]:
    one = Draws(
        draws.surfaces[[which]],
        draws.leak[[which]],
        draws.roughing_speed[[which]],
        draws.high_vacuum_speed[[which]],
    )
    course = follow(spot.judged, _place(spot), one, trace=True)
    return _thinned(*course.curve(0))


def _place(spot: Spot) -> tuple[IntArray, IntArray]:
    return np.array([spot.front_row]), np.array([spot.back_row])


def _thinned(time_s: FloatArray, pressure_pa: FloatArray) -> tuple[tuple[float, float], ...]:
    """Keep at most ``SHOWN_POINTS`` points, evenly along the curve, first and last among them."""
    if len(time_s) > SHOWN_POINTS:
        kept = np.unique(np.linspace(0, len(time_s) - 1, SHOWN_POINTS).round().astype(int))
        time_s, pressure_pa = time_s[kept], pressure_pa[kept]
    return tuple(zip(time_s.tolist(), pressure_pa.tolist(), strict=True))


def _handover(spot: Spot, stated: Courses, position: int) -> tuple[float | None, float]:
    """Crossover pressure and the clock at which the high-vacuum pump works; (None, ∞) without one."""
    if spot.front is None or stated.high_vacuum is None:
        return None, math.inf
    row = np.nonzero(stated.followed == position)[0]
    if row.size == 0:
        return None, math.inf
    ended = stated.roughing.curve_pressure_pa[position]
    return float(ended[np.isfinite(ended)][-1]), float(stated.takeover_s[position])


def _phases(spot: Spot, stated: Courses, position: int) -> tuple[PhaseSpan, ...]:
    end = float(stated.time_s[position, 0])
    rough_end = float(stated.roughing.time_s[position])
    pump = spot.back.inlet_pump.name
    if spot.front is None or position not in stated.followed:
        return (PhaseSpan("Roughing", 0.0, end, f"{pump} alone"),)
    handed, takeover = _handover(spot, stated, position)
    spans = [PhaseSpan("Roughing", 0.0, rough_end, f"{pump}, down to {pressure(handed or 0.0)}")]
    if takeover > rough_end:
        spans.append(PhaseSpan("Run-up", rough_end, takeover, "roughing goes on meanwhile"))
    spans.append(PhaseSpan("High vacuum", takeover, end, spot.front.pump.name))
    return tuple(spans)


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
    return np.interp(throughput_pa_m3_s, rising[max(first, 0) :], entry[max(first, 0) :])
