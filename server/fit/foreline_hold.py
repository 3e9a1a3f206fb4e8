"""One backing pump for two jobs: whether the foreline holds while the chamber is roughed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.catalog.gas_limits import tolerable_foreline_for
from server.catalog.items import VapourPump
from server.fit.candidates import Front
from server.fit.case import Case
from server.fit.loads import AIR
from server.fit.presets import SurfaceRecipe
from server.physics.arrays import FloatArray, IntArray
from server.physics.constants import ATMOSPHERE_PA
from server.physics.gasload import GasLoad, load_at_pa_m3_s
from server.physics.holding import emptying_s, foreline_hold_s
from server.physics.outgassing import LAW_START_S, outgassing_row

# Common practice, no source: the foreline is pumped to a tenth of its limit before each roughing,
# and nobody switches valves to and fro every minute or more than three times.
START_SHARE = 0.1
SHORTEST_HOLD_S = 60.0
MOST_PAUSES = 3

REST_ROOM = 1.1
"""Nearer to where its pump comes to rest nobody waits for a foreline to fall: ours."""

_WALL = SurfaceRecipe()
"""Clean steel with elastomer seals, as a chamber's wall is taken where nothing is stated."""


@dataclass(frozen=True)
class Holds:
    """How the forelines of n combinations stand the time their only backing pump roughs."""

    volume_m3: FloatArray
    load: GasLoad
    """What pump and walls give off; its clock starts with pumping the foreline."""
    start_pa: FloatArray
    """Foreline pressure when its valve closes."""
    tolerable_pa: FloatArray
    hold_s: FloatArray
    """How long it then takes to the tolerable pressure."""
    pause_s: FloatArray
    """How long pumping it again from the tolerable pressure takes."""
    emptied_s: FloatArray
    """How long it takes to be pumped from the atmosphere."""


def is_held(front: Front | None) -> bool:
    """Say whether a pump's foreline is shut while the chamber is roughed.

    Turbomolecular pumps are roughed through themselves, capture pumps have no foreline.
    """
    return front is not None and isinstance(front.pump, VapourPump) and bool(front.pump.outlet)


def foreline_holds(case: Case, chosen: tuple[IntArray, IntArray]) -> Holds:
    """Return how the forelines of combinations hold.

    Parameters
    ----------
    case : Case
        The field.
    chosen : pair of int arrays, shape (n,)
        Front and back of each combination; of every front ``is_held`` is true.
    """
    fronts, backs = chosen
    volume, area = _tubes(case, chosen)
    pumps = _held_pumps(case.field.fronts, fronts)
    load = _load(pumps, area)
    at_closing = load_at_pa_m3_s(load, LAW_START_S)
    tolerable = pumps.tolerable_pa
    start = _start_pa(case, chosen, tolerable)
    speeds = case.states.backing.inlet
    row = speeds.rows[speeds.of[backs]]
    begin = np.concatenate([tolerable, np.full(len(row), ATMOSPHERE_PA)])
    emptied = emptying_s(
        np.tile(volume, 2), speeds.tables[AIR], np.tile(row, 2), begin, np.tile(start, 2)
    )
    return Holds(
        volume_m3=volume,
        load=load,
        start_pa=start,
        tolerable_pa=tolerable,
        hold_s=foreline_hold_s(volume, at_closing, start, tolerable),
        pause_s=emptied[: len(row)],
        emptied_s=emptied[len(row) :],
    )


def pauses_of(rough_s: FloatArray, hold_s: FloatArray, pause_s: FloatArray) -> FloatArray:
    """Return how often roughing stops so that the foreline is pumped again.

    More than ``MOST_PAUSES`` (inf where a foreline cannot be pumped at all) say that it needs a
    holding pump of its own: pauses are of no use then.

    Parameters
    ----------
    rough_s, hold_s, pause_s : array, shape (n,)
        Roughing without pauses, how long the foreline holds, how long pumping it again takes. [s]
    """
    often = np.ceil(np.round(rough_s / np.maximum(hold_s, SHORTEST_HOLD_S), 9)) - 1.0
    often = np.where(hold_s < SHORTEST_HOLD_S, MOST_PAUSES + 1.0, often)
    often = np.where(np.isfinite(pause_s), often, np.inf)
    return np.where(rough_s <= hold_s, 0.0, often)


def paused_s(rough_s: FloatArray, hold_s: FloatArray, pause_s: FloatArray) -> FloatArray:
    """Return how long the pauses of roughing take together; none with a holding pump. [s].

    Parameters
    ----------
    rough_s, hold_s, pause_s : array, shape (n,)
        As in ``pauses_of``. [s]
    """
    often = pauses_of(rough_s, hold_s, pause_s)
    return np.where((often > 0.0) & (often <= MOST_PAUSES), often, 0.0) * np.where(
        np.isfinite(pause_s), pause_s, 0.0
    )


@dataclass(frozen=True)
class _Pumps:
    """Numbers of the vapour pumps of n combinations."""

    given_off_pa_m3_s: FloatArray
    """The pump's own gas: its fastest speed at its ultimate pressure."""
    tolerable_pa: FloatArray


def _held_pumps(fronts: Sequence[Front | None], rows: IntArray) -> _Pumps:
    used, each = np.unique(rows, return_inverse=True)
    numbers = [_numbers_of(fronts[row]) for row in used]
    given_off, tolerable = np.array(numbers)[each].T
    return _Pumps(given_off, tolerable)


def _numbers_of(front: Front | None) -> tuple[float, float]:
    assert front is not None  # noqa: S101 (``is_held``)
    pump = front.pump
    fastest = max((max(curve.speed_m3_s) for curve in pump.curves), default=0.0)
    return pump.ultimate_pa * fastest, tolerable_foreline_for(pump, AIR)[0]


def _tubes(case: Case, chosen: tuple[IntArray, IntArray]) -> tuple[FloatArray, FloatArray]:
    """Return volume and wall of the tubes, as ``geometry.foreline`` takes them.

    Valve and traps are left out: no volume of theirs is stated.
    """
    run, (fronts, backs) = case.requirements.foreline, chosen
    outlets = [front.pump.outlet if front else None for front in case.field.fronts]
    before = np.array([outlet.bore_m if outlet else np.nan for outlet in outlets])[fronts]
    behind = np.array([back.entry.bore_m for back in case.backs])[backs]
    bore = np.full(len(before), run.bore_m) if run.bore_m else np.minimum(before, behind)
    length = max(run.length_m, 0.0)
    return np.pi / 4.0 * bore**2 * length, np.pi * bore * length


def _load(pumps: _Pumps, area_m2: FloatArray) -> GasLoad:
    wall = outgassing_row(_WALL.material, _WALL.condition)
    seal = outgassing_row(_WALL.seal, "unbaked")
    per_area = np.array([wall.q1_pa_m_s, seal.q1_pa_m_s * _WALL.seal_share])
    amplitude = area_m2[:, np.newaxis] * per_area
    return GasLoad(pumps.given_off_pa_m3_s, amplitude, [wall.alpha, seal.alpha])


def _start_pa(
    case: Case, chosen: tuple[IntArray, IntArray], tolerable_pa: FloatArray
) -> FloatArray:
    """Foreline pressure when its valve closes: a tenth of its limit, or as low as it gets."""
    found = case.states.base.foreline_pa
    if found is None:
        return tolerable_pa
    lowest = REST_ROOM * np.broadcast_to(found, (len(case.field.fronts), len(case.backs)))[chosen]
    start = np.minimum(tolerable_pa, np.maximum(START_SHARE * tolerable_pa, lowest))
    return np.where(np.isnan(lowest), tolerable_pa, start)
