"""A stack as it is shown: its parts cost what it costs, its curves are its pump's."""

from __future__ import annotations

from decimal import Decimal
from functools import cache

import numpy as np
import pytest

from server.catalog.items import Trap, VapourPump
from server.fit.costs import Purse
from server.fit.course import outlooks
from server.fit.explain import Spot
from server.fit.present import cost_of, parts_of, present_together, rank_reason, title_of
from server.fit.results import Role, StackAdvice
from server.fit.thresholds import RULES
from tests.fit.engine_cases import COATER, DISTILLATION, demo_catalog, inquiry, judge_all

BASES = {"coater": COATER, "still": DISTILLATION}


@cache
def shown(name: str) -> tuple[Purse, tuple[Spot, ...]]:
    """Some twenty of the returned stacks."""
    asked = inquiry(BASES[name])
    stacks = judge_all(asked, demo_catalog()).returned()
    spots = [Spot(s.judged, s.row, s.column) for s in stacks[:: max(1, len(stacks) // 20)]]
    return Purse(asked, demo_catalog()), tuple(spots)


@cache
def first(name: str) -> tuple[Spot, StackAdvice]:
    purse, spots = shown(name)
    spot = next((s for s in spots if s.front is not None), spots[0])
    (stack,) = present_together([spot], purse, outlooks([spot]))
    return spot, stack


@pytest.mark.parametrize("name", list(BASES))
def test_the_parts_cost_what_the_stack_costs(name: str) -> None:
    purse, spots = shown(name)
    items = demo_catalog().items
    for spot in spots:
        parts = parts_of(spot, purse)
        counted = sum(
            (items[part.sku].price * part.quantity for part in parts if part.sku), Decimal(0)
        )
        assert counted == cost_of(spot, purse).purchase


@pytest.mark.parametrize("name", list(BASES))
def test_every_part_is_named_after_its_item_and_has_its_role(name: str) -> None:
    purse, spots = shown(name)
    items = demo_catalog().items
    supplied = 0
    for spot in spots:
        front, back = spot.front, spot.back
        parts = parts_of(spot, purse)
        pumps = {part.role: part for part in parts[:3]}
        assert pumps[Role.BACKING_PUMP].sku == back.backing.sku
        assert (Role.HIGH_VACUUM_PUMP in pumps) == (front is not None)
        assert (Role.BOOSTER in pumps) == (back.booster is not None)
        for part in parts:
            assert part.quantity >= 1
            if part.role is Role.SUPPLIED:
                owners = [p for p in (front and front.pump, back.booster, back.backing) if p]
                names = {s.name: (p, s) for p in owners for s in p.supplied}
                pump, piece = names[part.name]
                assert (part.sku, part.kind, part.quantity) == ("", "supplied", piece.quantity)
                assert part.note == f"supplied with {pump.name}: {piece.note or 'keep it'}"
                supplied += 1
                continue
            item = items[part.sku]
            assert part.name == item.name
            assert part.place == (item.place.value if isinstance(item, Trap) else "")
        fluids = [part for part in parts if part.role is Role.FLUID]
        assert not fluids or (front is not None and isinstance(front.pump, VapourPump))
    assert supplied > 0


@pytest.mark.parametrize("name", list(BASES))
def test_curves_run_from_below_the_base_pressure_to_the_atmosphere(name: str) -> None:
    spot, advice = first(name)
    base = spot.at(spot.judged.case.states.base.chamber_pa)
    assert {plot.gas for plot in advice.speed_plots} == set(spot.judged.case.loads.species)
    for plot in advice.speed_plots:
        pressures = np.array(plot.pressure_pa)
        assert base / 100.0 < pressures[0] < base or pressures[0] >= base
        assert pressures[-1] < 1.02e5
        assert 20 < len(pressures) <= 240
        assert np.all(np.diff(np.log(pressures)) > 0.0)
        assert min(plot.pump_speed_m3_s) > 0.0
        if spot.front is not None and spot.front.trap is None:
            # a line takes speed away; between the nodes of the grid speeds are right to 0.5 %
            assert np.all(
                np.array(plot.chamber_speed_m3_s) <= np.array(plot.pump_speed_m3_s) * 1.005
            )


@pytest.mark.parametrize("name", list(BASES))
def test_states_and_title_are_those_of_the_pumps(name: str) -> None:
    spot, advice = first(name)
    states = spot.judged.case.states
    names = [spot.front.pump.name] if spot.front else []
    names += [spot.back.booster.name] if spot.back.booster else []
    assert advice.title == title_of(spot) == " + ".join([*names, spot.back.backing.name])
    for key, state in (("base", states.base), ("process", states.process)):
        told = advice.states[key]
        assert state is not None
        assert told.chamber_pressure_pa == spot.at(state.chamber_pa)
        gas = sum(told.partial_pressures_pa.values())
        # mass balance of the chamber: the load leaves at this speed
        assert told.effective_speed_m3_s * gas == pytest.approx(told.throughput_pa_m3_s)


@pytest.mark.parametrize("name", list(BASES))
def test_a_rank_is_reasoned_by_verdict_and_total_cost(name: str) -> None:
    purse, spots = shown(name)
    for spot in spots:
        cost = cost_of(spot, purse)
        years = Decimal(str(purse.requirements.commercial.horizon_years))
        running = (cost.energy_per_year + cost.consumables_per_year) * years
        # each yearly amount is rounded to a cent by itself
        assert abs(cost.purchase + running - cost.total_over_horizon) <= Decimal("0.02") * years
        told = rank_reason(spot, cost, 1), rank_reason(spot, cost, 2)
        for text in told:
            assert f"{cost.total_over_horizon:,} EUR over {float(years):g} years" in text
        if spot.at(spot.judged.fits):
            assert "lowest total cost" in told[0]
            assert "lowest" not in told[1]
            assert "Every margin passes" in told[1]
        else:
            ratios = {
                key: spot.at(ledger.ratio) / RULES[key].threshold
                for key, ledger in spot.judged.ledgers.items()
            }
            weakest = min((r, k) for k, r in ratios.items() if r == r)[1]
            assert RULES[weakest].title.lower() in told[0]
