"""Surfaces that can be made to give off less gas."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from server.fit.names import material_in_words
from server.fit.remedies.matters import Matter, Settings
from server.fit.requirements import Condition, Requirements, Surface
from server.physics.outgassing import OUTGASSING
from server.units import Dimension, format_quantity


@dataclass(frozen=True)
class Treatment:
    """A surface made cleaner: steps of outgassing rates that can be had, the nearest first."""

    position: int
    surface: Surface
    steps: tuple[Condition, ...]

    @property
    def path(self) -> str:
        """The field of the inquiry."""
        return f"{Matter.SURFACES.value}.{self.position}.condition"

    def apply(self, requirements: Requirements, condition: Condition) -> Requirements:
        """Return the inquiry with the surface in another condition."""
        chamber = requirements.chamber
        surfaces = list(chamber.surfaces)
        surfaces[self.position] = replace(self.surface, condition=condition)
        return replace(requirements, chamber=replace(chamber, surfaces=tuple(surfaces)))

    def say(self, condition: Condition) -> str:
        """Return what to tell the customer."""
        what = material_in_words(self.surface.material)
        area = format_quantity(self.surface.area_m2, Dimension.AREA, digits=2)
        work = "Bake" if condition is Condition.BAKED else "Clean and degrease"
        how = "" if condition is not Condition.BAKED else " (in vacuum, long and hot enough)"
        return f"{work} the {area} of {what}{how}."

    def settings(self, condition: Condition) -> Settings:
        """Return what to type into the inquiry."""
        return ((self.path, condition.value),)

    def rate_pa_m_s(self, condition: Condition) -> float:
        """Return the outgassing rate of the surface one hour after pumping began."""
        return OUTGASSING[self.surface.material, condition.value].q1_pa_m_s


def treatments(requirements: Requirements) -> Iterator[Treatment]:
    """Yield the surfaces that can be made cleaner."""
    order = (Condition.AS_RECEIVED, Condition.UNBAKED, Condition.BAKED)
    for position, surface in enumerate(requirements.chamber.surfaces):
        better = order[order.index(surface.condition) + 1 :]
        known = tuple(step for step in better if (surface.material, step.value) in OUTGASSING)
        if known:
            yield Treatment(position, surface, known)
