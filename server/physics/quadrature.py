"""Weights for integrals of many functions at once, known at the same few points."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from server.physics.arrays import FloatArray

_OUTER = (0.9604912687080203, 0.7745966692414834, 0.4342437493468026)
_WEIGHTS = (0.10465622602646727, 0.26848808986833345, 0.40139741477596222)
_MIDDLE = 0.45091653865847414


@dataclass(frozen=True)
class Rule:
    """Kronrod's seven points on each of several panels of 0 to 1 [KRONROD-1965].

    Gauss's three points among the seven tell how sure an integral is.
    """

    places: FloatArray
    """Shape (points, 1), rising."""
    weights: FloatArray
    three: FloatArray
    until_one: FloatArray
    """Weights for the integrals from each point to 1, shape (points, points)."""


@lru_cache(maxsize=4)
def kronrod(panels: int) -> Rule:
    """Return the rule on so many panels of equal width, made once.

    Parameters
    ----------
    panels : int
        One or more. [-]
    """
    inner = np.array([-place for place in _OUTER] + [0.0] + list(_OUTER[::-1]))
    places = 0.5 + 0.5 * inner
    seven = 0.5 * np.array([*_WEIGHTS, _MIDDLE, *_WEIGHTS[::-1]])
    three = np.array([0.0, 5.0, 0.0, 8.0, 0.0, 5.0, 0.0]) / 18.0
    powers = np.arange(places.size)
    vandermonde = places[:, np.newaxis] ** powers
    ends = (1.0 - places[:, np.newaxis] ** (powers + 1)) / (powers + 1)
    within = ends @ np.linalg.inv(vandermonde)
    every = np.arange(panels)
    later = np.kron(every[:, np.newaxis] < every, np.tile(seven, (places.size, 1)))
    return Rule(
        (every[:, np.newaxis] + places).reshape(-1, 1) / panels,
        np.tile(seven, panels) / panels,
        np.tile(three, panels) / panels,
        (np.kron(np.eye(panels), within) + later) / panels,
    )
