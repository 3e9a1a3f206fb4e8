"""The catalogue's pumps as arrays: speed tables on one common pressure grid, gas by gas."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from server.catalog.gas_curves import curve_for
from server.catalog.gas_limits import booster_compression_for
from server.catalog.items import (
    BACKING_KINDS,
    BackingPump,
    Catalog,
    Pump,
    RootsBooster,
    SpeedCurve,
)
from server.physics.arrays import FloatArray
from server.physics.boosters import Boosters, booster_speed_m3_s, compression_over_rest
from server.physics.speedtable import (
    SpeedTable,
    log_grid,
    net_speed_m3_s,
    rest_pressure_pa,
    tabulate,
)

GRID = log_grid(1e-10, 1.3e5, 16.0)
"""Pressures of every table: from below any ultimate pressure to above the atmosphere. [Pa]"""
MOST_PAIRS = 20_000
"""Rows of pairs that are kept, 2 kB each; pairs beyond are worked out anew for each inquiry."""


@dataclass(frozen=True)
class _Key:
    """Equal for equal catalogue contents, so that tables are made once per catalogue."""

    version: str
    catalog: Catalog = field(compare=False)


@dataclass
class CatalogArrays:
    """Speed tables of one catalogue; each gas is tabulated when it is first asked for."""

    pumps: tuple[Pump, ...]
    row_of: Mapping[str, int]
    _tables: dict[tuple[str, bool], SpeedTable] = field(default_factory=dict)
    _rows: dict[tuple[str, str, bool], FloatArray] = field(default_factory=dict)
    """Speeds by SKU and curve: most gases are pumped by the curve of another one."""
    _pairs: dict[tuple[str, bool, str, str], FloatArray] = field(default_factory=dict)

    def speed(self, gas: str, *, with_ballast: bool = False) -> SpeedTable:
        """Return the speeds of every pump by itself for a gas."""
        key = (gas, with_ballast)
        if key not in self._tables:
            alone = np.stack([self._row(pump, gas, with_ballast) for pump in self.pumps])
            self._tables[key] = SpeedTable(GRID, alone)
        return self._tables[key]

    def boosted(
        self,
        pairs: Sequence[tuple[BackingPump, RootsBooster]],
        gas: str,
        *,
        with_ballast: bool = False,
    ) -> FloatArray:
        """Return the speeds of backing pumps with boosters in front, shape (pairs, grid)."""
        if not pairs:
            return np.zeros((0, GRID.count))
        keys = [(gas, with_ballast, backing.sku, booster.sku) for backing, booster in pairs]
        new = {key: pair for key, pair in zip(keys, pairs, strict=True) if key not in self._pairs}
        made = dict(zip(new, self._boosted(list(new.values()), gas, with_ballast), strict=True))
        found = np.stack([made[key] if key in made else self._pairs[key] for key in keys])
        if len(self._pairs) + len(made) <= MOST_PAIRS:
            self._pairs |= made
        return found

    def _row(self, pump: Pump, gas: str, with_ballast: bool) -> FloatArray:
        curve = curve_for(pump, gas, with_ballast=with_ballast).curve
        if curve is None:
            return np.zeros(GRID.count)
        key = (pump.sku, curve.gas, curve.with_ballast)
        if key not in self._rows:
            self._rows[key] = _speed_row(pump, curve)
        return self._rows[key]

    def _boosted(
        self, pairs: Sequence[tuple[BackingPump, RootsBooster]], gas: str, with_ballast: bool
    ) -> FloatArray:
        if not pairs:
            return np.zeros((0, GRID.count))
        boosters = [booster for _, booster in pairs]
        limits = Boosters(
            np.array([booster.displacement_m3_s for booster in boosters]),
            np.array([booster.largest_difference_pa for booster in boosters]),
            np.array([booster.cut_in_pa for booster in boosters]),
            np.array([booster.bypass_valve for booster in boosters]),
        )
        alone = self.speed(gas, with_ballast=with_ballast).speed_m3_s
        backing = SpeedTable(GRID, alone[[self.row_of[backing.sku] for backing, _ in pairs]])
        compression = compression_over_rest(
            _compressions(boosters, gas),
            _compressions(boosters, "air"),
            rest_pressure_pa(backing)[:, np.newaxis],
            GRID.pressure_pa,
        )
        staged = booster_speed_m3_s(limits, compression, backing)
        # the stated ultimate pressure is that of booster and backing pump together; what the
        # backing pump does by itself goes on below it
        ultimate = np.array([[booster.ultimate_pa] for booster in boosters])
        net = net_speed_m3_s(staged, GRID.pressure_pa, ultimate)
        return np.maximum(net, np.minimum(staged, backing.speed_m3_s))


def arrays_of(catalog: Catalog) -> CatalogArrays:
    """Return the tables of a catalogue, made once per catalogue version."""
    return _arrays(_Key(catalog.version, catalog))


@lru_cache(maxsize=4)
def _arrays(key: _Key) -> CatalogArrays:
    pumps = tuple(pump for pump in key.catalog.of_type(Pump) if pump.curves)
    return CatalogArrays(pumps, {pump.sku: row for row, pump in enumerate(pumps)})


def _speed_row(pump: Pump, curve: SpeedCurve) -> FloatArray:
    """Speed of one pump on the grid by one of its curves.

    Backing pumps have their ultimate pressure included. A high-vacuum pump carries the throughput
    of its last point at any higher pressure, so that an overload has a state to be judged by.
    """
    row = tabulate(curve.pressure_pa, curve.speed_m3_s, GRID, GRID.high_pa)
    if pump.kind not in BACKING_KINDS:
        return row * np.minimum(1.0, curve.pressure_pa[-1] / GRID.pressure_pa)
    ultimate = pump.ultimate_pa
    if curve.with_ballast and isinstance(pump, BackingPump) and pump.ultimate_ballast_pa:
        ultimate = pump.ultimate_ballast_pa
    if curve.speed_m3_s[0] > 0.0:
        row = net_speed_m3_s(row, GRID.pressure_pa, ultimate)
    return _from_the_next_node(row)


def _from_the_next_node(row: FloatArray) -> FloatArray:
    """Let the speed begin at the first node above the ultimate pressure, not at the last below it.

    Between nodes the speed is read linearly: a pump whose ultimate pressure lies within a cell
    would otherwise pump below it. So it ends up to 15 % above it, which is the safe side.
    """
    first = int(np.argmax(row > 0.0))
    if first > 0:
        row = row.copy()
        row[first] = 0.0
    return row


def _compressions(boosters: Sequence[RootsBooster], gas: str) -> FloatArray:
    """Zero-flow compressions on the grid, read once for each booster."""
    rows: dict[str, FloatArray] = {}
    for booster in boosters:
        if booster.sku not in rows:
            rows[booster.sku] = booster_compression_for(booster, gas, GRID.pressure_pa)
    return np.stack([rows[booster.sku] for booster in boosters])
