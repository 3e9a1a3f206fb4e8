"""Speeds of the high-vacuum side, at the pump's inlet and at the chamber, for every front at once.

Fronts that differ in fluid alone share a row: the row belongs to the arrangement of pump and trap.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from server.catalog.arrays import GRID, arrays_of
from server.catalog.items import Catalog, Trap
from server.fit.alike import Groups, MadeWhenAsked, Speeds
from server.fit.candidates import Front, HighVacuumPump
from server.fit.cold_walls import AtWalls, ColdWalls, over_trap_pa
from server.fit.geometry import chamber_line, line_table, line_to_trap, restriction
from server.fit.loads import PUMP_K
from server.fit.memory import Terms, shelf
from server.fit.requirements import Requirements
from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.entry_speed import FlowPotential, entry_speed_m3_s
from server.physics.gas import Mixture, gas_state
from server.physics.line import Line, line_conductance_m3_s
from server.physics.line_table import LineTable
from server.physics.orifice import sonic_factor
from server.physics.species import SPECIES, Species
from server.physics.speedtable import SpeedTable

Arrangement = tuple[HighVacuumPump, Trap | None]


@dataclass(frozen=True)
class InletTables:
    """Speed tables of the arrangements, one per species, and the row of each front.

    ``at_chamber`` is as the traps work under one load, the one of ``under``; before that, as if
    nothing were held.
    """

    arrangements: tuple[Arrangement, ...]
    row_of_front: IntArray
    at_pump: Speeds
    walls: ColdWalls
    """The traps in front of the pumps."""
    at_work: AtWalls
    """What they do with the load."""
    _chamber: _AtChamber

    @property
    def at_chamber(self) -> Speeds:
        """Speeds at the chamber: of a vapour that is held those towards the cold wall."""
        return self._chamber.under(self.at_work)

    @property
    def over_pa(self) -> FloatArray:
        """Pressure over the vapours that each front's trap holds, shape (fronts,)."""
        return self.at_work.over_pa[self.row_of_front]

    def under(self, load_pa_m3_s: Mapping[str, float]) -> InletTables:
        """Return the tables as the traps work under a load."""
        at_work = self.walls.under(load_pa_m3_s)
        return self if at_work.key == self.at_work.key else replace(self, at_work=at_work)

    def beyond_trap(self, load_pa_m3_s: Mapping[str, float]) -> dict[str, FloatArray]:
        """Return the load that reaches each arrangement's pump, by species."""
        passes = self.walls.under(load_pa_m3_s).passes
        return {
            gas: passes.get(gas, np.full(len(self.arrangements), flow))
            for gas, flow in load_pa_m3_s.items()
        }

    def only(self, fronts: IntArray) -> InletTables:
        """Return the tables for some of the fronts."""
        return replace(self, row_of_front=self.row_of_front[fronts])


class _AtChamber:
    """Speeds at the chamber of all arrangements, whatever their traps hold."""

    def __init__(
        self,
        arrangements: Sequence[Arrangement],
        names: Hashable,
        at_pump: Speeds,
        requirements: Requirements,
        catalog: Catalog,
    ) -> None:
        self._names = (names, "at chamber", requirements.line, requirements.chamber.port)
        self._arrangements = arrangements
        self._requirements, self._catalog = requirements, catalog
        self._at_pump = at_pump
        self._past = MadeWhenAsked(tuple(at_pump), self._through)
        self._known: dict[tuple[tuple[str, bytes], ...], Speeds] = {}

    def under(self, at_work: AtWalls) -> Speeds:
        """Return the speeds while the traps hold some vapours."""
        if not at_work.holds:
            return self._past
        if at_work.key not in self._known:
            self._known[at_work.key] = MadeWhenAsked(
                tuple(self._past), lambda gas: self._with_walls(gas, at_work.holds.get(gas))
            )
        return self._known[at_work.key]

    @cached_property
    def _lines(self) -> Lines:
        return Lines(
            [chamber_line(*pair, self._requirements, self._catalog) for pair in self._arrangements]
        )

    def _through(self, gas: str) -> SpeedTable:
        def made() -> SpeedTable:
            return SpeedTable(GRID, self._lines.speeds_through(self._at_pump[gas].speed_m3_s, gas))

        return shelf().once((*self._names, gas), made)

    def _with_walls(self, gas: str, held: BoolArray | None) -> SpeedTable:
        if held is None:
            return self._past[gas]
        key = (*self._names, gas, held.tobytes())
        return shelf().once(key, lambda: self._onto_walls(gas, held))

    def _onto_walls(self, gas: str, held: BoolArray) -> SpeedTable:
        rows, reached = np.flatnonzero(held), self._past[gas].speed_m3_s.copy()
        stubs, walls = [], []
        for row in rows.tolist():
            pump, trap = self._arrangements[row]
            assert trap is not None  # noqa: S101 (only a trap holds)
            stubs.append(line_to_trap(pump, trap, self._requirements, self._catalog))
            walls.append(cold_surface_speed(trap, gas))
        reached[rows] = Lines(stubs).speeds_through(np.array(walls), gas)
        return SpeedTable(GRID, reached)


def inlet_tables(
    fronts: Sequence[Front | None],
    species: Sequence[str],
    requirements: Requirements,
    catalog: Catalog,
) -> InletTables | None:
    """Tabulate the speeds of all fronts for the species of the load; None for rough stacks."""
    real = [front for front in fronts if front is not None]
    return _inlet_tables(real, species, requirements, catalog) if real else None


def _inlet_tables(
    fronts: Sequence[Front],
    species: Sequence[str],
    requirements: Requirements,
    catalog: Catalog,
) -> InletTables:
    groups = Groups.by(front.skus for front in fronts)
    arrangements = tuple((fronts[row].pump, fronts[row].trap) for row in groups.first)
    arrays = arrays_of(catalog)
    pump_rows = [arrays.row_of[pump.sku] for pump, _ in arrangements]
    names = Terms((catalog.version, *(fronts[row].skus for row in groups.first)))

    def at_pump(gas: str) -> SpeedTable:
        key = (names, gas, "at pump")
        return shelf().once(key, lambda: SpeedTable(GRID, arrays.speed(gas).speed_m3_s[pump_rows]))

    speeds = MadeWhenAsked(species, at_pump)
    walls = ColdWalls(
        tuple(trap for _, trap in arrangements),
        tuple(pump.inlet.bore_m for pump, _ in arrangements),
        speeds,
        np.arange(len(arrangements)),
        names,
    )
    chamber = _AtChamber(arrangements, names, speeds, requirements, catalog)
    return InletTables(arrangements, groups.of, speeds, walls, walls.under({}), chamber)


def conductance_rows(lines: Sequence[Line], gas: str) -> FloatArray:
    """Return the conductance of each line for a species on the grid."""
    table = line_table(lines)
    return table.conductance_m3_s(PUMP_K, SPECIES[gas])[table.of]


def flow_potential(lines: LineTable, gas: Species | Mixture) -> FlowPotential:
    """Return the flow potentials of the distinct lines of a table on the grid."""
    return FlowPotential.of_lines(GRID, lines.conductance_m3_s(PUMP_K, gas))


def sonic_limit_m3_s(narrowest_m: FloatArray, gas: str) -> FloatArray:
    """Return the largest volume flow into lines, sonic in their narrowest bores, shape (n, 1)."""
    state = gas_state(SPECIES[gas], PUMP_K)
    per_area = sonic_factor(SPECIES[gas].heat_capacity_ratio) * np.sqrt(state.gas_factor_m2_s2)
    return np.asarray(per_area * (np.pi / 4) * narrowest_m**2)[:, np.newaxis]


class Lines:
    """The lines of several pumps; those that pass gas alike are looked at once."""

    def __init__(self, lines: Sequence[Line]) -> None:
        self._table = line_table(lines)
        self.line_of = self._table.of
        self._known: dict[str, tuple[FlowPotential, FloatArray]] = {}

    def of(self, pumps: IntArray) -> Lines:
        """Return the lines of some of the pumps; what is worked out for one is for all."""
        some = copy(self)
        some.line_of = self.line_of[pumps]
        return some

    def speeds_through(self, speed_m3_s: FloatArray, gas: str) -> FloatArray:
        """Return the speeds on the grid that are left at the entry of each pump's line."""
        if gas not in self._known:
            choked = sonic_limit_m3_s(self._table.narrowest_m, gas)
            self._known[gas] = (flow_potential(self._table, SPECIES[gas]), choked)
        potential, choked = self._known[gas]
        return entry_speed_m3_s(potential, self.line_of, speed_m3_s, choked[self.line_of])


@lru_cache(maxsize=1024)
def cold_surface_speed(trap: Trap, gas: str) -> FloatArray:
    """Return the speed of a trap's cold surface for a vapour it holds, at its inlet, on the grid.

    The stated conductance of a trap is that of two like halves in series, inlet to cold wall and
    cold wall to outlet; a vapour that stays on the wall meets the first half alone, towards the
    pressure that stands over the wall and counts by itself: a judgement of our own.
    """
    line = Line((restriction(trap),))
    mean = np.maximum((GRID.pressure_pa + over_trap_pa(gas, trap)) / 2.0, GRID.low_pa)
    through = line_conductance_m3_s(line, mean, PUMP_K, SPECIES[gas])
    limit = sonic_limit_m3_s(np.array([trap.equivalent_bore_m]), gas)
    speed: FloatArray = np.minimum(2.0 * np.asarray(through), limit[0])
    return speed
