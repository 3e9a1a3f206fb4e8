"""The combinations looked at, and what rules a part out by itself."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from server.catalog.items import (
    CAPTURE_KINDS,
    BackingPump,
    Catalog,
    Cooling,
    Fluid,
    FluidKind,
    Item,
    PumpKind,
    RootsBooster,
    SpeedCurve,
    Trap,
    TrapKind,
    TrapPlace,
    TurboPump,
    VapourPump,
)
from server.fit.candidates import Back, Field, Front, fields_of, make_back, make_front
from server.fit.results import MarginKey
from tests.fit.engine_cases import BENCH, COATER, a_bench, a_jet, a_rougher, demo_catalog, inquiry
from tests.fit.stock import a_fluid, a_trap, a_turbo_pump, an_oil

FLUID = a_fluid("FLUID", "90.00", 65e-6)
BAFFLE = a_trap("BAFFLE", "KF 50")
CONDENSER = a_trap("CONDENSER", "KF 25", TrapKind.CONDENSER, TrapPlace.FORELINE)
WET: dict[str, Any] = {"vapour": [{"substance": "water", "rate": "1 g/h"}]}


def a_vane(**changes: Any) -> BackingPump:
    oils = (FluidKind.MINERAL, FluidKind.PERFLUOROPOLYETHER)
    return a_rougher(kind=PumpKind.VANE_TWO_STAGE, oil_kinds=oils, **changes)


def fields(*items: Item, **changes: Any) -> tuple[Field, ...]:
    return fields_of(inquiry(BENCH, **changes), a_bench(*items))


# --- which combinations --------------------------------------------------------------------------


def test_every_front_meets_every_back_and_every_back_stands_alone() -> None:
    # by hand: one jet × (no baffle, baffle) = 2 fronts; 2 backs; and the 2 backs as rough stacks
    high, rough = fields(a_jet(), FLUID, BAFFLE, a_rougher(), replace(a_rougher(), sku="SECOND"))
    assert (len(high.fronts), len(high.backs), high.size) == (2, 2, 4)
    assert rough.fronts == (None,)
    assert rough.size == 2


def test_a_fluid_is_taken_once_for_each_grade_whatever_its_containers() -> None:
    large = a_fluid("LARGE", "480.00", 500e-6)
    other = a_fluid("OTHER", "80.00", 65e-6, grade="other")
    high = fields(a_jet(), FLUID, large, other, a_rougher())[0]
    grades = [front.fluid.grade for front in high.fronts if front and front.fluid]
    assert sorted(grades) == ["other", "trisiloxane"]


def test_condensers_are_looked_at_only_where_vapour_comes() -> None:
    assert [back.trap for back in fields(a_rougher(), CONDENSER)[0].backs] == [None]
    wet = fields(a_rougher(), CONDENSER, process=WET)[0].backs
    assert [back.trap for back in wet] == [None, CONDENSER]


def test_sputter_ion_pumps_meet_backs_with_a_turbo_and_others_do_not() -> None:
    for field in fields_of(inquiry(COATER), demo_catalog()):
        kinds = {front.pump.kind for front in field.fronts if front is not None}
        boosters = {type(back.booster) for back in field.backs}
        if kinds == {PumpKind.SPUTTER_ION}:
            assert boosters == {TurboPump}
        else:
            assert PumpKind.SPUTTER_ION not in kinds
            assert boosters == {type(None), RootsBooster}


def test_capture_pumps_have_neither_fluid_nor_trap_and_turbos_no_fluid() -> None:
    for field in fields_of(inquiry(COATER), demo_catalog()):
        for front in field.fronts:
            if front is None:
                continue
            assert (front.fluid is not None) is isinstance(front.pump, VapourPump)
            if front.pump.kind in CAPTURE_KINDS:
                assert front.trap is None


def test_a_catalogue_without_pumps_has_no_field() -> None:
    assert fields(FLUID) == ()


# --- refusals ------------------------------------------------------------------------------------


def a_front(trap: Trap | None = None, **changes: Any) -> Front:
    jet = a_jet(**changes.pop("jet", {}))
    return make_front(jet, changes.pop("fluid", FLUID), trap, inquiry(BENCH, **changes))


def a_back(
    pump: BackingPump, trap: Trap | None = None, *, stock: tuple[Item, ...] = (), **changes: Any
) -> Back:
    catalog: Catalog = a_bench(pump, *stock)
    return make_back(pump, None, trap, inquiry(BENCH, **changes), catalog)


def key_of(part: Front | Back) -> MarginKey | None:
    return None if part.refusal is None else part.refusal.key


def test_what_the_site_offers_is_not_refused() -> None:
    assert a_front(BAFFLE).refusal is None
    assert a_back(a_rougher()).refusal is None


@pytest.mark.parametrize(
    ("jet", "site"),
    [
        ({"cooling": Cooling.WATER}, {"utilities__cooling_water": False}),
        ({"phases": 3}, {}),
        ({"mains_voltages": (115,)}, {}),
    ],
    ids=["water", "phases", "volts"],
)
def test_what_the_site_lacks_is_refused(jet: dict[str, Any], site: dict[str, Any]) -> None:
    front = a_front(jet=jet, **site)
    assert key_of(front) is MarginKey.UTILITIES
    assert front.refusal is not None
    assert front.refusal.reason.endswith(".")


def test_traps_need_their_cooling_water_in_front_and_behind() -> None:
    dry: dict[str, Any] = {"utilities__cooling_water": False}
    condenser = replace(CONDENSER, cooling=Cooling.WATER)
    assert key_of(a_front(BAFFLE, **dry)) is MarginKey.UTILITIES
    assert key_of(a_back(a_rougher(), condenser, process=WET, **dry)) is MarginKey.UTILITIES
    assert key_of(a_back(a_rougher(), condenser, process=WET)) is None


def test_a_fluid_that_the_boiler_would_burn_is_refused() -> None:
    cool: Fluid = replace(FLUID, largest_boiler_k=500.0)
    assert key_of(a_front(fluid=cool)) is MarginKey.FLUID


def test_oil_has_no_place_where_none_is_wanted() -> None:
    oil = an_oil("OIL", "19.00", 1e-3)
    assert key_of(a_front(cleanliness="oil_free")) is MarginKey.COMPATIBILITY
    back = a_back(a_vane(), stock=(oil,), cleanliness="oil_free")
    assert key_of(back) is MarginKey.COMPATIBILITY
    assert key_of(a_back(a_rougher(), cleanliness="oil_free")) is None


def test_little_oil_brings_a_sorption_trap_or_a_refusal() -> None:
    oil = an_oil("OIL", "19.00", 1e-3)
    trap = a_trap("SORPTION", "KF 25", TrapKind.FORELINE_SORPTION, TrapPlace.FORELINE)
    with_trap = a_back(a_vane(), stock=(oil, trap), cleanliness="low_oil")
    assert with_trap.trap == trap
    assert with_trap.refusal is None
    assert key_of(a_back(a_vane(), stock=(oil,), cleanliness="low_oil")) is MarginKey.COMPATIBILITY
    assert a_back(a_rougher(), stock=(trap,), cleanliness="low_oil").trap is None


def test_oxygen_takes_the_fluorinated_oil_though_it_costs_more() -> None:
    mineral = an_oil("MINERAL", "19.00", 1e-3, grade="vane-mineral")
    inert = replace(
        an_oil("INERT", "900.00", 1e-3, grade="vane-inert"), kind=FluidKind.PERFLUOROPOLYETHER
    )
    usual = a_back(a_vane(), stock=(mineral, inert))
    assert usual.oil == mineral
    oxygen = a_back(a_vane(), stock=(mineral, inert), hazards=["oxygen_rich"])
    assert oxygen.oil == inert
    assert oxygen.refusal is None
    without = a_back(a_vane(), stock=(mineral,), hazards=["oxygen_rich"])
    assert key_of(without) is MarginKey.COMPATIBILITY


def test_solvent_vapour_is_kept_from_a_pump_it_would_attack() -> None:
    solvent: dict[str, Any] = {"vapour": [{"substance": "acetone", "rate": "1 g/h"}]}
    cold = a_trap("COLD", "KF 25", TrapKind.NITROGEN_TRAP, TrapPlace.FORELINE)
    assert key_of(a_back(a_rougher(), process=solvent)) is MarginKey.COMPATIBILITY
    assert key_of(a_back(a_rougher(), cold, process=solvent)) is None


def test_what_a_part_takes_along_is_counted_once_under_the_fronts_reason_first() -> None:
    # 2 fronts (one needs water) × 2 backs (one needs three phases), no water, one phase: the wet
    # front takes 2 along, the heavy back the 1 left with the dry front
    wet = replace(a_jet(), sku="WET", cooling=Cooling.WATER)
    heavy = replace(a_rougher(), sku="HEAVY", phases=3)
    high = fields(
        a_jet(), wet, FLUID, a_rougher(), heavy, utilities__cooling_water=False
    )[0]  # fmt: skip
    assert high.size == 1
    assert high.considered == 4
    assert dict(high.refused) == {"utilities": 3}


def test_a_turbo_before_the_backing_pump_is_refused_for_the_pair() -> None:
    turbo = replace(a_turbo_pump(), curves=(SpeedCurve("nitrogen", (1e-6, 1.0), (0.2, 0.1)),))
    requirements = inquiry(BENCH, utilities__cooling_water=False)
    back = make_back(a_rougher(), turbo, None, requirements, a_bench(a_rougher(), turbo))
    assert key_of(back) is MarginKey.UTILITIES
