"""The conductance of many lines on one set of pressures, every opening and duct of them at once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from server.physics.arrays import FloatArray, IntArray
from server.physics.elements import Aperture, Duct
from server.physics.gas import Mixture, gas_state
from server.physics.orifice import check_pressure
from server.physics.parts import Line, line_elements
from server.physics.species import Species

Sizes = tuple[float, ...]
"""The fields of an opening or of a duct, by which equal ones are known."""


class LineTable:
    """Lines on one set of pressures; what no gas changes is worked out once.

    Lines of equal sizes are one, whatever their parts are called, and so are equal parts of
    different lines.

    Parameters
    ----------
    lines : sequence of Line
        The lines; one without parts offers no resistance. [-]
    pressure_pa : array, shape (m,)
        Pressure, zero or more. [Pa]

    Attributes
    ----------
    of : array of int
        Which of the n distinct lines each line is. [-]
    narrowest_m : array, shape (n,)
        Narrowest bore of each distinct line, infinite without parts. [m]

    Raises
    ------
    OutOfRange
        A pressure below zero or not finite.
    """

    of: IntArray
    narrowest_m: FloatArray

    def __init__(self, lines: Sequence[Line], pressure_pa: ArrayLike) -> None:
        self._pressure_pa = np.asarray(pressure_pa, dtype=np.float64)
        check_pressure(self._pressure_pa)
        known: dict[tuple[float, tuple[Sizes, ...]], int] = {}
        numbers = [known.setdefault(_sizes(line), len(known)) for line in lines]
        self.of = np.array(numbers, dtype=np.intp)
        self.narrowest_m = np.array([narrowest for narrowest, _ in known], dtype=np.float64)
        distinct = dict.fromkeys(sizes for _, chain in known for sizes in chain)
        openings = [sizes for sizes in distinct if len(sizes) == 1]
        ducts = [sizes for sizes in distinct if len(sizes) > 1]
        self._openings, self._ducts = Aperture(*_columns(openings, 1)), Duct(*_columns(ducts, 5))
        row_of = {sizes: row for row, sizes in enumerate((*openings, *ducts))}
        # where a line has fewer parts than the longest, the row behind those of all parts
        longest = max((len(chain) for _, chain in known), default=0)
        self._rows = np.full((longest, len(known)), len(row_of))
        for number, (_, chain) in enumerate(known):
            self._rows[: len(chain), number] = [row_of[sizes] for sizes in chain]

    @property
    def nbytes(self) -> int:
        """Bytes its arrays take."""
        parts = [*vars(self._openings).values(), *vars(self._ducts).values()]
        return sum(part.nbytes for part in (self.of, self.narrowest_m, self._rows, *parts))

    def conductance_m3_s(self, temperature_k: float, gas: Species | Mixture) -> FloatArray:
        """Return the conductance of the distinct lines for small pressure differences.

        Parameters
        ----------
        temperature_k : float
            Gas temperature. [K]
        gas : Species or Mixture
            The gas. [-]

        Returns
        -------
        array, shape (n, m)
            Conductance; infinite for a line without resistance. [m3/s]
        """
        state, pressure = gas_state(gas, temperature_k), self._pressure_pa
        resistance = np.concatenate(
            [
                1.0 / self._openings.linear_m3_s(state, pressure),
                1.0 / self._ducts.tabulated_m3_s(state, pressure),
                np.zeros((1, pressure.size)),
            ]
        )
        whole = np.zeros((self._rows.shape[1], pressure.size))
        for rows in self._rows:
            whole += resistance[rows]
        with np.errstate(divide="ignore"):
            return np.asarray(1.0 / whole)


def _columns(parts: Sequence[Sizes], fields: int) -> FloatArray:
    """Return the fields of openings or ducts, each of shape (parts, 1)."""
    return np.array(parts, dtype=np.float64).reshape(-1, fields).T[..., np.newaxis]


@lru_cache(maxsize=4096)
def _sizes(line: Line) -> tuple[float, tuple[Sizes, ...]]:
    """Return the narrowest bore of a line and the sizes of its openings and ducts."""
    narrowest = min((part.bore_m for part in line.parts), default=np.inf)
    elements = (element for _, element in line_elements(line))
    return narrowest, tuple(tuple(map(float, vars(element).values())) for element in elements)
