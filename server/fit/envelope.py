"""What the shown stacks can do at most: largest gas load, and throughput against pressure.

The process's own mix of gases is let in more and more, over leak and outgassing as they are when
the process begins. What a stack settles to at a chosen pressure is linear in the gas let in,

    p = p_rest + Σ (b_i + k·g_i)/S_i(p)   →   k(p) = (p − p_rest − Σ b_i/S_i)/Σ g_i/S_i,

so that every limit on a pressure gives its largest load by evaluation at that pressure, without a
root to look for; the largest k on the way to the limit counts, since beyond it the system jumps.
The foreline's limit falls with the load itself and is looked for along the pressure at the back.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.catalog.arrays import GRID
from server.fit.explain import Spot, resting_at_work_pa
from server.fit.foreline import mixture_of
from server.fit.front_states import process_time_s
from server.fit.geometry import foreline, line_table, outlet_of
from server.fit.inlet import flow_potential
from server.fit.intake import Intake, behind_traps, largest_below, past_traps
from server.fit.loads import AIR
from server.fit.pump_limits import PumpLimits, limits_for
from server.fit.results import Envelope, LargestLoad, LoadLimit, MarginKey, ThroughputMap
from server.physics.arrays import FloatArray, IntArray
from server.physics.constants import ATMOSPHERE_PA
from server.physics.entry_speed import FlowPotential
from server.physics.gas import Mixture
from server.physics.line import Line
from server.physics.pumps import tolerable_foreline_pa
from server.physics.speedtable import SpeedTable, rest_pressure_pa

FINE = 33
"""Points between two nodes of the grid where the foreline's limit is looked for."""

MAP_POINTS = 120
"""Points of a map that are worth drawing."""


@dataclass(frozen=True)
class _Stacks:
    """The stacks of one judged field, their loads and intakes."""

    spots: Sequence[Spot]
    chamber: Intake
    pump: Intake
    """At the high-vacuum pump's inlet; at the back's own inlet for rough stacks."""
    back: Intake
    """At the back's inlet behind a high-vacuum pump, with the gas that gets past the trap."""


def envelopes(
    spots: Sequence[Spot],
    times_s: Sequence[tuple[float, float]],
) -> list[Envelope]:
    """Return what combinations of one judged field can do at most.

    Parameters
    ----------
    spots : sequence of Spot
        The combinations.
    times_s : sequence of pairs
        Pump-down time of each in a clean, tight chamber, and as stated.
    """
    if not spots:
        return []
    stacks = _stacks(spots)
    limits = _limits(stacks)
    case = spots[0].judged.case
    asked = case.requirements.process.pressure_pa
    wanted: list[_Limit] = []
    if asked is not None:
        factor = largest_below(stacks.chamber, np.full(len(spots), asked))
        key = MarginKey.PROCESS_PRESSURE
        wanted = [_Limit(LoadLimit.PROCESS_PRESSURE, key, factor), *limits]
    maps = _maps(stacks)
    found = []
    for number, spot in enumerate(spots):
        states = case.states
        found.append(
            Envelope(
                gases=tuple(gas for gas, flow in _let_in(spot).items() if flow > 0.0),
                largest_load=_largest(stacks, number, limits),
                load_at_process_pressure=_largest(stacks, number, wanted) if wanted else None,
                shortest_time_s=times_s[number][0],
                stated_time_s=times_s[number][1],
                lowest_pressure_pa=_or_inf(spot.at(states.base.chamber_pa)),
                clean_pressure_pa=_clean_pa(spot),
                map=maps[number],
            )
        )
    return found


def _or_inf(value: float) -> float:
    return math.inf if math.isnan(value) else value


def _clean_pa(spot: Spot) -> float:
    """Pressure without any load at base: a backing pump alone stands where it takes no air."""
    states = spot.judged.case.states
    if spot.front is not None:
        return spot.at(states.offset_pa)
    speeds = states.backing.chamber
    return float(rest_pressure_pa(speeds.tables[AIR])[speeds.rows[speeds.of[spot.back_row]]])


def _let_in(spot: Spot) -> dict[str, float]:
    """Gas let in per unit of k: the process's own, or a Pa·m³/s of air."""
    loads = spot.judged.case.loads
    own = loads.process_pa_m3_s if loads.has_process else {AIR: 1.0}
    return {gas: own.get(gas, 0.0) for gas in loads.species}


def _stacks(spots: Sequence[Spot]) -> _Stacks:
    case, number = spots[0].judged.case, len(spots)
    states, loads = case.states, case.loads
    base = loads.base_pa_m3_s(process_time_s(case.requirements))
    added = _let_in(spots[0])
    backs = np.array([spot.back_row for spot in spots], dtype=np.intp)

    def gas(
        flows: Mapping[str, float], past: Mapping[str, FloatArray] | None
    ) -> dict[str, FloatArray]:
        one = np.ones((number, 1))
        return {name: flow * (one if past is None else past[name]) for name, flow in flows.items()}

    def intake(
        tables: Mapping[str, SpeedTable], rows: IntArray, resting_pa: FloatArray,
        past: Mapping[str, FloatArray] | None = None,
    ) -> Intake:  # fmt: skip
        speed = {name: tables[name].speed_m3_s[rows] for name in loads.species}
        return Intake(speed, gas(base, past), gas(added, past), resting_pa[:, np.newaxis])

    at_work = states.backs_at_work
    if states.inlet_at_work is None:
        behind = at_work.over_pa[backs]
        chamber = intake(at_work.chamber.each, backs, behind)
        pump = intake(at_work.inlet.each, backs, behind)
        return _Stacks(spots, chamber, pump, pump)
    inlet = states.inlet_at_work
    rows = inlet.row_of_front[[spot.front_row for spot in spots]]
    past = past_traps(spots)
    resting = np.nan_to_num([resting_at_work_pa(spot) for spot in spots])
    over = np.array([inlet.over_pa[spot.front_row] for spot in spots])
    return _Stacks(
        spots,
        intake(inlet.at_chamber, rows, resting),
        intake(inlet.at_pump, rows, np.maximum(resting - over, 0.0), past),
        behind_traps(spots, gas(base, past), gas(added, past)),
    )


@dataclass(frozen=True)
class _Limit:
    """Largest k of n stacks within one limit, inf where it does not apply."""

    what: LoadLimit
    margin: MarginKey | None
    factor: FloatArray


def _limits(stacks: _Stacks) -> list[_Limit]:
    """Return the limits that apply whatever pressure is asked for."""
    case, number = stacks.spots[0].judged.case, len(stacks.spots)
    inlet = np.array([_inlet_limit_pa(spot) for spot in stacks.spots])
    settles = largest_below(stacks.chamber, np.full(number, ATMOSPHERE_PA))
    top = np.where(np.isnan(inlet), ATMOSPHERE_PA, inlet)
    by_inlet = largest_below(stacks.pump, top)
    by_inlet = np.where(np.isnan(inlet), np.inf, by_inlet)
    without = None if np.isnan(inlet).any() else MarginKey.INLET
    if case.requirements.process.pressure_pa is not None:
        without = MarginKey.PROCESS_PRESSURE
    found = [
        _Limit(LoadLimit.INLET, MarginKey.INLET, by_inlet),
        _Limit(LoadLimit.SPEED, without, settles),
    ]
    if case.states.inlet is None:
        return found
    own, tolerable = _own_factor(stacks), _foreline_factor(stacks)
    return [
        *found,
        _Limit(LoadLimit.PUMP, MarginKey.THROUGHPUT, own),
        _Limit(LoadLimit.FORELINE, MarginKey.FORELINE, tolerable),
    ]


def _pump_limits(stacks: _Stacks, factor: FloatArray | None = None) -> PumpLimits:
    """Limits of the high-vacuum pumps for the gas let in, or for all gas at a k of shape (n,)."""
    pumps = [spot.front.pump for spot in stacks.spots if spot.front]
    load = {
        gas: (added if factor is None else stacks.pump.always[gas] + factor[:, np.newaxis] * added)[
            :, 0
        ]
        for gas, added in stacks.pump.let_in.items()
    }
    return limits_for(pumps, load)


def _own_factor(stacks: _Stacks) -> FloatArray:
    """Largest k by the pump's own largest throughput, for its gas at that very k."""
    always, added = (part[:, 0] for part in _sums(stacks.pump))
    passes = added > 0.0
    safe = np.where(passes, added, 1.0)
    factor = np.ones(len(safe))
    limits = _pump_limits(stacks)
    for _ in range(ROUNDS):
        factor = np.where(passes, (limits.largest_pa_m3_s - always) / safe, 1.0)
        limits = _pump_limits(stacks, np.maximum(factor, 0.0))
    return np.where(passes, (limits.largest_pa_m3_s - always) / safe, np.inf)


ROUNDS = 3
"""Times the mixture is set right: leak and outgassing are a small share of a largest load."""


def _sums(intake: Intake) -> tuple[FloatArray, FloatArray]:
    return sum(intake.always.values(), start=np.zeros(1)), sum(
        intake.let_in.values(), start=np.zeros(1)
    )


def _inlet_limit_pa(spot: Spot) -> float:
    """Largest continuous inlet pressure; NaN where the pump has none."""
    if spot.front is not None:
        return spot.front.pump.largest_inlet_pa or math.nan
    return math.nan if spot.back.booster else spot.back.backing.largest_inlet_pa or math.nan


def _forelines(stacks: _Stacks) -> tuple[FlowPotential, IntArray]:
    """Flow potentials of the forelines for the gas let in past the trap, and each stack's."""
    kinds: dict[Mixture, list[int]] = {}
    for number in range(len(stacks.spots)):
        let_in = {gas: float(part[number, 0]) for gas, part in stacks.back.let_in.items()}
        kinds.setdefault(mixture_of(let_in), []).append(number)
    found: list[FloatArray] = []
    line_of = np.empty(len(stacks.spots), dtype=np.intp)
    for gas, numbers in kinds.items():
        lines = line_table([_foreline(stacks.spots[number]) for number in numbers])
        line_of[numbers] = lines.of + sum(len(rows) for rows in found)
        found.append(flow_potential(lines, gas).conductance_m3_s)
    return FlowPotential(GRID, np.concatenate(found)), line_of


def _foreline(spot: Spot) -> Line:
    """Foreline of a stack; nothing where its pump has no outlet."""
    case = spot.judged.case
    outlet = outlet_of(spot.front.pump, case.states.backing.catalog) if spot.front else None
    return Line(()) if outlet is None else foreline(outlet, spot.back, case.requirements)


def _foreline_factor(stacks: _Stacks) -> FloatArray:
    """Largest k that the foreline stays tolerable at; inf without one."""
    limits = _pump_limits(stacks)
    largest, no_load, full_load = (
        part[:, np.newaxis]
        for part in (limits.largest_pa_m3_s, limits.no_load_pa, limits.full_load_pa)
    )
    always, added = _sums(stacks.back)
    potential, line_of = _forelines(stacks)
    line = line_of[:, np.newaxis]

    def spare(factor: FloatArray, at_back: FloatArray) -> FloatArray:
        flow = always + np.maximum(factor, 0.0) * added
        # a load beyond the pump's own is its own limit, not the foreline's
        known = np.minimum(np.where(np.isfinite(flow), flow, 0.0), largest)
        rows = np.broadcast_to(line, at_back.shape)
        driven = potential.at_pa_m3_s(rows, at_back) + known
        standing = np.maximum(potential.pressure_pa(rows, driven), at_back)
        return tolerable_foreline_pa(known, largest, no_load, full_load) - standing

    # from where the first back carries anything to where nothing is tolerable any more
    carries = stacks.back.at_nodes > 0.0
    begin = max(int(np.argmax(carries.any(axis=0))) - 1, 0)
    end = max(int(np.searchsorted(GRID.pressure_pa, no_load.max())), begin) + 2
    grid = GRID.pressure_pa[begin:end]
    # a gas that a trap holds before it gets here does not stand in the foreline
    factor = np.where(added > 0.0, stacks.back.at_nodes[:, begin:end], 0.0)
    over = spare(factor, np.broadcast_to(grid, factor.shape)) < 0.0
    over &= factor > -np.inf
    first = np.argmax(over, axis=1)[:, np.newaxis]
    low, high = grid[np.maximum(first - 1, 0)], grid[first]
    fine = low * (high / low) ** np.linspace(0.0, 1.0, FINE)
    between = np.where(added > 0.0, stacks.back.factor_at(fine), 0.0)
    left = spare(between, fine)
    rows = np.arange(len(left))
    place = np.maximum(np.argmax(left < 0.0, axis=1), 1)
    below, above = left[rows, place - 1], left[rows, place]
    share = below / np.where(below > above, below - above, 1.0)
    one, other = between[rows, place - 1], between[rows, place]
    one = np.where(np.isfinite(one), one, other)  # a gas may have no speed at the lower pressure
    found = one + np.clip(share, 0.0, 1.0) * (other - one)
    # where a back carries nothing below what is tolerable, not even leak and outgassing get away
    rests_pa = GRID.pressure_pa[np.maximum(np.argmax(carries, axis=1) - 1, 0)]
    nothing = (-always / np.where(added > 0.0, added, 1.0))[:, 0]
    found = np.where(rests_pa >= no_load[:, 0], nothing, found)
    backed = np.array(
        [spot.front is not None and spot.front.pump.outlet is not None for spot in stacks.spots]
    )
    return np.where(backed & over.any(axis=1) & (added[:, 0] > 0.0), found, np.inf)


def _largest(stacks: _Stacks, number: int, limits: Sequence[_Limit]) -> LargestLoad:
    """Return the load at the limit that is met first."""
    limit = min(limits, key=lambda limit: limit.factor[number])
    factor = float(limit.factor[number])
    chamber = stacks.chamber
    always = sum(float(part[number, 0]) for part in chamber.always.values())
    let_in = factor * sum(float(part[number, 0]) for part in chamber.let_in.values())
    nodes = chamber.at_nodes[number]
    carried = nodes >= factor
    pressure = math.inf
    if carried.any():
        first = int(np.argmax(carried))
        ends = slice(max(first - 1, 0), first + 1)
        pressure = float(np.interp(factor, nodes[ends], GRID.pressure_pa[ends]))
    return LargestLoad(always + let_in, let_in, pressure, limit.what, limit.margin)


def _maps(stacks: _Stacks) -> list[ThroughputMap]:
    """Throughput against chamber pressure for the mix of the running load."""
    case = stacks.spots[0].judged.case
    states, chamber = case.states, stacks.chamber
    state = states.process or states.base
    mix = {gas: np.full((len(stacks.spots), 1), flow) for gas, flow in state.load_pa_m3_s.items()}
    nothing = {gas: np.zeros_like(flow) for gas, flow in mix.items()}
    total = sum(state.load_pa_m3_s.values())
    shape = (len(case.field.fronts), 1)
    reaching = np.broadcast_to(state.reaching_pa_m3_s, shape)
    carried = Intake(chamber.speed, nothing, mix, chamber.resting_pa).at_nodes * total
    name = "process" if states.process else "base"
    found = []
    for number, spot in enumerate(stacks.spots):
        # what a trap holds does not count at the pump
        past = float(reaching[spot.front_row, 0])
        ceiling = math.inf
        if states.capacity_pa_m3_s is not None and past > 0.0:
            ceiling = spot.at(states.capacity_pa_m3_s) * total / past
        top = _inlet_limit_pa(spot)
        works = (carried[number] > 0.0) & np.isfinite(carried[number])
        works &= GRID.pressure_pa <= (ATMOSPHERE_PA if math.isnan(top) else 3.0 * top)
        works &= carried[number] >= 1e-3 * min(total, ceiling)
        kept = np.flatnonzero(works)
        kept = kept[:: max(1, len(kept) // MAP_POINTS)]
        pressure = spot.at(state.chamber_pa)
        points = ((name, pressure, total),) if math.isfinite(pressure) else ()
        pressures, flow = _cut(GRID.pressure_pa[kept], carried[number][kept], ceiling)
        found.append(
            ThroughputMap(tuple(pressures.tolist()), tuple(flow.tolist()), ceiling, points)
        )
    return found


def _cut(
    pressure_pa: FloatArray, flow_pa_m3_s: FloatArray, ceiling_pa_m3_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return a curve cut at a ceiling, with the corner among its points."""
    over = flow_pa_m3_s > ceiling_pa_m3_s
    first = int(np.argmax(over)) if over.any() else 0
    if first > 0:
        ends = slice(first - 1, first + 1)
        # speed times pressure: straight in the pressure between two nodes
        corner = np.interp(ceiling_pa_m3_s, flow_pa_m3_s[ends], pressure_pa[ends])
        pressure_pa = np.insert(pressure_pa, first, corner)
        flow_pa_m3_s = np.insert(flow_pa_m3_s, first, ceiling_pa_m3_s)
    return pressure_pa, np.minimum(flow_pa_m3_s, ceiling_pa_m3_s)
