"""What backs add to the pressure over turbomolecular pumps: bounds for many, numbers for few.

A gas diffuses back as p_f/K. The compression K at a foreline pressure p_f lies between K₀ and
K₀·10^(−p_f/p_tolerable) (``physics.rotor.compression_at_foreline``: ln K + x·(1 − 1/K) = ln K₀), so
that one product bounds it from either side.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.catalog.arrays import GRID
from server.catalog.gas_curves import compression_for
from server.catalog.items import TurboPump
from server.fit.alike import Groups, Speeds
from server.fit.foreline import Foreline
from server.fit.front_states import FrontStates
from server.fit.levels import CLOSE
from server.fit.loads import AIR
from server.fit.settled import LinesFor
from server.physics.arrays import BoolArray, FloatArray, IntArray
from server.physics.rotor import DECADES_AT_TOLERABLE, compression_at_foreline
from server.physics.speedtable import lookup
from server.physics.steady import steady_state


class Places:
    """Every set of gases that reaches pumps, with every outlet: where gas may stand.

    Parameters
    ----------
    alone : FrontStates
        The fronts.
    load : mapping of float
        Load of each gas, of which traps may hold some. [Pa m3/s]
    outlet_rows : array of int, shape (fronts,)
        Outlet of each, −1 for none.
    """

    def __init__(
        self, alone: FrontStates, load: Mapping[str, float], outlet_rows: IntArray
    ) -> None:
        self.of_front = np.zeros(len(outlet_rows), dtype=np.intp)
        """Place of each front; 0, where nothing stands, for one without outlet."""
        self.sets: list[Mapping[str, float]] = []
        for mask, reaching in alone.reaching(load):
            backed = mask & (outlet_rows >= 0)
            if backed.any():
                before = 1 + len(self.sets) * (1 + int(outlet_rows.max()))
                self.of_front[backed] = before + outlet_rows[backed]
                self.sets.append(reaching)

    def lay(self, backs: int, made: Callable[[Mapping[str, float]], FloatArray]) -> FloatArray:
        """Return what is made for each set, (outlets, backs), place by place; 0 for place 0."""
        return np.concatenate([np.zeros((1, backs)), *(made(reaching) for reaching in self.sets)])


@dataclass(frozen=True)
class ForelineGas:
    """Gas in the forelines of one state, shape (places, backs)."""

    places: Places
    pressure_pa: FloatArray
    """Infinite where a foreline has no state."""
    parts_pa: Mapping[str, FloatArray]
    """Its parts by gas, zero where it has no state."""


def standing_in(lines: LinesFor, load: Mapping[str, float], places: Places) -> ForelineGas:
    """Return what stands in the forelines under a load."""
    runs = lines(load).runs
    backs = runs.back_count
    pressure = places.lay(backs, lambda reaching: lines(reaching).pressure_pa(reaching))
    stands = ~np.isnan(pressure)
    finite = np.where(stands, pressure, 0.0)
    outlets = (len(runs.outlets), backs)

    def shares(gas: str) -> FloatArray:
        return places.lay(
            backs,
            lambda reaching: np.broadcast_to(lines(reaching).shares(reaching)[gas], outlets),
        )

    parts = {gas: finite * shares(gas) for gas in {**load, AIR: 0.0}} if places.sets else {}
    return ForelineGas(places, np.where(stands, pressure, np.inf), parts)


@dataclass(frozen=True)
class Rest:
    """Pressure without load of fronts with their backs in one state."""

    alone: FrontStates
    resting_pa: FloatArray
    """Of the fronts alone, shape (fronts,)."""
    standing: ForelineGas

    @cached_property
    def is_turbo(self) -> BoolArray:
        """Which fronts let gas diffuse back."""
        pumps = [front.pump for front in self.alone.fronts]
        return np.array([isinstance(pump, TurboPump) for pump in pumps])

    @cached_property
    def _tolerable_pa(self) -> FloatArray:
        pumps = [front.pump for front in self.alone.fronts]
        return np.array(
            [pump.tolerable_foreline_pa if isinstance(pump, TurboPump) else 1.0 for pump in pumps]
        )

    @cached_property
    def _compression(self) -> Mapping[str, FloatArray]:
        """K₀ of each front for each gas that stands somewhere; 1 for those without a rotor."""
        pumps = Groups.by(front.pump.sku for front in self.alone.fronts)
        kinds = [self.alone.fronts[place].pump for place in pumps.first]
        return {
            gas: np.array(
                [
                    compression_for(pump.compression, gas) if isinstance(pump, TurboPump) else 1.0
                    for pump in kinds
                ]
            )[pumps.of]
            for gas, part in self.standing.parts_pa.items()
            if part.any()
        }

    def added_pa(self, rows: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return bounds of what the backs add for some turbomolecular fronts, (rows, backs) each.

        Infinite where a foreline has no state.
        """
        place = self.standing.places.of_front[rows]
        least = np.zeros((len(rows), self.standing.pressure_pa.shape[1]))
        for gas, stated in self._compression.items():
            part = self.standing.parts_pa[gas][place]
            part *= (1.0 / stated[rows])[:, np.newaxis]
            least += part
        pressed = self.standing.pressure_pa[place]
        lost = DECADES_AT_TOLERABLE * np.log(10.0) / self._tolerable_pa[rows]
        # a foreline far above what a pump tolerates leaves it nothing: no bound either
        with np.errstate(over="ignore", invalid="ignore"):
            most = least * np.exp(pressed * lost[:, np.newaxis])
        stands = np.isfinite(pressed)
        return np.where(stands, least, np.inf), np.where(stands, most, np.inf)

    def borne(self, rows: IntArray, tolerable_pa: FloatArray) -> FloatArray:
        """Return tolerable foreline pressure ÷ what stands there, (rows, backs); 0 without state.

        Parameters
        ----------
        rows : array of int
            Fronts.
        tolerable_pa : array, shape (fronts,)
            What each of all fronts tolerates. [Pa]
        """
        standing = self.standing.pressure_pa[self.standing.places.of_front[rows]]
        return borne_ratio(tolerable_pa[rows, np.newaxis], standing)

    def with_backs_pa(self, rows: IntArray, columns: IntArray) -> FloatArray:
        """Return the pressure without load of combinations; NaN without a state of the foreline."""
        resting = self.resting_pa[rows].copy()
        turbo = np.flatnonzero(self.is_turbo[rows])
        front, back = rows[turbo], columns[turbo]
        place = self.standing.places.of_front[front]
        pressed = self.standing.pressure_pa[place, back]
        stands = np.isfinite(pressed)
        pressed = np.where(stands, pressed, 0.0)
        added = np.where(stands, 0.0, np.nan)
        for gas, stated in self._compression.items():
            left = compression_at_foreline(stated[front], pressed, self._tolerable_pa[front])
            added += self.standing.parts_pa[gas][place, back] / left
        resting[turbo] += added
        return resting

    def settled_pa(
        self,
        load: Mapping[str, FloatArray],
        tables: Speeds,
        rows: IntArray,
        columns: IntArray,
        over_pa: FloatArray,
    ) -> FloatArray:
        """Return settled pressures of combinations, NaN where there is none.

        Parameters
        ----------
        load : mapping of array, shape (fronts,)
            Load of each gas. [Pa m3/s]
        tables : mapping of SpeedTable
            Speeds at the place that is asked for.
        rows, columns : array of int, shape (n,)
            Front and back of each combination.
        over_pa : array, shape (fronts,)
            What stands there over the vapours that traps hold. [Pa]
        """
        resting = self.with_backs_pa(rows, columns) + over_pa[rows]
        flows = {gas: flow[rows] for gas, flow in load.items()}
        found = steady_state(
            flows, tables, self.alone.inlet.row_of_front[rows], offset_pa=np.nan_to_num(resting)
        )
        return np.where(np.isnan(resting), np.nan, found.pressure_pa)


def borne_ratio(tolerable_pa: FloatArray, standing_pa: FloatArray) -> FloatArray:
    """Return tolerable ÷ foreline pressure; 0 where that is infinite, infinite where none stands.

    Parameters
    ----------
    tolerable_pa, standing_pa : array
        Of shapes that broadcast. [Pa]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(tolerable_pa / standing_pa)


def with_several_pa_m3_s(
    line: Foreline, load: Mapping[str, float], no_load_pa: FloatArray, outlet_rows: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return flows, from and to, at which backs may have several pressures that a pump tolerates.

    Infinite and −infinite where a back has none; widened by what rounding may do to roots.

    Parameters
    ----------
    line : Foreline
        The forelines.
    load : mapping of float
        Their gas: its species in these proportions. [Pa m3/s]
    no_load_pa : array, shape (pumps,)
        Foreline pressure each pump tolerates without load. [Pa]
    outlet_rows : array of int, shape (pumps,)
        Outlet of each, −1 for none.
    """
    highest = float(no_load_pa[outlet_rows >= 0].max(initial=0.0))
    low, high = line.between_branches_pa_m3_s(load, highest)
    return low * (1.0 - CLOSE), high * (1.0 + CLOSE)


def headroom_pa(
    load: Mapping[str, FloatArray], tables: Speeds, rows: IntArray, allowed_pa: FloatArray
) -> FloatArray:
    """Return a pressure without load with which a state surely stays within what is allowed.

    A load settles at the first pressure p with p_rest + Σ Q_i/S_i(p) ≤ p: within the allowed one
    if that holds anywhere below it. It is tried there and at all nodes below.

    Parameters
    ----------
    load : mapping of array, shape (n,)
        Load of each gas. [Pa m3/s]
    tables : mapping of SpeedTable
        Speeds.
    rows : array of int, shape (n,)
        Row of the tables of each.
    allowed_pa : array, shape (n,)
        What is allowed, NaN for nothing that could be. [Pa]
    """
    nodes = GRID.pressure_pa
    limit = np.clip(np.nan_to_num(allowed_pa), GRID.low_pa, GRID.high_pa)
    spare_at_nodes = np.repeat(nodes[np.newaxis], len(rows), axis=0)
    spare = limit.copy()
    for gas, flow in load.items():
        if flow.any():
            spare_at_nodes -= _needed_pa(flow[:, np.newaxis], tables[gas].speed_m3_s[rows])
            spare -= _needed_pa(flow, lookup(tables[gas], rows, limit))
    spare_at_nodes[nodes > limit[:, np.newaxis]] = -np.inf
    found = np.maximum(spare, spare_at_nodes.max(axis=1))
    return np.where(allowed_pa >= GRID.low_pa, found, -np.inf)


def _needed_pa(flow: FloatArray, speed: FloatArray) -> FloatArray:
    """Q/S; nothing without a flow, endless where a flow meets no speed."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(flow > 0.0, flow / speed, 0.0)
