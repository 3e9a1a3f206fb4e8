"""Speeds of the backs, where roughing gets the chamber, and what stands in the foreline.

Backs that differ in nothing that touches a speed share a row: the same pumps behind different lines
have one at their inlet, the same pumps behind lines that pass gas alike one at the chamber.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.catalog.arrays import GRID, CatalogArrays, arrays_of
from server.catalog.items import Catalog, RootsBooster, Trap, TurboPump
from server.fit.alike import Groups, SharedSpeeds, Speeds
from server.fit.candidates import Back
from server.fit.geometry import groups_by_line, rough_line, rough_line_to_trap
from server.fit.inlet import Lines, cold_surface_speed, is_caught, over_held_pa
from server.fit.memory import Terms, shelf
from server.fit.requirements import Requirements
from server.physics.arrays import FloatArray, IntArray
from server.physics.speedtable import SpeedTable, net_speed_m3_s

_SHARED = ("inlet", "chamber", "working_inlet", "working_chamber", "alone")


@dataclass(frozen=True)
class BackTables:
    """Speed tables of the backs, each made when it is first asked for."""

    backs: tuple[Back, ...]
    species: tuple[str, ...]
    requirements: Requirements
    catalog: Catalog

    @property
    def arrays(self) -> CatalogArrays:
        """The catalogue's curves, tabulated."""
        return arrays_of(self.catalog)

    @cached_property
    def inlet(self) -> SharedSpeeds:
        """Speeds at the backs' own inlet."""
        pumps = Groups.by(back.skus[:2] for back in self.backs)
        backs = self._some(pumps.first)
        return self._shared(pumps, lambda gas: self._speeds(backs, gas, ballast=False), "inlet")

    @cached_property
    def chamber(self) -> SharedSpeeds:
        """Speeds at the chamber, through the rough line."""
        own = self.inlet
        groups = Groups.by_number(own.of, self._rough_line_of)
        rows = own.rows[own.of[groups.first]]

        def through(gas: str) -> FloatArray:
            lines = self._rough_lines.of(groups.first)
            return lines.speeds_through(own.tables[gas].speed_m3_s[rows], gas)

        return self._shared(groups, through, "chamber", self.requirements.rough_line)

    @cached_property
    def working_inlet(self) -> SharedSpeeds:
        """Speeds at the inlet while vapour is pumped: with gas ballast where the pump has it.

        A vapour that the back's trap holds meets its cold wall.
        """
        if not self._ballast:
            return self.inlet
        holding = {sku for _, sku in self._held}
        sets = Groups.by(
            back.skus if back.skus[2] in holding else back.skus[:2] for back in self.backs
        )
        backs = self._some(sets.first)

        def speeds(gas: str) -> FloatArray:
            found = self._speeds(backs, gas, ballast=True)
            for row, trap in self._holding(backs, gas):
                found[row] = cold_surface_speed(trap, gas)
            return found

        return self._shared(sets, speeds, "working inlet", self._held)

    @cached_property
    def working_chamber(self) -> SharedSpeeds:
        """Speeds at the chamber while vapour is pumped.

        A vapour that the back's trap holds meets the line in front of the trap only.
        """
        if not self._ballast:
            return self.chamber
        own = self.working_inlet
        groups = Groups.by_number(own.of, self._rough_line_of)
        backs = self._some(groups.first)
        rows = own.rows[own.of[groups.first]]

        def through(gas: str) -> FloatArray:
            lines = self._rough_lines.of(groups.first)
            speeds = own.tables[gas].speed_m3_s[rows]
            reached = lines.speeds_through(speeds, gas)
            held = [row for row, _ in self._holding(backs, gas)]
            if held:
                stubs = [
                    rough_line_to_trap(backs[row], self.requirements, self.catalog) for row in held
                ]
                reached[held] = Lines(stubs).speeds_through(speeds[held], gas)
            return reached

        return self._shared(
            groups, through, "working chamber", self.requirements.rough_line, self._held
        )

    @cached_property
    def alone(self) -> SharedSpeeds | None:
        """Speeds of the backing pumps behind turbomolecular pumps; None where there are none."""
        if not any(isinstance(back.booster, TurboPump) for back in self.backs):
            return None
        pumps = Groups.by(back.backing.sku for back in self.backs)
        rows = [self.arrays.row_of[back.backing.sku] for back in self._some(pumps.first)]
        return self._shared(pumps, lambda gas: self.arrays.speed(gas).speed_m3_s[rows], "alone")

    @property
    def at_inlet(self) -> Speeds:
        """``inlet`` with a row for every back."""
        return self.inlet.each

    @property
    def at_chamber(self) -> Speeds:
        """``chamber`` with a row for every back."""
        return self.chamber.each

    @property
    def working(self) -> Speeds:
        """``working_inlet`` with a row for every back."""
        return self.working_inlet.each

    @property
    def at_chamber_working(self) -> Speeds:
        """``working_chamber`` with a row for every back."""
        return self.working_chamber.each

    @property
    def behind_turbo(self) -> Speeds:
        """``alone`` with a row for every back, empty where there is no such turbo."""
        return self.alone.each if self.alone else {}

    @cached_property
    def resting_pa(self) -> FloatArray:
        """Vapour pressure over what each back's trap holds, while vapour is pumped."""
        traps = Groups.by(back.skus[2] for back in self.backs)
        over = [over_held_pa(back.trap, self.requirements) for back in self._some(traps.first)]
        return np.array(over)[traps.of]

    def only(self, backs: IntArray) -> BackTables:
        """Return the tables of some of the backs; those that are made already are kept."""
        some = BackTables(self._some(backs), self.species, self.requirements, self.catalog)
        for name in _SHARED:
            shared: SharedSpeeds | None = vars(self).get(name)
            if shared is not None:
                vars(some)[name] = shared.only(backs)
        return some

    def _shared(
        self, groups: Groups, make: Callable[[str], FloatArray], *key: Hashable
    ) -> SharedSpeeds:
        """Return tables that inquiries share in which backs and key are the same."""

        def table(gas: str) -> SpeedTable:
            return shelf().once((self._names, gas, *key), lambda: SpeedTable(GRID, make(gas)))

        return SharedSpeeds.made(groups, self.species, table)

    @cached_property
    def _names(self) -> Terms:
        """What says which backs these are."""
        return Terms((self.catalog.version, *(back.skus for back in self.backs)))

    def let_go(self) -> None:
        """Forget the tables: they refer to what makes them, so that memory awaits no collector."""
        for name in (*_SHARED, "_rough_lines"):
            vars(self).pop(name, None)

    def _some(self, backs: IntArray) -> tuple[Back, ...]:
        return tuple(self.backs[place] for place in backs)

    @property
    def _ballast(self) -> bool:
        return bool(self.requirements.process.vapour)

    @cached_property
    def _held(self) -> frozenset[tuple[str, str]]:
        """Vapours with the SKUs of the traps that hold them."""
        traps = {back.trap.sku: back.trap for back in self.backs if back.trap is not None}
        return frozenset(
            (gas, sku)
            for sku, trap in traps.items()
            for gas in self.species
            if is_caught(gas, trap, self.requirements)
        )

    def _holding(self, backs: Sequence[Back], gas: str) -> list[tuple[int, Trap]]:
        """Positions of backs whose trap holds a vapour, with the trap."""
        return [
            (row, back.trap)
            for row, back in enumerate(backs)
            if back.trap is not None and (gas, back.trap.sku) in self._held
        ]

    def _speeds(self, backs: Sequence[Back], gas: str, *, ballast: bool) -> FloatArray:
        """Speeds of some backs at their own inlet."""
        table = self.arrays.speed(gas, with_ballast=ballast).speed_m3_s
        speeds = table[[self.arrays.row_of[back.backing.sku] for back in backs]]
        boosted = {
            position: (back.backing, back.booster)
            for position, back in enumerate(backs)
            if isinstance(back.booster, RootsBooster)
        }
        speeds[list(boosted)] = self.arrays.boosted(
            list(boosted.values()), gas, with_ballast=ballast
        )
        for position, back in enumerate(backs):
            if isinstance(back.booster, TurboPump):
                own = table[self.arrays.row_of[back.booster.sku]]
                # its curve goes on below the pressure it can reach: roughing comes to rest there
                own = net_speed_m3_s(own, GRID.pressure_pa, back.booster.ultimate_pa)
                started = GRID.pressure_pa <= back.booster.start_pressure_pa
                speeds[position] = np.where(
                    started, np.maximum(own, speeds[position]), speeds[position]
                )
        return speeds

    @property
    def _rough_line_of(self) -> IntArray:
        """Which of the rough lines each back has."""
        return shelf().once(
            (self._names, "rough line", self.requirements.rough_line),
            lambda: self._rough_lines.line_of,
        )

    @cached_property
    def _rough_lines(self) -> Lines:
        """The rough line of every back."""
        alike = groups_by_line(self.backs)
        lines = [
            rough_line(back, self.requirements, self.catalog) for back in self._some(alike.first)
        ]
        return Lines(lines).of(alike.of)


def back_tables(
    backs: Sequence[Back], species: Sequence[str], requirements: Requirements, catalog: Catalog
) -> BackTables:
    """Return the speeds of all backs for the species of the load."""
    return BackTables(tuple(backs), tuple(species), requirements, catalog)
