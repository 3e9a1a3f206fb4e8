"""What a line is made of, and how its parts become openings and ducts in series."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from server.errors import OutOfRange
from server.physics.elements import Aperture, Duct, Element, profile_heads, tube_duct
from server.physics.gas import mean_speed_m_s, species

# Catalogue conductances are stated for nitrogen at 20 °C.
CATALOG_TEMPERATURE_K = 293.15
# Sizes beyond which nobody builds a line; they keep a slip of the decimal point from passing.
BORES_M = (1e-4, 10.0)
LENGTHS_M = (1e-4, 1e4)


@dataclass(frozen=True)
class Tube:
    """A round tube with its 90° bends; the length runs along the axis."""

    length_m: float
    bore_m: float
    bends: int = 0
    name: str = "tube"

    def __post_init__(self) -> None:
        _require(self.length_m, "length", self.name, LENGTHS_M)
        _require(self.bore_m, "bore", self.name, BORES_M)
        if self.bends < 0:
            raise OutOfRange(f"The number of bends of the {self.name} cannot be negative.")


@dataclass(frozen=True)
class Restriction:
    """A valve, baffle or trap: molecular conductance from the catalogue, viscous by size."""

    name: str
    molecular_conductance_n2_m3_s: float
    equivalent_bore_m: float
    equivalent_length_m: float

    def __post_init__(self) -> None:
        _require(self.equivalent_bore_m, "equivalent bore", self.name, BORES_M)
        _require(self.equivalent_length_m, "equivalent length", self.name, LENGTHS_M)
        if not self.molecular_conductance_n2_m3_s > 0:
            raise OutOfRange(f"The conductance of the {self.name} must be above zero.")
        if self.passed_fraction >= 1:
            limit = self.molecular_conductance_n2_m3_s / self.passed_fraction
            raise OutOfRange(
                f"The {self.name} cannot pass more than its own opening: "
                f"{limit:.3g} m³/s for nitrogen."
            )

    @property
    def passed_fraction(self) -> float:
        """Molecular conductance relative to the opening A v̄/4."""
        speed = float(mean_speed_m_s(CATALOG_TEMPERATURE_K, species("nitrogen").molar_mass_kg_mol))
        opening = math.pi / 4 * self.equivalent_bore_m**2 * speed / 4
        return self.molecular_conductance_n2_m3_s / opening

    @property
    def bore_m(self) -> float:
        """Bore of its opening."""
        return self.equivalent_bore_m


Part = Tube | Restriction


@dataclass(frozen=True)
class Line:
    """Parts in series from the chamber to the pump; changes of bore are seen from the neighbours.

    With ``pump_bore_m`` the opening of the pump, which its stated speed contains already, is not
    counted a second time (OATLEY-1957); without it the line ends in a wide space.
    """

    parts: tuple[Part, ...]
    pump_bore_m: float | None = None

    def __post_init__(self) -> None:
        if self.pump_bore_m is not None:
            _require(self.pump_bore_m, "bore", "pump inlet", BORES_M)


def _require(value: float, what: str, name: str, bounds: tuple[float, float]) -> None:
    low, high = bounds
    if not low <= value <= high:
        raise OutOfRange(f"The {what} of the {name} must lie between {low:g} m and {high:g} m.")


@lru_cache(maxsize=512)
def line_elements(line: Line) -> tuple[tuple[str, Element], ...]:
    """Return the openings and ducts of a line, each with the name of its part.

    Neighbouring tubes of one bore are one tube; every narrowing adds the difference of the two
    openings, a widening adds nothing (HAEFER-1980).

    Parameters
    ----------
    line : Line
        The line. [-]

    Returns
    -------
    tuple of (name, Element)
        From the chamber to the pump. [-]
    """
    parts = _merged(line.parts)
    counted = _counted_openings(tuple(part.bore_m for part in parts), line.pump_bore_m)
    elements: list[tuple[str, Element]] = []
    bore_before = math.inf
    for part, opening in zip(parts, counted, strict=True):
        narrowing = part.bore_m < bore_before
        if opening is not None:
            what = "inlet of the" if math.isinf(bore_before) else "narrowing to the"
            elements.append((f"{what} {part.name}", opening))
        elements.append((part.name, _duct(part, narrowing)))
        bore_before = part.bore_m
    return tuple(elements)


def _merged(parts: tuple[Part, ...]) -> list[Part]:
    merged: list[Part] = []
    for part in parts:
        last = merged[-1] if merged else None
        if isinstance(part, Tube) and isinstance(last, Tube) and part.bore_m == last.bore_m:
            name = last.name if part.name == last.name else f"{last.name} + {part.name}"
            merged[-1] = Tube(
                last.length_m + part.length_m, part.bore_m, last.bends + part.bends, name
            )
        else:
            merged.append(part)
    return merged


@lru_cache(maxsize=1024)
def _counted_openings(
    bores_m: tuple[float, ...], pump_bore_m: float | None
) -> tuple[Aperture | None, ...]:
    """Return the opening that each part adds, the pump's own opening taken off the last."""
    added: list[float] = []  # as 1/area
    inverse_before = 0.0
    for bore_m in bores_m:
        inverse = 4 / (math.pi * bore_m**2)
        added.append(max(inverse - inverse_before, 0.0))
        inverse_before = inverse
    credit = 0.0
    if pump_bore_m is not None:
        credit = min(inverse_before, 4 / (math.pi * pump_bore_m**2))
    for index in range(len(added) - 1, -1, -1):
        used = min(credit, added[index])
        # Equal bores must cancel exactly, not leave a hair's breadth of an opening.
        added[index] = 0.0 if added[index] - used < 1e-12 * used else added[index] - used
        credit -= used
    return tuple(Aperture(np.asarray(1 / more)) if more > 0 else None for more in added)


@lru_cache(maxsize=1024)
def _duct(part: Part, entrance: bool) -> Duct:
    if isinstance(part, Tube):
        return tube_duct(part.bore_m / 2, part.length_m, part.bends, entrance)
    area = np.asarray(math.pi / 4 * part.bore_m**2)
    passed = part.passed_fraction
    return Duct(
        area_m2=area,
        radius_m=np.asarray(part.bore_m / 2),
        viscous_length_m=np.asarray(part.equivalent_length_m),
        molecular_area_m2=area * passed / (1 - passed),
        heads=profile_heads(part.equivalent_length_m / part.bore_m * 2) * float(entrance),
    )
