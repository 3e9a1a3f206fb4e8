"""The order of the stacks and its reason.

First the stacks whose every margin passes, by total cost over the horizon; then those with a
marginal one, by the same; equal costs by the larger weakest margin, then by SKU so that the order
never flickers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

RANKING_RULE = (
    "Stacks whose every margin passes come first, the cheapest over the horizon (purchase, energy "
    "and consumables) at the top; then those with a marginal margin, by the same cost. Each set of "
    "pumps is shown once, with the fluid and trap that rank best."
)


@dataclass(frozen=True)
class Standing:
    """What the order rests on, one entry per surviving combination."""

    fits: NDArray[np.bool_]
    total_minor: NDArray[np.int64]
    """Cost over the horizon in minor units (cents)."""
    weakest_ratio: NDArray[np.float64]
    """Smallest margin ÷ its threshold."""
    hardware: NDArray[np.int64]
    """Same number = same pumps (fluid and trap may differ)."""
    name_order: NDArray[np.int64]
    """Position in the alphabetical order of SKUs."""

    def only(self, places: NDArray[np.intp]) -> Standing:
        """Return the entries at some positions."""
        return Standing(**{one.name: getattr(self, one.name)[places] for one in fields(self)})

    @staticmethod
    def joined(parts: Sequence[Standing]) -> Standing:
        """Return all entries of several."""
        return Standing(
            **{
                one.name: np.concatenate([getattr(part, one.name) for part in parts])
                for one in fields(Standing)
            }
        )


def ranked(standing: Standing) -> NDArray[np.intp]:
    """Return the positions in rank order, each set of pumps once."""
    order = np.lexsort(
        (standing.name_order, -standing.weakest_ratio, standing.total_minor, ~standing.fits)
    )
    _, first = np.unique(standing.hardware[order], return_index=True)
    return np.asarray(order[np.sort(first)])
