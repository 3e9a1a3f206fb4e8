"""Pressure against time: V·dp/dt = −S(p)·p + Q(t) for many candidates at once.

Every candidate has its own clock. A step linearises S(p)·p about the present pressure and solves
the linear equation exactly, with the load as a parabola through both ends of the step; the bend of
S(p)·p that the predicted end reveals then corrects it (an exponential Rosenbrock method of third
order [HOCHBRUCK-2009]):

    p* = p₀ + Δt·[φ₁·f₀ + (φ₂·Q̇₀·Δt + 2φ₃·(Q₁ − Q₀ − Q̇₀·Δt))/V],
    p₁ = p* + 2Δt·φ₃·[g(p*) − g(p₀)],
    f = dp/dt,   g(p) = λ·p − S(p)·p/V,   λ = (S + dS/d ln p)/V at p₀,   φₖ at z = −λ·Δt.

Constant speed, constant throughput and the quasi-steady fall behind outgassing are exact or stable
in it, so that a step may take 0.4 of an e-fold of pressure or of time; where the correction is
large the steps shorten.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import BoolArray, FloatArray, IntArray, floats
from server.physics.gasload import GasLoad
from server.physics.outgassing import HOUR_S, LAW_START_S
from server.physics.speedtable import SpeedTable, gather

_LN_P_STEP = 0.4
_LN_T_STEP = 0.4
_FALL = -math.expm1(-_LN_P_STEP)
_RISE = math.expm1(_LN_P_STEP)
_NEARLY_ONE = 1.0 - 1e-9  # closer to its balance than this the pressure never moves so far
_MOST_FALL, _MOST_RISE = 0.4, 2.5  # a step beyond these is taken again, shorter
_MOST_CORRECTION = 3e-3  # share of the pressure; a larger one means too long a step
_MAX_SHORTENINGS = 40
_OVERSHOT = 1e-5  # relative depth below the target up to which a step is interpolated
_ARRIVED = 1e-7  # relative distance from the target that counts as there
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


@dataclass
class _Rows:
    """State of the candidates still under way; compacted as they finish."""

    index: IntArray
    row_start: IntArray
    volume: FloatArray
    factor: FloatArray
    constant: FloatArray
    amplitude: FloatArray
    target: FloatArray
    pressure: FloatArray
    time: FloatArray
    load: FloatArray
    load_slope: FloatArray
    longest: FloatArray
    caution: FloatArray
    rest: FloatArray

    def keep(self, alive: BoolArray) -> None:
        for name, value in vars(self).items():
            if name != "amplitude" or value.ndim == 2:
                setattr(self, name, value[alive])


@dataclass(frozen=True)
class _Slope:
    """dp/dt and the decay constant λ of the linearised equation."""

    rate: FloatArray
    decay: FloatArray


@dataclass(frozen=True)
class _Attempt:
    """Where a step would lead."""

    time: FloatArray
    load: FloatArray
    load_slope: FloatArray
    pressure: FloatArray
    correction: FloatArray


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
    state = _begin(volume_m3, load, phase, horizon_s)
    alpha = floats(load.alpha)
    result = PhaseResult(
        np.full(state.index.size, np.inf), state.pressure.copy(),
        np.zeros(state.index.size, dtype=np.bool_),
    )  # fmt: skip
    points: list[tuple[FloatArray, FloatArray]] = []
    for _ in range(_MAX_STEPS):
        if trace:
            points.append(_snapshot(state, result.time_s.size))
        _retire(state, result, phase.speed.grid.high_pa, horizon_s)
        if state.index.size == 0:
            return _with_curves(result, points) if trace else result
        _step(state, phase.speed, alpha, horizon_s)
    raise OutOfRange("The pump-down could not be followed: its speeds or loads are too abrupt.")


def _begin(volume_m3: ArrayLike, load: GasLoad, phase: Phase, horizon_s: float) -> _Rows:
    rows = np.atleast_1d(np.asarray(phase.rows, dtype=np.intp))
    grid, n = phase.speed.grid, rows.size

    def spread(values: ArrayLike) -> FloatArray:
        return np.array(np.broadcast_to(floats(values), (n,)))

    volume, factor = spread(volume_m3), spread(phase.speed_factor)
    start, target = spread(phase.start_pressure_pa), spread(phase.target_pressure_pa)
    time = spread(phase.start_time_s)
    if not (np.all(volume > 0.0) and np.all(factor > 0.0)):
        raise OutOfRange("Chamber volume and speed factor must be above zero.")
    slack = 1.0 + 1e-9
    for pressure in (start, target):
        if not np.all((pressure * slack >= grid.low_pa) & (pressure <= grid.high_pa * slack)):
            raise OutOfRange(
                f"Start and target pressure must lie between {grid.low_pa:g} Pa and "
                f"{grid.high_pa:g} Pa, where speeds are tabulated."
            )
    if not (np.all(time >= 0.0) and 0.0 < horizon_s < np.inf):
        raise OutOfRange("A phase starts at clock zero or later; the horizon must be finite.")
    amplitude = floats(load.amplitude_pa_m3_s)
    if amplitude.ndim == 2:
        amplitude = np.broadcast_to(amplitude, (n, amplitude.shape[1]))
    state = _Rows(
        np.arange(n), rows * grid.count, volume, factor, spread(load.constant_pa_m3_s),
        amplitude, target, start, time, np.zeros(n), np.zeros(n), np.full(n, np.inf), np.ones(n),
        _rest_pa(phase.speed)[rows],
    )  # fmt: skip
    state.load, state.load_slope = _load(state, np.minimum(time, horizon_s), floats(load.alpha))
    return state


def _rest_pa(speed: SpeedTable) -> FloatArray:
    """Pressure of each row of a table at and below which the pump takes nothing; 0 without one."""
    first = np.argmax(speed.speed_m3_s > 0.0, axis=1)
    return np.where(first > 0, speed.grid.pressure_pa[np.maximum(first, 1) - 1], 0.0)


def _load(state: _Rows, time: FloatArray, alpha: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Q and dQ/dt at each candidate's clock; one exponential per decaying term."""
    total = state.constant.copy()
    slope = np.zeros_like(total)
    if alpha.size:
        ln_hours = np.log(np.maximum(time, LAW_START_S)) - math.log(HOUR_S)
        for j, exponent in enumerate(alpha):
            term = np.exp(-exponent * ln_hours)
            term *= state.amplitude[..., j]
            total += term
            slope -= exponent * term
        # up to the start of the law the load is constant; steps end there
        slope = np.where(time >= LAW_START_S, slope / np.maximum(time, LAW_START_S), 0.0)
    return total, slope


def _retire(state: _Rows, result: PhaseResult, top_pa: float, horizon_s: float) -> None:
    """Record the candidates that are done and drop them."""
    there = (state.pressure <= state.target * (1.0 + _ARRIVED)) & (state.time <= horizon_s)
    done = there | (state.time >= horizon_s) | (state.pressure > top_pa * (1.0 + 1e-9))
    # where the pump takes nothing the pressure never falls again
    done |= state.pressure <= state.rest
    if not done.any():
        return
    at = state.index[done]
    result.reached[at] = there[done]
    result.time_s[at] = np.where(there[done], state.time[done], np.inf)
    result.pressure_pa[at] = state.pressure[done]
    state.keep(~done)


def _step(state: _Rows, speed: SpeedTable, alpha: FloatArray, horizon_s: float) -> None:
    """Take every candidate one step on, each by its own length."""
    start = state.pressure
    value, rise = _speed_per_volume(state, speed, start)
    slope = _Slope(state.load / state.volume - value * start, value + rise)
    step = _step_length(state, slope, float(np.max(alpha, initial=0.0)), horizon_s)
    attempt = _attempt(state, speed, alpha, slope, step)
    for _ in range(_MAX_SHORTENINGS):
        abrupt = (attempt.pressure < _MOST_FALL * start) | (attempt.pressure > _MOST_RISE * start)
        if not abrupt.any():
            break
        step = np.where(abrupt, 0.25 * step, step)
        attempt = _attempt(state, speed, alpha, slope, step)
    _accept(state, attempt)


def _accept(state: _Rows, attempt: _Attempt) -> None:
    """Move on to where the step led, except where it was too rough or went past a target.

    A large correction turns the step down and makes the next ones shorter (``caution``), until
    they are smooth again: near an ultimate pressure the curve bends within one step. A step that
    ends a hair below the target is shortened by interpolation; one that ends deeper
    is not taken: the candidate waits for its next step, which is then no longer than the
    interpolated time of crossing.
    """
    rough = attempt.correction > _MOST_CORRECTION
    smooth = attempt.correction < 0.2 * _MOST_CORRECTION
    bolder = np.where(smooth, np.minimum(2.0 * state.caution, 1.0), state.caution)
    state.caution = np.where(rough, 0.4 * state.caution, bolder)
    over = (attempt.pressure < state.target) & ~rough
    moves = ~rough
    state.longest = np.full(over.size, np.inf)
    if over.any():
        crossing = _crossing(state, over, attempt)
        deep = attempt.pressure[over] < state.target[over] * (1.0 - _OVERSHOT)
        state.longest[over] = np.where(deep, crossing - state.time[over], np.inf)
        moves[over] = ~deep
        attempt.time[over] = crossing
        attempt.pressure[over] = state.target[over]
    state.pressure = np.where(moves, attempt.pressure, state.pressure)
    state.time = np.where(moves, attempt.time, state.time)
    state.load = np.where(moves, attempt.load, state.load)
    state.load_slope = np.where(moves, attempt.load_slope, state.load_slope)


def _speed_per_volume(
    state: _Rows, speed: SpeedTable, pressure: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """S/V and its rise per unit of ln p; the ends of the table are held for trial pressures."""
    grid = speed.grid
    position = (np.log(pressure) - grid.ln_low) / grid.step
    position = np.clip(position, 0.0, grid.count - 1.0)
    cell = np.minimum(position.astype(np.intp), grid.count - 2)
    value, rise = gather(speed.speed_m3_s.ravel(), state.row_start, cell, position - cell)
    scale = state.factor / state.volume
    value *= scale
    rise *= scale / grid.step
    return value, rise


def _attempt(
    state: _Rows, speed: SpeedTable, alpha: FloatArray, slope: _Slope, step: FloatArray
) -> _Attempt:
    """One step of the given length: predictor, then correction by the bend of S(p)·p."""
    time = state.time + step
    load, load_slope = _load(state, time, alpha)
    phi1, phi2, phi3 = _phi(-slope.decay * step)
    first = step * state.load_slope
    bend = load - state.load - first
    change = phi1 * slope.rate + (phi2 * first + 2.0 * phi3 * bend) / state.volume
    change *= step
    lowest = 0.1 * state.pressure  # a trial pressure must stay positive; the caller shortens
    trial = np.maximum(state.pressure + change, lowest)
    value, _ = _speed_per_volume(state, speed, trial)
    # what the linearised S(p)·p missed at the end of the step
    missed = slope.decay * (trial - state.pressure) - value * trial
    missed += state.load / state.volume - slope.rate
    correction = 2.0 * step * phi3 * missed
    pressure = state.pressure + change + correction
    return _Attempt(time, load, load_slope, pressure, np.abs(correction) / state.pressure)


def _phi(z: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """φ₁, φ₂, φ₃ with φ₁ = (eᶻ − 1)/z, φₖ₊₁ = (φₖ − 1/k!)/z, by series near 0."""
    small = np.abs(z) < 1e-2
    safe = np.where(small, 1.0, z)
    phi1 = np.expm1(safe) / safe
    phi2 = (phi1 - 1.0) / safe
    phi3 = (phi2 - 0.5) / safe
    if small.any():
        x = z[small]
        third = 1.0 / 6.0 + x * (1.0 / 24.0 + x * (1.0 / 120.0 + x / 720.0))
        second = 0.5 + x * third
        phi1[small], phi2[small], phi3[small] = 1.0 + x * second, second, third
    return phi1, phi2, phi3


def _step_length(state: _Rows, slope: _Slope, steepest: float, horizon_s: float) -> FloatArray:
    """Time in which the linear equation changes the pressure by the allowed part."""
    falling = slope.rate < 0.0
    fall = np.minimum(_FALL * state.caution * state.pressure, state.pressure - state.target)
    change = np.where(falling, fall, _RISE * state.caution * state.pressure)
    # an arbitrary small rate stands for none at all: the clock limits the step then
    linear = change / np.maximum(np.abs(slope.rate), 1e-200)
    x = np.minimum(slope.decay * linear, _NEARLY_ONE)
    small = np.abs(x) < 1e-6
    step = linear * np.where(small, 1.0, np.log1p(-x) / np.where(small, 1.0, -x))
    step = np.where(slope.decay * linear >= _NEARLY_ONE, np.inf, step)
    remaining = np.minimum(horizon_s - state.time, state.longest)
    if steepest > 0.0:
        clock = np.where(
            state.time < LAW_START_S,
            LAW_START_S - state.time,
            (_LN_T_STEP / max(1.0, steepest)) * state.caution * state.time,
        )
        remaining = np.minimum(remaining, clock)
    return np.minimum(step, remaining)


def _crossing(state: _Rows, over: BoolArray, attempt: _Attempt) -> FloatArray:
    """Clock at the target within a step that went below it.

    Interpolated as a power law of time, which the fall behind outgassing is; from clock 0, where
    there is no such law yet, as an exponential.
    """
    before, begin = state.pressure[over], state.time[over]
    share = np.log(before / state.target[over]) / np.log(before / attempt.pressure[over])
    ratio = attempt.time[over] / np.where(begin > 0.0, begin, 1.0)
    return np.where(begin > 0.0, begin * ratio**share, attempt.time[over] * share)


def _snapshot(state: _Rows, count: int) -> tuple[FloatArray, FloatArray]:
    time, pressure = np.full(count, np.nan), np.full(count, np.nan)
    time[state.index], pressure[state.index] = state.time, state.pressure
    return time, pressure


def _with_curves(result: PhaseResult, points: list[tuple[FloatArray, FloatArray]]) -> PhaseResult:
    time = np.stack([point[0] for point in points], axis=1)
    pressure = np.stack([point[1] for point in points], axis=1)
    # a step that was not taken leaves its point twice: move such gaps behind the curve
    gap = np.isnan(time)
    gap[:, 1:] |= time[:, 1:] == time[:, :-1]
    order = np.argsort(gap, axis=1, kind="stable")
    time = np.take_along_axis(np.where(gap, np.nan, time), order, axis=1)
    pressure = np.take_along_axis(np.where(gap, np.nan, pressure), order, axis=1)
    return replace(result, curve_time_s=time, curve_pressure_pa=pressure)
