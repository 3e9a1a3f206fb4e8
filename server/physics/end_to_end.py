"""Many rising rows laid end to end, so that all of them are searched in one go."""

from __future__ import annotations

import numpy as np

from server.physics.arrays import FloatArray, IntArray, floats

_NARROWEST = np.finfo(np.float64).tiny


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
        place, left = begin, self._length
        while left > 1:
            half = left >> 1
            place = place + half * (self._laid.take(place + (half - 1)) < wanted)
            left -= half
        return np.asarray(place + (self._laid.take(place) < wanted) - begin)

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
