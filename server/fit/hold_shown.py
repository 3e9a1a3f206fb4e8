"""How a shown stack's foreline stands roughing by its only backing pump: numbers and words."""

from __future__ import annotations

import math

import numpy as np

from server.fit.day_results import ForelineHold
from server.fit.explain import Spot, duration, pressure
from server.fit.foreline_hold import MOST_PAUSES, foreline_holds, pauses_of
from server.physics.gasload import load_at_pa_m3_s
from server.physics.holding import hold_isolated
from server.physics.outgassing import LAW_START_S


def hold_of(spot: Spot, rough_s: float) -> ForelineHold:
    """Return how a stack's foreline stands the time its only backing pump roughs the chamber.

    Parameters
    ----------
    spot : Spot
        The stack; its pump's foreline ``is_held``.
    rough_s : float
        How long roughing takes. [s]
    """
    found = foreline_holds(spot.judged.case, spot.alone)
    volume, start = float(found.volume_m3[0]), float(found.start_pa[0])
    pause = float(found.pause_s[0])
    often = float(pauses_of(np.array([rough_s]), found.hold_s, found.pause_s)[0])
    helpless = often > MOST_PAUSES
    end = math.inf
    if volume > 0.0:
        until = LAW_START_S + rough_s
        end = float(hold_isolated(volume, found.load, start, LAW_START_S, until)[0])
    return ForelineHold(
        volume_m3=volume,
        throughput_pa_m3_s=float(load_at_pa_m3_s(found.load, LAW_START_S)[0]),
        start_pa=start,
        tolerable_pa=float(found.tolerable_pa[0]),
        hold_s=float(found.hold_s[0]),
        needed_s=rough_s,
        end_pa=end,
        pauses=0 if helpless else int(often),
        pause_s=pause if often and not helpless else 0.0,
        holding_pump=helpless,
    )


def hold_text(hold: ForelineHold) -> str:
    """Say whether one backing pump is enough."""
    lead = (
        f"While the backing pump roughs, the foreline ({hold.volume_m3 * 1e3:.2g} L) holds for "
        f"{duration(hold.hold_s)} up to {pressure(hold.tolerable_pa)}; roughing takes "
        f"{duration(hold.needed_s)}."
    )
    if hold.holding_pump:
        return (
            f"{lead} That is not enough: the foreline needs a holding pump of its own, or a vessel "
            "to widen it. The day below counts on one."
        )
    if hold.pauses:
        times = "once" if hold.pauses == 1 else f"{hold.pauses} times"
        return (
            f"{lead} Roughing therefore stops {times} for {duration(hold.pause_s)} to pump the "
            "foreline again."
        )
    return f"{lead} One backing pump does both."
