"""One step of a pump-down, V·dp/dt = −S(p)·p + Q(t), for many candidates at once.

A step linearises S(p)·p about the present pressure and solves the linear equation exactly, with the
load as a parabola through both ends of the step; the bend of S(p)·p that the predicted end reveals
then corrects it (an exponential Rosenbrock method of third
order [HOCHBRUCK-2009]):

    p* = p₀ + Δt·[φ₁·f₀ + (φ₂·Q̇₀·Δt + 2φ₃·(Q₁ − Q₀ − Q̇₀·Δt))/V],
    p₁ = p* + 2Δt·φ₃·[g(p*) − g(p₀)],
    f = dp/dt,   g(p) = λ·p − S(p)·p/V,   λ = (S + dS/d ln p)/V at p₀,   φₖ at z = −λ·Δt.

Constant speed, constant throughput and the quasi-steady fall behind outgassing are exact or stable
in it, so that a step may take 0.8 of an e-fold of pressure or of time; where the correction is
large the steps shorten.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.outgassing import HOUR_S, LAW_START_S
from server.physics.speedtable import LogGrid, gather

LN_P_STEP = 0.8
LN_T_STEP = 0.8
_FALL = -math.expm1(-LN_P_STEP)
_RISE = math.expm1(LN_P_STEP)
_NEARLY_ONE = 1.0 - 1e-9  # closer to its balance than this the pressure never moves so far
_MOST_FALL = 0.15  # a step down to less than this share of the pressure is not taken
_MOST_CORRECTION = 5e-3  # share of the pressure; a larger one means too long a step
_SMOOTH = 0.25 * _MOST_CORRECTION  # below this the next step may be longer
_BOLDER, _SHORTER = 1.5, 0.6  # factors on the length of the next step
_AIM = 2e-3  # share of the target by which the last step goes below it
_SMALL = 0.05  # below this the functions φ are taken from their series
_OVERSHOT = 1e-2  # depth below the target in ln p from which the slope may lead back to it
_SMALL_PART = 0.1  # share of a time constant over which it may
_BEHIND = 0.9  # share of the load in what is pumped from which on the pressure follows the load
_LITTLE = 0.03  # share of a step over which interpolation is good enough to stop at
_HAIR = 1e-5  # distance in ln p from either end of the step that counts as none
_SHORT_OF_CROSSING = 0.7  # share of the way to an estimated crossing that is taken


@dataclass
class Rows:
    """State of the candidates; those that have ended are dropped now and then.

    Speeds and loads are counted per chamber volume: value, rise and scale in 1/s and per unit of
    the table, loads in Pa/s. ``amplitude`` has one row for each decaying term.
    """

    index: IntArray
    row_start: IntArray
    scale: FloatArray
    constant: FloatArray
    amplitude: FloatArray
    target: FloatArray
    rest: FloatArray
    pressure: FloatArray
    time: FloatArray
    load: FloatArray
    load_slope: FloatArray
    value: FloatArray
    rise: FloatArray
    longest: FloatArray
    caution: FloatArray
    ended: BoolArray

    def only(self, chosen: IntArray) -> Rows:
        """Return the state of some of the candidates."""
        return Rows(*(value[..., chosen] for value in vars(self).values()))

    def drop_ended(self) -> None:
        """Keep only what is still under way."""
        vars(self).update(vars(self.only(np.flatnonzero(~self.ended))))


@dataclass(frozen=True)
class Course:
    """What all candidates of a phase have in common."""

    grid: LogGrid
    flat_speed: FloatArray
    alpha: FloatArray
    """Exponents of the decaying terms, each once."""
    horizon_s: float
    count: int
    """How many candidates there are, those that have ended included."""

    @property
    def clock_share(self) -> float:
        """Largest step as a share of the clock, by the steepest decaying term; inf without one."""
        return LN_T_STEP / max(1.0, self.alpha.max()) if self.alpha.size else np.inf


Point = tuple[FloatArray, FloatArray]
"""Clock [s] and pressure [Pa] of every candidate, NaN for those that are not there."""


def snapshot(state: Rows, course: Course) -> Point:
    """Return where the candidates are that are under way.

    Parameters
    ----------
    state : Rows
        Candidates, or those of them that are left. [-]
    course : Course
        What they have in common. [-]
    """
    time, pressure = np.full((2, course.count), np.nan)
    under_way = ~state.ended
    at = state.index[under_way]
    time[at], pressure[at] = state.time[under_way], state.pressure[under_way]
    return time, pressure


def spread(points: list[Point], rows: IntArray, state: Rows, course: Course) -> list[Point]:
    """Return points of some of the candidates as points of all, after where all of them are.

    Parameters
    ----------
    points : list of pairs of array
        Clocks [s] and pressures [Pa] of some of the candidates. [-]
    rows : array of int
        Which ones. [-]
    state : Rows
        Where all of them are before. [-]
    course : Course
        What they have in common. [-]
    """
    found, at = [snapshot(state, course)], state.index[rows]
    for clock, pressure in points:
        all_clocks, all_pressures = np.full((2, course.count), np.nan)
        all_clocks[at], all_pressures[at] = clock, pressure
        found.append((all_clocks, all_pressures))
    return found


@dataclass(frozen=True)
class _Attempt:
    """Where a step would lead; the names are those of the state."""

    time: FloatArray
    load: FloatArray
    load_slope: FloatArray
    pressure: FloatArray
    value: FloatArray
    rise: FloatArray


def load_at(state: Rows, time: FloatArray, course: Course) -> tuple[FloatArray, FloatArray]:
    """Q/V and its rate of change at each candidate's clock; one exponential per exponent.

    Parameters
    ----------
    state : Rows
        Candidates under way. [-]
    time : array, shape (n,) or (k, n)
        Clocks of each candidate. [s]
    course : Course
        What they have in common. [-]
    """
    total, slope = np.zeros((2, *time.shape))
    total += state.constant
    if course.alpha.size:
        # up to the start of the law the load is constant; steps end there
        hours = np.maximum(time, LAW_START_S)
        slope_per_term = (time >= LAW_START_S) / hours
        hours /= HOUR_S
        ln_hours = np.log(hours, out=hours)
        for exponent, amplitude in zip(course.alpha.tolist(), state.amplitude, strict=True):
            term = ln_hours * -exponent
            np.exp(term, out=term)
            term *= amplitude
            total += term
            term *= exponent
            slope -= term
        slope *= slope_per_term
    return total, slope


class OnTable(Protocol):
    """Candidates with their row of a speed table and the factor on its speeds."""

    @property
    def row_start(self) -> IntArray:
        """Where the row of each begins."""

    @property
    def scale(self) -> FloatArray:
        """Factor on its speeds."""


def speed_per_volume(
    state: OnTable, course: Course, pressure: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """S/V and its rise per unit of ln p; the ends of the table are held for trial pressures.

    Parameters
    ----------
    state : OnTable
        Candidates. [-]
    course : Course
        What they have in common. [-]
    pressure : array, shape (n,) or (k, n)
        Chamber pressures, > 0. [Pa]
    """
    grid = course.grid
    position = grid.place_of(pressure)
    np.maximum(position, 0.0, out=position)
    np.minimum(position, grid.count - 1.0, out=position)
    cell = position.astype(np.intp)
    np.minimum(cell, grid.count - 2, out=cell)
    position -= cell
    value, rise = gather(course.flat_speed, state.row_start, cell, position)
    value *= state.scale
    rise *= state.scale
    rise *= 1.0 / grid.step
    return value, rise


def take_step(state: Rows, course: Course) -> None:
    """Take every candidate one step on, each by its own length.

    Predictor, then correction by the bend of S(p)·p; all loads and speeds per volume.

    Parameters
    ----------
    state : Rows
        Candidates under way; moved on. [-]
    course : Course
        What they have in common. [-]
    """
    start = state.pressure
    rate = state.load - state.value * start
    decay = state.value + state.rise
    step = _step_length(state, rate, decay, course)
    time = state.time + step
    load, load_slope = load_at(state, time, course)
    phi1, phi2, phi3 = _phi(decay * -step)
    phi3 *= 2.0
    first = step * state.load_slope
    bend = load - state.load
    bend -= first
    bend *= phi3
    first *= phi2
    first += bend
    phi1 *= rate
    phi1 += first
    phi1 *= step
    # a trial pressure must stay positive; what falls so far is not taken
    trial = np.maximum(start + phi1, 0.1 * start)
    value, rise = speed_per_volume(state, course, trial)
    # what the linearised S(p)·p missed at the end of the step
    correction = decay * (trial - start)
    correction -= value * trial
    correction += state.load - rate
    correction *= phi3
    correction *= step
    pressure = trial + correction
    # the speed at the corrected pressure, to second order in the small correction
    value += rise * (correction / trial)
    _accept(state, _Attempt(time, load, load_slope, pressure, value, rise), np.abs(correction))


def _accept(state: Rows, attempt: _Attempt, correction: FloatArray) -> None:
    """Move on to where the step led, except where it was too rough or went past a target.

    A large correction turns the step down and makes the next ones shorter (``caution``), until
    they are smooth again: near an ultimate pressure the curve bends within one step. A step that
    ends below the target is shortened to its crossing, or taken again up to about there.
    """
    correction /= state.pressure
    stays = correction > _MOST_CORRECTION
    stays |= attempt.pressure < _MOST_FALL * state.pressure
    np.multiply(state.caution, _BOLDER, out=state.caution, where=correction < _SMOOTH)
    np.minimum(state.caution, 1.0, out=state.caution)
    np.multiply(state.caution, _SHORTER, out=state.caution, where=stays)
    over = (attempt.pressure < state.target) & ~stays
    state.longest.fill(np.inf)
    if over.any():
        crossing, uncertain = _crossing(state, over, attempt)
        state.longest[over] = np.where(uncertain, crossing - state.time[over], np.inf)
        stays[over] = uncertain
        attempt.time[over] = crossing
        attempt.pressure[over] = state.target[over]
    any_stays = stays.any()
    for name, moved in vars(attempt).items():
        if any_stays:
            np.copyto(moved, getattr(state, name), where=stays)
        setattr(state, name, moved)


def _phi(z: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """φ₁, φ₂, φ₃ with φ₁ = (eᶻ − 1)/z, φₖ₊₁ = (φₖ − 1/k!)/z, by series near 0."""
    small = np.abs(z) < _SMALL
    few = small.any()
    x = z[small] if few else z[:0]
    if few:
        z[small] = 1.0
    inverse = 1.0 / z
    phi1 = np.exp(z)
    phi1 -= 1.0
    phi1 *= inverse
    phi2 = phi1 - 1.0
    phi2 *= inverse
    phi3 = phi2 - 0.5
    phi3 *= inverse
    if few:
        third = 1.0 / 6.0 + x * (1.0 / 24.0 + x * (1.0 / 120.0 + x * (1.0 / 720.0 + x / 5040.0)))
        second = 0.5 + x * third
        phi1[small], phi2[small], phi3[small] = 1.0 + x * second, second, third
    return phi1, phi2, phi3


def _step_length(state: Rows, rate: FloatArray, decay: FloatArray, course: Course) -> FloatArray:
    """Time in which the linear equation changes the pressure by the allowed part."""
    change = state.caution * state.pressure
    # a hair below the target: from there the way back is short, from above it is a step more
    room = np.minimum(_FALL * change, state.pressure - (1.0 - _AIM) * state.target)
    change *= _RISE
    np.copyto(change, room, where=rate < 0.0)
    # an arbitrary small rate stands for none at all: the clock limits the step then
    change /= np.maximum(np.abs(rate), 1e-200)
    x = decay * change
    far = x >= _NEARLY_ONE
    np.minimum(x, _NEARLY_ONE, out=x)
    # −ln(1 − x)/x = 2·artanh(s)/x with s = x/(2 − x): a few terms, always a little too short
    per_x = 1.0 / (2.0 - x)
    square = x * per_x
    square *= square
    series = square * (1.0 / 7.0)
    series += 1.0 / 5.0
    series *= square
    series += 1.0 / 3.0
    series *= square
    series += 1.0
    change *= series
    change *= 2.0 * per_x
    np.copyto(change, np.inf, where=far)
    remaining = np.minimum(course.horizon_s - state.time, state.longest)
    if course.alpha.size:
        clock = state.caution * state.time
        clock *= course.clock_share
        # up to the start of the law nothing changes with the clock
        np.copyto(clock, LAW_START_S - state.time, where=state.time < LAW_START_S)
        np.minimum(remaining, clock, out=remaining)
    return np.minimum(change, remaining)


def _crossing(state: Rows, over: BoolArray, attempt: _Attempt) -> tuple[FloatArray, BoolArray]:
    """Clock at the target within a step that went below it, and whether it is only an estimate.

    From a little below the target the slope there leads back to it, unless the pressure is about
    to settle. Else it is interpolated as a power law of time, which the fall behind outgassing is;
    from clock 0, where there is no such law yet, as an exponential. That is good enough to stop at
    on a short way back along that fall, and good enough to step to where it is not.
    """
    before, end = state.pressure[over], attempt.pressure[over]
    begin, time = state.time[over], attempt.time[over]
    ln_below = np.log(state.target[over] / end)
    ln_drop = np.log(before / end)
    share = ln_below / ln_drop
    ratio = time / np.where(begin > 0.0, begin, 1.0)
    between = np.where(begin > 0.0, begin * ratio ** (1.0 - share), time - (time - begin) * share)
    behind = state.load[over] > _BEHIND * state.value[over] * before
    fall = np.maximum(attempt.value[over] - attempt.load[over] / end, 1e-200)
    back = ln_below / fall
    by_slope = back * (attempt.value[over] + attempt.rise[over]) < _SMALL_PART
    by_slope &= ln_below < _OVERSHOT
    known = by_slope | (behind & (share < _LITTLE))
    known |= np.minimum(ln_below, ln_drop - ln_below) < _HAIR
    # a transient within the step would leave the interpolated crossing late, again and again
    aim = np.where(behind, between, begin + _SHORT_OF_CROSSING * (between - begin))
    return np.where(by_slope, time - back, np.where(known, between, aim)), ~known
