"""Pressure against time: V·dp/dt = −S(p)·p + Q(t) for many candidates at once.

Every candidate has its own clock. It falls in closed form until the load matters
(``pumpdown_fall``) and, where the load changes slowly, on to its target without steps
(``pumpdown_approach``); what is left takes its own steps (``pumpdown_step``).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import BoolArray, FloatArray, IntArray, floats
from server.physics.gasload import GasLoad
from server.physics.outgassing import LAW_START_S
from server.physics.pumpdown_approach import approach
from server.physics.pumpdown_fall import fall
from server.physics.pumpdown_paths import paths_of
from server.physics.pumpdown_step import (
    Course,
    Point,
    Rows,
    load_at,
    snapshot,
    speed_per_volume,
    take_step,
)
from server.physics.speedtable import LogGrid, SpeedTable, rest_pressure_pa

_ARRIVED = 1e-8  # relative distance from the target that counts as there
_WORTH_DROPPING = 0.125  # share of candidates that have ended before the others are moved up
_MAX_STEPS = 20_000


@dataclass(frozen=True)
class Phase:
    """One phase of a pump-down: which speed applies, from where, to where.

    ``speed`` holds the effective speed at the chamber; ``rows`` names the row of each of the n
    candidates, so that candidates may share a row. Start clock and factor may be scalars. A start
    clock of inf, the end of an earlier phase that failed, stays inf.
    """

    speed: SpeedTable
    rows: ArrayLike
    start_pressure_pa: ArrayLike
    target_pressure_pa: ArrayLike
    start_time_s: ArrayLike = 0.0
    speed_factor: ArrayLike = 1.0


@dataclass(frozen=True)
class PhaseResult:
    """End of a phase for n candidates.

    ``time_s`` is the clock when the target is reached, inf where it is not; ``pressure_pa`` the
    pressure then, or at the horizon where it is not (where the pressure rises out of the top of
    the speed table: that pressure). With a trace, the curves have shape (n, n_points) and end in
    NaN.
    """

    time_s: FloatArray
    pressure_pa: FloatArray
    reached: BoolArray
    curve_time_s: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    curve_pressure_pa: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))


def pump_down(
    volume_m3: ArrayLike, load: GasLoad, phase: Phase, horizon_s: float, *, trace: bool = False
) -> PhaseResult:
    """Return when each candidate reaches its target pressure in one phase.

    Parameters
    ----------
    volume_m3 : array, scalar or shape (n,)
        Chamber volume, > 0. [m3]
    load : GasLoad
        Constant and decaying load; its clock starts with pumping, at 0. [-]
    phase : Phase
        Speeds, start, target. [-]
    horizon_s : float
        Clock at which to give up, finite. [s]
    trace : bool
        Also return the curves; meant for few candidates. [-]

    Raises
    ------
    OutOfRange
        Volumes, factors or pressures not above zero, start or target outside the speed table, a
        negative start clock.
    """
    course, state = _begin(volume_m3, load, phase, horizon_s)
    result = PhaseResult(
        np.full(state.index.size, np.inf), state.pressure.copy(),
        np.zeros(state.index.size, dtype=np.bool_),
    )  # fmt: skip
    rows = state.row_start // course.grid.count
    paths = paths_of(phase.speed, rows, state.pressure, state.target)
    points = fall(state, course, paths, trace=trace)
    points += approach(state, course, paths, trace=trace)
    before = np.flatnonzero(state.time < LAW_START_S) if course.alpha.any() else state.index[:0]
    if before.size:
        # a load that will decay is held up to there; from there on it has one law to the end. Each
        # waits for the others, so that how it goes on does not depend on which they are
        until = replace(course, horizon_s=min(horizon_s, LAW_START_S))
        points += _follow(state.only(before), result, until, trace=trace)
        _take_over(state, before, result, until, course)
        points += approach(state, course, paths, trace=trace)
    points += _follow(state, result, course, trace=trace)
    return _with_curves(result, points) if trace else result


def _follow(state: Rows, result: PhaseResult, course: Course, *, trace: bool) -> list[Point]:
    """Step candidates on to their targets or to the horizon; tell of each in the result."""
    points: list[Point] = []
    for _ in range(_MAX_STEPS):
        if trace:
            points.append(snapshot(state, course))
        _retire(state, result, course)
        if state.index.size == 0:
            return points
        take_step(state, course)
    raise OutOfRange("The pump-down could not be followed: its speeds or loads are too abrupt.")


def _take_over(
    state: Rows, rows: IntArray, result: PhaseResult, until: Course, course: Course
) -> None:
    """Put candidates where they were told to be at the end of an earlier part of the course."""
    state.time[rows] = np.fmin(result.time_s[rows], until.horizon_s)
    state.pressure[rows] = result.pressure_pa[rows]
    state.load, state.load_slope = load_at(state, np.minimum(state.time, course.horizon_s), course)
    state.value, state.rise = speed_per_volume(state, course, state.pressure)


def _begin(
    volume_m3: ArrayLike, load: GasLoad, phase: Phase, horizon_s: float
) -> tuple[Course, Rows]:
    rows = np.atleast_1d(np.asarray(phase.rows, dtype=np.intp))
    grid, n = phase.speed.grid, rows.size

    def spread(values: ArrayLike) -> FloatArray:
        return np.array(np.broadcast_to(floats(values), (n,)))

    volume, factor = spread(volume_m3), spread(phase.speed_factor)
    pressure, target = spread(phase.start_pressure_pa), spread(phase.target_pressure_pa)
    time = spread(phase.start_time_s)
    _check(volume, factor, pressure, target, grid)
    if not (np.all(time >= 0.0) and 0.0 < horizon_s < np.inf):
        raise OutOfRange("A phase starts at clock zero or later; the horizon must be finite.")
    alpha, amplitude = _terms(load, volume)
    course = Course(grid, phase.speed.speed_m3_s.ravel(), alpha, horizon_s, n)
    nothing = np.zeros(n)
    state = Rows(
        np.arange(n), rows * grid.count, factor / volume, spread(load.constant_pa_m3_s) / volume,
        amplitude, target, rest_pressure_pa(phase.speed)[rows], pressure, time,
        nothing, nothing, nothing, nothing, np.full(n, np.inf), np.ones(n),
        np.zeros(n, dtype=np.bool_),
    )  # fmt: skip
    state.load, state.load_slope = load_at(state, np.minimum(time, horizon_s), course)
    state.value, state.rise = speed_per_volume(state, course, pressure)
    return course, state


def _check(
    volume: FloatArray, factor: FloatArray, start: FloatArray, target: FloatArray, grid: LogGrid
) -> None:
    if not (np.all(volume > 0.0) and np.all(factor > 0.0)):
        raise OutOfRange("Chamber volume and speed factor must be above zero.")
    slack = 1.0 + 1e-9
    for pressure in (start, target):
        if not np.all((pressure * slack >= grid.low_pa) & (pressure <= grid.high_pa * slack)):
            raise OutOfRange(
                f"Start and target pressure must lie between {grid.low_pa:g} Pa and "
                f"{grid.high_pa:g} Pa, where speeds are tabulated."
            )


def _terms(load: GasLoad, volume: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Decaying terms per volume, one row for each exponent: surfaces that decay alike are one."""
    alpha, kind = np.unique(floats(load.alpha), return_inverse=True)
    each = np.atleast_2d(floats(load.amplitude_pa_m3_s))
    amplitude = np.zeros((alpha.size, volume.size))
    for column, row in enumerate(kind.tolist()):
        amplitude[row] += each[:, column]
    amplitude /= volume
    return alpha, amplitude


def _retire(state: Rows, result: PhaseResult, course: Course) -> None:
    """Record the candidates that have ended; drop them once they are worth the moving."""
    there = state.pressure <= state.target * (1.0 + _ARRIVED)
    done = there | (state.time >= course.horizon_s)
    done |= state.pressure > course.grid.high_pa * (1.0 + 1e-9)
    # where the pump takes nothing the pressure never falls again
    done |= state.pressure <= state.rest
    done &= ~state.ended
    if not done.any():
        return
    at = state.index[done]
    reached = there[done] & (state.time[done] <= course.horizon_s)
    result.reached[at] = reached
    result.time_s[at] = np.where(reached, state.time[done], np.inf)
    result.pressure_pa[at] = state.pressure[done]
    state.ended |= done
    # until it is dropped, what has ended stands still: no time is left, and it is where it should
    state.time[done] = course.horizon_s
    state.target[done] = state.pressure[done]
    ended = np.count_nonzero(state.ended)
    if ended >= _WORTH_DROPPING * state.ended.size:
        state.drop_ended()


def _with_curves(result: PhaseResult, points: list[Point]) -> PhaseResult:
    time = np.stack([point[0] for point in points], axis=1)
    pressure = np.stack([point[1] for point in points], axis=1)
    # a step that was not taken leaves its point twice: move such gaps behind the curve
    gap = np.isnan(time)
    gap[:, 1:] |= time[:, 1:] <= np.fmax.accumulate(time, axis=1)[:, :-1]
    order = np.argsort(gap, axis=1, kind="stable")
    time = np.take_along_axis(np.where(gap, np.nan, time), order, axis=1)
    pressure = np.take_along_axis(np.where(gap, np.nan, pressure), order, axis=1)
    return replace(result, curve_time_s=time, curve_pressure_pa=pressure)
