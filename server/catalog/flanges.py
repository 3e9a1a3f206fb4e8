"""Flange systems of the trade: ISO 2861 (KF), ISO 1609 (ISO-K, ISO-F), ISO 3669 (CF)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from server.errors import UnknownName


class FlangeSystem(StrEnum):
    """How a flange is closed."""

    KF = "KF"
    ISO_K = "ISO-K"
    ISO_F = "ISO-F"
    CF = "CF"


# Clear bore by nominal size, millimetres. KF: the nominal itself (ISO 2861). ISO-K/F: practical
# inner diameters, 63 and 160 as in ISO 1609:2020 clause 3.1, the others from memory (medium
# confidence). CF: inner diameters of tubes in common use, from memory.
_ISO_BORE_MM: dict[int, float] = {
    63: 70, 80: 83, 100: 102, 125: 127, 160: 153, 200: 213,
    250: 261, 320: 318, 400: 400, 500: 501, 630: 651,
}  # fmt: skip
_BORE_MM: dict[FlangeSystem, dict[int, float]] = {
    FlangeSystem.KF: {10: 10, 16: 16, 20: 20, 25: 25, 32: 32, 40: 40, 50: 50},
    FlangeSystem.ISO_K: _ISO_BORE_MM,
    FlangeSystem.ISO_F: _ISO_BORE_MM,
    FlangeSystem.CF: {16: 16, 40: 38, 63: 66, 100: 104, 160: 155, 200: 200, 250: 256},
}  # fmt: skip


@dataclass(frozen=True, order=True)
class Flange:
    """A flange by system and nominal size, e.g. ``ISO-K 160``."""

    system: FlangeSystem
    nominal: int

    def __str__(self) -> str:
        return f"{self.system} {self.nominal}"

    @property
    def bore_m(self) -> float:
        """Clear bore [m]."""
        return _BORE_MM[self.system][self.nominal] / 1000.0

    def mates_with(self, other: Flange) -> bool:
        """Say whether the two bolt together: same size, and ISO-K with ISO-F as one family."""
        iso = {FlangeSystem.ISO_K, FlangeSystem.ISO_F}
        same_system = self.system == other.system or {self.system, other.system} <= iso
        return same_system and self.nominal == other.nominal


@cache
def known_flanges() -> tuple[Flange, ...]:
    """Return every flange with a known bore."""
    return tuple(Flange(system, size) for system, sizes in _BORE_MM.items() for size in sizes)


def parse_flange(text: str) -> Flange:
    """Read ``KF 25``, ``DN 160 ISO-K``, ``iso-k160`` or ``CF40``.

    Raises
    ------
    UnknownName
        When the text names no flange of the table.
    """
    letters = re.sub(r"[^A-Z]", "", text.upper().replace("DN", "", 1))
    digits = re.findall(r"\d+", text)
    names = {"KF": "KF", "NW": "KF", "ISOKF": "KF", "ISOK": "ISO-K", "ISOF": "ISO-F", "CF": "CF"}
    known = known_flanges()
    if letters in names and len(digits) == 1 and len(text) <= 30:
        system = FlangeSystem(names[letters])
        wanted = [f for f in known if f.system == system and f.nominal == int(digits[0])]
        if wanted:
            return wanted[0]
    raise UnknownName("flange", text, [str(flange) for flange in known])
