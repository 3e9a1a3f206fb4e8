"""Comparisons with the outside world: each is asserted, and the worst of each kind is kept.

``python3 -m tests figures`` runs the tests that compare and prints what is kept here, so that a
figure in the table and a test that must hold are one and the same comparison.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum

import numpy as np
import pytest
from numpy.typing import ArrayLike


class Quantity(StrEnum):
    """What is compared; the value is its row in the table of figures."""

    TUBE = "tube transmission W, L/R 0.05–1000"
    LONG_TUBE = "long tube G(δ), δ 0.001–100"
    BEND = "elbows, molecular"
    ANNULUS = "annuli, molecular"
    ORIFICE = "orifices, all regimes"
    VISCOSITY = "viscosity μ"
    MEAN_SPEED = "mean speed v̄"
    FREE_PATH = "mean free path λ"
    SATURATION = "saturation pressure p_sat"
    ISOPROPANOL = "p_sat of isopropanol"
    STEADY = "steady state, residual of every returned stack"
    PUMP_DOWN = "pump-down, 200 random stacks"
    PUMP_DOWN_DEMO = "pump-down, stacks of the demo, species by species"
    PUMP_DOWN_LATER = "pump-down after a venting, stacks of the demo, species by species"
    WORKED = "worked examples of books"


AIMS: dict[Quantity, float] = {
    Quantity.TUBE: 1e-3,
    Quantity.LONG_TUBE: 0.015,
    Quantity.BEND: 0.05,
    Quantity.ANNULUS: 0.05,
    Quantity.ORIFICE: 0.05,
    Quantity.VISCOSITY: 0.02,
    Quantity.MEAN_SPEED: 1e-4,
    Quantity.FREE_PATH: 0.02,
    Quantity.SATURATION: 0.01,
    Quantity.ISOPROPANOL: 0.05,
    Quantity.STEADY: 1e-3,
    Quantity.PUMP_DOWN: 0.01,
    Quantity.PUMP_DOWN_DEMO: 0.01,
    Quantity.PUMP_DOWN_LATER: 0.01,
    Quantity.WORKED: 0.02,  # the examples' own rounding; each has its own in its test
}
"""Largest relative deviation that is promised."""

_WORST: dict[Quantity, float] = {}
_COUNT: dict[Quantity, int] = {}


def agrees(
    quantity: Quantity,
    found: ArrayLike,
    wanted: ArrayLike,
    within: float | None = None,
    source: str = "",
) -> None:
    """Assert that numbers agree with published ones, and keep the largest deviation.

    ``within`` is what the promise allows where nothing narrower is said.
    """
    allowed = AIMS[quantity] if within is None else within
    values, published = np.broadcast_arrays(np.asarray(found, float), np.asarray(wanted, float))
    keep(quantity, np.abs(values / published - 1.0))
    assert values == pytest.approx(published, rel=allowed), source


def keep(quantity: Quantity, deviations: ArrayLike) -> None:
    """Keep relative deviations that the test asserts itself."""
    sizes = np.atleast_1d(np.asarray(deviations, float))
    _WORST[quantity] = max(_WORST.get(quantity, 0.0), *sizes.ravel().tolist(), 0.0)
    _COUNT[quantity] = _COUNT.get(quantity, 0) + sizes.size


def kept() -> Iterator[tuple[Quantity, float, int]]:
    """Yield what was compared in this process: the largest deviation and how many there were."""
    for quantity in Quantity:
        if quantity in _WORST:
            yield quantity, _WORST[quantity], _COUNT[quantity]


@contextmanager
def nothing_kept() -> Iterator[None]:
    """Keep nothing of what is compared meanwhile, for the test of this module."""
    before = dict(_WORST), dict(_COUNT)
    _WORST.clear()
    _COUNT.clear()
    try:
        yield
    finally:
        _WORST.clear()
        _COUNT.clear()
        _WORST.update(before[0])
        _COUNT.update(before[1])
