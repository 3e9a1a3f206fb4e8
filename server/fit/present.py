"""A judged combination as the answer shows it: parts, margins, states, pump-down, cost, flags."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

import numpy as np

from server.catalog.arrays import GRID
from server.catalog.items import Item, Pump, Trap, VapourPump
from server.fit.candidates import Combination
from server.fit.costs import Purse
from server.fit.course import Outlook
from server.fit.day import days_of
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
    Role,
    SpeedPlot,
    StackAdvice,
    StackVerdict,
    State,
)
from server.fit.thresholds import RULES
from server.fit.upkeep import UpkeepGroup
from server.fit.vapour_path import vapour_path_of
from server.fit.workings import benches_of, workings_of
from server.fit.workings.bench import Bench, Settled
from server.fit.workings.day import day_lines


def present_together(
    spots: Sequence[Spot], purse: Purse, outlooks: Sequence[Outlook]
) -> tuple[StackAdvice, ...]:
    """Return combinations as the stacks of an answer, what they have in common worked out once.

    Parameters
    ----------
    spots : sequence of Spot
        The combinations, in the order of their rank.
    purse : Purse
        Prices of the inquiry's parts.
    outlooks : sequence of Outlook
        How each pumps down.
    """
    days = days_of(spots, [outlook.pump_down for outlook in outlooks])
    shown = zip(benches_of(spots, purse), outlooks, days, strict=True)
    return tuple(_present(rank, *stack) for rank, stack in enumerate(shown, 1))


def _present(rank: int, bench: Bench, outlook: Outlook, day: Day | None) -> StackAdvice:
    spot, purse, pump_down = bench.spot, bench.purse, outlook.pump_down
    margins, cost = margins_of(spot), cost_of(spot, purse)
    judged = spot.judged
    if spot.at(judged.fails):
        verdict = StackVerdict.REJECTED
    else:
        verdict = StackVerdict.FITS if spot.at(judged.fits) else StackVerdict.MARGINAL
    graded = [margin for margin in margins if margin.key not in YES_OR_NO or margin.ratio < 1.0]
    drying = drying_of(spot)
    weakest = min(graded, key=lambda margin: margin.ratio / margin.threshold, default=None)
    return StackAdvice(
        rank=rank,
        verdict=verdict,
        title=title_of(spot),
        parts=parts_of(spot, purse),
        margins=margins,
        states=_states(bench),
        pump_down=pump_down,
        cost=cost,
        rank_reason=rank_reason(spot, cost, rank),
        weakest=weakest.key if weakest else None,
        flags=flags_of(spot),
        speed_plots=_speed_plots(bench),
        workings=(
            *workings_of(bench, margins),
            *(day_lines(day, bench.requirements.duty, pump_down) if day else ()),
        ),
        day=day,
        base_spread=outlook.base,
        vapour_path=vapour_path_of(spot, drying),
        drying=drying,
        envelope=outlook.envelope,
    )


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


def _states(bench: Bench) -> Mapping[str, State]:
    return {state.key: _state(bench, state) for state in bench.settled}


def _state(bench: Bench, state: Settled) -> State:
    load = state.field.throughput_pa_m3_s
    # without the pressure that is there without load, which no speed takes away
    raised = sum(state.partial_pa.values())
    return State(
        chamber_pressure_pa=state.chamber_pa,
        inlet_pressure_pa=state.inlet_pa,
        foreline_pressure_pa=state.foreline_pa if bench.has_foreline else None,
        throughput_pa_m3_s=load,
        effective_speed_m3_s=load / raised if raised > 0 else math.nan,
        partial_pressures_pa=state.partial_pa,
        partials=partials_of(bench, state),
    )


def _speed_plots(bench: Bench) -> tuple[SpeedPlot, ...]:
    """Curves of every gas of the load, where the pump has speed."""
    lowest = _lowest_shown_pa(bench.base)
    key = ("speed plots", bench.chamber_row, lowest)
    return bench.spot.judged.memory.once(key, lambda: tuple(_plots(bench, lowest)))


def _plots(bench: Bench, lowest_pa: float) -> Iterator[SpeedPlot]:
    state, pressures = bench.settled[-1], GRID.pressure_pa
    wanted = (pressures >= lowest_pa) & (pressures <= 1.02e5)
    for gas in bench.loads.species:
        own, reached = bench.pump_speeds(gas, state), bench.chamber_speeds(gas, state)
        shown = np.flatnonzero(wanted & (own.nodes_m3_s > 0.0))
        shown = shown[:: max(1, shown.size // 120)]
        columns = (pressures, own.nodes_m3_s, reached.nodes_m3_s)
        yield SpeedPlot(gas, *(tuple(column[shown].tolist()) for column in columns))


def _lowest_shown_pa(base: Settled) -> float:
    return base.chamber_pa / 30.0 if math.isfinite(base.chamber_pa) else 1e-3


def rank_reason(spot: Spot, cost: Cost, rank: int) -> str:
    """Say why a stack of this cost stands where it does."""
    horizon = spot.judged.case.requirements.commercial.horizon_years
    total = f"{cost.total_over_horizon:,} {cost.currency} over {horizon:g} years"
    if spot.at(spot.judged.fits):
        lead = "Every margin passes; the lowest total cost" if rank == 1 else "Every margin passes"
        return f"{lead}: {total}."
    keys = tuple(MarginKey)
    weakest = RULES[keys[int(spot.at(spot.judged.worst_key.astype(float)))]].title.lower()
    return f"Works, but the margin of {weakest} is below its threshold: {total}."
