"""How sure the pump-down is: the same evaluation for many plausible systems, and the curves to show.

Outgassing of each surface, the leak and the speeds of roughing and high-vacuum pumps are log-normal
about what the inquiry and the catalogue say; the draws are scrambled Sobol points with a fixed seed, so
that the same inquiry always gets the same answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm, qmc

from server.fit.evaluation import Judged
from server.fit.evacuation import (
    ATMOSPHERE_PA,
    HORIZON_S,
    ROUGH_REFERENCE_PA,
    Takeover,
    equivalent_load,
    held_back_s,
    high_vacuum_phase,
    run_up_s,
    with_constant,
)
from server.fit.loads import AIR, Loads
from server.fit.thresholds import LEAK_GSD, SPEED_GSD
from server.physics.arrays import FloatArray, IntArray
from server.physics.gasload import GasLoad
from server.physics.pumpdown import Phase, PhaseResult, pump_down

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

    @property
    def count(self) -> int:
        """How many systems."""
        return len(self.leak)


def draw(loads: Loads, count: int = DRAWS, seed: int = SEED) -> Draws:
    """Return factors for ``count`` plausible systems (a power of two keeps Sobol points balanced)."""
    spread = [surface.row.geometric_sd for surface in loads.surfaces]
    spread += [LEAK_GSD, SPEED_GSD, SPEED_GSD]
    points = qmc.Sobol(len(spread), scramble=True, rng=seed).random(count)
    factors = np.exp(norm.ppf(points) * np.log(spread))
    return Draws(factors[:, :-3], factors[:, -3], factors[:, -2], factors[:, -1])


def as_stated(loads: Loads) -> Draws:
    """Return the one system that is exactly as stated."""
    one = np.ones(1)
    return Draws(np.ones((1, len(loads.surfaces))), one, one, one)


@dataclass(frozen=True)
class Courses:
    """Pump-downs of m combinations × n systems, row i·n + j; curves only where they were asked for."""

    time_s: FloatArray
    """Shape (m, n)."""
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
    """Follow the pump-down of m combinations for each of n systems.

    Parameters
    ----------
    judged : Judged
        The field.
    chosen : pair of int arrays, shape (m,)
        Front and back of each combination.
    draws : Draws
        n systems.
    trace : bool
        Keep the curves.
    """
    case, states = judged.case, judged.case.states
    loads, count = case.loads, draws.count
    front_rows, back_rows = (np.repeat(rows, count) for rows in chosen)
    m = len(chosen[0])
    target = case.requirements.target_pressure_pa
    stop = np.full(m * count, target)
    if states.inlet is not None:
        stop = np.maximum(np.repeat(_crossover_of(judged, chosen), count), target)
    tables = states.backing.at_chamber
    reference = ROUGH_REFERENCE_PA if states.inlet is not None else target
    load = _scaled(equivalent_load(loads, tables, back_rows, reference), draws, m)
    factor = np.tile(draws.roughing_speed, m)
    phase = Phase(tables[AIR], back_rows, ATMOSPHERE_PA, stop, speed_factor=factor)
    roughing = pump_down(loads.volume_m3, load, phase, HORIZON_S, trace=trace)
    if states.inlet is None:
        nothing = np.zeros(0, dtype=np.intp)
        return Courses(roughing.time_s.reshape(m, count), roughing, None, nothing, roughing.time_s)
    return _with_high_vacuum(judged, (front_rows, back_rows), draws, roughing, stop, trace=trace)


def _with_high_vacuum(
    judged: Judged,
    rows: tuple[IntArray, IntArray],
    draws: Draws,
    roughing: PhaseResult,
    stop_pa: FloatArray,
    *,
    trace: bool,
) -> Courses:
    case, states = judged.case, judged.case.states
    count = draws.count
    m = len(stop_pa) // count
    wait = np.array([run_up_s(front) for front in case.fronts])[rows[0]]
    takeover = roughing.time_s + wait
    time = roughing.time_s.copy()
    target = case.requirements.target_pressure_pa
    followed = np.nonzero((stop_pa > target) & (takeover < HORIZON_S))[0]
    if followed.size == 0:
        return Courses(time.reshape(m, count), roughing, None, followed, takeover)
    sub = (rows[0][followed], rows[1][followed])
    start = np.minimum(_takeover_pressure(judged, sub), stop_pa[followed])
    start = np.maximum(start, target)
    begin = Takeover(stop_pa[followed], takeover[followed], start)
    phase, load, resting = high_vacuum_phase(states, case.loads, begin, target, sub)
    speed = np.tile(draws.high_vacuum_speed, m)[followed]
    phase = Phase(
        phase.speed, phase.rows, phase.start_pressure_pa, phase.target_pressure_pa,
        phase.start_time_s, speed,
    )  # fmt: skip
    load = with_constant(_scaled(load, draws, m, followed), resting)
    found = pump_down(case.loads.volume_m3, load, phase, HORIZON_S, trace=trace)
    time[followed] = found.time_s + held_back_s(states, case.loads, begin, sub)
    return Courses(time.reshape(m, count), roughing, found, followed, takeover)


def _scaled(load: GasLoad, draws: Draws, m: int, rows: IntArray | None = None) -> GasLoad:
    leak = np.tile(draws.leak, m)
    surfaces = np.tile(draws.surfaces, (m, 1))
    if rows is not None:
        leak, surfaces = leak[rows], surfaces[rows]
    return GasLoad(
        np.asarray(load.constant_pa_m3_s) * leak,
        np.asarray(load.amplitude_pa_m3_s) * surfaces,
        load.alpha,
    )


def _position(judged: Judged, chosen: tuple[IntArray, IntArray]) -> IntArray:
    """Places of combinations in the judged evacuation."""
    columns = len(judged.case.field.backs)
    known = judged.chosen[0] * columns + judged.chosen[1]
    return np.searchsorted(known, chosen[0] * columns + chosen[1])


def _crossover_of(judged: Judged, chosen: tuple[IntArray, IntArray]) -> FloatArray:
    return judged.evacuation.crossover_pa[_position(judged, chosen)]


def _takeover_pressure(judged: Judged, chosen: tuple[IntArray, IntArray]) -> FloatArray:
    return judged.evacuation.takeover_pa[_position(judged, chosen)]
