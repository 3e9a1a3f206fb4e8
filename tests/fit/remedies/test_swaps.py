"""Other parts in the place of one: the cheapest that helps and harms nothing."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from server.catalog.items import Catalog, Trap, VapourPump
from server.fit.candidates import Field, make_back, make_front
from server.fit.choice import StackChoice
from server.fit.evaluation import Judged
from server.fit.explain import Spot
from server.fit.remedies.matters import MENU, Matter
from server.fit.remedies.swaps import SWAPPED, Swaps, other_backs, other_fronts, variants_of
from server.fit.results import MarginKey
from tests.fit.engine_cases import COATER, demo_catalog, inquiry
from tests.fit.remedies.cases import (
    CRYO,
    JET,
    JET_BACKED_WELL,
    ROUGH,
    case,
    judged_alone,
    share,
    spot_of,
    trial_of,
)


@pytest.mark.parametrize("name", ["heater too weak", "wrong fluid", "much gas"])
def test_another_part_lifts_its_margin_breaks_no_other_and_nothing_cheaper_does(name: str) -> None:
    spot, asked, remedies = case(name)
    trial = trial_of(spot, asked)
    before = set(trial.failing)
    for remedy in remedies:
        if remedy.change not in SWAPPED:
            continue
        prices = []
        for swap in (*other_backs(trial), *other_fronts(trial)):
            if swap.matter != remedy.change:
                continue
            other = judged_alone(_as_spot(swap.front, swap.back, spot.judged), asked)
            lifts = share(other, remedy.margin) >= 1.0 - 1e-9
            if lifts and _broken(other) <= before:
                prices.append(float(other.case.purchase[0, 0]))
        assert remedy.to_value == pytest.approx(min(prices)), remedy
        assert remedy.from_value == pytest.approx(trial.purchase)
        assert remedy.unit == "EUR"


def test_several_stacks_are_offered_the_same_parts_as_each_by_itself() -> None:
    asked = inquiry(COATER, target_pressure="5e-7 mbar")
    choices = (JET, JET_BACKED_WELL, CRYO, ROUGH, StackChoice(None, None, "VANE2-0250"))
    trials = [trial_of(spot_of(choice, asked), asked) for choice in choices]
    together, found = Swaps(trials), 0
    for trial in trials:
        alone = Swaps([trial])
        for key in trial.failing:
            for matter in SWAPPED & set(MENU[key]):
                swapped = together.cheapest(trial, matter, key)
                assert swapped == alone.cheapest(trial, matter, key)
                found += swapped is not None
    assert found


def _as_spot(front: Any, back: Any, judged: Judged) -> Spot:
    field = Field((front,), (back,))
    return Spot(
        replace(judged, days=replace(judged.days, case=replace(judged.case, field=field))), 0, 0
    )


def _broken(judged: Judged) -> set[MarginKey]:
    return {key for key in judged.ledgers if share(judged, key) < 1.0 - 1e-9}


def test_cooling_water_is_asked_for_where_it_alone_is_missing() -> None:
    spot, asked, _ = case("no water")
    site = replace(asked.utilities, cooling_water=True)
    judged = judged_alone(spot, replace(asked, utilities=site))
    assert share(judged, MarginKey.UTILITIES) == 1.0


def test_a_high_load_heater_and_its_standard_pump_are_variants_of_each_other() -> None:
    catalog: Catalog = demo_catalog()
    pumps = catalog.of_type(VapourPump)
    for pump in pumps:
        for other in variants_of(pump, pumps):
            assert pump in variants_of(other, pumps)
            assert other.inlet == pump.inlet
            assert other.throat_m == pump.throat_m


def test_a_trap_on_the_inlet_is_the_same_front_with_another_trap() -> None:
    spot, asked, _ = case("clean work")
    trial = trial_of(spot, asked)
    traps = [swap for swap in other_fronts(trial) if swap.matter is Matter.TRAP]
    assert traps
    assert spot.front is not None
    for swap in traps:
        assert swap.front is not None
        assert swap.front.pump == spot.front.pump
        assert swap.front == make_front(spot.front.pump, spot.front.fluid, swap.front.trap, asked)
        assert swap.front.trap is None or isinstance(swap.front.trap, Trap)
        assert swap.back == make_back(
            spot.back.backing, spot.back.booster, spot.back.trap, asked, demo_catalog()
        )
