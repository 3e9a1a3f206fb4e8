"""What goes together: each rule against the trade's practice (no published source unless named)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from server.catalog.compatibility import (
    cleanliness_allows,
    fluid_fits,
    fluids_for,
    hazard_allows,
    hazards_allow,
    leaves_silicone,
    oil_fits,
    oils_for,
    solvents_allow,
    supply_allows,
    trap_fits,
    traps_for,
)
from server.catalog.items import (
    OIL_SEALED_KINDS,
    VAPOUR_KINDS,
    BackingPump,
    Catalog,
    Cooling,
    Fluid,
    FluidKind,
    FluidService,
    Pump,
    PumpKind,
    Trap,
    TrapPlace,
    VapourPump,
)
from server.catalog.tables import build_catalog
from server.catalog.words import HAZARDS
from server.errors import UnknownName
from tests.catalog.tables_under_test import demo_files


@pytest.fixture(scope="module")
def demo() -> Catalog:
    return build_catalog(demo_files())


def fluid_of(demo: Catalog, grade: str) -> Fluid:
    return next(fluid for fluid in demo.of_type(Fluid) if fluid.grade == grade)


def test_a_high_load_heater_wants_a_heat_stable_fluid(demo: Catalog) -> None:
    pump = demo.get("VAPOURJET-050-A-HIGHLOAD", VapourPump)
    kinds = {fluid.kind for fluid in fluids_for(pump, demo)}
    assert FluidKind.PENTAPHENYL_TRISILOXANE in kinds
    assert FluidKind.MINERAL not in kinds
    # The ether stands the heat, but perfluoropolyether breaks down near 290 °C (from memory).
    assert FluidKind.PERFLUOROPOLYETHER not in kinds
    mineral = fluid_fits(pump, fluid_of(demo, "mineral-medium"))
    assert not mineral.allowed
    assert "mineral" in mineral.reason


def test_a_boiler_hotter_than_the_fluid_stands_is_refused(demo: Catalog) -> None:
    pump = replace(demo.get("VAPOURJET-050-A", VapourPump), boiler_k=273.15 + 240)
    told = fluid_fits(pump, fluid_of(demo, "mineral-medium"))
    assert not told.allowed
    assert "230 °C" in told.reason
    assert "240 °C" in told.reason


def test_vane_oil_is_no_fluid_for_a_vapour_pump_and_the_other_way_round(demo: Catalog) -> None:
    vapour = demo.get("VAPOURJET-050-A", VapourPump)
    vane = demo.get("VANE2-0090", BackingPump)
    assert not fluid_fits(vapour, fluid_of(demo, "vane-mineral")).allowed
    assert not oil_fits(vane, fluid_of(demo, "mineral-medium")).allowed
    assert {oil.service for oil in oils_for(vane, demo)} == {FluidService.SEALED}


def test_a_dry_pump_takes_no_oil(demo: Catalog) -> None:
    for pump in demo.of_type(BackingPump):
        assert bool(oils_for(pump, demo)) == (pump.kind in OIL_SEALED_KINDS)


def test_traps_bolt_on_without_adaptors_at_their_place(demo: Catalog) -> None:
    pump = demo.get("VAPOURJET-320-W", VapourPump)
    traps = traps_for(pump.inlet, demo, TrapPlace.HIGH_VACUUM)
    assert traps
    assert all(trap.inlet.mates_with(pump.inlet) for trap in traps)
    foreline = demo.get("TRAP-SORPTION-KF25", Trap)
    assert not trap_fits(foreline.inlet, foreline, TrapPlace.HIGH_VACUUM).allowed
    assert not trap_fits(pump.inlet, foreline, TrapPlace.FORELINE).allowed


def test_phenyl_siloxanes_alone_leave_silicone(demo: Catalog) -> None:
    kinds = {fluid.kind for fluid in demo.of_type(Fluid) if leaves_silicone(fluid)}
    assert kinds == {FluidKind.TETRAPHENYL_TRISILOXANE, FluidKind.PENTAPHENYL_TRISILOXANE}


def test_oil_free_means_no_oil_and_no_vapour_anywhere(demo: Catalog) -> None:
    traps = demo.of_type(Trap)
    for pump in demo.of_type(Pump):
        wet = pump.kind in OIL_SEALED_KINDS | VAPOUR_KINDS
        assert cleanliness_allows("oil_free", pump, traps).allowed == (not wet), pump.sku
        assert cleanliness_allows("tolerant", pump).allowed


def test_low_oil_wants_a_trap_of_the_right_kind(demo: Catalog) -> None:
    vane = demo.get("VANE2-0090", BackingPump)
    jet = demo.get("VAPOURJET-050-A", VapourPump)
    sorption = demo.get("TRAP-SORPTION-KF25", Trap)
    condenser = demo.get("CONDENSER-KF25", Trap)
    baffle = demo.get("BAFFLE-WATER-KF50", Trap)
    assert not cleanliness_allows("low_oil", vane).allowed
    assert cleanliness_allows("low_oil", vane, [sorption]).allowed
    assert not cleanliness_allows("low_oil", vane, [baffle]).allowed
    assert not cleanliness_allows("low_oil", vane, [condenser]).allowed
    assert not cleanliness_allows("low_oil", jet, [sorption]).allowed
    assert cleanliness_allows("low_oil", jet, [baffle]).allowed
    assert cleanliness_allows("low_oil", demo.get("SCROLL-0060", Pump)).allowed


def test_unknown_words_are_not_waved_through(demo: Catalog) -> None:
    vane = demo.get("VANE2-0090", BackingPump)
    with pytest.raises(UnknownName, match="cleanliness"):
        cleanliness_allows("spotless", vane)
    with pytest.raises(UnknownName, match="hazard"):
        hazard_allows("haunted", vane, None)


# O'Hanlon 2003 ch. 13 and industry guidance (from memory): above 25 % oxygen only fully fluorinated
# fluids or dry pumps made for it.
def test_oxygen_takes_fluorinated_fluids_or_dry_pumps_made_for_it(demo: Catalog) -> None:
    fluids: list[Fluid | None] = [None, *demo.of_type(Fluid)]
    for pump in demo.of_type(Pump):
        for fluid in fluids:
            allowed = hazard_allows("oxygen_rich", pump, fluid).allowed
            if pump.kind in OIL_SEALED_KINDS | VAPOUR_KINDS:
                inert = fluid is not None and fluid.kind is FluidKind.PERFLUOROPOLYETHER
                assert allowed == inert, (pump.sku, fluid)
            elif pump.kind is PumpKind.SPUTTER_ION:
                assert allowed
            else:
                assert allowed == ("oxygen_rich" in pump.prepared_for), pump.sku


def test_corrosive_gas_takes_a_build_for_it_and_an_inert_oil(demo: Catalog) -> None:
    mineral, inert = fluid_of(demo, "vane-mineral"), fluid_of(demo, "vane-perfluoro")
    standard = demo.get("VANE2-0160", BackingPump)
    resistant = demo.get("VANE2-0160-C", BackingPump)
    assert not hazard_allows("corrosive", standard, inert).allowed
    assert hazard_allows("corrosive", resistant, inert).allowed
    assert not hazard_allows("corrosive", resistant, mineral).allowed
    assert hazard_allows("corrosive", demo.get("DIAPHRAGMC-0022", Pump), None).allowed
    assert not hazard_allows("corrosive", demo.get("DIAPHRAGM-0020", Pump), None).allowed
    assert not hazard_allows("corrosive", demo.get("CRYO-200", Pump), None).allowed


def test_a_cryopump_stores_what_it_takes_so_it_takes_nothing_dangerous(demo: Catalog) -> None:
    cryo = demo.get("CRYO-200", Pump)
    for hazard in HAZARDS - {"particulates"}:
        assert not hazard_allows(hazard, cryo, None).allowed, hazard


def test_flammable_gas_needs_a_dry_pump_built_for_it_or_an_oil_seal(demo: Catalog) -> None:
    assert not hazard_allows("flammable", demo.get("SCROLL-0060", Pump), None).allowed
    assert hazard_allows("flammable", demo.get("SCREW-270", Pump), None).allowed
    vane = hazard_allows("flammable", demo.get("VANE2-0090", Pump), fluid_of(demo, "vane-mineral"))
    assert vane.allowed
    assert "inert gas" in vane.reason


def test_dust_spares_scroll_and_turbomolecular_pumps(demo: Catalog) -> None:
    assert not hazard_allows("particulates", demo.get("SCROLL-0060", Pump), None).allowed
    assert not hazard_allows("particulates", demo.get("TURBO-065-IK", Pump), None).allowed
    told = hazard_allows("particulates", demo.get("SCREW-150", Pump), None)
    assert told.allowed
    assert "filter" in told.reason


def test_several_hazards_are_judged_together(demo: Catalog) -> None:
    screw = demo.get("SCREW-270", Pump)
    assert hazards_allow(["corrosive", "flammable", "toxic"], screw, None).allowed
    refused = hazards_allow(["corrosive", "oxygen_rich"], screw, None)
    assert not refused.allowed
    assert "oxygen" in refused.reason
    assert hazards_allow([], screw, None).allowed


def test_every_rule_gives_a_sentence(demo: Catalog) -> None:
    for pump in demo.of_type(Pump):
        for hazard in HAZARDS:
            reason = hazard_allows(hazard, pump, None).reason
            assert reason.endswith(".")
            assert reason[0].isupper()


def test_solvents_want_chemistry_resistant_pumps_or_a_cold_trap(demo: Catalog) -> None:
    vane = demo.get("VANE2-0090", BackingPump)
    cold = demo.get("TRAP-FORELINE-LN-KF25", Trap)
    assert not solvents_allow(vane, {"toluene"}).allowed
    assert solvents_allow(vane, {"toluene"}, [cold]).allowed
    assert solvents_allow(vane, {"water"}).allowed
    assert solvents_allow(demo.get("DIAPHRAGMC-0022", Pump), {"toluene", "water"}).allowed
    assert not solvents_allow(demo.get("DIAPHRAGM-0020", Pump), {"acetone"}, [cold]).allowed
    assert solvents_allow(demo.get("VAPOURJET-050-A", Pump), {"acetone"}).allowed


def test_no_water_no_three_phase(demo: Catalog) -> None:
    for pump in demo.of_type(Pump):
        told = supply_allows(pump, cooling_water=False, three_phase=False, mains_voltage_v=None)
        dry_and_small = pump.cooling is not Cooling.WATER and pump.phases == 1
        assert told.allowed == dry_and_small, pump.sku


@pytest.mark.parametrize(
    ("sku", "mains_v", "three_phase", "allowed"),
    [
        ("VANE2-0090", 230.0, False, True),
        ("VANE2-0090", 115.0, False, True),
        ("VANE2-0090", 120.0, False, True),  # the North American nominal, within 10 % of 115 V
        ("VANE2-0250", 230.0, False, True),
        ("VANE2-0250", 240.0, False, True),
        ("VANE2-0250", 120.0, False, False),
        ("VANE2-0400", 400.0, True, True),
        ("VANE2-0400", 230.0, True, True),  # 230 V to neutral is 398 V between phases
        ("VANE2-0400", 230.0, False, False),
        ("VANE2-0400", 120.0, True, False),  # 208 V between phases
        ("VANE2-0250", 400.0, True, True),  # 231 V from phase to neutral
    ],
)
def test_mains_voltages(
    demo: Catalog, sku: str, mains_v: float, three_phase: bool, allowed: bool
) -> None:
    pump = demo.get(sku, Pump)
    told = supply_allows(pump, cooling_water=True, three_phase=three_phase, mains_voltage_v=mains_v)
    assert told.allowed == allowed, told.reason
