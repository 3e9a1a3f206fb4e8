"""Speeds of the backs, where roughing gets the chamber, and what stands in the foreline."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import elementwise

from server.catalog.arrays import GRID, CatalogArrays, arrays_of
from server.catalog.flanges import Flange
from server.catalog.items import Catalog, RootsBooster, TurboPump
from server.fit.candidates import Back
from server.fit.geometry import foreline, rough_line, rough_line_to_trap
from server.fit.inlet import (
    cold_surface_speed,
    conductance_rows,
    is_caught,
    over_trap_pa,
    sonic_limit_m3_s,
)
from server.fit.loads import AIR
from server.fit.requirements import Requirements
from server.physics.arrays import FloatArray, IntArray
from server.physics.entry_speed import entry_pressure_pa, entry_speed_m3_s
from server.physics.pumps import tolerable_foreline_pa
from server.physics.speedtable import SpeedTable, lookup, net_speed_m3_s
from server.physics.steady import steady_state


@dataclass(frozen=True)
class BackTables:
    """Speed tables of the backs, one per species: at their own inlet and at the chamber.

    ``working`` holds the speeds while vapour is pumped: with gas ballast where the pump has it.
    """

    at_inlet: Mapping[str, SpeedTable]
    working: Mapping[str, SpeedTable]
    at_chamber: Mapping[str, SpeedTable]
    at_chamber_working: Mapping[str, SpeedTable]
    behind_turbo: Mapping[str, SpeedTable]
    """Speeds of the backing pumps alone where a turbomolecular pump stands in front, else empty."""
    resting_pa: FloatArray
    """Vapour pressure over what each back's trap holds, while vapour is pumped."""


def back_tables(
    backs: Sequence[Back], species: Sequence[str], requirements: Requirements, catalog: Catalog
) -> BackTables:
    """Tabulate the speeds of all backs for the species of the load."""
    arrays = arrays_of(catalog)
    lines = [rough_line(back, requirements) for back in backs]
    ballast = bool(requirements.process.vapour)
    at_inlet: dict[str, SpeedTable] = {}
    working: dict[str, SpeedTable] = {}
    at_chamber: dict[str, SpeedTable] = {}
    at_chamber_working: dict[str, SpeedTable] = {}
    for gas in species:
        conductance = conductance_rows(lines, gas)
        choked = sonic_limit_m3_s(lines, gas)
        at_inlet[gas] = SpeedTable(GRID, _speeds(backs, gas, arrays, ballast=False))
        at_chamber[gas] = SpeedTable(
            GRID, entry_speed_m3_s(GRID, at_inlet[gas].speed_m3_s, conductance, choked)
        )
        working[gas], at_chamber_working[gas] = at_inlet[gas], at_chamber[gas]
        if ballast:
            working[gas], at_chamber_working[gas] = _working(
                backs, gas, requirements, arrays, (conductance, choked)
            )
    behind: dict[str, SpeedTable] = {}
    if any(isinstance(back.booster, TurboPump) for back in backs):
        rows = [arrays.row_of[back.backing.sku] for back in backs]
        behind = {gas: SpeedTable(GRID, arrays.speed(gas).speed_m3_s[rows]) for gas in species}
    resting = np.array([_resting_pa(back, requirements) for back in backs])
    return BackTables(at_inlet, working, at_chamber, at_chamber_working, behind, resting)


def _resting_pa(back: Back, requirements: Requirements) -> float:
    held = [
        over_trap_pa(load.substance, back.trap)
        for load in requirements.process.vapour
        if back.trap is not None and is_caught(load.substance, back.trap, requirements)
    ]
    return max(held, default=0.0)


def _speeds(backs: Sequence[Back], gas: str, arrays: CatalogArrays, *, ballast: bool) -> FloatArray:
    table = arrays.speed(gas, with_ballast=ballast).speed_m3_s
    rows = np.array([_row(back, arrays) for back in backs], dtype=np.intp)
    speeds = table[rows]
    for position, back in enumerate(backs):
        if isinstance(back.booster, TurboPump):
            own = table[arrays.row_of[back.booster.sku]]
            # its curve goes on below the pressure it can reach: roughing comes to rest there
            own = net_speed_m3_s(own, GRID.pressure_pa, back.booster.ultimate_pa)
            started = GRID.pressure_pa <= back.booster.start_pressure_pa
            speeds[position] = np.where(
                started, np.maximum(own, speeds[position]), speeds[position]
            )
    return speeds


def _row(back: Back, arrays: CatalogArrays) -> int:
    if isinstance(back.booster, RootsBooster):
        return arrays.row_of_pair[back.backing.sku, back.booster.sku]
    return arrays.row_of[back.backing.sku]


def _working(
    backs: Sequence[Back],
    gas: str,
    requirements: Requirements,
    arrays: CatalogArrays,
    line: tuple[FloatArray, FloatArray],
) -> tuple[SpeedTable, SpeedTable]:
    """Speeds at the inlet and at the chamber while vapour is pumped.

    A vapour that the back's trap holds meets the line in front of the trap and then its cold wall.
    """
    speeds = _speeds(backs, gas, arrays, ballast=True)
    at_chamber = entry_speed_m3_s(GRID, speeds, *line)
    holding = [
        (position, back, back.trap)
        for position, back in enumerate(backs)
        if back.trap is not None and is_caught(gas, back.trap, requirements)
    ]
    if holding:
        rows = [position for position, _, _ in holding]
        walls = {trap.sku: cold_surface_speed(trap, gas) for _, _, trap in holding}
        stubs = [rough_line_to_trap(back, requirements) for _, back, _ in holding]
        speeds[rows] = [walls[trap.sku] for _, _, trap in holding]
        at_chamber[rows] = entry_speed_m3_s(
            GRID, speeds[rows], conductance_rows(stubs, gas), sonic_limit_m3_s(stubs, gas)
        )
    return SpeedTable(GRID, speeds), SpeedTable(GRID, at_chamber)


class Foreline:
    """The lines between the outlets of the high-vacuum pumps and the backs."""

    def __init__(
        self,
        outlets: Sequence[Flange],
        backs: Sequence[Back],
        tables: Mapping[str, SpeedTable],
        requirements: Requirements,
        resting_pa: FloatArray | float = 0.0,
    ) -> None:
        self.outlets = tuple(outlets)
        self.back_count = len(backs)
        self.tables = tables
        self._resting_pa = resting_pa
        # without any gas a foreline rests where its pump has no speed left
        first = np.argmax(tables[AIR].speed_m3_s > 0.0, axis=1)
        self._ultimate_pa = GRID.pressure_pa[np.maximum(first - 1, 0)]
        lines = [foreline(outlet, back, requirements) for outlet in outlets for back in backs]
        distinct: dict[object, int] = {}
        self._line_of = np.array([distinct.setdefault(line, len(distinct)) for line in lines])
        self._conductance = np.minimum(conductance_rows(list(distinct), AIR), 1e9)  # type: ignore[arg-type]

    def pressure_pa(self, load_pa_m3_s: Mapping[str, float]) -> FloatArray:
        """Return the foreline pressure at every outlet for a load, shape (n_outlets, n_backs)."""
        rows = np.arange(self.back_count)
        at_back = steady_state(
            load_pa_m3_s, self.tables, rows, offset_pa=self._resting_pa
        ).pressure_pa
        at_back = np.maximum(at_back, self._ultimate_pa)
        shape = (len(self.outlets), self.back_count)
        exit_pa = np.broadcast_to(at_back, shape).reshape(-1, 1)
        known = np.isfinite(exit_pa)
        flow = np.full_like(exit_pa, sum(load_pa_m3_s.values()))
        conductance = self._conductance[self._line_of]
        entry = entry_pressure_pa(GRID, conductance, flow, np.where(known, exit_pa, 1.0))
        return np.where(known, entry, np.nan).reshape(shape)

    def largest_throughput_pa_m3_s(
        self,
        outlet_rows: IntArray,
        largest_pa_m3_s: FloatArray,
        no_load_pa: FloatArray,
        full_load_pa: FloatArray,
    ) -> FloatArray:
        """Return the largest throughput each back lets each pump carry, shape (n_pumps, n_backs).

        Where the foreline pressure at the pump's outlet reaches the tolerable pressure at that very
        load, or the pump's own largest throughput where that comes first: a root in the pressure at
        the back's inlet, of the flow the line then carries less the flow the back then takes.

        Parameters
        ----------
        outlet_rows : array of int, shape (n_pumps,)
            Outlet of each pump.
        largest_pa_m3_s, no_load_pa, full_load_pa : array, shape (n_pumps,)
            The pumps' own largest throughput and tolerable foreline pressures.
        """
        shape = (len(outlet_rows), self.back_count)
        back = np.broadcast_to(np.arange(self.back_count), shape).ravel()
        line = self._line_of.reshape(len(self.outlets), self.back_count)[outlet_rows].ravel()
        largest, no_load, full_load = (
            np.broadcast_to(value[:, np.newaxis], shape).ravel()
            for value in (largest_pa_m3_s, no_load_pa, full_load_pa)
        )
        speeds = self.tables[AIR]

        def spare(
            ln_pressure: FloatArray, back: IntArray, line: IntArray, largest: FloatArray,
            no_load: FloatArray, full_load: FloatArray,
        ) -> FloatArray:  # fmt: skip
            pressure = np.exp(ln_pressure)
            flow = lookup(speeds, back, pressure) * pressure
            tolerable = tolerable_foreline_pa(flow, largest, no_load, full_load)
            mean = np.maximum((pressure + tolerable) / 2, GRID.low_pa)
            carried = lookup(SpeedTable(GRID, self._conductance), line, mean)
            return np.asarray(carried * (tolerable - pressure) - flow)

        bottom = np.full(back.shape, np.log(GRID.low_pa))
        # a hair above the tolerable pressure, where the line would have to carry gas backwards
        top = np.log(no_load) + 1e-6
        arguments = (back, line, largest, no_load, full_load)
        found = elementwise.find_root(spare, (bottom, top), args=arguments)
        pressure = np.exp(found.x)
        flow = lookup(speeds, back, pressure) * pressure
        # at the jump where the tolerable pressure ends, the root is the largest throughput itself
        return np.asarray(np.minimum(flow, largest).reshape(shape))
