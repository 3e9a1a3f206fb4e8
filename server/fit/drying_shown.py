"""How wet goods dry on a shown stack, in numbers and a sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.fit.drying import (
    Drawing,
    GoodsSource,
    by_substance,
    drawing,
    goods_sources,
    held_back,
    rates_kg_s,
)
from server.fit.explain import Spot, duration, pressure, resting_at_work_pa
from server.fit.settled import SettledState
from server.fit.vapour_results import Drying
from server.physics.species import SPECIES
from server.physics.speedtable import SpeedTable
from server.physics.steady import steady_state
from server.units import Dimension, format_quantity


@dataclass(frozen=True)
class Wet:
    """The chamber while goods are wet: whole pressure, and the parts of the goods' vapours."""

    chamber_pa: float
    partial_pa: Mapping[str, float]
    rate_kg_s: Mapping[int, float]
    """Drying rate by the place of the goods among the vapour loads' goods."""


def drying_of(spot: Spot) -> tuple[Drying, ...]:
    """Return how each of the inquiry's wet goods dries on a stack; empty without any."""
    sources = goods_sources(spot.judged.case.requirements.process.vapour)
    state = spot.judged.case.states.process
    if not sources or state is None:
        return ()
    wet = wet_state(spot, state, sources)
    return tuple(_drying(spot, wet, place, source) for place, source in enumerate(sources))


def wet_state(spot: Spot, state: SettledState, sources: Sequence[GoodsSource]) -> Wet:
    """Return where a stack settles while its goods are wet."""
    groups = by_substance(sources)
    stacks = {substance: _drawing(spot, substance) for substance in groups}
    supplied = _as_supplied(spot, state, stacks, groups)
    if supplied is not None:
        chamber_pa, partial = supplied
        rates = {place: source.load.rate_kg_s for place, source in enumerate(sources)}
        return Wet(chamber_pa, partial, rates)
    chamber_pa, partial = _at_equilibrium(spot, state, stacks, groups)
    rates = {}
    for substance, goods in groups.items():
        found = [math.nan] * len(goods)
        if math.isfinite(chamber_pa):
            drawn = stacks[substance].drawn_pa_m3_s(
                np.zeros(1, dtype=np.intp), np.array([chamber_pa]), np.array([partial[substance]])
            )
            whole = state.load_pa_m3_s[substance]
            found = rates_kg_s(float(drawn[0]), partial[substance], whole, goods)
        places = [place for place, source in enumerate(sources) if source in goods]
        rates |= dict(zip(places, found, strict=True))
    return Wet(chamber_pa, partial, rates)


def _as_supplied(
    spot: Spot,
    state: SettledState,
    stacks: Mapping[str, Drawing],
    groups: Mapping[str, Sequence[GoodsSource]],
) -> tuple[float, dict[str, float]] | None:
    """Return the state under the full supply, None where the goods' own pressure forbids it."""
    partial = {
        substance: spot.at(state.partial_pa[substance]) + float(stack.over_pa[0])
        for substance, stack in stacks.items()
    }
    for substance, goods in groups.items():
        if not all(partial[substance] <= source.highest_partial_pa() for source in goods):
            return None
    return spot.at(state.chamber_pa), partial


def _at_equilibrium(
    spot: Spot,
    state: SettledState,
    stacks: Mapping[str, Drawing],
    groups: Mapping[str, Sequence[GoodsSource]],
) -> tuple[float, dict[str, float]]:
    effective = dict(_tables_at_chamber(spot))
    resting = resting_at_work_pa(spot)
    for substance, goods in groups.items():
        stack = stacks[substance]
        effective[substance] = held_back(stack, state.load_pa_m3_s[substance], goods)
        resting -= float(stack.over_pa[0])  # counted with the vapour itself
    found = steady_state(state.load_pa_m3_s, effective, [0], offset_pa=max(resting, 0.0))
    partial = {substance: float(found.partial_pa[substance][0]) for substance in groups}
    return float(found.pressure_pa[0]), partial


def _drawing(spot: Spot, substance: str) -> Drawing:
    """How a stack draws a vapour, one row."""
    whole, row = drawing(spot.judged.case, substance)
    return whole.of_row(int(row.ravel()[spot.back_row if spot.front is None else spot.front_row]))


def _tables_at_chamber(spot: Spot) -> Mapping[str, SpeedTable]:
    """Speeds at the chamber while the process runs, one row."""
    states = spot.judged.case.states
    if states.inlet_at_work is None:
        tables, row = states.backs_at_work.chamber.each, spot.back_row
    else:
        tables = states.inlet_at_work.at_chamber
        row = int(states.inlet_at_work.row_of_front[spot.front_row])
    return {
        gas: SpeedTable(table.grid, table.speed_m3_s[row : row + 1])
        for gas, table in tables.items()
    }


def _drying(spot: Spot, wet: Wet, place: int, source: GoodsSource) -> Drying:
    goods, substance = source.goods, source.load.substance
    rate = wet.rate_kg_s[place]
    if not math.isfinite(rate):
        rate = 0.0
    time_s = goods.mass_kg / rate if rate > 0.0 else math.inf
    by_supply = rate >= source.load.rate_kg_s * (1.0 - 1e-6)
    found = Drying(
        substance=substance,
        mass_kg=goods.mass_kg,
        goods_temperature_k=goods.temperature_k,
        saturation_pa=source.saturation_pa,
        chamber_pressure_pa=wet.chamber_pa,
        partial_pressure_pa=wet.partial_pa[substance],
        rate_kg_s=rate,
        drying_time_s=time_s,
        asked_s=goods.drying_time_s,
        limited_by="supply" if by_supply else "pumping",
        heat_w=rate * source.heat_j_kg,
        text="",
    )
    return _told(found, spot)


def _told(found: Drying, spot: Spot) -> Drying:

    asked = spot.judged.case.requirements
    name = SPECIES[found.substance].name
    warm = format_quantity(found.goods_temperature_k, Dimension.TEMPERATURE)
    rate = format_quantity(found.rate_kg_s, Dimension.MASS_RATE)
    floor = f"{name} at {warm} has a vapour pressure of {pressure(found.saturation_pa)}"
    if found.rate_kg_s <= 0.0:
        text = f"The goods do not dry on this stack: {floor}, and it does not get below that."
    elif found.limited_by == "supply":
        text = (
            f"Heat and diffusion set the pace, {rate}: dry after {duration(found.drying_time_s)}. "
            f"{floor[:1].upper()}{floor[1:]}; the stack holds its share of the chamber's pressure "
            f"at {pressure(found.partial_pressure_pa)}, low enough for this pace."
        )
    else:
        text = (
            f"The stack sets the pace: {floor}, and while the goods are wet they hold its share of "
            f"the chamber's pressure at {pressure(found.partial_pressure_pa)}. There {rate} is "
            f"drawn off: dry after {duration(found.drying_time_s)}; {duration(found.asked_s)} is "
            "asked for."
        )
    if found.heat_w > 0.0:
        heat = format_quantity(found.heat_w, Dimension.POWER)
        text += f" Keeping the goods at {warm} takes {heat} of heat; without it they cool down."
    if asked.target_pressure_pa < found.chamber_pressure_pa:
        text += (
            f" The pressure to reach, {pressure(asked.target_pressure_pa)}, comes only when they "
            "are dry."
        )
    if found.drying_time_s > asked.duty.time_at_pressure_s * (1.0 + 1e-9):
        text += f" Of one cycle only {duration(asked.duty.time_at_pressure_s)} is at pressure."
    return replace(found, text=text)
