"""How long fronts take from the corners of a net of pressures and clocks to the target.

Two pump-downs of one front under one load never cross: V·dp/dt = −S(p)·p + Q(t) has one solution
through each point. So what takes over later or at a higher pressure reaches the target later; and
as the load decays, what takes over later needs less time from there. A combination lies between
two corners of the net of its front, whatever its back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from server.catalog.arrays import GRID
from server.catalog.items import TurboPump
from server.fit.evacuation import (
    HORIZON_S,
    RUN_ON_SHARE,
    Takeover,
    phase_of_fronts,
)
from server.fit.front_states import FrontStates
from server.fit.loads import Loads
from server.fit.pump_limits import highest_crossover_pa
from server.fit.requirements import Requirements
from server.fit.thresholds import CROSSOVER_ROOM
from server.fit.venting import load_of_later_cycles
from server.physics.arrays import FloatArray, IntArray
from server.physics.gasload import GasLoad, with_constant
from server.physics.pumpdown import pump_down

_SHARES = (1.0, 1.0 / CROSSOVER_ROOM, 0.5, 0.15, RUN_ON_SHARE / CROSSOVER_ROOM)
"""Pressures of the net ÷ the highest at which a front takes over.

The first two are where a pump takes over that nothing else limits, the last the lowest to which
roughing is followed while one runs up. Those between, and the number of clocks, only say how narrow
the bounds come out: ours.
"""

_CLOCKS = 18
_FIRST_CLOCK_S = 1.0

_ADDED_SHARE = 0.02
"""Of the target: what backs may add to the pressure over a front that the net allows for.

Ours: what adds more is followed.
"""


@dataclass(frozen=True)
class Net:
    """Times from each corner to the target, shape (fronts, pressures + 1, clocks + 1).

    The last pressure and clock stand for all that lies beyond the corners.
    """

    least_s: FloatArray
    """With the front's own pressure at rest alone; 0 beyond."""
    most_s: FloatArray
    """With all that a back may add at most; endless beyond."""


@dataclass(frozen=True)
class FrontFalls:
    """The nets of some fronts."""

    pressure_pa: FloatArray
    """Falling, shape (fronts, pressures)."""
    clock_s: FloatArray
    """Rising from zero, shape (clocks,)."""
    first: Net
    """From fresh surfaces."""
    later: Net | None
    """After a first cycle and a venting, where a day has more than one; for first pump-downs that
    take no longer than the last clock."""
    added_pa: float
    """What a back may add."""


def front_falls(alone: FrontStates, loads: Loads, requirements: Requirements) -> FrontFalls:
    """Follow every front from the corners of its net."""
    duty, target = requirements.duty, requirements.target_pressure_pa
    asked_s = max(requirements.pump_down_time_s or 0.0, duty.shift_s / duty.cycles_per_day)
    last = max(asked_s, _FIRST_CLOCK_S)
    clock = np.concatenate([[0.0], np.geomspace(_FIRST_CLOCK_S, last, _CLOCKS - 1)])
    highest = np.array([highest_crossover_pa(f.pump, loads.volume_m3) for f in alone.fronts])
    pressure = np.maximum(highest[:, np.newaxis] * np.array(_SHARES), GRID.low_pa)
    added = _ADDED_SHARE * target
    turbo = np.array([isinstance(front.pump, TurboPump) for front in alone.fronts])

    def fresh(load: GasLoad) -> GasLoad:
        return load

    def vented(first_s: float) -> Callable[[GasLoad], GasLoad]:
        return lambda load: load_of_later_cycles(
            load, np.full(np.shape(load.constant_pa_m3_s), first_s), duty
        )

    def followed(fronts: IntArray, added_pa: float, of: Callable[[GasLoad], GasLoad]) -> FloatArray:
        shape = (len(fronts), len(_SHARES), len(clock))
        rows = np.repeat(fronts, shape[1] * shape[2])
        begin = np.repeat(pressure[fronts].ravel(), shape[2])
        start = np.tile(clock, shape[0] * shape[1])
        takeover = Takeover(begin, start, begin)
        standing = alone.resting_pa + alone.at_base.over_pa
        resting = (rows, standing[rows] + added_pa)
        phase, load, constant = phase_of_fronts(alone.at_base, loads, takeover, target, resting)
        found = pump_down(loads.volume_m3, with_constant(of(load), constant), phase, HORIZON_S)
        return np.asarray((found.time_s - start).reshape(shape))

    def net(quickest: Callable[[GasLoad], GasLoad], slowest: Callable[[GasLoad], GasLoad]) -> Net:
        every = np.arange(len(highest))
        least = followed(every, 0.0, quickest)
        most = least.copy() if slowest is quickest else followed(every, 0.0, slowest)
        if turbo.any():
            most[turbo] = followed(np.flatnonzero(turbo), added, slowest)
        # what does not arrive within the horizon takes longer than what is left of it
        least = np.minimum(least, HORIZON_S - clock)
        beyond = ((0, 0), (0, 1), (0, 1))
        return Net(np.pad(least, beyond), np.pad(most, beyond, constant_values=np.inf))

    # the longer a chamber was pumped before it is vented, the less it gives off afterwards
    later = net(vented(last), vented(0.0)) if duty.repeats else None
    return FrontFalls(pressure, clock, net(fresh, fresh), later, added)
