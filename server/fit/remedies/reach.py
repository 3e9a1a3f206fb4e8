"""Whether a chamber can come down to its target in time at all: a bound that spares following it.

A pressure falls through the target only while what the pumps take there is more than the load. The
load of a chamber without process only falls: what it still is at the last moment allowed it was all
the time before. And no load makes roughing quicker than it is without any.
"""

from __future__ import annotations

import math

import numpy as np

from server.fit.alike import Speeds
from server.fit.candidates import Front
from server.fit.crossover import NEAR_FLOOR, crossover_pressure_pa
from server.fit.evacuation import (
    HORIZON_S,
    RUN_ON_SHARE,
    equivalent_load,
    rough_reference_pa,
    run_up_s,
)
from server.fit.loads import AIR, Loads
from server.fit.remedies.search import gap_of
from server.fit.settled import FieldStates
from server.physics.arrays import FloatArray
from server.physics.constants import ATMOSPHERE_PA
from server.physics.gasload import GasLoad, load_at_pa_m3_s
from server.physics.speedtable import lookup

FIRST = np.zeros(1, dtype=np.intp)
"""The first row of a table, of a field of one the only one."""

SLACK = 1e-5
"""So much more than the pumps take the load must be: pump-downs are followed no closer."""


def arrival_gap(
    front: Front | None, states: FieldStates, loads: Loads, target_pa: float, by_s: float
) -> float:
    """Return how far (in ln) pumps and time are more than load and roughing need, at a clock.

    Below zero the only combination of a field does not come to the pressure by then, that is
    certain; above it may.

    Parameters
    ----------
    front : Front or None
        Its front.
    states : FieldStates
        Its steady states.
    loads : Loads
        Gas loads.
    target_pa : float
        The pressure. [Pa]
    by_s : float
        Time since pumping began. [s]
    """
    if by_s <= 0.0:
        return gap_of(0.0)
    by_s = min(by_s, HORIZON_S)
    rough = states.backing.at_chamber
    if front is None:
        least_s = _least_s(loads, rough, target_pa)
        return min(
            _clock_gap(by_s, least_s), _gap(_load(loads, rough, target_pa), rough, target_pa, by_s)
        )
    crossover_pa = float(crossover_pressure_pa(states)[0, 0])
    roughing = _load(loads, rough, rough_reference_pa(states, FIRST))
    roughed_pa = max(crossover_pa, target_pa)
    assert states.rough_floor_pa is not None  # noqa: S101 (set for every high-vacuum field)
    above_floor = gap_of(roughed_pa / (NEAR_FLOOR * float(states.rough_floor_pa[0, 0])))
    clock_gap = _clock_gap(by_s, _least_s(loads, rough, roughed_pa))
    by_roughing = min(above_floor, clock_gap, _gap(roughing, rough, roughed_pa, by_s))
    # what is reached by roughing, or while a rotor runs up, the high-vacuum pump need not reach
    if target_pa >= crossover_pa * (RUN_ON_SHARE if run_up_s(front) > 0.0 else 1.0):
        return by_roughing
    assert states.inlet is not None  # noqa: S101 (set for every high-vacuum field)
    tables, resting_pa = states.inlet.at_chamber, float(states.offset_pa[0, 0])
    working = _gap(_load(loads, tables, target_pa), tables, target_pa, by_s, resting_pa)
    return min(by_roughing, working)


def _clock_gap(by_s: float, least_s: float) -> float:
    return math.inf if least_s <= 0.0 else gap_of(by_s / least_s)


def _least_s(loads: Loads, tables: Speeds, pressure_pa: float) -> float:
    """Return how long roughing takes to a pressure where there is no load, at least."""
    fall = math.log(ATMOSPHERE_PA / pressure_pa)
    if fall <= 0.0:
        return 0.0
    places = (np.arange(POINTS) + 0.5) / POINTS
    speed = lookup(tables[AIR], FIRST, ATMOSPHERE_PA * np.exp(-fall * places))
    if not speed.all():
        return math.inf
    return (1.0 - ROUGHLY) * loads.volume_m3 * fall * float((1.0 / speed).mean())


POINTS = 100
"""Points of the time that roughing takes."""

ROUGHLY = 0.01
"""More than what their sum may be too much: the speed is a straight line from node to node."""


def _load(loads: Loads, tables: Speeds, reference_pa: FloatArray | float) -> GasLoad:
    return equivalent_load(loads, tables, FIRST, reference_pa)


def _gap(
    load: GasLoad, tables: Speeds, pressure_pa: float, by_s: float, resting_pa: float = 0.0
) -> float:
    """Return ln(what the pumps take at a pressure ÷ the load at a clock)."""
    taken = float(lookup(tables[AIR], FIRST, pressure_pa)[0]) * (pressure_pa - resting_pa)
    last = float(load_at_pa_m3_s(load, np.full(1, by_s))[0])
    if last <= 0.0 or math.isnan(taken):
        return math.inf
    return gap_of(taken * (1.0 + SLACK) / last)
