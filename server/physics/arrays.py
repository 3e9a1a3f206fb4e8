"""The one array type of this layer."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]


def floats(values: ArrayLike) -> FloatArray:
    """Return the values as an array of doubles, without a copy where they are one already.

    Parameters
    ----------
    values : array
        Anything numpy reads as numbers. [-]
    """
    return np.asarray(values, dtype=np.float64)
