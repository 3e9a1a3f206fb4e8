"""What surfaces give off: published rates by material and condition, and the law they follow.

The law is q(t) = q₁·(t/1 h)^−α, with t counted from the start of pumping. It is measured from
minutes to days; towards t = 0 it would grow without bound, which no surface does, so before
``LAW_START_S`` the rate is held at its value there. At the pressures of that first minute the
volume gas outweighs the surface by orders of magnitude, so the hold does not show in a result.

Published rates of one material differ by 3–10 times [ELSEY-1975, OHANLON-2003]; each row therefore
carries a geometric standard deviation. Where several rows were published, q₁ is their geometric
middle and the deviation spans them. Rows marked "from memory" were not checked against an opened
source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange, UnknownName
from server.physics.arrays import FloatArray, floats

HOUR_S = 3600.0
LAW_START_S = 60.0
"""Before this time the surface rate is held constant. [s]"""

CONDITIONS = ("unbaked", "baked", "as_received")


@dataclass(frozen=True)
class OutgassingRow:
    """One material in one condition.

    ``q1_pa_m_s`` is the rate per area one hour after pumping began, ``alpha`` the exponent of the
    power law (0: constant), ``geometric_sd`` the factor of one standard deviation, ``species``
    the gas that chiefly comes off.
    """

    material: str
    condition: str
    q1_pa_m_s: float
    alpha: float
    geometric_sd: float
    species: str
    source: str
    note: str = ""


_ELSEY = "ELSEY-1975, OHANLON-2003 App. C; figures from memory"
_MEMORY = "from memory, low confidence"

_ROWS = (
    OutgassingRow("stainless_steel", "unbaked", 5.7e-6, 1.0, 2.2, "water", _ELSEY,
                  "cleaned or polished; middle of five rows, 2.3e-6 to 1.8e-5"),
    OutgassingRow("stainless_steel", "as_received", 8e-5, 0.9, 3.0, "water", _ELSEY,
                  "not cleaned; middle of three rows, 1.8e-5 to 2.3e-4"),
    OutgassingRow("stainless_steel", "baked", 2.7e-9, 0.0, 2.0, "hydrogen",
                  "YOUNG-1969: 304, 15–30 h at 250 °C"),
    OutgassingRow("aluminium", "unbaked", 8.4e-6, 1.0, 2.0, "water", _ELSEY,
                  "fresh; the 1 h value confirmed by WONG-2002"),
    OutgassingRow("aluminium", "as_received", 2.27e-4, 0.75, 3.5, "water", _ELSEY,
                  "rolled alloy, not cleaned; untreated sheet up to 1.3e-3 [WONG-2002]"),
    OutgassingRow("aluminium", "baked", 1.7e-10, 0.0, 3.2, "hydrogen",
                  "YOUNG-1969 and MORAW-1974",
                  "middle of 5.3e-10 (250 °C, 15 h) and 5.3e-11 (100 °C, 20 h)"),
    OutgassingRow("mild_steel", "unbaked", 7.2e-4, 1.0, 2.5, "water", _ELSEY),
    OutgassingRow("mild_steel", "as_received", 8e-4, 1.0, 3.0, "water", _ELSEY,
                  "slightly rusty; the slower exponent of the later hours"),
    OutgassingRow("mild_steel", "baked", 1e-9, 0.0, 4.0, "hydrogen", _MEMORY),
    OutgassingRow("copper", "unbaked", 6.6e-6, 1.1, 2.5, "water", _ELSEY,
                  "middle of fresh oxygen-free and two polished rows"),
    OutgassingRow("copper", "as_received", 5.33e-5, 1.0, 2.5, "water", _ELSEY),
    OutgassingRow("copper", "baked", 2.9e-11, 0.0, 4.0, "hydrogen",
                  "OHANLON-2003 App. C.1: oxygen-free, 24 h at 100 °C"),
    OutgassingRow("brass", "unbaked", 5.33e-4, 1.6, 3.0, "water", _ELSEY,
                  "exponent of the first ten hours"),
    OutgassingRow("brass", "as_received", 5.33e-4, 1.6, 3.0, "water", _ELSEY,
                  "published as received"),
    OutgassingRow("titanium", "unbaked", 1.5e-5, 0.8, 2.5, "water", _ELSEY,
                  "exponent of the first ten hours"),
    OutgassingRow("titanium", "as_received", 1.5e-5, 0.8, 3.5, "water", _ELSEY,
                  "no row of its own: the unbaked one with a wider spread"),
    OutgassingRow("titanium", "baked", 1e-11, 0.0, 5.0, "hydrogen", _MEMORY),
    OutgassingRow("borosilicate_glass", "unbaked", 3.9e-6, 1.0, 2.5, "water", _ELSEY,
                  "middle of fresh glass and glass one month in air"),
    OutgassingRow("borosilicate_glass", "as_received", 9.8e-6, 1.1, 2.5, "water", _ELSEY),
    OutgassingRow("borosilicate_glass", "baked", 1e-10, 0.0, 5.0, "hydrogen", _MEMORY),
    OutgassingRow("ceramic", "unbaked", 1.2e-4, 1.0, 3.0, "water", _ELSEY, "steatite"),
    OutgassingRow("ceramic", "as_received", 1.2e-4, 1.0, 3.0, "water", _ELSEY, "steatite"),
    OutgassingRow("ceramic", "baked", 3e-10, 0.0, 5.0, "hydrogen", _MEMORY, "dense alumina"),
    OutgassingRow("fkm", "unbaked", 1.52e-3, 0.8, 2.0, "water", _ELSEY,
                  "CHIGGIATO-2014: 1e-4 at 10 h, 2.4 times less than this row"),
    OutgassingRow("fkm", "as_received", 1.52e-3, 0.8, 2.0, "water", _ELSEY),
    OutgassingRow("fkm", "baked", 2.7e-7, 0.0, 4.0, "water", _ELSEY,
                  "12 h at 200 °C, low confidence"),
    OutgassingRow("nbr", "unbaked", 4.67e-3, 0.3, 2.5, "water", _ELSEY),
    OutgassingRow("nbr", "as_received", 4.67e-3, 0.3, 2.5, "water", _ELSEY),
    OutgassingRow("polychloroprene", "unbaked", 4e-2, 0.4, 2.5, "water", _ELSEY),
    OutgassingRow("polychloroprene", "as_received", 4e-2, 0.4, 2.5, "water", _ELSEY),
    OutgassingRow("ptfe", "unbaked", 1.9e-4, 0.47, 2.5, "water", _ELSEY, "middle of two samples"),
    OutgassingRow("ptfe", "as_received", 1.9e-4, 0.47, 2.5, "water", _ELSEY),
    OutgassingRow("epoxy", "unbaked", 1.55e-3, 0.8, 3.0, "water", _ELSEY, "moulded"),
    OutgassingRow("epoxy", "as_received", 1.55e-3, 0.8, 3.0, "water", _ELSEY, "moulded"),
    OutgassingRow("pmma", "unbaked", 9.6e-4, 0.44, 3.0, "water", _ELSEY, "low confidence"),
    OutgassingRow("pmma", "as_received", 9.6e-4, 0.44, 3.0, "water", _ELSEY, "low confidence"),
    OutgassingRow("nylon", "unbaked", 1.6e-2, 0.5, 2.5, "water", _ELSEY),
    OutgassingRow("nylon", "as_received", 1.6e-2, 0.5, 2.5, "water", _ELSEY),
)  # fmt: skip

OUTGASSING: Mapping[tuple[str, str], OutgassingRow] = MappingProxyType(
    {(row.material, row.condition): row for row in _ROWS}
)
MATERIALS: tuple[str, ...] = tuple(dict.fromkeys(row.material for row in _ROWS))


def outgassing_row(material: str, condition: str) -> OutgassingRow:
    """Return the rate of one material in one condition.

    Parameters
    ----------
    material : str
        Key of the material. [-]
    condition : str
        One of ``CONDITIONS``. [-]

    Raises
    ------
    UnknownName
        The material or the condition is not in the table.
    OutOfRange
        The material has no rate for this condition (brass is never baked, its zinc would
        evaporate; polymers without a published rate after baking).
    """
    if material not in MATERIALS:
        raise UnknownName("material", material, MATERIALS)
    if condition not in CONDITIONS:
        raise UnknownName("surface condition", condition, CONDITIONS)
    row = OUTGASSING.get((material, condition))
    if row is None:
        have = ", ".join(c for c in CONDITIONS if (material, c) in OUTGASSING)
        raise OutOfRange(
            f"No outgassing rate is known for {material.replace('_', ' ')} in the condition "
            f"“{condition}”. Known for it: {have}."
        )
    return row


def surface_decay(time_s: ArrayLike, alpha: ArrayLike) -> FloatArray:
    """Return the rate relative to the rate at one hour, (t/1 h)^−α, held before LAW_START_S.

    Parameters
    ----------
    time_s : array
        Time since pumping began, ≥ 0. [s]
    alpha : array
        Exponent, broadcast against the time. [-]

    Raises
    ------
    OutOfRange
        A negative time.
    """
    time = floats(time_s)
    if np.any(time < 0.0):
        raise OutOfRange("The surface clock starts with pumping: time cannot be negative.")
    return floats((np.maximum(time, LAW_START_S) / HOUR_S) ** -floats(alpha))


def outgassing_rate_pa_m_s(row: OutgassingRow, time_s: ArrayLike) -> FloatArray:
    """Return the gas given off per area at a time after pumping began [ELSEY-1975, DAYTON-1959].

    Parameters
    ----------
    row : OutgassingRow
        Material and condition. [-]
    time_s : array
        Time since pumping began, ≥ 0; below LAW_START_S the rate is that of LAW_START_S. [s]
    """
    return row.q1_pa_m_s * surface_decay(time_s, row.alpha)
