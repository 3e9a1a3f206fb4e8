"""Wet goods on a stack: what it draws from them, the pressure meanwhile, when they are dry.

The steady states of a field are solved with the vapour that heat and diffusion can supply. While
liquid is left its own vapour pressure bounds what really comes off: where the supply would need
more than that, the goods hold the chamber at equilibrium, and drying takes longer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from server.fit.case import Case, quotient
from server.fit.loads import PUMP_K
from server.fit.requirements import VapourLoad, WetGoods
from server.physics.arrays import FloatArray, IntArray
from server.physics.gas import throughput_from_mass_rate_pa_m3_s
from server.physics.gasload import wet_goods_throughput_pa_m3_s
from server.physics.species import SPECIES
from server.physics.speedtable import SpeedTable, lookup
from server.physics.vapour import (
    evaporation_kg_m2_s,
    heat_of_evaporation_j_mol,
    saturation_pressure_pa,
)

_HALVINGS = 45
_NO_SPEED_M3_S = 1e-150  # stands for none where it divides
_ABOVE = 1.001
"""Where the vapour stands this much above their own pressure, goods take it up, not give it off."""


@dataclass(frozen=True)
class GoodsSource:
    """Wet goods as a source of gas, throughputs at ``PUMP_K``."""

    load: VapourLoad
    goods: WetGoods
    saturation_pa: float
    supply_pa_m3_s: float
    asked_pa_m3_s: float
    """Throughput that dries them in the time asked for."""
    heat_j_kg: float
    """What evaporation takes at the temperature of the goods."""
    evaporation_m3_s: float
    """Vapour their surface gives off per pressure below saturation; inf for a large surface."""

    def given_off_pa_m3_s(self, partial_pa: FloatArray) -> FloatArray:
        """Return what comes off under a partial pressure of the vapour, up to the supply."""
        below = np.maximum(self.saturation_pa - partial_pa, 0.0)
        if np.isinf(self.evaporation_m3_s):
            return np.where(below > 0.0, self.supply_pa_m3_s, 0.0)
        return np.minimum(self.supply_pa_m3_s, self.evaporation_m3_s * below)

    def highest_partial_pa(self) -> float:
        """Return the partial pressure up to which they give off all that is supplied."""
        return self.saturation_pa - self.supply_pa_m3_s / self.evaporation_m3_s


@lru_cache(maxsize=64)
def goods_sources(loads: tuple[VapourLoad, ...]) -> tuple[GoodsSource, ...]:
    """Return the wet goods among vapour loads as sources of gas; the same for every stack."""
    return tuple(_source(load, load.goods) for load in loads if load.goods is not None)


def _source(load: VapourLoad, goods: WetGoods) -> GoodsSource:
    mass = SPECIES[load.substance].molar_mass_kg_mol
    evaporation = np.inf
    if goods.area_m2 is not None:
        per_area = evaporation_kg_m2_s(mass, 1.0, goods.temperature_k)
        evaporation = float(
            throughput_from_mass_rate_pa_m3_s(per_area * goods.area_m2, mass, PUMP_K)
        )
    asked = goods.mass_kg / goods.drying_time_s
    return GoodsSource(
        load=load,
        goods=goods,
        saturation_pa=float(saturation_pressure_pa(load.substance, goods.temperature_k)),
        supply_pa_m3_s=float(throughput_from_mass_rate_pa_m3_s(load.rate_kg_s, mass, PUMP_K)),
        asked_pa_m3_s=float(throughput_from_mass_rate_pa_m3_s(asked, mass, PUMP_K)),
        heat_j_kg=float(heat_of_evaporation_j_mol(load.substance, goods.temperature_k)) / mass,
        evaporation_m3_s=evaporation,
    )


def drawn_ratio(case: Case) -> FloatArray | None:
    """Return what each stack could draw from wet goods ÷ what drying in the asked time needs.

    Drawn at equilibrium, whatever the supply: the goods' own pressure, beside the other gases'
    parts, stands in the chamber. Array of shape (fronts, backs) or (1, backs); None without goods.
    """
    state, worst = case.states.process, None
    sources = goods_sources(case.requirements.process.vapour)
    if state is None or not sources:
        return None
    for source in sources:
        substance = source.load.substance
        stack, row = drawing(case, substance)
        own_pa = state.partial_pa[substance] + stack.over_pa[row]
        others_pa = np.nan_to_num(state.chamber_pa - own_pa, nan=0.0)
        beside = state.load_pa_m3_s[substance] - source.supply_pa_m3_s
        # goods above their boiling point boil at the pressure of the room: the grid ends there
        drawn = stack.drawn_pa_m3_s(
            row,
            source.saturation_pa + others_pa,
            np.asarray(source.saturation_pa),
            beside,
            source.evaporation_m3_s,
        )
        ratio = drawn / source.asked_pa_m3_s
        worst = ratio if worst is None else np.minimum(worst, ratio)
    return worst


@dataclass(frozen=True)
class Drawing:
    """How stacks draw a vapour of the process from the chamber: past their cold wall, or onto it.

    A wall takes vapour only where more comes than the pump draws past it, and only above the
    pressure that stands over it; whichever draws more is what happens.
    """

    past: SpeedTable
    onto: SpeedTable
    """The same rows; equal to ``past`` where nothing is held."""
    over_pa: FloatArray
    """Pressure of the vapour over each row's wall, 0 where nothing is held."""

    def drawn_pa_m3_s(
        self,
        row: IntArray,
        total_pa: FloatArray,
        partial_pa: FloatArray,
        beside_pa_m3_s: float = 0.0,
        evaporation_m3_s: float = np.inf,
    ) -> FloatArray:
        """Return the flow drawn under a partial pressure, or below it by what evaporation takes.

        Parameters
        ----------
        row : array of int
            Row of each stack. [-]
        total_pa : array
            Chamber pressure, at which the speeds are read. [Pa]
        partial_pa : array
            Pressure of the vapour in the chamber, or of the goods that give it off. [Pa]
        beside_pa_m3_s : float
            Flow of the same vapour that comes from elsewhere, not counted in the result. [Pa m3/s]
        evaporation_m3_s : float
            Vapour the goods' surface gives off per pressure; infinite for a large one. [m3/s]
        """
        at = np.clip(total_pa, self.past.grid.low_pa, self.past.grid.high_pa)
        rows = np.broadcast_to(row, at.shape)
        drawn = []
        for table, over in ((self.past, 0.0), (self.onto, self.over_pa[row])):
            speed = lookup(table, rows, at)
            left = np.maximum(partial_pa - over - quotient(beside_pa_m3_s, speed), 0.0)
            drawn.append(wet_goods_throughput_pa_m3_s(np.inf, left, speed, evaporation_m3_s))
        return np.maximum(*drawn)

    def of_row(self, row: int) -> Drawing:
        """Return one row."""
        one = slice(row, row + 1)
        past, onto = (
            SpeedTable(table.grid, table.speed_m3_s[one]) for table in (self.past, self.onto)
        )
        return Drawing(past, onto, self.over_pa[one])


def drawing(case: Case, substance: str) -> tuple[Drawing, IntArray]:
    """Return how the stacks of a field draw a vapour, and each one's row, shape (F, 1) or (B,)."""
    states = case.states
    inlet, backs = states.inlet_at_work, states.backs_at_work
    if inlet is None:
        past = states.backing.at_work({}).chamber.each[substance]
        over = backs.standing_pa(substance)
        return Drawing(past, backs.chamber.each[substance], over), np.arange(len(case.backs))
    past = inlet.under({}).at_chamber[substance]
    over = inlet.at_work.standing_pa(substance)
    return Drawing(past, inlet.at_chamber[substance], over), inlet.row_of_front[:, np.newaxis]


def held_back(stack: Drawing, whole_pa_m3_s: float, sources: Sequence[GoodsSource]) -> SpeedTable:
    """Return the speeds at which the full supply would settle where wet goods really settle.

    S_eff = Q/p_w with p_w the partial pressure at which goods give off, and the rest of the load
    brings, just what the stack draws: equal to its speed where the supply is the limit, more where
    equilibrium is. ``steady_state`` with the full supply then finds the true pressures, what stands
    over a cold wall included.

    Parameters
    ----------
    stack : Drawing
        Speeds for the vapour, any number of rows.
    whole_pa_m3_s : float
        Whole load of the vapour, full supply included. [Pa m3/s]
    sources : sequence of GoodsSource
        The goods that give off this vapour.
    """
    past, onto = stack.past.speed_m3_s, stack.onto.speed_m3_s
    over = stack.over_pa[:, np.newaxis]
    others = whole_pa_m3_s - sum(source.supply_pa_m3_s for source in sources)
    known, known_onto = (np.maximum(speed, _NO_SPEED_M3_S) for speed in (past, onto))
    takes = (past > 0.0) | (onto > 0.0)

    def needs(flow: float) -> FloatArray:
        return np.minimum(flow / known, over + flow / known_onto)

    low = np.zeros(past.shape)
    high = np.minimum(
        needs(whole_pa_m3_s), needs(others) + max(source.saturation_pa for source in sources)
    )
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        brought = others + sum(source.given_off_pa_m3_s(middle) for source in sources)
        enough = np.maximum(known * middle, known_onto * (middle - over)) >= brought
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return SpeedTable(stack.past.grid, np.where(takes, whole_pa_m3_s / high, 0.0))


def rates_kg_s(
    drawn_pa_m3_s: float, partial_pa: float, whole_pa_m3_s: float, sources: Sequence[GoodsSource]
) -> list[float]:
    """Return the rate at which each of several goods dries at a settled partial pressure.

    Goods whose own pressure holds the chamber give off what the others leave of the flow drawn;
    NaN where there is no settled pressure.

    Parameters
    ----------
    drawn_pa_m3_s : float
        Flow of the vapour that the stack draws at that pressure. [Pa m3/s]
    partial_pa : float
        Its partial pressure. [Pa]
    whole_pa_m3_s : float
        Whole load of the vapour, full supply included. [Pa m3/s]
    sources : sequence of GoodsSource
        The goods that give off this vapour.
    """
    others = whole_pa_m3_s - sum(source.supply_pa_m3_s for source in sources)
    left = drawn_pa_m3_s - others
    given = [0.0] * len(sources)
    large = [np.isinf(source.evaporation_m3_s) for source in sources]
    for place, source in enumerate(sources):
        if not large[place]:
            given[place] = float(source.given_off_pa_m3_s(np.asarray(partial_pa)))
            left -= given[place]
    # of large surfaces the goods of the highest vapour pressure give off first
    levels = {
        source.saturation_pa
        for source, is_large in zip(sources, large, strict=True)
        if is_large and partial_pa <= _ABOVE * source.saturation_pa
    }
    for level in sorted(levels, reverse=True):
        places = [i for i, s in enumerate(sources) if large[i] and s.saturation_pa == level]
        supply = sum(sources[i].supply_pa_m3_s for i in places)
        share = min(max(left, 0.0) / supply, 1.0)
        for place in places:
            given[place] = share * sources[place].supply_pa_m3_s
        left -= share * supply
    return [
        source.load.rate_kg_s * flow / source.supply_pa_m3_s
        for source, flow in zip(sources, given, strict=True)
    ]


def by_substance(sources: Sequence[GoodsSource]) -> Mapping[str, list[GoodsSource]]:
    """Return the goods by the vapour they give off."""
    found: dict[str, list[GoodsSource]] = {}
    for source in sources:
        found.setdefault(source.load.substance, []).append(source)
    return found
