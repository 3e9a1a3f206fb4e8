"""The conductance of many lines on one set of pressures, every duct of them at once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange
from server.physics.arrays import FloatArray
from server.physics.elements import Aperture, Duct, Element
from server.physics.gas import GasState, Mixture, gas_state
from server.physics.parts import Line, line_elements
from server.physics.species import Species


def line_conductances_m3_s(
    lines: Sequence[Line], pressure_pa: ArrayLike, temperature_k: float, gas: Species | Mixture
) -> FloatArray:
    """Return the conductance of lines for small pressure differences; equal parts computed once.

    Parameters
    ----------
    lines : sequence of Line, n
        The lines; one without parts offers no resistance. [-]
    pressure_pa : array, shape (m,)
        Pressure, zero or more. [Pa]
    temperature_k : float
        Gas temperature. [K]
    gas : Species or Mixture
        The gas. [-]

    Returns
    -------
    array, shape (n, m)
        Conductance; infinite for a line without resistance. [m3/s]

    Raises
    ------
    OutOfRange
        A pressure below zero.
    """
    pressure = np.asarray(pressure_pa, dtype=np.float64)
    if not bool(np.all((pressure >= 0) & np.isfinite(pressure))):
        raise OutOfRange("A pressure must be zero or more.")
    known: dict[int, tuple[int, Element]] = {}
    chains = []
    for line in lines:
        chains.append(
            [known.setdefault(id(part), (len(known), part))[0] for part in _elements(line)]
        )
    resistance = _resistances(
        [part for _, part in known.values()], gas_state(gas, temperature_k), pressure
    )
    whole = np.zeros((len(lines), pressure.size))
    for row, chain in enumerate(chains):
        for part in chain:
            whole[row] += resistance[part]
    return np.divide(1.0, whole, out=np.full_like(whole, np.inf), where=whole > 0.0)


@lru_cache(maxsize=4096)
def _elements(line: Line) -> tuple[Element, ...]:
    return tuple(_one(element) for _, element in line_elements(line))


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


def _resistances(
    elements: Sequence[Element], state: GasState, pressure_pa: FloatArray
) -> FloatArray:
    """Resistance of every element, shape (elements, m)."""
    found = np.empty((len(elements), pressure_pa.size))
    for kind in (Aperture, Duct):
        rows = [row for row, element in enumerate(elements) if isinstance(element, kind)]
        if rows:
            columns = zip(*(vars(elements[row]).values() for row in rows), strict=True)
            together = kind(*(np.array(column)[:, np.newaxis] for column in columns))
            found[rows] = 1.0 / together.linear_m3_s(state, pressure_pa)
    return found
