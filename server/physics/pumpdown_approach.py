"""The end of a pump-down without steps, where the load changes slowly against the pumping.

Near a target the pressure runs after the balance P(t) of pump and load (``pumpdown_balance``). The
distance d = p − P then falls at a rate that hardly changes, λ where S is constant:

    d ln d/dt = −[S(p)·p/V − λ·P]/d.

Its integral over ln d takes a few points of a quadrature, however long the way; and the clock at
the target is the root of d(t) = p_target − P(t): a plain fall where the load is small, a fall
behind the load where d has died out, and all between. Where the series or the integral is not good
enough the candidate is left to be stepped. What counts as good enough are choices of our own, by
which times keep to 3 ‰ of an adaptive solver's in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.outgassing import LAW_START_S
from server.physics.pumpdown_balance import Ways
from server.physics.pumpdown_fall import curve_nodes
from server.physics.pumpdown_paths import Paths, node_above, node_below
from server.physics.pumpdown_step import Course, Point, Rows, speed_per_volume, spread
from server.physics.quadrature import Rule, kronrod

_SLOW = 1.0
"""Time constants 1/λ that must have passed on the clock; before, the series means nothing."""

_EARLY = 15.0
"""Time constants up to which what the series leaves out, 120/15⁵ of the load at most where it
falls as 1/t, is counted on the way."""

_NEAREST = 0.02
"""Share of the target down to which the distance is integrated; from there it falls at rate λ."""

_MOST_SLOW = 100.0
"""λ over the slowest rate that is believed; slower ones stand where S·p is far from linear."""

_SURE, _GOOD_ENOUGH = 3e-3, 5e-3
"""Share of the length by which seven points and three may differ, the seven being far better:
beyond the first more points are taken, beyond the second steps."""

_HOPELESS = 0.12
"""Share from which on more points are no help: the speed leaps, as where a booster cuts in."""

_EVEN = 1e-3
"""Share of the length by which the load's change on the way may be off before it is worked out."""

_SETTLED = 1e-6
"""Share of the length below which a step of Newton's method, whose error is that of its square,
is the last."""

_MOST_ROUNDS = 12

_BEHIND = 0.2
"""Share of the pressure by which it may be below its balance: so it is where the load began to
decay a moment ago, and the distance soon dies out."""

_FAR = 1.5
"""Distance where the integral ends over that at the target beyond which it is taken further."""

_PANELS = 4
"""Panels of the integral where one is not sure: near an ultimate pressure S bends at every node."""


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
    under_way &= state.value * state.pressure > state.load
    rows = np.flatnonzero(under_way)
    if rows.size == 0:
        return []
    part = state.only(rows)
    points: list[Point] = []
    if trace:
        on_way, clock = _traced(part, course, paths)
        points = spread(on_way, rows, state, course)
    else:
        clock = _clocks(part, course, paths)
    there = np.isfinite(clock)
    state.time[rows[there]] = clock[there]
    state.pressure[rows[there]] = part.target[there]
    return points


def _traced(part: Rows, course: Course, paths: Paths) -> tuple[list[Point], FloatArray]:
    """Clocks and pressures at nodes on the way, and the clocks at the targets.

    Each node is a target of its own; who misses two of them in a row is left to be stepped.
    """
    grid = course.grid
    lowest, highest = grid.place_of(part.target), grid.place_of(part.pressure)
    nodes = curve_nodes(int(highest.max()), int(lowest.min()))
    on_way = (nodes > lowest[:, np.newaxis] + _APART) & (nodes < highest[:, np.newaxis] - _APART)
    which, column = np.nonzero(on_way)
    own = np.arange(part.time.size)
    stops = part.only(np.concatenate([own, which]))
    stops.target[own.size :] = grid.pressure_pa[nodes[column]]
    found = _clocks(stops, course, paths)
    clock, passed = found[: own.size], np.full(on_way.shape, np.nan)
    passed[which, column] = found[own.size :]
    missing = on_way & ~np.isfinite(passed)
    known = np.isfinite(clock) & ~(missing[:, 1:] & missing[:, :-1]).any(axis=1)
    clock[~known], passed[~known] = np.nan, np.nan
    pressure = np.where(np.isfinite(passed), grid.pressure_pa[nodes], np.nan)
    return list(zip(passed.T, pressure.T, strict=True)), clock


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
        ways = Ways(
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


@dataclass(frozen=True)
class _Fall:
    """How n distances fall: from how far apart to where they are near the one at the target."""

    apart: FloatArray
    near: FloatArray
    gap: FloatArray
    """Target less balance at the start."""
    widens: FloatArray
    """How fast it grows there."""

    def only(self, chosen: IntArray) -> _Fall:
        """Return some of them."""
        return _Fall(*(value[chosen] for value in vars(self).values()))


def _arrivals(ways: Ways, course: Course, start_pa: FloatArray) -> FloatArray:
    gap, widens, _ = ways.gap(ways.time, course)
    apart = start_pa - ways.target + gap
    # as near as that, on either side of its balance, it needs no integral
    least, most = _NEAREST * ways.target, ways.carried / ways.rate
    close = apart <= least
    falls = apart > -_BEHIND * start_pa
    # at the target: about the gap when the distance has fallen to the gap there is now
    quick = np.log(np.maximum(apart, least) / np.maximum(gap, least)) / ways.rate
    near = np.where(close, apart, np.clip(gap + widens * quick, least, most))
    fall = _Fall(apart, near, gap, widens)
    # one law of the load all the way: what is held now will hardly be in time, and is stepped on
    falls &= (ways.time >= LAW_START_S) | (ways.time + quick <= LAW_START_S)
    earliest = _balance_clock(ways, course, gap)
    falls &= earliest < course.horizon_s
    found = np.full(falls.size, np.nan)
    rows = np.flatnonzero(falls)
    if rows.size:
        found[rows] = _falling(ways.only(rows), course, fall.only(rows), earliest[rows])
    return found


def _falling(ways: Ways, course: Course, fall: _Fall, earliest: FloatArray) -> FloatArray:
    least = _NEAREST * ways.target
    clock, sure, distance = _arrival(ways, course, fall, earliest)
    near = np.maximum(distance, least)
    left = np.flatnonzero(fall.near > _FAR * near)
    if left.size:
        nearer = replace(fall, near=near).only(left)
        clock[left], sure[left], _ = _arrival(ways.only(left), course, nearer, earliest[left])
    sure &= (ways.time >= LAW_START_S) | (clock <= LAW_START_S)
    return np.where(sure & (clock < course.horizon_s), clock, np.nan)


def _arrival(
    ways: Ways, course: Course, fall: _Fall, earliest_s: FloatArray
) -> tuple[FloatArray, BoolArray, FloatArray]:
    """Clock at the target, whether it is good enough, and the distance then.

    The root of near·e^(−λ·(t − origin)) = gap(t) by Newton's method; where d has died out it is not
    before the balance has come down to the target.
    """
    length, unsure = _followed(ways, course, fall)
    origin = ways.time + length
    clock = np.maximum(origin, earliest_s)
    moves, sensitive, distance = np.full((3, clock.size), np.inf)
    left = np.arange(clock.size)
    for _ in range(_MOST_ROUNDS):
        part, time = ways.only(left), clock[left]
        gap, widens, _ = part.gap(time, course)
        exponent = np.minimum(part.rate * (origin[left] - time), _LONGEST)
        fallen = fall.near[left] * np.exp(exponent)
        closing = part.rate * fallen
        total = np.maximum(closing + widens, _NOTHING)
        step = (fallen - gap) / total
        after = np.clip(time + step, part.time, course.horizon_s)
        clock[left], moves[left], distance[left] = after, np.abs(step), fallen
        sensitive[left] = closing / total
        left = left[np.abs(step) > _SETTLED * (after - part.time)]
        if left.size == 0:
            break
    took = clock - ways.time
    sure = (moves <= _SETTLED * took) & (unsure * sensitive <= _GOOD_ENOUGH * took)
    return clock, sure, distance


def _followed(ways: Ways, course: Course, fall: _Fall) -> tuple[FloatArray, FloatArray]:
    """How long the distances take to be near, and how sure that is not."""
    length, unsure = np.zeros((2, ways.time.size))
    rows = np.flatnonzero(fall.near != fall.apart)
    if rows.size:
        length[rows], unsure[rows] = _integral(ways.only(rows), course, fall.only(rows), kronrod(1))
    left = np.flatnonzero((unsure > _SURE * length) & (unsure < _HOPELESS * length))
    if left.size:
        finer = _integral(ways.only(left), course, fall.only(left), kronrod(_PANELS))
        length[left], unsure[left] = finer
    return length, unsure


def _integral(ways: Ways, course: Course, fall: _Fall, rule: Rule) -> tuple[FloatArray, FloatArray]:
    """Integrate d ln d over its rate; the balance is read when each point is passed.

    Where S is constant the clock runs evenly, and what the load does meanwhile does not matter.
    Elsewhere the clocks are those of the integral before, until it stands.
    """
    span = np.log(fall.apart / fall.near)
    evenly = span / ways.rate * (1.0 - rule.places)
    gap = np.minimum(fall.gap + fall.widens * evenly, ways.carried / ways.rate)
    inverse = _inverse_rate(ways, course, (fall.near, span * rule.places), gap)
    length, unsure = _sums(span, inverse, rule)
    uneven = np.abs(inverse * ways.rate - 1.0).max(axis=0)
    off = np.abs(length - span / ways.rate) * fall.widens / fall.near * uneven
    # a load that is held leaves nothing out
    early = (ways.rate * ways.time < _EARLY) & (ways.time >= LAW_START_S)
    left = np.flatnonzero((unsure + off > _EVEN * length) | early)
    for _ in range(_MOST_ROUNDS):
        if left.size == 0:
            break
        part, way = ways.only(left), span[left]
        clock = part.time + way * (rule.until_one @ inverse[:, left])
        gap, _, left_out = part.gap(np.minimum(clock, course.horizon_s), course)
        place = fall.near[left], way * rule.places
        inverse[:, left] = _inverse_rate(part, course, place, gap, left_out)
        again, unsure[left] = _sums(way, inverse[:, left], rule)
        moved = np.abs(again - length[left])
        unsure[left] += moved
        length[left] = again
        left = left[moved > _EVEN * again]
    slow = (inverse * ways.rate > 0.99 * _MOST_SLOW).any(axis=0)
    return length, np.where(slow, unsure + length, unsure)


def _sums(span: FloatArray, inverse: FloatArray, rule: Rule) -> tuple[FloatArray, FloatArray]:
    length = span * (rule.weights @ inverse)
    return length, np.abs(length - span * (rule.three @ inverse))


def _inverse_rate(
    ways: Ways,
    course: Course,
    place: tuple[FloatArray, FloatArray],
    gap: FloatArray,
    left_out: FloatArray | float = 0.0,
) -> FloatArray:
    """Return d over its fall at distances near·e^place, shape (points, n), and gaps given."""
    near, ln_distance = place
    distance = near * np.exp(ln_distance)
    pressure = distance - gap
    pressure += ways.target
    speed, _ = speed_per_volume(ways, course, np.maximum(pressure, course.grid.low_pa))
    falls = speed * pressure
    falls -= ways.carried
    falls += ways.rate * gap
    falls -= left_out
    distance /= np.maximum(falls, ways.rate / _MOST_SLOW * distance)
    return distance


def _balance_clock(ways: Ways, course: Course, gap: FloatArray) -> FloatArray:
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
        missing, widens, _ = part.gap(time, course)
        wanted = part.carried - part.constant
        load = wanted - part.rate * missing
        longer = np.log(load / wanted) * load / (widens * part.rate * time)
        clock[left] = time * np.exp(np.minimum(longer, _LONGEST))
        left = left[longer > _SETTLED]
    return clock


_LONGEST = 10.0
"""Of one such step, in ln t."""


_NOTHING = 1e-200
"""Stands for no change where it divides."""
