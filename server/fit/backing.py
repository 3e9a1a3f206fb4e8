"""Speeds of the backs, where roughing gets the chamber, and what stands in the foreline.

Backs that differ in nothing that touches a speed share a row: the same pumps behind different lines
have one at their inlet, the same pumps behind lines that pass gas alike one at the chamber.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from server.catalog.arrays import GRID, CatalogArrays, arrays_of
from server.catalog.items import Catalog, RootsBooster, Trap, TurboPump
from server.fit.alike import Groups, MadeWhenAsked, SharedSpeeds, Speeds
from server.fit.candidates import Back
from server.fit.cold_walls import AtWalls, ColdWalls
from server.fit.geometry import groups_by_line, rough_line, rough_line_to_trap
from server.fit.inlet import Lines, cold_surface_speed
from server.fit.memory import Terms, shelf
from server.fit.requirements import Requirements
from server.physics.arrays import FloatArray, IntArray
from server.physics.speedtable import SpeedTable, net_speed_m3_s

_SHARED = ("inlet", "chamber", "alone")


@dataclass(frozen=True)
class BackTables:
    """Speed tables of the backs, each made when it is first asked for."""

    backs: tuple[Back, ...]
    species: tuple[str, ...]
    requirements: Requirements
    catalog: Catalog
    _at_work: dict[Hashable, BacksAtWork] = field(default_factory=dict, repr=False, compare=False)

    @property
    def arrays(self) -> CatalogArrays:
        """The catalogue's curves, tabulated."""
        return arrays_of(self.catalog)

    @cached_property
    def inlet(self) -> SharedSpeeds:
        """Speeds at the backs' own inlet."""
        pumps = Groups.by(back.skus[:2] for back in self.backs)
        backs = self.some(pumps.first)
        return self.shared(pumps, lambda gas: self.speeds(backs, gas, ballast=False), "inlet")

    @cached_property
    def chamber(self) -> SharedSpeeds:
        """Speeds at the chamber, through the rough line."""
        own = self.inlet
        groups = Groups.by_number(own.of, self.rough_line_of)
        rows = own.rows[own.of[groups.first]]

        def through(gas: str) -> FloatArray:
            lines = self.rough_lines.of(groups.first)
            return lines.speeds_through(own.tables[gas].speed_m3_s[rows], gas)

        return self.shared(groups, through, "chamber", self.requirements.rough_line)

    @cached_property
    def walls(self) -> BackWalls:
        """The traps in front of the backing pumps, gas ballast open while vapour is pumped."""
        pairs = Groups.by(
            (back.backing.sku, back.trap.sku if back.trap else "") for back in self.backs
        )
        first = self.some(pairs.first)
        made = MadeWhenAsked(self.species, lambda gas: self.arrays.speed(gas, with_ballast=True))
        walls = ColdWalls(
            tuple(back.trap for back in first),
            tuple(back.backing.inlet.bore_m for back in first),
            made,
            np.array([self.arrays.row_of[back.backing.sku] for back in first], dtype=np.intp),
            (self._names, "gas ballast"),
        )
        return BackWalls(walls, pairs.of)

    def at_work(self, load_pa_m3_s: Mapping[str, float]) -> BacksAtWork:
        """Return the backs as they and their traps work while a load comes to them.

        With gas ballast where vapour is pumped and the pump has it; a vapour that a trap holds
        meets its cold wall, and at the chamber the line in front of the trap only.
        """
        if not self.requirements.process.vapour:
            load_pa_m3_s = {}
        held = self.walls.walls.under(load_pa_m3_s)
        if held.key not in self._at_work:
            self._at_work[held.key] = BacksAtWork(self, held)
        return self._at_work[held.key]

    def beyond_trap(self, load_pa_m3_s: Mapping[str, float]) -> dict[str, FloatArray]:
        """Return what of a load that comes to each back reaches its pump, by species."""
        walls = self.walls.walls
        passes = walls.under(load_pa_m3_s).passes
        return {
            gas: passes.get(gas, np.full(len(walls.traps), flow))[self.walls.of]
            for gas, flow in load_pa_m3_s.items()
        }

    @cached_property
    def alone(self) -> SharedSpeeds | None:
        """Speeds of the backing pumps behind turbomolecular pumps; None where there are none."""
        if not any(isinstance(back.booster, TurboPump) for back in self.backs):
            return None
        pumps = Groups.by(back.backing.sku for back in self.backs)
        rows = [self.arrays.row_of[back.backing.sku] for back in self.some(pumps.first)]
        return self.shared(pumps, lambda gas: self.arrays.speed(gas).speed_m3_s[rows], "alone")

    @property
    def at_inlet(self) -> Speeds:
        """``inlet`` with a row for every back."""
        return self.inlet.each

    @property
    def at_chamber(self) -> Speeds:
        """``chamber`` with a row for every back."""
        return self.chamber.each

    @property
    def behind_turbo(self) -> Speeds:
        """``alone`` with a row for every back, empty where there is no such turbo."""
        return self.alone.each if self.alone else {}

    def only(self, backs: IntArray) -> BackTables:
        """Return the tables of some of the backs; those that are made already are kept."""
        some = BackTables(self.some(backs), self.species, self.requirements, self.catalog)
        for name in _SHARED:
            shared: SharedSpeeds | None = vars(self).get(name)
            if shared is not None:
                vars(some)[name] = shared.only(backs)
        if "walls" in vars(self):
            vars(some)["walls"] = replace(self.walls, of=self.walls.of[backs])
            for key, at_work in self._at_work.items():
                some._at_work[key] = at_work.only(backs, some)
        return some

    def shared(
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
        for name in (*_SHARED, "walls", "rough_lines"):
            vars(self).pop(name, None)
        for at_work in self._at_work.values():
            for name in ("inlet", "chamber"):
                vars(at_work).pop(name, None)
        self._at_work.clear()

    def some(self, backs: IntArray) -> tuple[Back, ...]:
        """Return some of the backs."""
        return tuple(self.backs[place] for place in backs)

    def speeds(self, backs: Sequence[Back], gas: str, *, ballast: bool) -> FloatArray:
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
    def rough_line_of(self) -> IntArray:
        """Which of the rough lines each back has."""
        return shelf().once(
            (self._names, "rough line", self.requirements.rough_line),
            lambda: self.rough_lines.line_of,
        )

    @cached_property
    def rough_lines(self) -> Lines:
        """The rough line of every back."""
        alike = groups_by_line(self.backs)
        lines = [
            rough_line(back, self.requirements, self.catalog) for back in self.some(alike.first)
        ]
        return Lines(lines).of(alike.of)


def back_tables(
    backs: Sequence[Back], species: Sequence[str], requirements: Requirements, catalog: Catalog
) -> BackTables:
    """Return the speeds of all backs for the species of the load."""
    return BackTables(tuple(backs), tuple(species), requirements, catalog)


@dataclass(frozen=True)
class BackWalls:
    """Traps in front of backing pumps, and which of them each back has."""

    walls: ColdWalls
    of: IntArray


@dataclass(frozen=True)
class BacksAtWork:
    """The backs while their traps hold some vapours; what depends on nothing else of the load."""

    tables: BackTables
    held: AtWalls

    @property
    def key(self) -> Hashable:
        """What is held where."""
        return self.held.key

    @cached_property
    def _held_at(self) -> Hashable:
        """What is held at which back; walls are numbered anew for every set of backs."""
        of = self.tables.walls.of
        return tuple((gas, held[of].tobytes()) for gas, held in self.held.holds.items())

    @cached_property
    def over_pa(self) -> FloatArray:
        """Pressure over the vapours that each back's trap holds, shape (backs,)."""
        return self.held.over_pa[self.tables.walls.of]

    def standing_pa(self, gas: str) -> FloatArray:
        """Return the pressure of one vapour over each back's trap, 0 where it holds none of it."""
        return self.held.standing_pa(gas)[self.tables.walls.of]

    @cached_property
    def inlet(self) -> SharedSpeeds:
        """Speeds at the backs' inlets."""
        tables, wall_of = self.tables, self.tables.walls.of
        if not tables.requirements.process.vapour:
            return tables.inlet
        holding = np.zeros(len(self.held.over_pa), dtype=np.bool_)
        for held in self.held.holds.values():
            holding |= held
        wall = np.where(holding[wall_of], wall_of, -1)
        sets = Groups.by(
            (*back.skus[:2], held_by)
            for back, held_by in zip(tables.backs, wall.tolist(), strict=True)
        )
        backs = tables.some(sets.first)

        def speeds(gas: str) -> FloatArray:
            found = tables.speeds(backs, gas, ballast=True)
            for row, trap in self._holding(gas, sets.first):
                found[row] = cold_surface_speed(trap, gas)
            return found

        return tables.shared(sets, speeds, "working inlet", self._held_at)

    @cached_property
    def chamber(self) -> SharedSpeeds:
        """Speeds at the chamber, through the rough line."""
        tables, own = self.tables, self.inlet
        if not tables.requirements.process.vapour:
            return tables.chamber
        groups = Groups.by_number(own.of, tables.rough_line_of)
        rows = own.rows[own.of[groups.first]]

        def through(gas: str) -> FloatArray:
            lines = tables.rough_lines.of(groups.first)
            speeds = own.tables[gas].speed_m3_s[rows]
            reached = lines.speeds_through(speeds, gas)
            held = [row for row, _ in self._holding(gas, groups.first)]
            if held:
                stubs = [
                    rough_line_to_trap(back, tables.requirements, tables.catalog)
                    for back in tables.some(groups.first[held])
                ]
                reached[held] = Lines(stubs).speeds_through(speeds[held], gas)
            return reached

        line = tables.requirements.rough_line
        return tables.shared(groups, through, "working chamber", line, self._held_at)

    def only(self, backs: IntArray, tables: BackTables) -> BacksAtWork:
        """Return the same for some of the backs, with their tables; what is made is kept."""
        some = BacksAtWork(tables, self.held)
        for name in ("inlet", "chamber"):
            shared: SharedSpeeds | None = vars(self).get(name)
            if shared is not None:
                vars(some)[name] = shared.only(backs)
        return some

    def _holding(self, gas: str, backs: IntArray) -> list[tuple[int, Trap]]:
        """Positions among some backs of those whose trap holds a vapour, with the trap."""
        held = self.held.holds.get(gas)
        if held is None:
            return []
        where = np.flatnonzero(held[self.tables.walls.of[backs]])
        traps = (back.trap for back in self.tables.some(backs[where]))
        return [(row, trap) for row, trap in zip(where.tolist(), traps, strict=True) if trap]
