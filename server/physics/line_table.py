"""The conductance of many lines on one set of pressures, every opening and duct of them at once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import FloatArray, IntArray
from server.physics.elements import Aperture, Duct, Element
from server.physics.gas import Mixture, gas_state
from server.physics.parts import Line, line_elements
from server.physics.species import Species


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
        A pressure below zero.
    """

    of: IntArray
    narrowest_m: FloatArray

    def __init__(self, lines: Sequence[Line], pressure_pa: ArrayLike) -> None:
        self._pressure_pa = np.asarray(pressure_pa, dtype=np.float64)
        if not bool(np.all((self._pressure_pa >= 0) & np.isfinite(self._pressure_pa))):
            raise OutOfRange("A pressure must be zero or more.")
        known: dict[tuple[float, tuple[int, ...]], int] = {}
        chains: list[tuple[Element, ...]] = []
        self.of = np.empty(len(lines), dtype=np.intp)
        for place, line in enumerate(lines):
            narrowest, chain = _sizes(line)
            number = known.setdefault((narrowest, tuple(map(id, chain))), len(known))
            if number == len(chains):
                chains.append(chain)
            self.of[place] = number
        self.narrowest_m = np.array([narrowest for narrowest, _ in known], dtype=np.float64)
        distinct = {id(element): element for chain in chains for element in chain}
        openings = [element for element in distinct.values() if isinstance(element, Aperture)]
        ducts = [element for element in distinct.values() if isinstance(element, Duct)]
        self._openings, self._ducts = Aperture(*_columns(openings, 1)), Duct(*_columns(ducts, 5))
        row_of = {id(element): row for row, element in enumerate((*openings, *ducts))}
        # where a line has fewer parts than the longest, the row behind those of all parts
        self._rows = np.full((max(map(len, chains), default=0), len(chains)), len(row_of))
        for line_number, chain in enumerate(chains):
            self._rows[: len(chain), line_number] = [row_of[id(element)] for element in chain]

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


def _columns(elements: Sequence[Element], fields: int) -> FloatArray:
    """Return the fields of elements of one kind, each of shape (elements, 1)."""
    values = [tuple(vars(element).values()) for element in elements]
    return np.array(values, dtype=np.float64).reshape(-1, fields).T[..., np.newaxis]


@lru_cache(maxsize=4096)
def _sizes(line: Line) -> tuple[float, tuple[Element, ...]]:
    """Return the narrowest bore of a line, and its elements, equal ones as one object."""
    narrowest = min((part.bore_m for part in line.parts), default=np.inf)
    return narrowest, tuple(_one(element) for _, element in line_elements(line))


def _one(element: Element) -> Element:
    """Return the one object that stands for all equal elements."""
    if isinstance(element, Aperture):
        return _aperture(float(element.area_m2))
    return _duct(
        float(element.area_m2),
        float(element.radius_m),
        float(element.viscous_length_m),
        float(element.molecular_area_m2),
        float(element.heads),
    )


@lru_cache(maxsize=4096)
def _aperture(area_m2: float) -> Aperture:
    return Aperture(np.asarray(area_m2))


@lru_cache(maxsize=4096)
def _duct(*fields: float) -> Duct:
    return Duct(*(np.asarray(field) for field in fields))
