"""Many searches by halving in one go, and rising rows laid end to end for them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from server.physics.arrays import BoolArray, FloatArray, IntArray, floats

_NARROWEST = np.finfo(np.float64).tiny


def first_place(short: Callable[[IntArray], BoolArray], begin: IntArray, count: int) -> IntArray:
    """Return the first of so many places from each beginning that is not short, by halving.

    Parameters
    ----------
    short : callable
        Of one place for each beginning; none is short behind one that is not. [-]
    begin : array of int, shape (n,)
        Where each row of places begins. [-]
    count : int
        Places of a row, one or more. [-]

    Returns
    -------
    array of int, shape (n,)
        The place; the one behind the last where all are short. [-]
    """
    place, left = begin, count
    while left > 1:
        half = left >> 1
        place = place + half * short(place + (half - 1))
        left -= half
    return np.asarray(place + short(place))


class EndToEnd:
    """Rows of numbers that never fall, each searched by halving at the same time as all others.

    Parameters
    ----------
    rows : array, shape (m, k)
        Never falling along a row. [-]
    """

    def __init__(self, rows: FloatArray) -> None:
        self._laid, self._length = rows.ravel(), rows.shape[1]

    def first_reaching(self, row: IntArray, wanted: FloatArray) -> IntArray:
        """Return the first place in a row that reaches a number; k where none does.

        Parameters
        ----------
        row : array of int, shape (n,)
            Which row. [-]
        wanted : array, shape (n,)
            What is looked for; may be infinite. [-]
        """
        begin = row * self._length
        laid = self._laid
        found = first_place(lambda at: laid.take(at) < wanted, begin, self._length)
        return np.asarray(found - begin)

    def between(self, row: IntArray, wanted: FloatArray, values: FloatArray) -> FloatArray:
        """Return values interpolated linearly along rows, held beyond the ends of each.

        Parameters
        ----------
        row : array of int, shape (n,)
            Which row. [-]
        wanted : array, shape (n,)
            Where. [-]
        values : array, shape (m, k)
            Value at each place of the rows. [-]
        """
        last = self._length - 1
        after = row * self._length + np.minimum(
            np.maximum(self.first_reaching(row, wanted), 1), last
        )
        before = after - 1
        begin, laid = self._laid.take(before), values.ravel()
        width = self._laid.take(after) - begin
        past = np.minimum(np.maximum(wanted - begin, 0.0), width)
        # of two equal numbers the one behind counts: there the row goes on, or ends
        share = np.where(width > 0.0, past / np.maximum(width, _NARROWEST), 1.0)
        first = laid.take(before)
        return floats(first + share * (laid.take(after) - first))
