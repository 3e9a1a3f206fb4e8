"""One backing pump for two jobs: whether the foreline holds while the chamber is roughed."""

from __future__ import annotations

import math

from server.catalog.gas_limits import tolerable_foreline_for
from server.catalog.items import VapourPump
from server.fit.candidates import Back
from server.fit.case import Case
from server.fit.day_results import ForelineHold
from server.fit.explain import Spot, duration, pressure
from server.fit.geometry import foreline, outlet_of
from server.fit.loads import AIR
from server.fit.presets import SurfaceRecipe
from server.physics.constants import ATMOSPHERE_PA
from server.physics.gasload import GasLoad, load_at_pa_m3_s
from server.physics.holding import emptying_s, foreline_hold_s, hold_isolated
from server.physics.outgassing import LAW_START_S, outgassing_row
from server.physics.parts import Tube

# Common practice, no source: the foreline is pumped to a tenth of its limit before each roughing,
# and nobody switches valves to and fro every minute or more than three times.
START_SHARE = 0.1
SHORTEST_HOLD_S = 60.0
MOST_PAUSES = 3

_WALL = SurfaceRecipe()
"""Clean steel with elastomer seals, as a chamber's wall is taken where nothing is stated."""


def foreline_hold(spot: Spot, rough_s: float) -> ForelineHold | None:
    """Return how a stack's foreline stands the time its only backing pump roughs the chamber.

    Parameters
    ----------
    spot : Spot
        The stack.
    rough_s : float
        How long roughing takes. [s]

    Returns
    -------
    ForelineHold or None
        None where nothing has to be held: turbomolecular pumps are roughed through themselves,
        capture pumps have no foreline.
    """
    front = spot.front
    if front is None or front.pump.outlet is None or not isinstance(front.pump, VapourPump):
        return None
    tubes = foreline_tubes(front.pump, spot.back, spot.judged.case)
    volume = math.fsum(math.pi / 4.0 * tube.bore_m**2 * tube.length_m for tube in tubes)
    load = _load(front.pump, tubes)
    at_closing = float(load_at_pa_m3_s(load, LAW_START_S))
    tolerable = tolerable_foreline_for(front.pump, AIR)[0]
    start = _start_pa(spot, tolerable)
    hold = float(foreline_hold_s(volume, at_closing, start, tolerable))
    end = math.inf
    if volume > 0.0:
        end = float(hold_isolated(volume, load, start, LAW_START_S, LAW_START_S + rough_s))
    pause = _emptied_s(spot, volume, tolerable, start)
    pauses = 0 if rough_s <= hold else _pauses(rough_s, hold)
    helpless = pauses > MOST_PAUSES or not math.isfinite(pause)
    return ForelineHold(
        volume_m3=volume,
        throughput_pa_m3_s=at_closing,
        start_pa=start,
        tolerable_pa=tolerable,
        hold_s=hold,
        needed_s=rough_s,
        end_pa=end,
        pauses=0 if helpless else pauses,
        pause_s=pause if pauses and not helpless else 0.0,
        holding_pump=helpless,
    )


def foreline_emptied_s(spot: Spot, hold: ForelineHold) -> float:
    """Return how long the backing pump takes to empty the foreline from air. [s]."""
    return _emptied_s(spot, hold.volume_m3, ATMOSPHERE_PA, hold.start_pa)


def with_pauses_s(hold: ForelineHold | None, rough_s: float) -> float:
    """Return how long roughing takes with the pauses in which the foreline is pumped again. [s]."""
    if hold is None or hold.holding_pump or rough_s <= hold.hold_s:
        return rough_s
    return rough_s + _pauses(rough_s, hold.hold_s) * hold.pause_s


def foreline_tubes(pump: VapourPump, back: Back, case: Case) -> tuple[Tube, ...]:
    """Return the tubes of a pump's foreline; valve and traps are left out: no volume is stated."""
    outlet = outlet_of(pump, case.states.backing.catalog)
    assert outlet is not None  # noqa: S101 (the caller asked)
    parts = foreline(outlet, back, case.requirements).parts
    return tuple(part for part in parts if isinstance(part, Tube))


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


def _load(pump: VapourPump, tubes: tuple[Tube, ...]) -> GasLoad:
    """Gas that pump and foreline give off: the pump's own at its ultimate pressure, the walls'."""
    fastest = max((max(curve.speed_m3_s) for curve in pump.curves), default=0.0)
    area = math.fsum(math.pi * tube.bore_m * tube.length_m for tube in tubes)
    wall = outgassing_row(_WALL.material, _WALL.condition)
    seal = outgassing_row(_WALL.seal, "unbaked")
    amplitude = [wall.q1_pa_m_s * area, seal.q1_pa_m_s * area * _WALL.seal_share]
    return GasLoad(pump.ultimate_pa * fastest, amplitude, [wall.alpha, seal.alpha])


def _start_pa(spot: Spot, tolerable_pa: float) -> float:
    """Foreline pressure when its valve closes: a tenth of its limit, or as low as it gets."""
    states = spot.judged.case.states
    lowest = math.nan if states.base.foreline_pa is None else spot.at(states.base.foreline_pa)
    if math.isnan(lowest):
        return tolerable_pa
    return min(tolerable_pa, max(START_SHARE * tolerable_pa, 1.1 * lowest))


def _emptied_s(spot: Spot, volume_m3: float, start_pa: float, end_pa: float) -> float:
    table = spot.judged.case.states.backing.at_inlet[AIR]
    return emptying_s(volume_m3, table, spot.back_row, start_pa, end_pa)


def _pauses(rough_s: float, hold_s: float) -> int:
    if hold_s < SHORTEST_HOLD_S:
        return MOST_PAUSES + 1
    return math.ceil(round(rough_s / hold_s, 9)) - 1
