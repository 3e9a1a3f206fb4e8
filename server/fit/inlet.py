"""Speeds of the high-vacuum side, at the pump's inlet and at the chamber, for every front at once.

Fronts that differ in fluid alone share a row: the row belongs to the arrangement of pump and trap.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from server.catalog.arrays import GRID, arrays_of
from server.catalog.items import Catalog, Trap
from server.fit.alike import Groups, MadeWhenAsked, Speeds
from server.fit.candidates import COLD_TRAPS, Front, HighVacuumPump
from server.fit.geometry import chamber_line, line_table, line_to_trap, restriction
from server.fit.loads import PUMP_K
from server.fit.memory import Terms, shelf
from server.fit.requirements import Requirements
from server.physics.arrays import FloatArray, IntArray
from server.physics.entry_speed import FlowPotential, entry_speed_m3_s
from server.physics.gas import Mixture, gas_state
from server.physics.line import Line, line_conductance_m3_s
from server.physics.line_table import LineTable
from server.physics.orifice import sonic_factor
from server.physics.species import SPECIES, Species
from server.physics.speedtable import SpeedTable
from server.physics.vapour import SATURATION, saturation_pressure_pa

Arrangement = tuple[HighVacuumPump, Trap | None]

CAUGHT_BELOW = 0.5
"""A vapour counts as caught where its pressure over the trap is below this share of the work's."""


@dataclass(frozen=True)
class InletTables:
    """Speed tables of the arrangements, one per species, and the row of each front."""

    arrangements: tuple[Arrangement, ...]
    row_of_front: IntArray
    at_pump: Speeds
    at_chamber: Speeds
    caught: Mapping[str, FloatArray]
    """Per species: 1 where the arrangement's trap holds it before it reaches the pump, else 0."""

    def beyond_trap(self, load_pa_m3_s: Mapping[str, float]) -> dict[str, FloatArray]:
        """Return the load that reaches each arrangement's pump, by species."""
        return {gas: flow * (1.0 - self.caught[gas]) for gas, flow in load_pa_m3_s.items()}

    def only(self, fronts: IntArray) -> InletTables:
        """Return the tables for some of the fronts."""
        return replace(self, row_of_front=self.row_of_front[fronts])


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
    caught = {
        gas: np.array([float(is_caught(gas, trap, requirements)) for _, trap in arrangements])
        for gas in species
    }
    making = _Making(arrangements, caught, requirements, catalog)
    return InletTables(
        arrangements,
        groups.of,
        MadeWhenAsked(species, making.at_pump),
        MadeWhenAsked(species, making.at_chamber),
        caught,
    )


@dataclass(frozen=True)
class _Making:
    """Makes the tables of arrangements, as far as no inquiry before has made them."""

    arrangements: tuple[Arrangement, ...]
    caught: Mapping[str, FloatArray]
    requirements: Requirements
    catalog: Catalog

    def at_pump(self, gas: str) -> SpeedTable:
        """Return the speeds at the inlets of the pumps."""
        arrays = arrays_of(self.catalog)
        rows = [arrays.row_of[pump.sku] for pump, _ in self.arrangements]
        return shelf().once(
            (self._names, gas, "at pump"),
            lambda: SpeedTable(GRID, arrays.speed(gas).speed_m3_s[rows]),
        )

    def at_chamber(self, gas: str) -> SpeedTable:
        """Return the speeds left at the chamber."""
        asked, held = self.requirements, tuple(self.caught[gas].tolist())
        return shelf().once(
            (self._names, gas, "at chamber", asked.line, asked.chamber.port, held),
            lambda: SpeedTable(GRID, self._through_lines(gas)),
        )

    def _through_lines(self, gas: str) -> FloatArray:
        speeds = self.at_pump(gas).speed_m3_s
        held = np.flatnonzero(self.caught[gas])
        if not held.size:
            return self._lines.speeds_through(speeds, gas)
        # what a trap holds meets its wall, behind the line that leads to it
        runs, speeds = list(self._runs), speeds.copy()
        for row in held:
            pump, trap = self.arrangements[row]
            runs[row] = line_to_trap(pump, trap, self.requirements, self.catalog)
            speeds[row] = _wall_speeds(trap, gas)
        return Lines(runs).speeds_through(speeds, gas)

    @cached_property
    def _lines(self) -> Lines:
        return Lines(self._runs)

    @cached_property
    def _runs(self) -> list[Line]:
        return [chamber_line(*pair, self.requirements, self.catalog) for pair in self.arrangements]

    @cached_property
    def _names(self) -> Terms:
        """What says which arrangements these are."""
        skus = ((pump.sku, trap.sku if trap else "") for pump, trap in self.arrangements)
        return Terms((self.catalog.version, *skus))


def is_caught(gas: str, trap: Trap | None, requirements: Requirements) -> bool:
    """Say whether a cold trap holds a species at the pressures asked for."""
    if trap is None or trap.kind not in COLD_TRAPS or gas not in SATURATION:
        return False
    return over_trap_pa(gas, trap) < CAUGHT_BELOW * _asked_pa(requirements)


def held_at_pa(traps: Iterable[Trap | None], requirements: Requirements) -> float | None:
    """Return the pressure at which some cold trap must hold vapour; None without a cold trap."""
    if any(trap is not None and trap.kind in COLD_TRAPS for trap in traps):
        return _asked_pa(requirements)
    return None


def _asked_pa(requirements: Requirements) -> float:
    return requirements.process.pressure_pa or requirements.target_pressure_pa


def over_trap_pa(gas: str, trap: Trap) -> float:
    """Return the vapour pressure over what a trap holds: less than that it does not take."""
    return _saturation_pa(gas, trap.surface_k)


def over_held_pa(trap: Trap | None, requirements: Requirements) -> float:
    """Return the pressure over the vapours that a trap holds while the process runs.

    They add up: ices that dissolve in each other have less.
    """
    vapours = dict.fromkeys(load.substance for load in requirements.process.vapour)
    return sum(
        over_trap_pa(gas, trap)
        for gas in vapours
        if trap is not None and is_caught(gas, trap, requirements)
    )


@lru_cache(maxsize=256)
def _saturation_pa(gas: str, temperature_k: float) -> float:
    if temperature_k > SATURATION[gas].high_k:
        return math.inf  # warmer than its pressure is known for: nothing stays on the wall
    return float(saturation_pressure_pa(gas, temperature_k))


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


def _wall_speeds(trap: Trap | None, gas: str) -> FloatArray:
    assert trap is not None  # noqa: S101 (only what a trap holds meets its wall)
    return cold_surface_speed(trap, gas)


@lru_cache(maxsize=1024)
def cold_surface_speed(trap: Trap, gas: str) -> FloatArray:
    """Return the speed of a trap's cold surface for a vapour it holds, at its inlet, on the grid.

    The stated conductance of a trap is that of two like halves in series, inlet to cold wall and
    cold wall to outlet; a vapour that stays on the wall meets the first half alone, towards no
    pressure: a judgement of our own.
    """
    line = Line((restriction(trap),))
    mean = np.maximum(GRID.pressure_pa / 2.0, GRID.low_pa)
    through = line_conductance_m3_s(line, mean, PUMP_K, SPECIES[gas])
    limit = sonic_limit_m3_s(np.array([trap.equivalent_bore_m]), gas)
    speed: FloatArray = np.minimum(2.0 * np.asarray(through), limit[0])
    return speed
