"""Parts of a stack: what joins what. Trade facts are common practice, no source."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.flanges import Flange, known_flanges, parse_flange
from server.catalog.items import (
    Catalog,
    Cooling,
    Interlock,
    Item,
    LinePart,
    LineShape,
    PumpKind,
    SuppliedFor,
    SuppliedPart,
    Trap,
    ValveRole,
)
from server.fit.assembly import (
    Assembly,
    PlacedPart,
    backing_assembly,
    foreline_assembly,
    gauge_assembly,
    inlet_assembly,
    interlock_assembly,
    roughing_assembly,
    vent_assembly,
)
from server.fit.joints import bench, family
from server.fit.requirements import Cleanliness, Hazard, LineRun
from server.fit.results import Role
from tests.fit.stock import (
    a_backing_pump,
    a_catalog,
    a_gauge,
    a_line_part,
    a_trap,
    a_turbo_pump,
    a_valve,
    a_vapour_pump,
    all_items,
    hardware_for,
)

SHORT = LineRun(length_m=0.0, bore_m=None, bends=0)
STOCK = a_catalog()
RING_100 = "CENTRING_RING-ISO-K-100"
CLAMP_100 = "CLAMP-ISO-K-100"


def quantities(assembly: Assembly) -> Counter[str]:
    return Counter({part.item.sku: part.quantity for part in assembly.parts})


def without(*skus: str) -> Catalog:
    return a_catalog(item for item in all_items() if item.sku not in skus)


def test_every_joint_of_the_inlet_gets_a_ring_and_claw_clamps() -> None:
    # Port, tube, elbow, gate valve, pump: four joints of ISO-K 100, four claw clamps each.
    line = LineRun(length_m=0.4, bore_m=None, bends=1)
    found = inlet_assembly(parse_flange("ISO-K 100"), a_vapour_pump(), None, line, STOCK)
    assert quantities(found) == {
        "TUBE-ISO-K-100-ISO-K-100-500": 1,
        "ELBOW-ISO-K-100-ISO-K-100": 1,
        "GATE-100": 1,
        RING_100: 4,
        CLAMP_100: 16,
    }
    assert found.open_joints == ()


@pytest.mark.parametrize(
    ("flange", "clamps"), [("ISO-K 63", 4), ("ISO-K 100", 4), ("ISO-K 250", 6)]
)
def test_claw_clamps_grow_in_number_with_the_flange(flange: str, clamps: int) -> None:
    size = parse_flange(flange)
    joint = bench(STOCK).joint(size, size)
    assert joint is not None
    assert [(part.shape, pieces) for part, pieces in joint] == [
        (LineShape.CENTRING_RING, 1),
        (LineShape.CLAMP, clamps),
    ]


@pytest.mark.parametrize(
    ("flange", "shapes"),
    [
        ("KF 25", {LineShape.CENTRING_RING, LineShape.CLAMP}),
        ("ISO-F 100", {LineShape.CENTRING_RING, LineShape.BOLT_SET}),
        ("CF 100", {LineShape.GASKET, LineShape.BOLT_SET}),
    ],
)
def test_each_system_is_closed_its_own_way(flange: str, shapes: set[LineShape]) -> None:
    size = parse_flange(flange)
    joint = bench(STOCK).joint(size, size)
    assert joint is not None
    assert {part.shape for part, _ in joint} == shapes
    assert [pieces for _, pieces in joint] == [1, 1]


def test_rings_are_fkm_although_others_are_cheaper() -> None:
    found = vent_assembly(STOCK)
    rings = [p.item for p in found.parts if isinstance(p.item, LinePart)]
    assert {ring.material for ring in rings if ring.shape is LineShape.CENTRING_RING} == {"FKM"}


def test_a_pump_of_another_flange_system_gets_an_adaptor() -> None:
    found = inlet_assembly(parse_flange("CF 100"), a_turbo_pump(), None, SHORT, STOCK)
    # Copper gaskets come in packs of ten, and the turbo brings its own centring ring.
    assert quantities(found) == {
        "ADAPTOR-CF-100-ISO-K-100": 1,
        "GASKET-CF-100": 1,
        "BOLT_SET-CF-100": 1,
        CLAMP_100: 4,
    }


def test_a_supplied_ring_is_not_sold_again() -> None:
    ring = SuppliedPart(
        "Special centring ring, ISO-K 100",
        1,
        "made for this pump; keep it",
        (SuppliedFor.INLET_RING,),
    )
    plain = inlet_assembly(None, a_vapour_pump(), None, SHORT, STOCK)
    special = inlet_assembly(None, a_vapour_pump(supplied=(ring,)), None, SHORT, STOCK)
    assert quantities(plain) - quantities(special) == {RING_100: 1}
    assert plain.price - special.price == Decimal("6.00")


def test_the_shortest_way_across_sizes_is_taken() -> None:
    way = bench(STOCK).path(parse_flange("CF 100"), parse_flange("KF 25"))
    assert way is not None
    skus = [step.part.sku for step in way]
    assert skus == [
        "ADAPTOR-CF-100-ISO-K-100",
        "REDUCER-ISO-K-100-ISO-K-63",
        "ADAPTOR-ISO-K-63-KF-25",
    ]


def test_what_no_part_joins_is_named() -> None:
    pump = a_vapour_pump(inlet="ISO-K 500")
    found = inlet_assembly(parse_flange("ISO-K 100"), pump, None, SHORT, STOCK)
    assert "No part of the catalogue leads from ISO-K 100 to ISO-K 500." in found.open_joints


def test_a_missing_clamp_leaves_the_joint_open() -> None:
    found = vent_assembly(without("CLAMP-KF-16"))
    assert found.open_joints == ("The catalogue has no complete set for a joint at KF 16.",)


def test_a_vapour_jet_pump_gets_an_isolation_valve_and_a_turbo_none() -> None:
    jet = inlet_assembly(None, a_vapour_pump(), None, SHORT, STOCK)
    turbo = inlet_assembly(None, a_turbo_pump(), None, SHORT, STOCK)
    assert [part.item.sku for part in jet.parts if part.role is Role.VALVE] == ["GATE-100"]
    assert not [part for part in turbo.parts if part.role is Role.VALVE]


def test_the_baffle_stands_between_valve_and_pump() -> None:
    baffle = STOCK.get("BAFFLE", Trap)
    found = inlet_assembly(None, a_vapour_pump(), baffle, SHORT, STOCK)
    assert [part.item.sku for part in found.parts if part.role is Role.BAFFLE] == ["BAFFLE"]
    # Chamber, valve, baffle, pump: three joints.
    assert quantities(found)[RING_100] == 3


@pytest.mark.parametrize(("bore_m", "size"), [(0.066, "ISO-K-63"), (0.095, "ISO-K-100")])
def test_a_line_is_never_narrower_than_it_was_calculated(bore_m: float, size: str) -> None:
    # ISO 1609: the bore of ISO-K 63 is 70 mm.
    run = LineRun(length_m=0.5, bore_m=bore_m, bends=0)
    found = inlet_assembly(parse_flange("ISO-K 100"), a_turbo_pump(), None, run, STOCK)
    assert quantities(found)[f"TUBE-{size}-{size}-500"] == 1


def test_a_line_wider_than_all_tubes_is_named() -> None:
    run = LineRun(length_m=0.5, bore_m=0.3, bends=0)
    found = inlet_assembly(parse_flange("ISO-K 100"), a_turbo_pump(), None, run, STOCK)
    assert found.open_joints == ("No tube or hose of the catalogue is 300 mm wide.",)


def test_the_foreline_of_a_vapour_jet_pump_has_valve_hose_and_gauge() -> None:
    pump, run = a_vapour_pump(), LineRun(length_m=1.0, bore_m=None, bends=1)
    found = foreline_assembly(parse_flange("KF 25"), parse_flange("KF 25"), run, pump.kind, STOCK)
    # Pump, tee, valve, hose, backing pump: four joints of KF 25; reducer and gauge at the branch.
    assert quantities(found) == {
        "FORE-25": 1,
        "HOSE-KF-25-KF-25-1000": 1,
        "TEE-KF-25-KF-25": 1,
        "REDUCER-KF-25-KF-16": 1,
        "PIRANI": 1,
        "CENTRING_RING-KF-25": 5,
        "CLAMP-KF-25": 5,
        "CENTRING_RING-KF-16": 1,
        "CLAMP-KF-16": 1,
    }


def test_between_booster_and_backing_pump_there_is_no_valve_and_no_gauge() -> None:
    found = foreline_assembly(
        parse_flange("KF 25"), parse_flange("KF 25"), SHORT, PumpKind.ROOTS_BOOSTER, STOCK
    )
    assert {part.role for part in found.parts} == {Role.LINE}


def test_a_shared_backing_pump_gets_a_tee_and_a_roughing_valve() -> None:
    run = LineRun(length_m=1.5, bore_m=None, bends=0)
    own = roughing_assembly(None, parse_flange("KF 25"), run, STOCK, shared=False)
    shared = roughing_assembly(None, parse_flange("KF 25"), run, STOCK, shared=True)
    assert quantities(own)["ROUGH-25"] == quantities(shared)["ROUGH-25"] == 1
    assert quantities(shared) - quantities(own) == {
        "TEE-KF-25-KF-25": 1,
        "CENTRING_RING-KF-25": 1,
        "CLAMP-KF-25": 1,
    }


@pytest.mark.parametrize(
    ("hazards", "cleanliness", "kind", "skus"),
    [
        (set(), Cleanliness.TOLERANT, PumpKind.VANE_TWO_STAGE, {"MIST"}),
        (set(), Cleanliness.LOW_OIL, PumpKind.VANE_TWO_STAGE, {"MIST", "SORPTION"}),
        (set(), Cleanliness.LOW_OIL, PumpKind.SCROLL, set()),
        ({Hazard.PARTICULATES}, Cleanliness.OIL_FREE, PumpKind.SCROLL, {"DUST"}),
    ],
)
def test_a_backing_pump_gets_what_oil_and_dust_ask_for(
    hazards: set[Hazard], cleanliness: Cleanliness, kind: PumpKind, skus: set[str]
) -> None:
    found = backing_assembly(a_backing_pump(kind=kind), hazards, cleanliness, STOCK)
    parts = {part.item.sku for part in found.parts if part.role is not Role.LINE}
    assert parts == skus


def test_parts_before_the_backing_pump_add_as_many_joints_as_there_are_parts() -> None:
    pump = a_backing_pump(kind=PumpKind.SCROLL)
    found = backing_assembly(pump, {Hazard.PARTICULATES}, Cleanliness.TOLERANT, STOCK)
    assert quantities(found)["CENTRING_RING-KF-25"] == 1


def test_an_exhaust_filter_that_comes_with_the_pump_is_not_sold_again() -> None:
    pump = a_backing_pump(
        supplied=(
            SuppliedPart(
                "First exhaust filter element", 1, "fitted", (SuppliedFor.EXHAUST_FILTER,)
            ),
        )
    )
    assert backing_assembly(pump, set(), Cleanliness.TOLERANT, STOCK).parts == ()


@pytest.mark.parametrize(
    ("lowest_pa", "skus"),
    [(1.0, {"PIRANI"}), (1e-4, {"PIRANI", "COLD"})],
)
def test_gauges_read_from_atmosphere_to_the_lowest_pressure(
    lowest_pa: float, skus: set[str]
) -> None:
    found = gauge_assembly(lowest_pa, STOCK)
    assert {part.item.sku for part in found.parts if part.role is Role.GAUGE} == skus


def test_one_gauge_is_taken_where_it_is_cheaper_than_two() -> None:
    cheap = replace(a_gauge("WIDE", "700.00", 1e-6, 1.01e5))
    stock = a_catalog([*(item for item in all_items() if item.sku != "WIDE"), cheap])
    found = gauge_assembly(1e-4, stock)
    assert {part.item.sku for part in found.parts if part.role is Role.GAUGE} == {"WIDE"}


def test_a_pressure_no_gauge_reads_is_named() -> None:
    found = gauge_assembly(1e-9, STOCK)
    (said,) = found.open_joints
    assert said == "The catalogue's gauges do not read from atmosphere to 1.0e-11 mbar."


@pytest.mark.parametrize(
    ("cooling", "lock"), [(Cooling.AIR, "LOCK-AIR"), (Cooling.WATER, "LOCK-WATER")]
)
def test_a_vapour_jet_pump_is_guarded_three_ways(cooling: Cooling, lock: str) -> None:
    found = interlock_assembly(a_vapour_pump(cooling=cooling), STOCK)
    assert set(quantities(found)) == {"LOCK-TEMPERATURE", "LOCK-FORELINE", lock}


def test_a_fitted_temperature_switch_is_not_sold_again() -> None:
    switch = SuppliedPart(
        "Over-temperature switch, fitted",
        1,
        "in series with the heater",
        (SuppliedFor.TEMPERATURE_SWITCH,),
    )
    found = interlock_assembly(a_vapour_pump(supplied=(switch,)), STOCK)
    assert set(quantities(found)) == {"LOCK-FORELINE", "LOCK-AIR"}


def test_a_water_cooled_turbo_is_guarded_by_its_water() -> None:
    assert set(quantities(interlock_assembly(a_turbo_pump(), STOCK))) == {"LOCK-WATER"}


flanges = st.sampled_from(
    [
        parse_flange(name)
        for name in ("KF 16", "KF 25", "ISO-K 63", "ISO-K 100", "ISO-F 100", "CF 100")
    ]
)


@given(start=flanges, goal=flanges)
def test_every_end_in_a_chain_is_joined_or_named(start: Flange, goal: Flange) -> None:
    pump = replace(a_turbo_pump(), inlet=goal, supplied=())
    found = inlet_assembly(start, pump, None, SHORT, STOCK)
    assert found.open_joints == ()
    bodies = [
        (p.item, p.quantity)
        for p in found.parts
        if isinstance(p.item, LinePart) and p.item.flange_b is not None
    ]
    seals = sum(
        p.quantity if p.item.pack == 1 else 1
        for p in found.parts
        if isinstance(p.item, LinePart)
        and p.item.shape in {LineShape.CENTRING_RING, LineShape.GASKET}
    )
    # A chain of n parts between two ends has n + 1 joints, each with one seal.
    assert seals == sum(count for _, count in bodies) + 1


@given(a=st.integers(1, 9), b=st.integers(1, 9))
def test_a_sum_of_assemblies_costs_the_sum(a: int, b: int) -> None:
    item: Item = a_valve("V", ValveRole.VENT, "KF 16")
    first = Assembly((PlacedPart(Role.VALVE, item, a, "one"),), ("gap",))
    second = Assembly((PlacedPart(Role.VALVE, item, b, "two"),), ("gap",))
    both = first + second
    assert both.price == first.price + second.price
    assert [(part.quantity, part.note) for part in both.parts] == [(a + b, "one; two")]
    assert both.open_joints == ("gap",)


def test_every_known_flange_can_be_closed_when_its_hardware_is_there() -> None:
    for flange in known_flanges():
        iso_rings = hardware_for(Flange(parse_flange("ISO-K 63").system, flange.nominal))
        parts = [*hardware_for(flange), *(iso_rings if family(flange)[0] == "ISO" else ())]
        assert bench(a_catalog(parts)).closes(flange, flange), flange


def test_a_trap_of_another_size_is_reached_by_reducers() -> None:
    trap = a_trap("SMALL", "ISO-K 63")
    found = inlet_assembly(None, a_turbo_pump(), trap, SHORT, STOCK)
    assert quantities(found)["REDUCER-ISO-K-100-ISO-K-63"] == 1
    tube = a_line_part(LineShape.TUBE, "ISO-K 63", "ISO-K 63", length_m=0.1)
    assert tube.sku not in quantities(found)


def test_the_rough_line_is_as_wide_as_the_pump_that_roughs() -> None:
    run = LineRun(length_m=0.5, bore_m=None, bends=0)
    inlet = parse_flange("KF 25")
    found = roughing_assembly(parse_flange("ISO-K 63"), inlet, run, STOCK, shared=False)
    assert quantities(found)["HOSE-KF-25-KF-25-500"] == 1
    assert quantities(found)["ADAPTOR-ISO-K-63-KF-25"] == 1
    beside = roughing_assembly(None, inlet, run, STOCK, shared=False)
    assert "ADAPTOR-ISO-K-63-KF-25" not in quantities(beside)


def test_an_interlock_with_a_flange_is_joined_to_the_foreline() -> None:
    watch = replace(STOCK.get("LOCK-FORELINE", Interlock), flange=parse_flange("KF 16"))
    kept = [item for item in all_items() if item.sku != watch.sku]
    size, kind = parse_flange("KF 25"), PumpKind.VAPOUR_JET
    plain = foreline_assembly(size, size, SHORT, kind, STOCK)
    joined = foreline_assembly(size, size, SHORT, kind, a_catalog([*kept, watch]))
    # a tee in the line with one joint more, a reducer at its branch and the interlock's own joint
    assert quantities(joined) - quantities(plain) == {
        "TEE-KF-25-KF-25": 1,
        "CENTRING_RING-KF-25": 2,
        "CLAMP-KF-25": 2,
        "REDUCER-KF-25-KF-16": 1,
        "CENTRING_RING-KF-16": 1,
        "CLAMP-KF-16": 1,
    }
    assert joined.open_joints == ()
