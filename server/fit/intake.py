"""How much gas of a mix can be let in at a pressure: many stacks at once, without a root."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.catalog.arrays import GRID
from server.fit.explain import Spot, reaching_load
from server.physics.arrays import FloatArray
from server.physics.speedtable import SpeedTable, lookup


@dataclass(frozen=True)
class Intake:
    """Speeds of n stacks at one place, and the gas that gets there: b_i and g_i of each species."""

    speed: Mapping[str, FloatArray]
    """Shape (n, grid)."""
    always: Mapping[str, FloatArray]
    """Shape (n, 1)."""
    let_in: Mapping[str, FloatArray]
    resting_pa: FloatArray

    @cached_property
    def at_nodes(self) -> FloatArray:
        """Largest k at the pressures of the grid, shape (n, grid)."""
        return self._factor(GRID.pressure_pa, self.speed)

    def factor_at(self, pressure_pa: FloatArray) -> FloatArray:
        """Return k at pressures of shape (n, m); −inf where a gas has no speed."""
        rows = np.arange(len(self.resting_pa))[:, np.newaxis]
        speed = {
            gas: lookup(SpeedTable(GRID, table), rows, pressure_pa)
            for gas, table in self.speed.items()
        }
        return self._factor(pressure_pa, speed)

    def _factor(self, at: FloatArray, speeds: Mapping[str, FloatArray]) -> FloatArray:
        fixed = np.zeros((len(self.resting_pa), at.shape[-1])) + self.resting_pa
        each = np.zeros_like(fixed)
        closed = np.zeros(fixed.shape, dtype=np.bool_)
        for gas, speed in speeds.items():
            always, added = self.always[gas], self.let_in[gas]
            if not (np.any(always > 0.0) or np.any(added > 0.0)):
                continue
            closed |= (speed <= 0.0) & (always + added > 0.0)
            resistance = 1.0 / np.where(speed > 0.0, speed, 1.0)
            fixed += always * resistance
            each += added * resistance
        # a gas that a trap holds before it gets here sets no limit here
        factor = np.where(each > 0.0, (at - fixed) / np.where(each > 0.0, each, 1.0), np.inf)
        return np.where(closed, -np.inf, factor)


def largest_below(intake: Intake, limit_pa: FloatArray) -> FloatArray:
    """Return the largest k at or below a pressure, shape (n,).

    A steady state is there where a node of the grid carries the load, so that what speeds make
    possible between nodes alone does not count, but at the limit itself.
    """
    top = np.clip(limit_pa, GRID.low_pa, GRID.high_pa)[:, np.newaxis]
    below = np.where(GRID.pressure_pa <= top, intake.at_nodes, -np.inf).max(axis=1)
    at_limit = intake.factor_at(top)[:, 0]
    found: FloatArray = np.minimum(np.maximum(below, at_limit), intake.at_nodes.max(axis=1))
    return found


def past_traps(spots: Sequence[Spot]) -> dict[str, FloatArray]:
    """Return the share of each gas that gets past the trap in front, at the load asked for.

    Of a larger load less gets past: for the pump that is the safe side.
    """
    case = spots[0].judged.case
    state = case.states.process or case.states.base
    reaching = [reaching_load(spot, state) for spot in spots]
    return {
        gas: np.array([[one[gas] / flow] if flow > 0.0 else [1.0] for one in reaching])
        for gas, flow in state.load_pa_m3_s.items()
    }


def behind_traps(
    spots: Sequence[Spot], always: Mapping[str, FloatArray], let_in: Mapping[str, FloatArray]
) -> Intake:
    """Return the intake of the backs, each with its trap as it works on what reaches it."""
    case = spots[0].judged.case
    state = case.states.process or case.states.base
    works = [case.states.backing.at_work(reaching_load(spot, state)) for spot in spots]
    backs = [spot.back_row for spot in spots]
    speed = {
        gas: np.stack(
            [work.inlet.each[gas].speed_m3_s[back] for work, back in zip(works, backs, strict=True)]
        )
        for gas in case.loads.species
    }
    resting = [work.over_pa[back] for work, back in zip(works, backs, strict=True)]
    return Intake(speed, always, let_in, np.array(resting)[:, np.newaxis])
