"""Levels of the margins that compare a pressure on the high-vacuum side with what is allowed.

The pressure of a front alone is a bound for all its backs, and exact but for turbomolecular pumps.
What diffuses back through these is bounded; where that leaves the level open it is solved.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from server.fit.alike import Speeds
from server.fit.case import quotient
from server.fit.front_states import FrontStates
from server.fit.inlet import InletTables
from server.fit.level_rest import Rest, headroom_pa
from server.fit.levels import CLOSE, FAILS, PASSES, Span, span_of
from server.fit.results import MarginKey
from server.fit.thresholds import RULES
from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.steady import SteadyState


@dataclass(frozen=True)
class _Side:
    """Where a pressure is asked for: at the chamber, or at the pump's inlet."""

    load: Mapping[str, FloatArray]
    """Load of each front there, gas by gas."""
    tables: Speeds
    alone: SteadyState
    """Settled pressure of each front by itself."""
    over_pa: FloatArray
    """What stands there over the vapours that each front's trap holds."""


class PressureLevels:
    """Levels of base pressure, process pressure and inlet pressure of fronts with their backs.

    Parameters
    ----------
    alone : FrontStates
        The fronts by themselves.
    base, process : Rest
        Pressures without load without process and while it runs, None without one.
    """

    def __init__(self, alone: FrontStates, base: Rest, process: Rest | None) -> None:
        self._alone, self._base, self._process = alone, base, process

    def ultimate(self, rows: IntArray, failed: BoolArray) -> Span:
        """Return the levels of the base pressure of some fronts; right where none has failed."""
        alone = self._alone
        side = self._chamber(alone.base_load, alone.at_base, alone.base_chamber)
        allowed = np.full(len(rows), alone.requirements.target_pressure_pa)
        return _span(MarginKey.ULTIMATE, self._base, [side], _Asked(rows, allowed, failed))

    def process_pressure(self, rows: IntArray, failed: BoolArray) -> Span | None:
        """Return the levels of the process pressure likewise; None where none is asked for."""
        alone, asked = self._alone, self._alone.requirements.process.pressure_pa
        if asked is None or self._process is None or alone.process_load is None:
            return None
        side = self._chamber(alone.process_load, alone.at_work, alone.process_chamber)
        allowed = np.full(len(rows), asked)
        return _span(
            MarginKey.PROCESS_PRESSURE, self._process, [side], _Asked(rows, allowed, failed)
        )

    def inlet(self, rows: IntArray, failed: BoolArray) -> Span | None:
        """Return the levels of the inlet pressure likewise; None where no front has a limit."""
        alone = self._alone
        limits = [alone.fronts[row].pump.largest_inlet_pa or np.nan for row in rows]
        if np.isnan(limits).all():
            return None
        load = alone.process_load
        if load is None or self._process is None:
            base = alone.base_load
            chamber = self._chamber(base, alone.at_base, alone.base_chamber)
            pump, rest = self._at_pump(base, alone.base_inlet), self._base
        else:
            chamber = self._chamber(load, alone.at_work, alone.process_chamber)
            pump, rest = self._at_pump(load, alone.process_inlet), self._process
        return _span(MarginKey.INLET, rest, [pump, chamber], _Asked(rows, np.array(limits), failed))

    def _chamber(
        self, load: Mapping[str, float], tables: InletTables, settled: SteadyState
    ) -> _Side:
        count = len(self._alone.fronts)
        whole = {gas: np.full(count, flow) for gas, flow in load.items()}
        return _Side(whole, tables.at_chamber, settled, tables.over_pa)

    def _at_pump(self, load: Mapping[str, float], settled: SteadyState) -> _Side:
        alone = self._alone
        nothing = np.zeros(len(alone.fronts))
        return _Side(alone.beyond_trap(load), alone.inlet.at_pump, settled, nothing)


@dataclass(frozen=True)
class _Asked:
    """What is asked of the pressures of some fronts with all backs."""

    rows: IntArray
    allowed_pa: FloatArray
    """Of each of them; NaN: nothing is asked."""
    failed: BoolArray
    """Where another margin has failed already, (rows, backs)."""


def _span(key: MarginKey, rest: Rest, sides: list[_Side], asked: _Asked) -> Span:
    """Return the levels of allowed ÷ the lowest pressure of the sides."""
    rows, allowed_pa = asked.rows, asked.allowed_pa
    alone = np.minimum.reduce([side.alone.pressure_pa[rows] for side in sides])
    limited = ~np.isnan(allowed_pa)
    ratio = np.where(limited, quotient(allowed_pa, alone), np.nan)[:, np.newaxis]
    span = span_of(key, ratio)
    turbo = np.flatnonzero(rest.is_turbo[rows] & limited)
    if not turbo.size:
        return span
    backs = rest.standing.pressure_pa.shape[1]
    whole = Span(np.repeat(span.least, backs, axis=1), np.repeat(span.most, backs, axis=1))
    found = _with_backs(key, rest, sides, rows[turbo], allowed_pa[turbo])
    whole.least[turbo] = np.minimum(whole.least[turbo], found.least)
    whole.most[turbo] = np.minimum(whole.most[turbo], found.most)
    _solve_open(key, rest, sides, asked, whole)
    return whole


def _with_backs(
    key: MarginKey, rest: Rest, sides: list[_Side], rows: IntArray, allowed_pa: FloatArray
) -> Span:
    """Return what bounds of back-diffusion tell of turbomolecular fronts."""
    least, most = rest.added_pa(rows)
    table_rows = rest.alone.inlet.row_of_front[rows]
    highest = rest.resting_pa[rows, np.newaxis] + most
    rooms = [
        np.maximum.reduce(
            [
                headroom_pa(
                    {gas: flow[rows] for gas, flow in side.load.items()},
                    side.tables, table_rows, allowed_pa / border,
                )
                - side.over_pa[rows]
                for side in sides
            ]
        )
        for border in (1.0, RULES[key].threshold)
    ]  # fmt: skip
    works, passes = (highest <= room[:, np.newaxis] * (1.0 - CLOSE) for room in rooms)
    sure = works.astype(np.uint8) + (works & passes)
    return Span(sure, np.where(np.isinf(least), np.uint8(FAILS), np.uint8(PASSES)))


def _solve_open(key: MarginKey, rest: Rest, sides: list[_Side], asked: _Asked, span: Span) -> None:
    """Solve the pressures of combinations whose level the bounds leave open."""
    front, back = np.nonzero((span.least != span.most) & ~asked.failed)
    if not front.size:
        return
    rows = asked.rows[front]
    settled = [rest.settled_pa(side.load, side.tables, rows, back, side.over_pa) for side in sides]
    solved = span_of(key, quotient(asked.allowed_pa[front], np.minimum.reduce(settled)))
    span.least[front, back], span.most[front, back] = solved.least, solved.most
