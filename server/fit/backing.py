"""Speeds of the backs, where roughing gets the chamber, and what stands in the foreline."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.catalog.arrays import GRID, CatalogArrays, arrays_of
from server.catalog.items import Catalog, RootsBooster, Trap, TurboPump
from server.fit.candidates import Back
from server.fit.geometry import rough_line, rough_line_to_trap
from server.fit.inlet import Lines, cold_surface_speed, is_caught, over_trap_pa
from server.fit.requirements import Requirements
from server.physics.arrays import FloatArray, IntArray
from server.physics.line import Line
from server.physics.speedtable import SpeedTable, net_speed_m3_s

Speeds = Mapping[str, SpeedTable]
"""One table for each species."""


@dataclass(frozen=True)
class BackTables:
    """Speed tables of the backs, each made when it is first asked for."""

    backs: tuple[Back, ...]
    species: tuple[str, ...]
    requirements: Requirements
    arrays: CatalogArrays

    @cached_property
    def at_inlet(self) -> Speeds:
        """Speeds at the backs' own inlet."""
        return {gas: SpeedTable(GRID, self._speeds(gas, ballast=False)) for gas in self.species}

    @cached_property
    def at_chamber(self) -> Speeds:
        """Speeds at the chamber, through the rough line."""
        return {
            gas: SpeedTable(GRID, self._through(own.speed_m3_s, gas))
            for gas, own in self.at_inlet.items()
        }

    @cached_property
    def working(self) -> Speeds:
        """Speeds at the inlet while vapour is pumped: with gas ballast where the pump has it.

        A vapour that the back's trap holds meets its cold wall.
        """
        if not self._ballast:
            return self.at_inlet
        found = {}
        for gas in self.species:
            speeds = self._speeds(gas, ballast=True)
            holding = self._holding(gas)
            if holding:
                walls = {trap.sku: cold_surface_speed(trap, gas) for _, trap in holding}
                speeds[[row for row, _ in holding]] = [walls[trap.sku] for _, trap in holding]
            found[gas] = SpeedTable(GRID, speeds)
        return found

    @cached_property
    def at_chamber_working(self) -> Speeds:
        """Speeds at the chamber while vapour is pumped.

        A vapour that the back's trap holds meets the line in front of the trap only.
        """
        if not self._ballast:
            return self.at_chamber
        found = {}
        for gas, own in self.working.items():
            reached = self._through(own.speed_m3_s, gas)
            rows = [row for row, _ in self._holding(gas)]
            if rows:
                stubs = [rough_line_to_trap(self.backs[row], self.requirements) for row in rows]
                reached[rows] = Lines(stubs).speeds_through(own.speed_m3_s[rows], gas)
            found[gas] = SpeedTable(GRID, reached)
        return found

    @cached_property
    def behind_turbo(self) -> Speeds:
        """Speeds of the backing pumps alone where a turbomolecular pump stands in front."""
        if not any(isinstance(back.booster, TurboPump) for back in self.backs):
            return {}
        rows = [self.arrays.row_of[back.backing.sku] for back in self.backs]
        return {
            gas: SpeedTable(GRID, self.arrays.speed(gas).speed_m3_s[rows]) for gas in self.species
        }

    @cached_property
    def resting_pa(self) -> FloatArray:
        """Vapour pressure over what each back's trap holds, while vapour is pumped."""
        return np.array([_resting_pa(back, self.requirements) for back in self.backs])

    def only(self, backs: IntArray) -> BackTables:
        """Return the tables of some of the backs; those that are made already are kept."""
        some = BackTables(
            tuple(self.backs[place] for place in backs),
            self.species,
            self.requirements,
            self.arrays,
        )
        for name in ("at_inlet", "at_chamber", "working", "at_chamber_working", "behind_turbo"):
            if name in vars(self):
                made: Speeds = getattr(self, name)
                vars(some)[name] = {
                    gas: SpeedTable(GRID, table.speed_m3_s[backs]) for gas, table in made.items()
                }
        return some

    @property
    def _ballast(self) -> bool:
        return bool(self.requirements.process.vapour)

    def _holding(self, gas: str) -> list[tuple[int, Trap]]:
        """Backs whose trap holds a vapour."""
        return [
            (row, back.trap)
            for row, back in enumerate(self.backs)
            if back.trap is not None and is_caught(gas, back.trap, self.requirements)
        ]

    def _speeds(self, gas: str, *, ballast: bool) -> FloatArray:
        table = self.arrays.speed(gas, with_ballast=ballast).speed_m3_s
        rows = [self.arrays.row_of[back.backing.sku] for back in self.backs]
        speeds = table[rows]
        boosted = {
            position: (back.backing, back.booster)
            for position, back in enumerate(self.backs)
            if isinstance(back.booster, RootsBooster)
        }
        speeds[list(boosted)] = self.arrays.boosted(
            list(boosted.values()), gas, with_ballast=ballast
        )
        for position, back in enumerate(self.backs):
            if isinstance(back.booster, TurboPump):
                own = table[self.arrays.row_of[back.booster.sku]]
                # its curve goes on below the pressure it can reach: roughing comes to rest there
                own = net_speed_m3_s(own, GRID.pressure_pa, back.booster.ultimate_pa)
                started = GRID.pressure_pa <= back.booster.start_pressure_pa
                speeds[position] = np.where(
                    started, np.maximum(own, speeds[position]), speeds[position]
                )
        return speeds

    def _through(self, speed_m3_s: FloatArray, gas: str) -> FloatArray:
        """Speeds that are left at the chamber's end of the rough lines."""
        return self._rough_lines.speeds_through(speed_m3_s, gas)

    @cached_property
    def _rough_lines(self) -> Lines:
        lines: dict[tuple[object, ...], Line] = {}
        found = []
        for back in self.backs:
            key = (back.entry, back.inlet_pump.inlet.bore_m, back.line_trap_sku)
            if key not in lines:
                lines[key] = rough_line(back, self.requirements)
            found.append(lines[key])
        return Lines(found)


def back_tables(
    backs: Sequence[Back], species: Sequence[str], requirements: Requirements, catalog: Catalog
) -> BackTables:
    """Return the speeds of all backs for the species of the load."""
    return BackTables(tuple(backs), tuple(species), requirements, arrays_of(catalog))


def _resting_pa(back: Back, requirements: Requirements) -> float:
    """Vapour pressures over the trap add up: ices that dissolve in each other have less."""
    vapours = dict.fromkeys(load.substance for load in requirements.process.vapour)
    return sum(
        over_trap_pa(vapour, back.trap)
        for vapour in vapours
        if back.trap is not None and is_caught(vapour, back.trap, requirements)
    )
