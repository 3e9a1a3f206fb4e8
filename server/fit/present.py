"""A judged combination as the answer shows it: parts, margins, states, pump-down, cost, flags."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from decimal import Decimal

from server.catalog.items import Catalog, Item, Pump, Trap, VapourPump
from server.fit.candidates import Combination
from server.fit.costs import Purse
from server.fit.course import Outlook
from server.fit.day import day_of
from server.fit.day_results import Day
from server.fit.drying_shown import drying_of
from server.fit.evaluation import YES_OR_NO
from server.fit.explain import Spot, margins_of
from server.fit.flags import flags_of
from server.fit.money import round_money
from server.fit.partials import partials_of
from server.fit.results import (
    Cost,
    MarginKey,
    Part,
    PumpDown,
    Role,
    SpeedPlot,
    StackAdvice,
    StackVerdict,
    State,
    Working,
)
from server.fit.settled import SettledState
from server.fit.thresholds import RULES
from server.fit.upkeep import UpkeepGroup
from server.fit.vapour_path import vapour_path_of
from server.fit.workings import workings_of
from server.fit.workings.day import day_lines


def present(
    spot: Spot,
    rank: int,
    rank_reason: str,
    purse: Purse,
    catalog: Catalog,
    outlook: Outlook | None,
) -> StackAdvice:
    """Return a combination as a stack of the answer."""
    margins = margins_of(spot)
    judged = spot.judged
    pump_down = outlook.pump_down if outlook else None
    if spot.at(judged.fails):
        verdict = StackVerdict.REJECTED
    else:
        verdict = StackVerdict.FITS if spot.at(judged.fits) else StackVerdict.MARGINAL
    graded = [margin for margin in margins if margin.key not in YES_OR_NO or margin.ratio < 1.0]
    drying = drying_of(spot)
    weakest = min(graded, key=lambda margin: margin.ratio / margin.threshold, default=None)
    day = day_of(spot, pump_down) if pump_down is not None else None
    return StackAdvice(
        rank=rank,
        verdict=verdict,
        title=title_of(spot),
        parts=parts_of(spot, purse),
        margins=margins,
        states=_states(spot),
        pump_down=pump_down,
        cost=cost_of(spot, purse),
        rank_reason=rank_reason,
        weakest=weakest.key if weakest else None,
        flags=flags_of(spot),
        speed_plots=_speed_plots(spot),
        workings=(
            *workings_of(spot, margins, purse, catalog),
            *_day_workings(spot, day, pump_down),
        ),
        day=day,
        base_spread=outlook.base if outlook else None,
        vapour_path=vapour_path_of(spot, drying),
        drying=drying,
        envelope=outlook.envelope if outlook else None,
    )


def _day_workings(spot: Spot, day: Day | None, pump_down: PumpDown | None) -> Iterator[Working]:
    if day is not None and pump_down is not None:
        yield from day_lines(day, spot.judged.case.requirements.duty, pump_down)


def title_of(stack: Combination) -> str:
    """Return the pumps of a stack in a line."""
    back = stack.back
    names = [stack.front.pump.name] if stack.front else []
    names += [back.booster.name] if back.booster else []
    return " + ".join([*names, back.backing.name])


def parts_of(spot: Spot, purse: Purse) -> tuple[Part, ...]:
    """Return all parts of a stack, pumps first, then fluids, then what joins and guards them."""
    front, back = spot.front, spot.back
    parts: list[Part] = []
    if front is not None:
        parts.append(_part(Role.HIGH_VACUUM_PUMP, front.pump, front.pump.kind.value))
    if back.booster is not None:
        parts.append(_part(Role.BOOSTER, back.booster, back.booster.kind.value))
    parts.append(_part(Role.BACKING_PUMP, back.backing, back.backing.kind.value))
    assembly = purse.stack_assembly(front, back)
    if front is not None:
        fitted = purse.fitted(front.pump, front, back)
        grade = front.fluid.grade if front.fluid else None
        parts += _first_fill(front.pump, grade, fitted, purse)
    oil = back.oil.grade if back.oil else None
    parts += _first_fill(back.backing, oil, purse.fitted(back.backing, front, back), purse)
    for placed in assembly.parts:
        kind = getattr(placed.item, "kind", "") or type(placed.item).__name__.lower()
        parts.append(
            Part(
                placed.role,
                placed.item.sku,
                placed.item.name,
                str(kind),
                placed.quantity,
                placed.note,
                placed.item.place.value if isinstance(placed.item, Trap) else "",
            )
        )
    for pump in (front.pump if front else None, back.booster, back.backing):
        for supplied in pump.supplied if pump else ():
            note = f"supplied with {pump.name}: {supplied.note or 'keep it'}" if pump else ""
            parts.append(
                Part(Role.SUPPLIED, "", supplied.name, "supplied", supplied.quantity, note)
            )
    return tuple(parts)


def _part(role: Role, item: Item, kind: str) -> Part:
    return Part(role, item.sku, item.name, kind, 1)


def _first_fill(
    pump: Pump, grade: str | None, fitted: tuple[Item, ...], purse: Purse
) -> list[Part]:
    """Containers and packs that are bought together with a pump."""
    fill = Role.FLUID if isinstance(pump, VapourPump) else Role.OIL
    parts = []
    for line in purse.upkeep(pump, grade, fitted):
        if line.of_which_first:
            role = fill if line.group is UpkeepGroup.FLUIDS else Role.FILTER
            item = purse.catalog.items[line.sku]
            kind = str(getattr(item, "kind", line.group.value))
            parts.append(Part(role, line.sku, line.name, kind, line.of_which_first, line.reason))
    return parts


def cost_of(spot: Spot, purse: Purse) -> Cost:
    """Return purchase and running cost of a stack."""
    cost = spot.cost
    horizon = purse.requirements.commercial.horizon_years
    currency = purse.catalog.currency
    consumables = purse.money(int(cost.consumables))
    return Cost(
        currency=currency,
        purchase=purse.money(int(cost.purchase)),
        energy_per_year=purse.money(int(cost.energy_per_year)),
        consumables_per_year=round_money(consumables / Decimal(str(horizon)), currency),
        total_over_horizon=purse.money(int(cost.total(horizon))),
    )


def _states(spot: Spot) -> Mapping[str, State]:
    states = spot.judged.case.states
    found = {"base": _state(spot, states.base, working=False)}
    if states.process is not None:
        found["process"] = _state(spot, states.process, working=True)
    return found


def _state(spot: Spot, state: SettledState, *, working: bool) -> State:
    chamber, load = spot.at(state.chamber_pa), state.throughput_pa_m3_s
    partial = {gas: spot.at(part) for gas, part in state.partial_pa.items()}
    # without the pressure that is there without load, which no speed takes away
    raised = sum(partial.values())
    foreline = None if state.foreline_pa is None else spot.at(state.foreline_pa)
    if spot.front is not None and spot.front.pump.outlet is None:
        foreline = None
    return State(
        chamber_pressure_pa=chamber,
        inlet_pressure_pa=state.inlet_at_pa(spot.front_row, spot.back_row),
        foreline_pressure_pa=foreline,
        throughput_pa_m3_s=load,
        effective_speed_m3_s=load / raised if raised > 0 else math.nan,
        partial_pressures_pa=partial,
        partials=partials_of(spot, state, working=working),
    )


def _speed_plots(spot: Spot) -> tuple[SpeedPlot, ...]:
    """Curves of every gas of the load, where the pump has speed."""
    states, front = spot.judged.case.states, spot.front
    plots = []
    for gas in spot.judged.case.loads.species:
        if front is not None and states.inlet is not None:
            row = states.inlet.row_of_front[spot.front_row]
            own, reached = states.inlet.at_pump[gas], states.inlet.at_chamber[gas]
        else:
            row = spot.back_row
            own, reached = states.backing.working[gas], states.backing.at_chamber_working[gas]
        pressures = own.grid.pressure_pa
        shown = (
            (own.speed_m3_s[row] > 0.0)
            & (pressures >= _lowest_shown_pa(spot))
            & (pressures <= 1.02e5)
        )
        step = max(1, int(shown.sum()) // 120)
        plots.append(
            SpeedPlot(
                gas,
                tuple(pressures[shown][::step].tolist()),
                tuple(own.speed_m3_s[row][shown][::step].tolist()),
                tuple(reached.speed_m3_s[row][shown][::step].tolist()),
            )
        )
    return tuple(plots)


def _lowest_shown_pa(spot: Spot) -> float:
    base = spot.at(spot.judged.case.states.base.chamber_pa)
    return base / 30.0 if math.isfinite(base) else 1e-3


def rank_reason(spot: Spot, purse: Purse, rank: int) -> str:
    """Say why a stack stands where it does."""
    cost = cost_of(spot, purse)
    horizon = purse.requirements.commercial.horizon_years
    total = f"{cost.total_over_horizon:,} {cost.currency} over {horizon:g} years"
    if spot.at(spot.judged.fits):
        lead = "Every margin passes; the lowest total cost" if rank == 1 else "Every margin passes"
        return f"{lead}: {total}."
    keys = tuple(MarginKey)
    weakest = RULES[keys[int(spot.at(spot.judged.worst_key.astype(float)))]].title.lower()
    return f"Works, but the margin of {weakest} is below its threshold: {total}."
