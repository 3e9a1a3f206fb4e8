"""Costs of a field of combinations as sums of what its fronts, its backs and their joints cost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.physics.arrays import BoolArray, IntArray

Minor = NDArray[np.int64]
"""Amounts in minor units (cents)."""


@dataclass(frozen=True)
class CostTable:
    """Costs of a field in minor units; shapes broadcast to (fronts, backs)."""

    purchase: Minor
    energy_per_year: Minor
    consumables: Minor
    """Over the horizon, without what is bought with the pumps."""
    open_joints: BoolArray

    def total(self, horizon_years: float) -> Minor:
        """Return purchase, energy and consumables over the horizon."""
        energy = np.rint(self.energy_per_year * horizon_years).astype(np.int64)
        return np.asarray(self.purchase + energy + self.consumables)


@dataclass(frozen=True)
class Joints:
    """What joins each pump with each inlet of a back."""

    prices: Minor
    """Shape (pumps, inlets)."""
    gaps: BoolArray
    """Where the catalogue does not close them, the same shape."""
    pump_of: IntArray
    """Pump of each front."""
    inlet_of: IntArray
    """Inlet of each back."""


@dataclass(frozen=True)
class CostParts:
    """What the costs of a field are made of, in minor units; F fronts, B backs.

    Purchase, energy per year and consumables stand in this order along the last axis.
    """

    fronts: Minor
    """Of the fronts with what all stacks share, shape (F, 3)."""
    backs: Minor
    """Of the backs, and of the same where they only rough, shape (2, B, 3)."""
    behind: IntArray
    """Which of the two stands behind each front, shape (F,)."""
    open_fronts: BoolArray
    open_backs: BoolArray
    joints: Joints

    def table(self, rows: IntArray | None = None) -> CostTable:
        """Return the costs of some fronts, or of all, with all backs."""
        some = np.arange(len(self.fronts)) if rows is None else rows
        joints, behind = self.joints, self.behind[some]
        purchase, energy, consumables = (
            self.backs[:, :, part][behind] + self.fronts[some, part, np.newaxis]
            for part in range(3)
        )
        pump, is_open = joints.pump_of[some], self.open_fronts[some, np.newaxis]
        return CostTable(
            purchase=purchase + joints.prices[:, joints.inlet_of][pump],
            energy_per_year=energy,
            consumables=consumables,
            open_joints=is_open | self.open_backs | joints.gaps[:, joints.inlet_of][pump],
        )
