"""All that the margins of a field rest on, and the form every margin has."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.fit.candidates import Back, Field, Front
from server.fit.loads import Loads
from server.fit.requirements import Requirements
from server.fit.settled import FieldStates
from server.physics.arrays import BoolArray, FloatArray


@dataclass(frozen=True)
class Case:
    """All that the margins of a field rest on."""

    field: Field
    loads: Loads
    requirements: Requirements
    states: FieldStates
    purchase: FloatArray
    """Purchase price of every combination, in the currency."""
    open_joints: BoolArray
    """Where the catalogue does not close every joint."""

    @property
    def fronts(self) -> tuple[Front, ...]:
        """The real fronts; empty for rough stacks."""
        return tuple(front for front in self.field.fronts if front is not None)

    @property
    def backs(self) -> tuple[Back, ...]:
        """The backs."""
        return self.field.backs


@dataclass(frozen=True)
class Ledger:
    """One margin of a field; a NaN ratio: the margin does not apply to that combination."""

    required: FloatArray
    available: FloatArray
    ratio: FloatArray


def ledger(
    required: FloatArray | float, available: FloatArray | float, ratio: FloatArray
) -> Ledger:
    """Return a margin of numbers and arrays."""
    return Ledger(np.asarray(required, float), np.asarray(available, float), ratio)


def quotient(upper: FloatArray | float, lower: FloatArray | float) -> FloatArray:
    """Return upper ÷ lower; 0 where there is no state (NaN), inf where nothing is needed."""
    above, below = np.asarray(upper, float), np.asarray(lower, float)
    safe = np.where(below > 0.0, below, 1.0)
    ratio = np.where(below > 0.0, above / safe, np.inf)
    return np.where(np.isnan(above) | np.isnan(below), 0.0, ratio)
