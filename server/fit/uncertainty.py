"""How sure the pump-down is: the same evaluation for many plausible systems.

Outgassing of each surface, the leak and the speeds of roughing and high-vacuum pumps are
log-normal about what the inquiry and the catalogue say; the draws are shifted Sobol points with
a fixed seed, so that the same inquiry always gets the same answer.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from server.catalog.arrays import GRID
from server.fit.evacuation import (
    HORIZON_S,
    Takeover,
    equivalent_load,
    held_back_s,
    high_vacuum_phase,
    rough_reference_pa,
    roughing_run_up_s,
    run_up_s,
)
from server.fit.evaluation import Judged
from server.fit.loads import AIR, Loads
from server.fit.thresholds import BASE_STATE_AFTER_S, LEAK_GSD, SPEED_GSD
from server.fit.venting import pumped_before_s, refilled_by_venting
from server.physics.arrays import FloatArray, IntArray
from server.physics.constants import ATMOSPHERE_PA
from server.physics.duty import after_venting
from server.physics.gasload import GasLoad, with_constant
from server.physics.outgassing import outgassing_rate_pa_m_s
from server.physics.pumpdown import Phase, PhaseResult, pump_down
from server.physics.sobol import normal_points
from server.physics.speedtable import SpeedTable
from server.physics.steady import steady_state

DRAWS = 512
SEED = 20_240


@dataclass(frozen=True)
class Draws:
    """Factors on what the inquiry says, one row per plausible system."""

    surfaces: FloatArray
    """Shape (n, surfaces)."""
    leak: FloatArray
    roughing_speed: FloatArray
    high_vacuum_speed: FloatArray
    refilled: FloatArray
    """Share of the surfaces' water sites that the venting before filled; 1 for a fresh chamber."""
    pumped_s: FloatArray
    """How long the chamber had been pumped before that venting."""

    @property
    def count(self) -> int:
        """How many systems."""
        return len(self.leak)

    def rows(self, chosen: IntArray) -> Draws:
        """Return some of the systems, in the order asked for."""
        return Draws(*(getattr(self, part.name)[chosen] for part in fields(self)))

    def then(self, other: Draws) -> Draws:
        """Return these systems followed by others."""
        pairs = ((getattr(self, part.name), getattr(other, part.name)) for part in fields(self))
        return Draws(*(np.concatenate(pair) for pair in pairs))


def draw(loads: Loads, count: int = DRAWS, seed: int = SEED) -> Draws:
    """Return factors for ``count`` plausible systems, a power of two for balance."""
    spread = [surface.row.geometric_sd for surface in loads.surfaces]
    spread += [LEAK_GSD, SPEED_GSD, SPEED_GSD]
    factors = np.exp(normal_points(len(spread), count, seed) * np.log(spread))
    one = np.ones(count)
    return Draws(factors[:, :-3], factors[:, -3], factors[:, -2], factors[:, -1], one, one)


def as_stated(loads: Loads, count: int) -> Draws:
    """Return ``count`` systems that are exactly as stated."""
    one = np.ones(count)
    return Draws(np.ones((count, len(loads.surfaces))), one, one, one, one, one)


def clean_and_tight(loads: Loads, count: int) -> Draws:
    """Return ``count`` systems with surfaces that give off nothing and without a leak."""
    stated = as_stated(loads, count)
    return replace(stated, surfaces=0.0 * stated.surfaces, leak=0.0 * stated.leak)


def after_first_cycle(judged: Judged, chosen: tuple[IntArray, IntArray]) -> Draws:
    """Return systems as stated that are pumped down again after a first cycle and its venting.

    Surfaces of the chamber were under vacuum for one cycle, then open as the duty says.
    """
    duty = judged.case.requirements.duty
    stated = as_stated(judged.case.loads, len(chosen[0]))
    first = judged.evacuation.time_s[judged.days.places(*chosen)]
    share = refilled_by_venting(duty)
    pumped = pumped_before_s(np.minimum(first, HORIZON_S), duty)
    return replace(stated, refilled=share * stated.refilled, pumped_s=pumped)


@dataclass(frozen=True)
class Courses:
    """Pump-downs of n combination-and-system pairs; curves only where they were asked for."""

    time_s: FloatArray
    roughing: PhaseResult
    high_vacuum: PhaseResult | None
    followed: IntArray
    """Rows that have a high-vacuum phase, in its order."""
    takeover_s: FloatArray

    def curve(self, row: int) -> tuple[FloatArray, FloatArray]:
        """Return time and pressure of one row through all its phases."""
        time, pressure = self.roughing.curve_time_s[row], self.roughing.curve_pressure_pa[row]
        known = np.isfinite(pressure)
        time, pressure = time[known], pressure[known]
        position = np.nonzero(self.followed == row)[0]
        if self.high_vacuum is None or position.size == 0:
            return time, pressure
        later_time = self.high_vacuum.curve_time_s[position[0]]
        later_pressure = self.high_vacuum.curve_pressure_pa[position[0]]
        seen = np.isfinite(later_pressure)
        before = time < later_time[seen][0]
        return (
            np.concatenate([time[before], later_time[seen]]),
            np.concatenate([pressure[before], later_pressure[seen]]),
        )


def follow(
    judged: Judged, chosen: tuple[IntArray, IntArray], draws: Draws, *, trace: bool = False
) -> Courses:
    """Follow the pump-down of n combinations, each as one plausible system.

    Parameters
    ----------
    judged : Judged
        The field; the combinations must be among those it followed.
    chosen : pair of int arrays, shape (n,)
        Front and back of each combination.
    draws : Draws
        The system of each combination, n rows.
    trace : bool
        Keep the curves.
    """
    case, states = judged.case, judged.case.states
    loads, target = case.loads, case.requirements.target_pressure_pa
    alike = _Alike.of(judged, chosen)
    stop = np.full(len(alike.first), target)
    reference: FloatArray | float = target
    if states.inlet is not None:
        stop = np.maximum(judged.evacuation.crossover_pa[alike.position], target)
        reference = rough_reference_pa(states, alike.backs)
    tables = states.backing.at_chamber
    load = _scaled(alike.each(equivalent_load(loads, tables, alike.backs, reference)), draws)
    if states.inlet is None:
        load = _vented(load, draws)
    phase = Phase(
        tables[AIR], chosen[1], ATMOSPHERE_PA, stop[alike.which],
        speed_factor=draws.roughing_speed,
    )  # fmt: skip
    roughing = pump_down(loads.volume_m3, load, phase, HORIZON_S, trace=trace)
    if states.inlet is None:
        nothing = np.zeros(0, dtype=np.intp)
        return Courses(roughing.time_s, roughing, None, nothing, roughing.time_s)
    return _with_high_vacuum(judged, alike, draws, roughing, stop, trace=trace)


def _with_high_vacuum(
    judged: Judged,
    alike: _Alike,
    draws: Draws,
    roughing: PhaseResult,
    stop_pa: FloatArray,
    *,
    trace: bool,
) -> Courses:
    case, states, which = judged.case, judged.case.states, alike.which
    target = case.requirements.target_pressure_pa
    wait = np.array([run_up_s(case.fronts[row]) for row in alike.fronts])
    wait += np.array([roughing_run_up_s(case.backs[row]) for row in alike.backs])
    start = judged.evacuation.takeover_pa[alike.position]
    start = np.clip(start, target, np.maximum(stop_pa, target))
    begin = Takeover(stop_pa, np.zeros(len(stop_pa)), start)
    takeover = roughing.time_s + wait[which]
    takeover += _held_back_s(judged, alike, begin, roughing.time_s)
    time = roughing.time_s.copy()
    followed = np.nonzero((stop_pa > target)[which] & (takeover < HORIZON_S))[0]
    if followed.size == 0:
        return Courses(time, roughing, None, followed, takeover)
    phase, load, resting = high_vacuum_phase(
        states, case.loads, begin, target, (alike.fronts, alike.backs)
    )
    sub, systems = which[followed], draws.rows(followed)
    load = _vented(_scaled(alike.each(load).rows(followed), systems), systems)
    load = with_constant(load, resting[sub])
    phase = Phase(
        phase.speed, np.asarray(phase.rows)[sub], start[sub], target, takeover[followed],
        systems.high_vacuum_speed,
    )  # fmt: skip
    found = pump_down(case.loads.volume_m3, load, phase, HORIZON_S, trace=trace)
    time[followed] = found.time_s
    return Courses(time, roughing, found, followed, takeover)


@dataclass(frozen=True)
class _Alike:
    """The distinct combinations among n, and which of them each is."""

    fronts: IntArray
    backs: IntArray
    first: IntArray
    which: IntArray
    position: IntArray
    """Place of each distinct one in the judged evacuation."""

    @classmethod
    def of(cls, judged: Judged, chosen: tuple[IntArray, IntArray]) -> _Alike:
        code = chosen[0] * len(judged.case.field.backs) + chosen[1]
        _, first, which = np.unique(code, return_index=True, return_inverse=True)
        stacks = (chosen[0][first], chosen[1][first])
        return cls(*stacks, first, which.ravel(), judged.days.places(*stacks))

    def each(self, load: GasLoad) -> GasLoad:
        """Return the loads of the distinct combinations, one row for each of the n."""
        return load.rows(self.which)


CLOCKS = 9
"""Clocks between the first and the last takeover at which the burst is integrated."""


def _held_back_s(judged: Judged, alike: _Alike, begin: Takeover, ended_s: FloatArray) -> FloatArray:
    """Return how much longer each burst lasts where the foreline carries less than the pump.

    It depends on the clock by the load that is left then, smoothly: interpolated, as 1/(1 + t/s),
    which is 0 for a burst that never ends.
    """
    stacks = len(alike.first)
    members = [np.flatnonzero(alike.which == number) for number in range(stacks)]
    clocks = np.full((stacks, CLOCKS), np.inf)
    for number, rows in enumerate(members):
        known = ended_s[rows][np.isfinite(ended_s[rows])]
        if known.size:
            clocks[number] = np.linspace(known.min(), known.max(), CLOCKS)
    again = np.repeat(np.arange(stacks), CLOCKS)
    handed = Takeover(begin.crossover_pa[again], clocks.ravel(), begin.pressure_pa[again])
    place = (alike.fronts[again], alike.backs[again])
    held = held_back_s(judged.case.states, judged.case.loads, handed, place)
    shortness = (1.0 / (1.0 + held)).reshape(clocks.shape)
    extra = np.zeros(len(ended_s))
    for number, rows in enumerate(members):
        if np.isfinite(clocks[number, 0]) and shortness[number].min() < 1.0:
            between = np.interp(ended_s[rows], clocks[number], shortness[number])
            extra[rows] = (
                np.where(between > 0.0, 1.0 / np.where(between > 0.0, between, 1.0), np.inf) - 1.0
            )
    return extra


def base_pressures_pa(
    judged: Judged, chosen: tuple[IntArray, IntArray], draws: Draws
) -> FloatArray:
    """Return the base pressure of n combinations, each as one plausible system, shape (n,).

    The state a day after pumping began. What pump, fluid and foreline give off without gas load is
    taken as stated. inf where a system has no steady pressure.

    Parameters
    ----------
    judged : Judged
        The field.
    chosen : pair of int arrays, shape (n,)
        Front and back of each combination.
    draws : Draws
        The system of each combination, n rows.
    """
    states, loads = judged.case.states, judged.case.loads
    flows = {gas: np.zeros(draws.count) for gas in loads.species}
    flows[AIR] += loads.leak_pa_m3_s * draws.leak
    for column, surface in enumerate(loads.surfaces):
        rate = float(outgassing_rate_pa_m_s(surface.row, BASE_STATE_AFTER_S))
        flows[surface.row.species] += rate * surface.area_m2 * draws.surfaces[:, column]
    if states.inlet is None:
        tables, rows, factor = states.backing.at_chamber, chosen[1], draws.roughing_speed
    else:
        rows = states.inlet.row_of_front[chosen[0]]
        tables, factor = states.inlet.at_chamber, draws.high_vacuum_speed
    shape = (len(judged.case.field.fronts), len(judged.case.field.backs))
    offset = np.broadcast_to(states.offset_pa, shape)[chosen]
    distinct, row = np.unique(rows, return_inverse=True)
    found = steady_state(
        flows,
        {gas: SpeedTable(GRID, tables[gas].speed_m3_s[distinct]) for gas in flows},
        row.ravel(),
        offset_pa=offset,
        speed_factor=factor,
    )
    return np.where(found.exists, found.pressure_pa, np.inf)


def _scaled(load: GasLoad, draws: Draws) -> GasLoad:
    """Return the loads of the systems, their surfaces fresh."""
    return GasLoad(
        np.asarray(load.constant_pa_m3_s) * draws.leak,
        np.asarray(load.amplitude_pa_m3_s) * draws.surfaces,
        load.alpha,
    )


def _vented(load: GasLoad, draws: Draws) -> GasLoad:
    """Return the loads of systems that were opened for a while.

    A high-vacuum pump takes over from the roughing of fresh surfaces all the same, as in
    ``evacuation``: a later one is a little quicker.
    """
    return after_venting(load, draws.refilled, draws.pumped_s)
