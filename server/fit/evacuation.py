"""Pump-down of every surviving combination: roughing, waiting, high vacuum.

Roughing depends on the back alone, so it is followed once per back, down to the lowest pressure any
combination hands over at; each combination then starts its high-vacuum phase from its own point on
that curve. All load is counted as the amount of air that raises the pressure as much (the speed for
air ÷ the speed for the species, at the target), and the pressure at rest as a constant load.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from server.catalog.arrays import GRID
from server.catalog.items import TurboPump
from server.fit.alike import Groups
from server.fit.candidates import Back, Front
from server.fit.crossover import NEAR_FLOOR, crossover_pressure_pa
from server.fit.inlet import InletTables
from server.fit.loads import AIR, Loads
from server.fit.requirements import Duty, Requirements
from server.fit.settled import FieldStates
from server.fit.venting import load_of_later_cycles
from server.physics.arrays import FloatArray, IntArray, floats
from server.physics.burst import held_back_s_m3
from server.physics.constants import ATMOSPHERE_PA
from server.physics.end_to_end import EndToEnd
from server.physics.gasload import GasLoad, load_at_pa_m3_s, with_constant
from server.physics.pumpdown import Phase, pump_down
from server.physics.pumpdown_fall import CURVE_STRIDE
from server.physics.pumpdown_paths import node_below
from server.physics.speedtable import SpeedTable, lookup

HORIZON_S = 14 * 24 * 3600.0
"""A pump-down that takes longer than a fortnight counts as never."""


@dataclass(frozen=True)
class Evacuation:
    """Pump-down of n combinations; infinite where the target is not reached."""

    time_s: FloatArray
    crossover_pa: FloatArray
    """NaN for rough stacks."""
    rough_s: FloatArray
    """Clock at which roughing has reached the crossover pressure."""
    crossover_s: FloatArray
    """Clock at which the high-vacuum pump takes over, run-up and held-back burst included."""
    takeover_pa: FloatArray
    """Chamber pressure at that moment (a turbo runs up while roughing goes on)."""
    later_s: FloatArray
    """The same target after a first cycle and a venting; NaN where a day has no second cycle."""


@dataclass(frozen=True)
class RoughCurves:
    """Chamber pressure against time by roughing alone: curves, and which belongs to each back.

    Between two points p − p_rest falls exponentially: under a constant load and speed it does.
    """

    time_s: FloatArray
    """Shape (curves, points), NaN behind the end of a curve."""
    pressure_pa: FloatArray
    rest_pa: FloatArray
    """Where each curve comes to rest, below its last point; 0 where none is known."""
    curve_of: IntArray
    """Shape (backs,)."""

    @cached_property
    def _clock_s(self) -> FloatArray:
        """Clock at every point, held behind the end of a curve."""
        return np.fmax.accumulate(self.time_s, axis=1)

    @cached_property
    def _ln_above(self) -> FloatArray:
        """Ln (p − p_rest) at every point, never rising along a curve, held behind its end."""
        above = self.pressure_pa - self.rest_pa[:, np.newaxis]
        return np.fmin.accumulate(np.log(above), axis=1)

    @cached_property
    def _falling(self) -> EndToEnd:
        return EndToEnd(-self._ln_above)

    @cached_property
    def _passing(self) -> EndToEnd:
        return EndToEnd(self._clock_s)

    def time_at(self, backs: IntArray, pressure_pa: FloatArray) -> FloatArray:
        """Return when each back's curve passes a pressure; inf where it never does."""
        curve = self.curve_of[backs]
        above = np.maximum(pressure_pa - self.rest_pa[curve], _NOTHING_PA)
        wanted = np.log(above)
        found = self._falling.between(curve, -wanted, self._clock_s)
        return np.where(wanted >= self._ln_above[curve, -1] - 1e-6, found, np.inf)

    def pressure_at(self, backs: IntArray, time_s: FloatArray) -> FloatArray:
        """Return each back's pressure at a clock, the last one where the curve has ended."""
        curve = self.curve_of[backs]
        found = self._passing.between(curve, time_s, self._ln_above)
        return floats(self.rest_pa[curve] + np.exp(found))


_NOTHING_PA = 1e-100
"""Stands for no distance from rest in a logarithm."""


def equivalent_load(
    loads: Loads, tables: Mapping[str, SpeedTable], rows: IntArray, at_pa: FloatArray | float
) -> GasLoad:
    """Return the load as air: each species times S_air/S_species at a pressure, shape (n,)."""
    air = lookup(tables[AIR], rows, at_pa)
    weight = {}
    for gas in loads.lasting:
        own = lookup(tables[gas], rows, at_pa)
        weight[gas] = np.where(own > 0.0, air / np.where(own > 0.0, own, 1.0), UNPUMPED)
    return loads.weighted(weight)


UNPUMPED = 1e12
"""Stands for the infinite weight of a gas that a pump does not take at all."""


def rough_curves(loads: Loads, states: FieldStates, lowest_pa: FloatArray) -> RoughCurves:
    """Follow roughing with each back from the atmosphere to a pressure (or as far as it gets)."""
    speeds = states.backing.chamber
    lowest = np.full(len(speeds.rows), np.inf)
    np.minimum.at(lowest, speeds.of, lowest_pa)
    reference = rough_reference_pa(states, speeds.first)
    load = equivalent_load(loads, speeds.tables, speeds.rows, reference)
    phase = Phase(speeds.tables[AIR], speeds.rows, ATMOSPHERE_PA, lowest)
    found = pump_down(loads.volume_m3, load, phase, HORIZON_S, trace=True)
    assert states.rough_floor_pa is not None  # noqa: S101 (set for every high-vacuum field)
    rest, last = states.rough_floor_pa[0][speeds.first], np.nanmin(found.curve_pressure_pa, axis=1)
    rest = np.where(rest < last, rest, 0.0)
    return RoughCurves(found.curve_time_s, found.curve_pressure_pa, rest, speeds.of)


def rough_reference_pa(states: FieldStates, backs: IntArray) -> FloatArray:
    """Return the pressure at which the speeds of the species are compared while roughing.

    Well above where each back comes to rest: there a pump takes no gas at all.
    """
    assert states.rough_floor_pa is not None  # noqa: S101 (set for every high-vacuum field)
    found: FloatArray = np.fmax(ROUGH_REFERENCE_PA, 2.0 * states.rough_floor_pa[0][backs])
    return found


ROUGH_REFERENCE_PA = 100.0
"""The least of these pressures. [Pa]"""


def run_up_s(front: Front) -> float:
    """Return how long roughing goes on after the start pressure while a turbo runs up."""
    return front.pump.run_up_s if isinstance(front.pump, TurboPump) else 0.0


def roughing_run_up_s(back: Back) -> float:
    """Return how long the turbomolecular pump that roughs an ion pump takes to run up."""
    return back.booster.run_up_s if isinstance(back.booster, TurboPump) else 0.0


def evacuate(
    fronts: Sequence[Front | None],
    backs: Sequence[Back],
    states: FieldStates,
    loads: Loads,
    requirements: Requirements,
    chosen: tuple[IntArray, IntArray],
) -> Evacuation:
    """Return the pump-down of the chosen combinations.

    Parameters
    ----------
    fronts, backs : sequences
        The field.
    states : FieldStates
        Its steady states.
    loads : Loads
        Gas loads.
    requirements : Requirements
        Target pressure.
    chosen : pair of int arrays, shape (n,)
        Front and back of each combination.
    """
    front_rows, back_rows = chosen
    if states.inlet is None:
        return _evacuate_rough(states, loads, requirements, back_rows)
    first, again = _distinct(states.inlet.row_of_front, states.offset_pa, chosen)
    alike = _evacuate_distinct(
        fronts, backs, states, loads, requirements, (front_rows[first], back_rows[first])
    )
    return Evacuation(*(getattr(alike, part.name)[again] for part in fields(Evacuation)))


def _distinct(
    row_of_front: IntArray, offset_pa: FloatArray, chosen: tuple[IntArray, IntArray]
) -> tuple[IntArray, IntArray]:
    """First of each set of combinations that pump down alike, and the set of each combination.

    Fluids that leave the same pressure at rest in the same pump and trap do.
    """
    offsets = np.ascontiguousarray(offset_pa)
    rows = zip(row_of_front.tolist(), offsets, strict=True)
    fronts = Groups.by((row, offset.tobytes()) for row, offset in rows)
    alike = Groups.by_number(fronts.of[chosen[0]], chosen[1])
    return alike.first, alike.of


def _evacuate_distinct(
    fronts: Sequence[Front | None],
    backs: Sequence[Back],
    states: FieldStates,
    loads: Loads,
    requirements: Requirements,
    chosen: tuple[IntArray, IntArray],
) -> Evacuation:
    front_rows, back_rows = chosen
    takeover, curves = _takeover(fronts, backs, states, loads, chosen)
    target, duty = requirements.target_pressure_pa, requirements.duty
    time = np.full(len(front_rows), np.inf)
    # what is reached while a rotor still runs up counts from the end of its run-up
    by_roughing = takeover.crossover_pa <= target
    time[by_roughing] = curves.time_at(
        back_rows[by_roughing], np.full(int(by_roughing.sum()), target)
    )
    # roughing of later cycles is taken as that of the first: they are a little quicker
    later = time.copy() if duty.repeats else np.full(len(time), np.nan)
    rest = ~by_roughing & (takeover.time_s < HORIZON_S)
    if rest.any():
        sub = Takeover(
            takeover.crossover_pa[rest], takeover.time_s[rest], takeover.pressure_pa[rest]
        )
        phase, load, resting = high_vacuum_phase(
            states, loads, sub, target, (front_rows[rest], back_rows[rest])
        )
        time[rest], later[rest] = _cycles(loads, load, phase, duty, resting)
    rough = curves.time_at(back_rows, takeover.crossover_pa)
    return Evacuation(
        time, takeover.crossover_pa, rough, takeover.time_s, takeover.pressure_pa, later
    )


def _cycles(
    loads: Loads, load: GasLoad, phase: Phase, duty: Duty, resting: FloatArray | float = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Return when a first and a later pump-down end, a constant load added to that of surfaces."""

    def ended_s(gas: GasLoad) -> FloatArray:
        whole = with_constant(gas, resting)
        return pump_down(loads.volume_m3, whole, phase, HORIZON_S).time_s

    first = ended_s(load)
    if not duty.repeats:
        return first, np.full(len(first), np.nan)
    again = load_of_later_cycles(load, np.minimum(first, HORIZON_S), duty)
    return first, np.where(np.isfinite(first), ended_s(again), np.inf)


RUN_ON_SHARE = 9e-4
"""Share of its start pressure to which roughing is followed while a turbo runs up."""

CLEAR_SHARE = 0.3
"""Share of the crossover to which roughing is followed for others: clearly through it."""


@dataclass(frozen=True)
class Takeover:
    """When and where the high-vacuum pump takes over, n combinations.

    ``time_s`` includes the burst after crossover that a weak foreline holds back.
    """

    crossover_pa: FloatArray
    time_s: FloatArray
    pressure_pa: FloatArray


def _takeover(
    fronts: Sequence[Front | None],
    backs: Sequence[Back],
    states: FieldStates,
    loads: Loads,
    chosen: tuple[IntArray, IntArray],
) -> tuple[Takeover, RoughCurves]:
    front_rows, back_rows = chosen
    crossover = crossover_pressure_pa(states)[front_rows, back_rows]
    assert states.rough_floor_pa is not None  # noqa: S101 (set for every high-vacuum field)
    wait = np.array([0.0 if front is None else run_up_s(front) for front in fronts])[front_rows]
    lowest = np.full(len(backs), ATMOSPHERE_PA)
    # while a turbo runs up roughing goes on for several e-folds
    followed = np.where(wait > 0.0, RUN_ON_SHARE, CLEAR_SHARE) * crossover
    np.minimum.at(lowest, back_rows, followed)
    # down to a point of every curve, however far it is followed
    nodes = node_below(GRID, np.fmin(lowest, ATMOSPHERE_PA))
    lowest = GRID.pressure_pa[nodes - nodes % CURVE_STRIDE]
    lowest = np.maximum(lowest, NEAR_FLOOR * states.rough_floor_pa[0])
    curves = rough_curves(loads, states, np.fmin(lowest, ATMOSPHERE_PA))
    time = curves.time_at(back_rows, crossover) + wait
    pressure = crossover.copy()
    running_up = (wait > 0.0) & np.isfinite(time)
    # a curve may go on for the sake of other pumps: each is handed what it was followed to itself
    pressure[running_up] = np.clip(
        curves.pressure_at(back_rows[running_up], time[running_up]),
        followed[running_up],
        crossover[running_up],
    )
    handed = Takeover(crossover, time, pressure)
    rotor = np.array([roughing_run_up_s(back) for back in backs])[back_rows]
    time = time + rotor + held_back_s(states, loads, handed, chosen)
    return Takeover(crossover, time, pressure), curves


def high_vacuum_phase(
    states: FieldStates,
    loads: Loads,
    takeover: Takeover,
    target_pa: float,
    chosen: tuple[IntArray, IntArray],
) -> tuple[Phase, GasLoad, FloatArray]:
    """Return the high-vacuum phase of combinations, its gas load, and the rest as a load, in air.

    The rest stands for the pressure that is there without gas load, times the speed at the target.
    """
    assert states.inlet is not None  # noqa: S101 (only called for high-vacuum fields)
    resting = (chosen[0], states.offset_pa[chosen])
    return phase_of_fronts(states.inlet, loads, takeover, target_pa, resting)


def phase_of_fronts(
    inlet: InletTables,
    loads: Loads,
    takeover: Takeover,
    target_pa: float,
    resting: tuple[IntArray, FloatArray],
) -> tuple[Phase, GasLoad, FloatArray]:
    """Return the same for fronts and their pressures without gas load, shape (n,) each."""
    tables, rows = inlet.at_chamber, inlet.row_of_front[resting[0]]
    start_pa = takeover.pressure_pa
    reference = np.minimum(target_pa, start_pa)
    constant = resting[1] * lookup(tables[AIR], rows, reference)
    phase = Phase(tables[AIR], rows, start_pa, target_pa, takeover.time_s)
    return phase, equivalent_load(loads, tables, rows, reference), constant


def held_back_s(
    states: FieldStates, loads: Loads, takeover: Takeover, chosen: tuple[IntArray, IntArray]
) -> FloatArray:
    """Return how much longer the burst lasts where the foreline carries less than the pump."""
    front_rows, back_rows = chosen
    assert states.inlet is not None  # noqa: S101 (only called for high-vacuum fields)
    assert states.burst_pa_m3_s is not None  # noqa: S101
    assert states.base.foreline_pa is not None  # noqa: S101
    carried = states.burst_pa_m3_s[front_rows, back_rows]
    table = states.inlet.at_chamber[AIR]
    rows = states.inlet.row_of_front[front_rows]
    begin = takeover.pressure_pa
    # capture pumps have no foreline; what never comes to the crossover has no burst
    backed = np.isfinite(states.base.foreline_pa[front_rows, back_rows])
    limited = carried < lookup(table, rows, begin) * begin
    limited &= backed & np.isfinite(takeover.time_s)
    extra = np.zeros(len(rows))
    if limited.any():
        load = loads.weighted({gas: np.ones(1) for gas in loads.species})
        flow = load_at_pa_m3_s(load, takeover.time_s[limited])
        extra[limited] = loads.volume_m3 * held_back_s_m3(
            table, rows[limited], begin[limited], carried[limited], flow
        )
    return extra


def _evacuate_rough(
    states: FieldStates, loads: Loads, requirements: Requirements, back_rows: IntArray
) -> Evacuation:
    tables = states.backing.at_chamber
    target = requirements.target_pressure_pa
    load = equivalent_load(loads, tables, back_rows, target)
    phase = Phase(tables[AIR], back_rows, ATMOSPHERE_PA, np.full(len(back_rows), target))
    first, later = _cycles(loads, load, phase, requirements.duty)
    nothing = np.full(len(back_rows), np.nan)
    return Evacuation(first, nothing, nothing, nothing, nothing, later)
