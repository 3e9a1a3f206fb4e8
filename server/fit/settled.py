"""What a field of combinations settles to: the shapes that margins and pump-downs read."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

import numpy as np

from server.fit.backing import BacksAtWork, BackTables
from server.fit.foreline import Foreline
from server.fit.front_states import FrontStates
from server.fit.inlet import InletTables
from server.physics.arrays import BoolArray, FloatArray, IntArray

LinesFor = Callable[[Mapping[str, float]], Foreline]
"""The forelines, with the backs and their traps as they work while a load comes to them."""


@dataclass(frozen=True)
class SettledState:
    """One steady state of all combinations; NaN where the load has no state.

    Each part is solved when it is first asked for: a single margin needs few of them.
    """

    load_pa_m3_s: Mapping[str, float]
    reaching_pa_m3_s: FloatArray
    """Load that reaches the pump, vapours held by its trap taken off, shape (fronts or 1, 1)."""
    tolerable_pa: FloatArray | None
    solve_chamber: Callable[[], tuple[FloatArray, Mapping[str, FloatArray]]]
    """Pressure and its parts by species."""
    solve_inlet: Callable[[FloatArray, BoolArray | None], FloatArray]
    """Pressure at the pump's inlet, given that in the chamber; right where it is wanted."""
    solve_rest: Callable[[], FloatArray]
    """Pressure at the pump's inlet without load."""
    solve_foreline: Callable[[], FloatArray] | None = None
    behind: LinesFor | None = None
    """The forelines in this state; None for rough stacks."""
    _inlets: dict[tuple[int, int], float] = field(default_factory=dict, repr=False)

    @cached_property
    def _chamber(self) -> tuple[FloatArray, Mapping[str, FloatArray]]:
        return self.solve_chamber()

    @property
    def chamber_pa(self) -> FloatArray:
        """Pressure in the chamber."""
        return self._chamber[0]

    @property
    def partial_pa(self) -> Mapping[str, FloatArray]:
        """Its parts by species."""
        return self._chamber[1]

    @cached_property
    def inlet_pa(self) -> FloatArray:
        """Pressure at the pump's inlet."""
        return self.solve_inlet(self.chamber_pa, None)

    def solve_inlets(self, fronts: IntArray, backs: IntArray) -> None:
        """Find the pressure at the pump's inlet of a few combinations that are to be shown."""
        if "inlet_pa" in vars(self):
            return
        wanted = np.zeros(self.chamber_pa.shape, dtype=np.bool_)
        wanted[fronts, backs] = True
        found = self.solve_inlet(self.chamber_pa, wanted)[fronts, backs].tolist()
        self._inlets.update(
            zip(zip(fronts.tolist(), backs.tolist(), strict=True), found, strict=True)
        )

    def inlet_at_pa(self, front: int, back: int) -> float:
        """Pressure at the pump's inlet of one combination."""
        if (front, back) not in self._inlets:
            self._inlets[front, back] = float(self.inlet_pa[front, back])
        return self._inlets[front, back]

    @cached_property
    def rest_pa(self) -> FloatArray:
        """Pressure at the pump's inlet without load: its own, and what diffuses back."""
        return self.solve_rest()

    @cached_property
    def foreline_pa(self) -> FloatArray | None:
        """Pressure at the high-vacuum pump's outlet; None for rough stacks."""
        return self.solve_foreline() if self.solve_foreline else None

    @property
    def throughput_pa_m3_s(self) -> float:
        """Whole gas load."""
        return sum(self.load_pa_m3_s.values())


class FieldStates(Protocol):
    """States and limits of a field of combinations."""

    @property
    def base(self) -> SettledState:
        """A day after pumping began, without process gas."""
        ...

    @property
    def process(self) -> SettledState | None:
        """While the process runs."""
        ...

    @property
    def capacity_pa_m3_s(self) -> FloatArray | None:
        """Largest throughput: the pump's own or what the foreline lets it carry."""
        ...

    @property
    def burst_pa_m3_s(self) -> FloatArray | None:
        """Largest throughput of air, which is what is left at the crossover."""
        ...

    @property
    def crossover_limit_pa(self) -> FloatArray | None:
        """Highest chamber pressure at which the high-vacuum pump may take over."""
        ...

    @property
    def rough_floor_pa(self) -> FloatArray | None:
        """Lowest chamber pressure by roughing alone."""
        ...

    @property
    def offset_pa(self) -> FloatArray:
        """Pressure in the chamber without load."""
        ...

    @property
    def alone(self) -> FrontStates | None:
        """States of the fronts by themselves; None for rough stacks."""
        ...

    @property
    def inlet(self) -> InletTables | None:
        """Speed tables of the fronts, traps as without process; None for rough stacks."""
        ...

    @property
    def inlet_at_work(self) -> InletTables | None:
        """The same as the traps work while the process runs, if there is one."""
        ...

    @property
    def backing(self) -> BackTables:
        """Speed tables of the backs."""
        ...

    def reaching(self, load: Mapping[str, float]) -> list[tuple[BoolArray, dict[str, float]]]:
        """Return fronts that let a load by alike, with what of it reaches their backs."""
        ...

    @property
    def backs_at_work(self) -> BacksAtWork:
        """The backs as they and their traps work under the whole load of the process."""
        ...

    @property
    def behind_turbo_pa(self) -> FloatArray | None:
        """Foreline pressure of the turbomolecular pumps that rough for others, shape (1, B)."""
        ...


def let_go(states: FieldStates) -> None:
    """Forget the solved states of a field that nobody will read again.

    They refer to what solves them and that to them, so that memory would wait for the collector.
    """
    for name in ("base", "process"):
        vars(states).pop(name, None)
