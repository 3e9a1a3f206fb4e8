"""Many rising rows laid end to end, so that all of them are searched in one go."""

from __future__ import annotations

import numpy as np

from server.physics.arrays import FloatArray, IntArray, floats


class EndToEnd:
    """Rows of numbers that never fall, each shifted behind the one before.

    Parameters
    ----------
    rows : array, shape (m, k)
        Finite, never falling along a row. [-]
    """

    def __init__(self, rows: FloatArray) -> None:
        self._rows = rows
        self._lowest, self._highest = rows.min(initial=np.inf), rows.max(initial=-np.inf)
        # room on both sides: what lies outside of a row does not fall into its neighbour
        self._apart = 2.0 * (self._highest - self._lowest) + 2.0
        self._laid = (rows + self._apart * np.arange(len(rows))[:, np.newaxis]).ravel()

    def first_reaching(self, row: IntArray, wanted: FloatArray) -> IntArray:
        """Return the first place in a row that reaches a number; k where none does.

        Parameters
        ----------
        row : array of int, shape (n,)
            Which row. [-]
        wanted : array, shape (n,)
            What is looked for; may be infinite. [-]
        """
        within = np.clip(wanted, self._lowest - 0.5, self._highest + 0.5)
        place = np.searchsorted(self._laid, within + self._apart * row)
        return np.asarray(place - row * self._rows.shape[1])

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
        within = np.clip(wanted, self._rows[row, 0], self._rows[row, -1])
        return floats(np.interp(within + self._apart * row, self._laid, values.ravel()))
