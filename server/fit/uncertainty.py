"""How sure the pump-down is: the same evaluation for many plausible systems.

Outgassing of each surface, the leak and the speeds of roughing and high-vacuum pumps are
log-normal about what the inquiry and the catalogue say; the draws are shifted Sobol points with
a fixed seed, so that the same inquiry always gets the same answer.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from server.fit.evacuation import (
    ATMOSPHERE_PA,
    HORIZON_S,
    Takeover,
    equivalent_load,
    held_back_s,
    high_vacuum_phase,
    rough_reference_pa,
    roughing_run_up_s,
    run_up_s,
    with_constant,
)
from server.fit.evaluation import Judged
from server.fit.loads import AIR, Loads
from server.fit.thresholds import HUMIDITY, LEAK_GSD, SPEED_GSD
from server.physics.arrays import FloatArray, IntArray
from server.physics.duty import after_venting, refilled_share
from server.physics.gasload import GasLoad
from server.physics.pumpdown import Phase, PhaseResult, pump_down
from server.physics.sobol import normal_points

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


def after_first_cycle(judged: Judged, chosen: tuple[IntArray, IntArray]) -> Draws:
    """Return systems as stated that are pumped down again after a first cycle and its venting.

    Surfaces of the chamber were under vacuum for one cycle, then open as the duty says.
    """
    duty = judged.case.requirements.duty
    stated = as_stated(judged.case.loads, len(chosen[0]))
    first = judged.evacuation.time_s[_position(judged, chosen)]
    share = refilled_share(duty.vent_time_s, HUMIDITY[duty.venting])
    pumped = np.minimum(first, HORIZON_S) + duty.time_at_pressure_s
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
    loads = case.loads
    target = case.requirements.target_pressure_pa
    stop = np.full(draws.count, target)
    if states.inlet is not None:
        stop = np.maximum(judged.evacuation.crossover_pa[_position(judged, chosen)], target)
    tables = states.backing.at_chamber
    reference: FloatArray | float = target
    if states.inlet is not None:
        reference = rough_reference_pa(states, chosen[1])
    load = _scaled(equivalent_load(loads, tables, chosen[1], reference), draws)
    phase = Phase(tables[AIR], chosen[1], ATMOSPHERE_PA, stop, speed_factor=draws.roughing_speed)
    roughing = pump_down(loads.volume_m3, load, phase, HORIZON_S, trace=trace)
    if states.inlet is None:
        nothing = np.zeros(0, dtype=np.intp)
        return Courses(roughing.time_s, roughing, None, nothing, roughing.time_s)
    return _with_high_vacuum(judged, chosen, draws, roughing, stop, trace=trace)


def _with_high_vacuum(
    judged: Judged,
    chosen: tuple[IntArray, IntArray],
    draws: Draws,
    roughing: PhaseResult,
    stop_pa: FloatArray,
    *,
    trace: bool,
) -> Courses:
    case, states = judged.case, judged.case.states
    target = case.requirements.target_pressure_pa
    wait = np.array([run_up_s(front) for front in case.fronts])[chosen[0]]
    start = judged.evacuation.takeover_pa[_position(judged, chosen)]
    start = np.clip(start, target, np.maximum(stop_pa, target))
    handed = Takeover(stop_pa, roughing.time_s, start)
    rotor = np.array([roughing_run_up_s(back) for back in case.backs])[chosen[1]]
    takeover = roughing.time_s + wait + rotor + held_back_s(states, case.loads, handed, chosen)
    time = roughing.time_s.copy()
    followed = np.nonzero((stop_pa > target) & (takeover < HORIZON_S))[0]
    if followed.size == 0:
        return Courses(time, roughing, None, followed, takeover)
    sub = (chosen[0][followed], chosen[1][followed])
    begin = Takeover(stop_pa[followed], takeover[followed], start[followed])
    phase, load, resting = high_vacuum_phase(states, case.loads, begin, target, sub)
    systems = draws.rows(followed)
    phase = replace(phase, speed_factor=systems.high_vacuum_speed)
    load = with_constant(_scaled(load, systems), resting)
    found = pump_down(case.loads.volume_m3, load, phase, HORIZON_S, trace=trace)
    time[followed] = found.time_s
    return Courses(time, roughing, found, followed, takeover)


def _scaled(load: GasLoad, draws: Draws) -> GasLoad:
    fresh = GasLoad(
        np.asarray(load.constant_pa_m3_s) * draws.leak,
        np.asarray(load.amplitude_pa_m3_s) * draws.surfaces,
        load.alpha,
    )
    return after_venting(fresh, draws.refilled, draws.pumped_s)


def _position(judged: Judged, chosen: tuple[IntArray, IntArray]) -> IntArray:
    """Places of combinations in the judged evacuation."""
    columns = len(judged.case.field.backs)
    known = judged.chosen[0] * columns + judged.chosen[1]
    return np.searchsorted(known, chosen[0] * columns + chosen[1])
