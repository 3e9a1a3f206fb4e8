"""Workings: the pump-down, phase by phase, each beside its estimate by hand."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from server.fit.evacuation import HORIZON_S, roughing_run_up_s, run_up_s
from server.fit.loads import AIR
from server.fit.results import Working
from server.fit.workings.bench import Bench, Inputs, Law, cite, gas_name, line
from server.fit.workings.curves import Curve
from server.physics.arrays import FloatArray, IntArray
from server.physics.constants import ATMOSPHERE_PA
from server.physics.outgassing import HOUR_S, LAW_START_S, surface_decay
from server.physics.pumpdown_fall import OUTWEIGHS
from server.physics.pumpdown_step import LN_P_STEP, LN_T_STEP
from server.physics.roots import roots_between

SECTION = "Pump-down"

_EQUATION = Law(
    "dp/dt",
    "V·dp/dt = −S_eff(p)·p + Q(t);  Q(t) = Q_leak + S_eff·p₀ + Σ Q_1h·(t/1 h)^−α, "
    "every gas counted as the air that raises the pressure as much",
    "",
    cite("HOCHBRUCK-2009"),
)
_ESTIMATE = Law(
    "t_est",
    "t_est = Σ V/S_eff·ln(p_from/p_to), decade by decade, S_eff mid-decade, no gas load",
    "s",
    "textbook estimate: constant speed in a constant volume",
)
_SURFACES = Law(
    "t_surf",
    "Q(t_surf) = S_eff(p_target)·(p_target − p₀): the surfaces let the target be reached",
    "s",
    cite("ELSEY-1975", "DAYTON-1959"),
)
_ROUGHING = Law("t_rough", "the equation followed from the atmosphere", "s", _EQUATION.source)
_HANDED_OVER = Law("t_x", "t_x = t_rough + t_run-up + t_held", "s", "sum of phases")
_HIGH_VACUUM = Law("t_hv", "the equation followed from t_x to the target", "s", _EQUATION.source)
_HELD = Law(
    "t_held",
    "t_held = V·∫ [1/(Q_limit − Q) − 1/(S_eff·p − Q)] dp up to p_x, where S_eff·p is above Q_limit",
    "s",
    cite("HABLANIAN-1997"),
)
_TOTAL = Law("t", "t = t_x + t_hv", "s", "sum of phases")
_BY_ROUGHING = Law("t", "t = t_rough: the target is reached by roughing", "s", "sum of phases")
_TOTAL_ROUGH = Law("t", "t = t_rough", "s", "the one phase of a rough stack")

NEVER = "not reached within a fortnight"


def course_lines(bench: Bench) -> Iterator[Working]:
    """Yield the phases of the pump-down, estimate beside integrated time."""
    place = bench.place
    if place is None:
        law = Law("t", "followed only where no other margin fails", "", "")
        yield line(SECTION, "time", "Pump-down", law, {}, "not followed: another margin fails")
        return
    yield line(
        SECTION, "equation", "Equation and method", _EQUATION,
        {
            "method": "∫ V·dp/(S_eff·p − Q) over the table, Q to second order, while the pump "
            f"takes {OUTWEIGHS:g} times Q and more; to the target at once where the pressure runs "
            "after the balance of pump and load; exponential Rosenbrock, third order, in between",
            "longest step": f"{LN_P_STEP:g} in ln p, {LN_T_STEP:g} in ln t",
            "given up after [s]": HORIZON_S,
        },
        "within 1 % of scipy.integrate.solve_ivp at rtol 1e-9 (checked in the tests)",
    )  # fmt: skip
    if bench.front is None:
        yield from _rough_stack_lines(bench)
    else:
        yield from _high_vacuum_lines(bench, place)


def _time(value_s: float) -> float | str:
    return value_s if math.isfinite(value_s) else NEVER


def _estimate_line(
    bench: Bench, key: str, name: str, speeds: Curve, span_pa: tuple[float, float]
) -> Working:
    volume = bench.loads.volume_m3
    inputs: dict[str, float | str] = {
        "V [m³]": volume,
        "p_from [Pa]": span_pa[0],
        "p_to [Pa]": span_pa[1],
    }
    total = 0.0
    for above, below in pairwise(decades_pa(*span_pa)):
        middle = math.sqrt(above * below)
        speed = speeds.at(middle)
        inputs[f"S_eff(air) at {middle:.3g} Pa [m³/s]"] = speed
        total += volume / speed * math.log(above / below) if speed > 0.0 else math.inf
    return line(SECTION, key, name, _ESTIMATE, inputs, _time(total))


def decades_pa(start_pa: float, end_pa: float) -> list[float]:
    """Return start, the whole powers of ten between, and end, falling."""
    first, last = math.ceil(math.log10(start_pa)) - 1, math.floor(math.log10(end_pa)) + 1
    powers = [10.0**power for power in range(first, last - 1, -1)]
    return [start_pa, *(power for power in powers if end_pa < power < start_pa), end_pa]


def _rough_stack_lines(bench: Bench) -> Iterator[Working]:
    target = bench.requirements.target_pressure_pa
    total = bench.spot.at(bench.spot.judged.time_s)
    span = (ATMOSPHERE_PA, target)
    yield _estimate_line(
        bench, "rough-estimate", "Estimate to the target", bench.rough_speeds(AIR), span
    )
    yield _surfaces_line(bench, target)
    yield line(SECTION, "rough", "Followed to the target", _ROUGHING, _span_inputs(*span),
               _time(total))  # fmt: skip
    yield line(SECTION, "time", "Pump-down time", _TOTAL_ROUGH, {"t_rough [s]": _time(total)},
               _time(total))  # fmt: skip


def _span_inputs(start_pa: float, end_pa: float) -> Inputs:
    return {"from [Pa]": start_pa, "to [Pa]": end_pa}


def _high_vacuum_lines(bench: Bench, place: int) -> Iterator[Working]:
    assert bench.front is not None  # noqa: S101 (the caller looked)
    course = bench.spot.judged.evacuation
    crossover, handed_over_s = float(course.crossover_pa[place]), float(course.crossover_s[place])
    takeover, total = float(course.takeover_pa[place]), float(course.time_s[place])
    rough_s = float(course.rough_s[place])
    wait = run_up_s(bench.front) + roughing_run_up_s(bench.back)
    # nothing held back may come out a rounding below zero
    held = max(handed_over_s - rough_s - wait, 0.0) if math.isfinite(rough_s) else 0.0
    span = (ATMOSPHERE_PA, crossover)
    name = "Estimate of roughing to the crossover"
    yield _estimate_line(bench, "rough-estimate", name, bench.rough_speeds(AIR), span)
    yield line(SECTION, "rough", "Roughing, followed", _ROUGHING, _span_inputs(*span),
               _time(rough_s))  # fmt: skip
    if bench.has_foreline and math.isfinite(rough_s):
        yield _held_line(bench, held, takeover)
    yield line(
        SECTION, "handed-over", "The high-vacuum pump takes over", _HANDED_OVER,
        {"t_rough [s]": _time(rough_s), "t_run-up [s]": wait, "t_held [s]": held},
        _time(handed_over_s),
    )  # fmt: skip
    target = bench.requirements.target_pressure_pa
    if not math.isfinite(handed_over_s) or takeover <= target:
        law = _BY_ROUGHING if math.isfinite(total) else _TOTAL
        yield line(SECTION, "time", "Pump-down time", law, {}, _time(total))
        return
    span = (takeover, target)
    speeds = bench.chamber_speeds(AIR, bench.base)
    yield _estimate_line(bench, "hv-estimate", "Estimate of the high-vacuum phase", speeds, span)
    yield _surfaces_line(bench, target)
    followed = total - handed_over_s
    yield line(SECTION, "hv", "High-vacuum phase, followed", _HIGH_VACUUM, _span_inputs(*span),
               _time(followed))  # fmt: skip
    yield line(
        SECTION, "time", "Pump-down time", _TOTAL,
        {"t_x [s]": _time(handed_over_s), "t_hv [s]": _time(followed)}, _time(total),
    )  # fmt: skip


def _held_line(bench: Bench, held_s: float, takeover_pa: float) -> Working:
    inputs = {
        "V [m³]": bench.loads.volume_m3,
        "p_x [Pa]": takeover_pa,
        "S_eff(air) [m³/s]": bench.chamber_speeds(AIR, bench.base).at(takeover_pa),
        "Q_limit [Pa·m³/s]": bench.air_limit_pa_m3_s,
    }
    return line(SECTION, "held", "Time the foreline holds the burst back", _HELD, inputs, held_s)


def _surfaces_line(bench: Bench, target_pa: float) -> Working:
    """Return the time at which the load has fallen to what the pump takes at the target."""
    without = bench.base.without_load_pa
    speeds = {gas: bench.chamber_speeds(gas, bench.base).at(target_pa) for gas in bench.base.gases}
    inputs: dict[str, float | str] = {"p_target [Pa]": target_pa, "p₀ [Pa]": without}
    inputs |= {f"S_eff({gas_name(gas)}) [m³/s]": speed for gas, speed in speeds.items()}
    (found,) = bench.spot.judged.memory.each(_decaying(bench), _fallen_s)
    value: float | str = found
    if math.isinf(found):
        value = NEVER
    elif found <= LAW_START_S:  # from where the law of decay holds
        value = "from the first minute on"
    else:
        inputs["t_surf [h]"] = found / HOUR_S
    return line(SECTION, "surfaces", "Estimate behind the surfaces", _SURFACES, inputs, value)


@dataclass(frozen=True)
class Decaying:
    """What surfaces add to a pressure after one hour, and what there is room for."""

    room_pa: float
    """From what is there all the time to the target."""
    at_hour_pa: tuple[float, ...]
    alpha: tuple[float, ...]


def _decaying(bench: Bench) -> dict[Hashable, Decaying]:
    loads, state, target = bench.loads, bench.base, bench.requirements.target_pressure_pa

    def raised_pa(gas: str, flow: float) -> float:
        if flow <= 0.0:
            return 0.0
        speed = bench.chamber_speeds(gas, state).at(target)
        return flow / speed if speed > 0.0 else math.inf

    room = target - state.without_load_pa - raised_pa(AIR, loads.leak_pa_m3_s)
    hour = tuple(raised_pa(one.row.species, one.amplitude_pa_m3_s) for one in loads.surfaces)
    found = Decaying(room, hour, tuple(one.row.alpha for one in loads.surfaces))
    return {("surfaces", found): found}


def solve_surfaces(benches: Sequence[Bench]) -> None:
    """Solve for stacks of one field when their surfaces let the target be reached."""
    asked = [_decaying(bench) for bench in benches if bench.place is not None]
    memory = benches[0].spot.judged.memory
    memory.each(dict(item for some in asked for item in some.items()), _fallen_s)


def _fallen_s(asked: Sequence[Decaying]) -> list[float]:
    """Return when surfaces have fallen to the room there is: inf where they never do."""
    hour = np.array([one.at_hour_pa for one in asked])
    alpha = np.array([one.alpha for one in asked])
    room = np.array([one.room_pa for one in asked])

    def excess(rows: IntArray, ln_time: FloatArray) -> FloatArray:
        decay = surface_decay(np.exp(ln_time)[:, np.newaxis], alpha[rows])
        return np.asarray((hour[rows] * decay).sum(axis=1) - room[rows])

    every = np.arange(len(asked))
    first = np.full(len(asked), math.log(LAW_START_S))
    last = np.full(len(asked), math.log(HORIZON_S))
    at_once, at_last = excess(every, first) <= 0.0, excess(every, last) <= 0.0
    time = np.where(at_once, LAW_START_S, np.inf)
    rows = np.flatnonzero(at_last & ~at_once)
    time[rows] = np.exp(roots_between(lambda at: excess(rows, at), first[rows], last[rows]))
    found: list[float] = time.tolist()
    return found
