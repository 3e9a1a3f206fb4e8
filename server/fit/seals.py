"""Elastomer seals that air and its moisture permeate: which are counted, and with what size."""

from __future__ import annotations

import math
from collections.abc import Iterable

from server.catalog.flanges import Flange, FlangeSystem
from server.fit.requirements import Seal, Surface
from server.physics.gasload import PERMEATION_M2_S

PERMEATION_BELOW_PA = 1e-5
"""Targets at or below this count the permeation of seals; above, leaks outweigh it by far."""

RING_M = 5e-3
"""Cross-section of the usual ring: way of the gas, and width it shows to either side. [m]"""

SEAL_MATERIALS = tuple(dict.fromkeys(material for material, _ in PERMEATION_M2_S))


def counted_seals(
    surfaces: Iterable[Surface], port: Flange | None, target_pa: float
) -> tuple[tuple[Seal, ...], str]:
    """Return the seals whose permeation counts, and why they have this size.

    The elastomers among the surfaces; where none is listed, one FKM ring of the port, unless it is
    sealed with metal. The ring's size is common practice, no source.

    Parameters
    ----------
    surfaces : iterable of Surface
        Those of the chamber.
    port : Flange or None
        The chamber's pump port; None when not named.
    target_pa : float
        Pressure to be reached. [Pa]
    """
    if target_pa > PERMEATION_BELOW_PA:
        return (), ""
    listed = tuple(
        Seal(surface.material, surface.area_m2, RING_M)
        for surface in surfaces
        if surface.material in SEAL_MATERIALS
    )
    if listed:
        return listed, "elastomer listed among the surfaces, as rings of usual cross-section"
    if port is None or port.system is FlangeSystem.CF:
        return (), ""
    ring = Seal("fkm", math.pi * port.bore_m * RING_M, RING_M)
    return (ring,), f"{port} is sealed with an elastomer ring"
