"""How the pumps of a stack are worked: warm-up, cool-down, and what stopping and starting takes."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from server.catalog.items import CapturePump, Pump, Trap, TurboPump, VapourPump
from server.fit.candidates import Back, Front
from server.fit.day_results import PumpState
from server.fit.requirements import Requirements
from server.physics.arrays import BoolArray, FloatArray, floats
from server.physics.duty import break_even_idle_s


def lowest_asked_pa(requirements: Requirements) -> float:
    """Return the lower of target and process pressure."""
    return min(requirements.target_pressure_pa, requirements.process.pressure_pa or np.inf)


def stands_idle(front: Front, requirements: Requirements) -> bool:
    """Say whether the work never gets down to pressures a high-vacuum pump works at for long."""
    return lowest_asked_pa(requirements) >= (front.pump.largest_inlet_pa or np.inf)


@dataclass(frozen=True)
class Habits:
    """How the pumps of a stack are worked."""

    front: Front | None
    """None for rough stacks, and where the high-vacuum pump is not needed at all."""
    warm_up_s: float = 0.0
    """From cold until the high-vacuum pump takes gas, beside roughing."""
    cool_down_s: float = 0.0
    """After switching off, cooling and backing pump on."""
    nonstop: bool = False
    """Capture pumps stay cold, or on, day and night."""

    @property
    def idle(self) -> PumpState:
        """The high-vacuum pump while it does not pump."""
        return PumpState.STANDING_BY if self.front is not None else PumpState.OFF

    @property
    def behind(self) -> PumpState:
        """The backing pump while the high-vacuum pump works: capture pumps need none."""
        return PumpState.OFF if self.nonstop else PumpState.WORKING

    @property
    def waiting(self) -> PumpState:
        """The backing pump while nothing is pumped."""
        return PumpState.OFF if self.nonstop else PumpState.STANDING_BY


def habits_of(front: Front | None, requirements: Requirements) -> Habits:
    """Return how the pumps of a stack are worked."""
    if front is None or stands_idle(front, requirements):
        return Habits(None)
    pump = front.pump
    if isinstance(pump, VapourPump):
        return Habits(front, pump.warm_up_s, pump.cool_down_s)
    if isinstance(pump, CapturePump):
        return Habits(front, warm_up_s=pump.cool_down_s, nonstop=True)
    return Habits(front)


class Restart(NamedTuple):
    """For how long what runs when a stack is stopped and started once, and while it stands by."""

    front_s: float
    """The high-vacuum pump, with its trap. [s]"""
    back_s: float
    """Backing pump and booster. [s]"""
    stop_s: float
    """Until everything is off. [s]"""
    start_s: float
    """From switching on until the high-vacuum pump takes gas. [s]"""
    kept_back: float
    """Share of its power that the backing side takes while the stack stands by. [-]"""


def restart_of(habits: Habits) -> Restart:
    """Return what one stop and start asks of the pumps.

    Vapour-jet pump: backing pump on while the boiler cools, everything on while it warms up.
    Turbomolecular pump: everything on during run-up. Capture pump: regeneration with the roughing
    pumps on, then the way down to temperature. A backing pump alone starts at no cost.
    """
    pump = habits.front.pump if habits.front is not None else None
    if isinstance(pump, CapturePump):
        down, warm = pump.cool_down_s, pump.regeneration_s
        return Restart(down, warm, stop_s=warm, start_s=down, kept_back=0.0)
    if isinstance(pump, TurboPump):
        run_up = pump.run_up_s
        return Restart(run_up, run_up, stop_s=0.0, start_s=run_up, kept_back=1.0)
    warm, cool = habits.warm_up_s, habits.cool_down_s
    return Restart(warm, warm + cool, stop_s=cool, start_s=warm, kept_back=1.0)


def front_draws(habits: Habits) -> tuple[Pump | Trap, ...]:
    """Return what takes electricity of a front; nothing where it is not needed."""
    front = habits.front
    return () if front is None else _drawing(front.pump, front.trap)


def back_draws(back: Back) -> tuple[Pump | Trap, ...]:
    """Return what takes electricity of a back."""
    return _drawing(back.booster, back.backing, back.trap)


def _drawing(*items: Pump | Trap | None) -> tuple[Pump | Trap, ...]:
    return tuple(item for item in items if item is not None and item.power_w > 0.0)


def power_w(items: Iterable[Pump | Trap]) -> float:
    """Return the stated power of items together. [W].

    Parameters
    ----------
    items : iterable of Pump or Trap
        What takes electricity.
    """
    return math.fsum(item.power_w for item in items)


@dataclass(frozen=True)
class Stop:
    """What stopping and starting takes against standing by; arrays of n stacks, or of one."""

    idle_w: FloatArray
    energy_j: FloatArray
    stop_s: FloatArray
    start_s: FloatArray


def stop_of(restart: ArrayLike, front_w: ArrayLike, back_w: ArrayLike) -> Stop:
    """Return what one stop and start takes, E = P_front·t_front + P_back·t_back.

    Parameters
    ----------
    restart : Restart, or its five numbers as rows of an array, shape (5,) or (5, n)
        What runs for how long. [s]
    front_w, back_w : array, scalar or shape (n,)
        Powers. [W]
    """
    front_s, back_s, stop_s, start_s, kept_back = floats(restart)
    front, back = floats(front_w), floats(back_w)
    return Stop(front + back * kept_back, front * front_s + back * back_s, stop_s, start_s)


def pays_to_stop(stop: Stop, gap_s: ArrayLike) -> BoolArray:
    """Say whether stopping overnight saves energy, and the gap is long enough for it.

    The gap ends with the next switching on; pumps that stand by are ready then, those that were
    stopped only after their start, through which they run in either case. So the break-even is
    set against the whole time until they are ready again.

    Parameters
    ----------
    stop : Stop
        Of n stacks.
    gap_s : array, scalar or shape (n,)
        From the end of the work to the next switching on. [s]
    """
    gap = floats(gap_s)
    pays = gap + stop.start_s > break_even_idle_s(stop.idle_w, stop.energy_j)
    return np.asarray(pays & (gap > 0.0) & (gap >= stop.stop_s))
