"""Points that fill the unit cube evenly: a Sobol sequence [SOBOL-2008], shifted at random.

Written here, for few dimensions, because the library that has it takes longer to load than an
answer takes.
"""

from __future__ import annotations

from functools import lru_cache
from random import Random
from statistics import NormalDist

import numpy as np

from server.errors import OutOfRange
from server.physics.arrays import FloatArray, IntArray, floats

_BITS = 30
# One dimension after the first: its primitive polynomial as a binary number, and the numbers that
# its directions start from.
_DIMENSIONS = """
3: 1 | 7: 1 3 | 11: 1 3 1 | 13: 1 1 1 | 19: 1 1 3 3 | 25: 1 3 5 13 | 37: 1 1 5 5 17
41: 1 1 5 5 5 | 47: 1 1 7 11 19 | 55: 1 1 5 1 1 | 59: 1 1 1 3 11 | 61: 1 3 5 5 31
67: 1 3 3 9 7 49 | 91: 1 1 1 15 21 21 | 97: 1 3 1 13 27 49 | 103: 1 1 1 15 7 5
109: 1 3 1 15 13 25 | 115: 1 1 5 5 19 61 | 131: 1 3 7 11 23 15 103 | 137: 1 3 7 13 13 15 69
143: 1 1 3 13 7 35 63 | 145: 1 3 5 9 1 25 53 | 157: 1 3 1 13 9 35 107
167: 1 3 1 5 27 61 31 | 171: 1 1 5 11 19 41 61 | 185: 1 3 5 3 3 13 69 | 191: 1 1 7 13 1 19 1
193: 1 3 7 5 13 19 59 | 203: 1 1 3 9 25 29 41 | 211: 1 3 5 13 23 1 55
213: 1 3 7 3 13 59 17 | 229: 1 3 1 3 5 53 69 | 239: 1 1 5 5 23 33 13 | 241: 1 1 7 7 1 61 123
247: 1 1 7 9 13 61 49 | 253: 1 3 3 5 3 55 33 | 285: 1 3 1 15 31 13 49 245
299: 1 3 5 15 31 59 63 97 | 301: 1 3 1 11 11 11 77 249 | 333: 1 3 1 11 27 43 71 9
351: 1 1 7 15 21 11 81 45 | 355: 1 3 7 3 25 31 65 79 | 357: 1 3 1 1 19 11 3 205
361: 1 1 5 9 19 21 29 157 | 369: 1 3 7 11 1 33 89 185 | 391: 1 3 3 3 15 9 79 71
397: 1 3 7 11 15 39 119 27 | 425: 1 1 3 1 11 31 97 225 | 451: 1 1 1 3 23 43 57 177
463: 1 3 7 7 17 17 37 71 | 487: 1 3 1 5 27 63 123 213 | 501: 1 1 3 5 11 43 53 133
529: 1 3 5 5 29 17 47 173 479 | 539: 1 3 3 11 3 1 109 9 69 | 545: 1 1 1 5 17 39 23 5 343
557: 1 3 1 5 25 15 31 103 499 | 563: 1 1 1 11 11 17 63 105 183
601: 1 1 5 11 9 29 97 231 363 | 607: 1 1 5 15 19 45 41 7 383 | 617: 1 3 7 7 31 19 83 137 221
623: 1 1 1 3 23 15 111 223 83 | 631: 1 1 5 13 31 15 55 25 161
637: 1 1 3 13 25 47 39 87 257
"""
MOST_DIMENSIONS = 1 + _DIMENSIONS.count(":")


def sobol_points(dimensions: int, count: int, seed: int | None = None) -> FloatArray:
    """Return the first points of the sequence in Gray-code order, shape (count, dimensions).

    A seed shifts all points of a dimension by the same random bits, which keeps them as even and
    keeps every point off the faces of the cube; without one the first point is the origin.

    Parameters
    ----------
    dimensions : int
        1 to `MOST_DIMENSIONS`. [-]
    count : int
        A power of two is balanced; up to 2³⁰. [-]
    seed : int, optional
        The same seed gives the same points. [-]

    Raises
    ------
    OutOfRange
        Too many dimensions or points.
    """
    if not (1 <= dimensions <= MOST_DIMENSIONS and 1 <= count <= 1 << _BITS):
        raise OutOfRange(f"Sobol points have 1 to {MOST_DIMENSIONS} dimensions, and at most 2³⁰.")
    directions = _directions(dimensions)
    bits = np.zeros((count, dimensions), dtype=np.int64)
    if count > 1:
        # each point differs from the one before by the direction of its lowest zero bit
        number = np.arange(count - 1)
        lowest = np.bitwise_count(number ^ (number + 1)).astype(np.intp) - 1
        np.bitwise_xor.accumulate(directions[:, lowest].T, axis=0, out=bits[1:])
    if seed is None:
        return floats(bits / float(1 << _BITS))
    random = Random(seed)  # noqa: S311  # no secret: the points are published
    shift = np.array([random.getrandbits(_BITS) for _ in range(dimensions)])
    return floats(((bits ^ shift) + 0.5) / float(1 << _BITS))


@lru_cache(maxsize=64)
def normal_points(dimensions: int, count: int, seed: int) -> FloatArray:
    """Return Sobol points as standard normal deviates [WICHURA-1988], made once and kept.

    Parameters
    ----------
    dimensions : int
        1 to `MOST_DIMENSIONS`. [-]
    count : int
        A power of two is balanced. [-]
    seed : int
        The same seed gives the same points. [-]
    """
    quantile = NormalDist().inv_cdf
    points = sobol_points(dimensions, count, seed)
    deviates = np.array([quantile(share) for share in points.ravel().tolist()])
    deviates = deviates.reshape(points.shape)
    deviates.flags.writeable = False  # everyone gets the same ones
    return deviates


def _directions(dimensions: int) -> IntArray:
    """Return the direction numbers, shape (dimensions, bits)."""
    found = np.zeros((dimensions, _BITS), dtype=np.int64)
    found[0] = 1 << np.arange(_BITS - 1, -1, -1)
    entries = _DIMENSIONS.replace("\n", " | ").strip(" |").split(" | ")
    for row, entry in zip(found[1:], entries, strict=False):
        polynomial, _, starts = entry.partition(": ")
        row[:] = _row(int(polynomial), [int(start) for start in starts.split()])
    return found


def _row(polynomial: int, numbers: list[int]) -> list[int]:
    """Continue the numbers of one dimension by the recurrence of its polynomial."""
    degree = len(numbers)
    inner = [polynomial >> (degree - k) & 1 for k in range(1, degree)]
    while len(numbers) < _BITS:
        new = numbers[-degree] ^ (numbers[-degree] << degree)
        for k, taken in enumerate(inner, start=1):
            if taken:
                new ^= numbers[-k] << k
        numbers.append(new)
    return [number << (_BITS - 1 - place) for place, number in enumerate(numbers[:_BITS])]
