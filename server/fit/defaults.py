"""How gaps in an inquiry are filled; everything filled is noted with its reason.

The defaults are common practice in the trade (no published source) unless a source is named.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum
from typing import TypeVar

from server.fit.inquiry_types import read_money, read_number
from server.fit.presets import PRESETS, Preset, SurfaceRecipe
from server.fit.requirements import Application, Assumption, Condition, Surface
from server.units import Dimension, parse_quantity

ChoiceT = TypeVar("ChoiceT", bound=StrEnum)

METAL_SEALED_BELOW_PA = 1e-5
BAKED_BELOW_PA = 1e-6

# Up to this volume a sound, elastomer-sealed chamber is taken to leak no more than this.
_LEAK_BY_VOLUME: tuple[tuple[float, str], ...] = (
    (0.05, "2e-6 mbar*L/s"),
    (0.5, "1e-5 mbar*L/s"),
    (5.0, "1e-4 mbar*L/s"),
    (float("inf"), "1e-3 mbar*L/s"),
)


class Filler:
    """Takes what was typed, else what the application's preset says, else the default.

    Parameters
    ----------
    given : mapping
        Dotted path → value as typed, only of cells that were filled in.
    application : Application
        Chooses the preset.
    """

    def __init__(self, given: Mapping[str, object], application: Application) -> None:
        self.given = given
        self.preset: Preset = PRESETS[application]
        self._preset_values = {value.field: value for value in self.preset.values}
        self.assumptions: list[Assumption] = []

    def note(self, field: str, value: str, reason: str) -> None:
        """List a default."""
        self.assumptions.append(Assumption(field, value, reason))

    def stated(self, field: str, otherwise: str, reason: str) -> str | float | int | None:
        """Return the cell as typed, or None with a note that says what its absence means."""
        typed = self._typed(field)
        if typed is None:
            self.note(field, otherwise, reason)
            return None
        return typed  # type: ignore[return-value]

    def si(self, field: str, dimension: Dimension, default: str, reason: str) -> float:
        """Return a quantity in SI."""
        return parse_quantity(self._filled(field, default, reason), dimension)

    def number(self, field: str, default: str, reason: str) -> float:
        """Return a plain number."""
        return read_number(self._filled(field, default, reason), "a number")

    def money(self, field: str, default: str, reason: str) -> Decimal:
        """Return an exact amount."""
        return read_money(self._filled(field, default, reason), "an amount")

    def text(self, field: str, default: str, reason: str) -> str:
        """Return a line of text; an empty one counts as not given."""
        return str(self._filled(field, default, reason))

    def truth(self, field: str, *, default: bool, reason: str) -> bool:
        """Return yes or no."""
        typed = self._typed(field)
        if typed is None:
            self.note(field, "yes" if default else "no", reason)
            return default
        return bool(typed)

    def choice(self, field: str, default: ChoiceT, kind: type[ChoiceT], reason: str) -> ChoiceT:
        """Return one of a closed list of words."""
        return kind(str(self._filled(field, default, reason)))

    def _filled(self, field: str, default: str, reason: str) -> str | float | int:
        typed = self._typed(field)
        if typed is None or typed == "":
            self.note(field, str(default), reason)
            return default
        return typed  # type: ignore[return-value]

    def _typed(self, field: str) -> object | None:
        if field in self.given:
            return self.given[field]
        preset = self._preset_values.get(field)
        if preset is None:
            return None
        self.note(field, _in_words(preset.value), f"{self.preset.title}: {preset.reason}")
        return preset.value


def _in_words(value: str | bool) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value


def leak_default(volume_m3: float, target_pa: float) -> tuple[str, str]:
    """Return the leak rate taken when none is stated, and why.

    Parameters
    ----------
    volume_m3 : float
        Chamber volume. [m3]
    target_pa : float
        Pressure to be reached. [Pa]
    """
    if target_pa < METAL_SEALED_BELOW_PA:
        return "1e-9 mbar*L/s", "such a pressure needs metal seals, tested with helium"
    rate = next(rate for limit_m3, rate in _LEAK_BY_VOLUME if volume_m3 <= limit_m3)
    return rate, "a sound chamber of this size with elastomer seals"


def surfaces_default(
    recipe: SurfaceRecipe, volume_m3: float, target_pa: float
) -> tuple[tuple[Surface, ...], str]:
    """Return the surfaces taken when none are stated, and why.

    Parameters
    ----------
    recipe : SurfaceRecipe
        The application's material, state, fixtures and seals.
    volume_m3 : float
        Chamber volume; the wall is a cube's, A = 6 V^(2/3), times the recipe's fixtures. [m3]
    target_pa : float
        Pressure to be reached; below 1e-6 Pa a baked, metal-sealed chamber is taken. [Pa]
    """
    wall_m2 = 6.0 * volume_m3 ** (2.0 / 3.0) * recipe.fixtures
    wall_words = f"a cube of this volume has the wall; × {recipe.fixtures:g} for what is inside"
    if target_pa < BAKED_BELOW_PA:
        wall = Surface("stainless_steel", Condition.BAKED, wall_m2)
        return (wall,), f"{wall_words}; such a pressure needs a baked, metal-sealed chamber"
    wall = Surface(recipe.material, Condition(recipe.condition), wall_m2)
    if not recipe.seal:
        return (wall,), f"{wall_words}; metal seals"
    seal = Surface(recipe.seal, Condition.UNBAKED, wall_m2 * recipe.seal_share)
    share = f"{100.0 * recipe.seal_share:g} % of it for {recipe.seal.upper()} seals"
    return (wall, seal), f"{wall_words}, {share}"
