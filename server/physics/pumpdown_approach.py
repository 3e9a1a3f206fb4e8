"""The end of a pump-down without steps, where the load changes slowly against the pumping.

Near a target the pressure runs after the balance P(t) at which the pump would just carry the load.
With S·p linear in p about the target, rising by λ·V, that balance is a series in 1/λ,

    λ·P(t) = [Q − Q̇/λ + Q̈/λ² − …]/V  (less what S·p at the target is off from λ·V·p_target),

the repeated integration by parts of the exact ∫ Q·e^(−λ·(t − s)) ds [BENDER-1978, ch. 6]. The
distance d = p − P then falls at a rate that hardly changes, λ where S is constant:

    d ln d/dt = −[S(p)·p/V − λ·P]/d.

Its integral over ln d takes a few points of a quadrature, however long the way; and the clock at
the target is the root of d(t) = p_target − P(t): a plain fall where the load is small, a fall
behind the load where d has died out, and all between. Where the series or the integral is not good
enough the candidate is left to be stepped.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.outgassing import HOUR_S, LAW_START_S
from server.physics.pumpdown_fall import CURVE_STRIDE
from server.physics.pumpdown_paths import Paths, node_above, node_below
from server.physics.pumpdown_step import Course, Point, Rows, speed_per_volume, spread

_SLOW = 12.0
"""Time constants 1/λ since the start of pumping from which on the series holds: the first term
left out is 120/30⁵, 5e-6 of the load, where it falls as 1/t."""

_CARRIES = 2.0
"""What the pump takes over the load at the start at least: the pressure falls from there."""

_NEAREST = 0.02
"""Share of the target down to which the distance is integrated; from there it falls at rate λ."""

_SLOWEST = 0.01
"""Least rate over λ that is believed; less stands where S·p is far from linear below the start."""

_GOOD_INTEGRAL = 5e-3
"""Share of the length by which seven points and three may differ: the seven are far better."""

_EVEN = 1e-4
"""Share of the length by which the load's change on the way may be off before it is worked out."""

_SETTLED = 1e-6
"""Share of the length below which a step of Newton's method, whose error is that of its square,
is the last."""

_MOST_ROUNDS = 12

_OUTER = np.array([0.9604912687080203, 0.7745966692414834, 0.4342437493468026])
_OF_OUTER = np.array([0.10465622602646727, 0.26848808986833345, 0.40139741477596222])
_PLACES = 0.5 + 0.5 * np.concatenate([-_OUTER, [0.0], _OUTER[::-1]])[:, np.newaxis]
"""Kronrod's seven points on 0 to 1, Gauss's three among them [PIESSENS-1983]."""
_SEVEN = 0.5 * np.concatenate([_OF_OUTER, [0.45091653865847414], _OF_OUTER[::-1]])
_THREE = np.array([0.0, 5.0, 0.0, 8.0, 0.0, 5.0, 0.0]) / 18.0


@dataclass(frozen=True)
class _Ways:
    """The ways of n candidates to their targets; loads and speeds per volume, as in ``Rows``."""

    row_start: IntArray
    scale: FloatArray
    constant: FloatArray
    amplitude: FloatArray
    time: FloatArray
    """Clock at the start."""
    target: FloatArray
    carried: FloatArray
    """S·p at the target."""
    rate: FloatArray
    """λ: its rise with p there."""

    def only(self, chosen: IntArray) -> _Ways:
        """Return some of the ways, in rising order."""
        if chosen.size == self.time.size:
            return self
        return _Ways(*(value[..., chosen] for value in vars(self).values()))

    def gap(self, time: FloatArray, course: Course) -> tuple[FloatArray, FloatArray]:
        """Target less balance at each clock, and its rise with the clock."""
        total, falling = np.zeros((2, *time.shape))
        total += self.constant
        # up to the start of the law the load is constant
        constants = (time >= LAW_START_S) / (self.rate * np.maximum(time, LAW_START_S))
        ln_hours = np.log(np.maximum(time, LAW_START_S) * (1.0 / HOUR_S))
        for exponent, amplitude in zip(course.alpha.tolist(), self.amplitude, strict=True):
            term = np.exp(ln_hours * -exponent)
            term *= amplitude
            total += term
            # the k-th derivative of t^−α brings another (α + k)/t
            series = (exponent + 3.0) * constants
            for k in (2.0, 1.0):
                series += 1.0
                series *= constants
                series *= exponent + k
            series += 1.0
            series *= exponent
            series *= term
            falling += series
        falling *= constants
        total += falling
        gap: FloatArray = (self.carried - total) / self.rate
        return gap, falling


def approach(state: Rows, course: Course, paths: Paths, *, trace: bool = False) -> list[Point]:
    """Move candidates on to their targets where their load changes slowly against the pumping.

    Parameters
    ----------
    state : Rows
        Candidates, load and speed known; moved on. [-]
    course : Course
        What they have in common. [-]
    paths : Paths
        Sums along their rows of the table. [-]
    trace : bool
        Also return clock and pressure at nodes on the way. [-]

    Returns
    -------
    list of pairs of array, shape (n,)
        Clocks [s] and pressures [Pa] in the order of time, NaN for candidates that are not there.
    """
    under_way = state.pressure > state.target
    under_way &= (state.time < course.horizon_s) & (state.value > 0.0)
    under_way &= state.value * state.pressure >= _CARRIES * state.load
    rows = np.flatnonzero(under_way)
    if rows.size == 0:
        return []
    part = state.only(rows)
    clock = _clocks(part, course, paths)
    points: list[Point] = []
    if trace:
        on_way, known = _points(part, course, paths)
        clock[~known] = np.nan
        points = spread(on_way, rows, state)
    there = np.isfinite(clock)
    state.time[rows] = np.where(there, clock, part.time)
    state.pressure[rows] = np.where(there, part.target, part.pressure)
    return points


def _points(part: Rows, course: Course, paths: Paths) -> tuple[list[Point], BoolArray]:
    """Clocks and pressures at nodes on the way, and which candidates have them all.

    Each is a target of its own.
    """
    grid = course.grid
    lowest, highest = (
        (np.log(pressure) - grid.ln_low) / grid.step for pressure in (part.target, part.pressure)
    )
    nodes = np.arange(int(highest.max()), int(lowest.min()), -1)
    nodes = nodes[nodes % CURVE_STRIDE == 0]
    on_way = (nodes > lowest[:, np.newaxis] + _APART) & (nodes < highest[:, np.newaxis] - _APART)
    which, column = np.nonzero(on_way)
    stops = part.only(which)
    stops.target = grid.pressure_pa[nodes[column]]
    found = np.full(on_way.shape, np.nan)
    found[which, column] = _clocks(stops, course, paths)
    known: BoolArray = (np.isfinite(found) | ~on_way).all(axis=1)
    found[~known] = np.nan
    pressure = np.where(np.isfinite(found), grid.pressure_pa[nodes], np.nan)
    return list(zip(found.T, pressure.T, strict=True)), known


_APART = 0.1
"""Share of a cell from either end of the way at which a node is no point of its own."""


def _clocks(state: Rows, course: Course, paths: Paths) -> FloatArray:
    """Clock at each target; NaN where it is left to be stepped."""
    value, rise = speed_per_volume(state, course, state.target)
    rate = value + rise
    fit = (value > 0.0) & (rate > 0.0) & _falls_on(state, course, paths)
    if course.alpha.any():
        fit &= (rate * state.time >= _SLOW) | (state.time < LAW_START_S)
    clock = np.full(state.time.size, np.nan)
    rows = np.flatnonzero(fit)
    if rows.size:
        ways = _Ways(
            state.row_start, state.scale, state.constant, state.amplitude, state.time,
            state.target, value * state.target, rate,
        )  # fmt: skip
        clock[rows] = _arrivals(ways.only(rows), course, state.pressure[rows])
    return clock


def _falls_on(state: Rows, course: Course, paths: Paths) -> BoolArray:
    """Where there is no balance on the way but the last.

    S·p never falls with p between start and target, or is more than the load is at the start.
    """
    which = paths.place[state.row_start // course.grid.count]
    low = np.maximum(node_above(course.grid, state.target) - 1, 0)
    high = np.minimum(node_below(course.grid, state.pressure) + 1, course.grid.count - 1)
    least = paths.least.ravel().take(which * course.grid.count + low)
    return paths.rises(which, low, high) | (least * state.scale > state.load)


def _arrivals(ways: _Ways, course: Course, start_pa: FloatArray) -> FloatArray:
    gap, widens = ways.gap(ways.time, course)
    apart = start_pa - ways.target + gap
    # below its balance the pressure rises first
    falls = apart > 0.0
    apart = np.where(falls, apart, ways.target)
    integral = _followed(ways, course, apart, (gap, widens))
    origin = ways.time + integral.length
    clock = np.maximum(origin, _balance_clock(ways, course, gap))
    falls &= clock < course.horizon_s
    clock[~falls] = ways.time[~falls]
    clock, moves, sensitive = _settled(ways, course, (integral.near, origin), clock)
    took = clock - ways.time
    falls &= (moves <= _SETTLED * took) & (integral.unsure * sensitive <= _GOOD_INTEGRAL * took)
    # one law of the load all the way
    falls &= (ways.time >= LAW_START_S) | (clock <= LAW_START_S)
    falls &= clock < course.horizon_s
    return np.where(falls, clock, np.nan)


@dataclass(frozen=True)
class _Integral:
    """How long n distances take to fall to where they are near."""

    near: FloatArray
    length: FloatArray
    unsure: FloatArray

    def put(self, rows: IntArray, other: _Integral) -> None:
        """Put others in the place of some."""
        for name, value in vars(self).items():
            value[rows] = getattr(other, name)


def _followed(
    ways: _Ways, course: Course, apart: FloatArray, gap: tuple[FloatArray, FloatArray]
) -> _Integral:
    """Integrate d ln d over its rate, from apart to about where it is at the target."""
    at_start, widens = gap
    # the gap when the distance has fallen to the gap there is now
    least, most = _NEAREST * ways.target, ways.carried / ways.rate
    quick = np.log(apart / np.maximum(at_start, least)) / ways.rate
    near = np.clip(at_start + widens * quick, least, most)
    span = np.log(apart / near)
    # where S is constant the clock runs evenly, and what the load does meanwhile does not matter
    wide = np.minimum(at_start + widens * span / ways.rate * (1.0 - _PLACES), most)
    inverse, found = _integrated(ways, course, (near, span), wide)
    uneven = np.abs(inverse * ways.rate - 1.0).max(axis=0)
    found.unsure[:] += np.abs(found.length - span / ways.rate) * widens / near * uneven
    left = np.flatnonzero(found.unsure > _EVEN * found.length)
    for _ in range(_MOST_ROUNDS):
        if left.size == 0:
            break
        part, way = ways.only(left), (near[left], span[left])
        clock = part.time + way[1] * (_until() @ inverse[:, left])
        wide = part.gap(np.minimum(clock, course.horizon_s), course)[0]
        inverse[:, left], again = _integrated(part, course, way, wide)
        moved = np.abs(again.length - found.length[left])
        again.unsure[:] += moved
        found.put(left, again)
        left = left[moved > _EVEN * again.length]
    return found


def _integrated(
    ways: _Ways, course: Course, way: tuple[FloatArray, FloatArray], gap: FloatArray
) -> tuple[FloatArray, _Integral]:
    """Inverse rates at the points, shape (7, n), and their integral; the gap at each given."""
    near, span = way
    distance = near * np.exp(span * _PLACES)
    pressure = distance - gap
    pressure += ways.target
    speed, _ = speed_per_volume(ways, course, np.maximum(pressure, course.grid.low_pa))
    rate = speed * pressure
    rate -= ways.carried
    rate += ways.rate * gap
    rate /= distance
    least = _SLOWEST * ways.rate
    slow = (rate < least).any(axis=0)
    inverse: FloatArray = 1.0 / np.maximum(rate, least)
    length = span * (_SEVEN @ inverse)
    unsure = np.abs(length - span * (_THREE @ inverse))
    return inverse, _Integral(near, length, np.where(slow, unsure + length, unsure))


@lru_cache(maxsize=1)
def _until() -> FloatArray:
    """Weights of the points for the integrals from each of them to the upper end."""
    powers = np.arange(_PLACES.size)
    ends = (1.0 - _PLACES ** (powers + 1)) / (powers + 1)
    return np.asarray(ends @ np.linalg.inv(_PLACES**powers))


def _balance_clock(ways: _Ways, course: Course, gap: FloatArray) -> FloatArray:
    """Clock when the balance has come down to the target, by Newton's method in logarithms.

    The start where it is there already, inf where it does not come by the horizon. From the left
    the method does not overshoot.
    """
    clock = ways.time.copy()
    left = np.flatnonzero(gap < 0.0)
    clock[left] = np.maximum(clock[left], LAW_START_S)
    if left.size == 0:
        return clock
    never = ways.only(left).gap(np.full(left.size, course.horizon_s), course)[0] <= 0.0
    clock[left[never]] = np.inf
    left = left[~never]
    for _ in range(_MOST_ROUNDS):
        if left.size == 0:
            break
        part, time = ways.only(left), clock[left]
        missing, widens = part.gap(time, course)
        wanted = part.carried - part.constant
        load = wanted - part.rate * missing
        longer = np.log(load / wanted) * load / (widens * part.rate * time)
        clock[left] = time * np.exp(np.minimum(longer, _LONGEST))
        left = left[longer > _SETTLED]
    return clock


_LONGEST = 10.0
"""Of one such step, in ln t."""


def _settled(
    ways: _Ways, course: Course, fall: tuple[FloatArray, FloatArray], clock: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Clock at the target, the last step to it, and its change with the length that is integrated.

    The root of near·e^(−λ·(t − origin)) = gap(t) by Newton's method.
    """
    near, origin = fall
    start = ways.time
    moves, sensitive = np.full_like(clock, np.inf), np.ones_like(clock)
    left = np.arange(clock.size)
    for _ in range(_MOST_ROUNDS):
        part, time = ways.only(left), clock[left]
        gap, widens = part.gap(time, course)
        fallen = near[left] * np.exp(np.minimum(part.rate * (origin[left] - time), _LONGEST))
        closing = part.rate * fallen
        total = np.maximum(closing + widens, _NOTHING)
        step = (fallen - gap) / total
        after = np.maximum(time + step, start[left])
        clock[left], moves[left], sensitive[left] = after, np.abs(step), closing / total
        left = left[np.abs(step) > _SETTLED * (after - start[left])]
        if left.size == 0:
            break
    return clock, moves, sensitive


_NOTHING = 1e-200
"""Stands for no change where it divides."""
