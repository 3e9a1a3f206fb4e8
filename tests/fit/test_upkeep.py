"""What is used up: facts of the trade (common practice, no source) and counts by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.items import (
    Catalog,
    FluidKind,
    Item,
    OxidationStability,
    PumpKind,
    SuppliedFor,
    SuppliedPart,
    TrapKind,
)
from server.errors import OutOfRange, UnknownName
from server.fit.fluid_use import fluid_life, loss_m3_s, usual_grade
from server.fit.requirements import Duty, Hazard
from server.fit.running import roughing_s_per_day
from server.fit.upkeep import (
    Exposure,
    UpkeepGroup,
    UpkeepLine,
    Use,
    energy_kwh_per_year,
    running_hours_per_year,
    upkeep_lines,
)
from tests.fit.benches import a_cryopump
from tests.fit.stock import (
    CM3,
    a_backing_pump,
    a_catalog,
    a_fluid,
    a_solvent,
    a_trap,
    a_turbo_pump,
    a_vapour_pump,
    all_items,
    an_oil,
)

STOCK = a_catalog()
ONE_SHIFT = Duty(cycles_per_day=0, time_at_pressure_s=0, days_per_year=250, shift_s=8 * 3600.0)
# 2000 h a year.


def of_sku(lines: tuple[UpkeepLine, ...]) -> dict[str, UpkeepLine]:
    return {line.sku: line for line in lines}


def with_fluids(*fluids: Item) -> Catalog:
    return a_catalog([*(item for item in all_items() if "FLUID" not in item.sku), *fluids])


def test_a_bottle_of_65_cm3_fills_a_pump_of_30_cm3_twice() -> None:
    # Common practice, no source: first charge and one change from one bottle.
    fluid = replace(a_fluid("B65", "90.00", 65 * CM3), life_hours=2000.0)
    lines = of_sku(upkeep_lines(a_vapour_pump(), Use(ONE_SHIFT, 2), with_fluids(fluid)))
    assert (lines["B65"].pieces, lines["B65"].of_which_first) == (1, 1)
    assert lines["B65"].reason == "first charge 30 cm³ + 1 change × 30 cm³ = 60 cm³ → 1 × 65 cm³"


def test_the_third_fill_needs_the_second_bottle() -> None:
    fluid = replace(a_fluid("B65", "90.00", 65 * CM3), life_hours=2000.0)
    lines = of_sku(upkeep_lines(a_vapour_pump(), Use(ONE_SHIFT, 3), with_fluids(fluid)))
    assert (lines["B65"].pieces, lines["B65"].of_which_first) == (2, 1)
    assert lines["B65"].total == Decimal("180.00")


def test_several_pumps_share_bottles() -> None:
    fluid = replace(a_fluid("B65", "90.00", 65 * CM3), life_hours=1e6)
    stock = with_fluids(fluid)
    lines = of_sku(upkeep_lines(a_vapour_pump(), Use(ONE_SHIFT, 1), stock, quantity=4))
    # 4 × 30 cm³ = 120 cm³ from two bottles.
    assert lines["B65"].pieces == 2


def test_the_cheapest_mix_of_containers_is_bought() -> None:
    oils = (an_oil("O1", "19.00", 1e-3), an_oil("O5", "70.00", 5e-3))
    stock = a_catalog([*(item for item in all_items() if item.sku != "OIL-1L"), *oils])
    pump = a_backing_pump(oil_charge_m3=2e-3)
    lines = of_sku(upkeep_lines(pump, Use(ONE_SHIFT, 4), stock))
    # 8000 h at 3000 h a change: first charge + 2 changes = 6 L. The first 2 L come in 2 × 1 L at
    # 38.00; the later 4 L in 1 × 5 L at 70.00, not 4 × 1 L at 76.00.
    assert (lines["O1"].pieces, lines["O1"].of_which_first) == (2, 2)
    assert (lines["O5"].pieces, lines["O5"].of_which_first) == (1, 0)
    assert lines["O5"].reason == "first charge 2 L + 2 changes × 2 L = 6 L → 1 × 5 L"


def test_a_first_charge_that_comes_with_the_pump_is_not_sold() -> None:
    pump = a_backing_pump(
        supplied=(
            SuppliedPart(
                "First charge of mineral oil",
                1,
                "bottle",
                (SuppliedFor.FIRST_CHARGE,),
                FluidKind.MINERAL,
            ),
        )
    )
    lines = of_sku(upkeep_lines(pump, Use(ONE_SHIFT, 2), STOCK))
    assert (lines["OIL-1L"].pieces, lines["OIL-1L"].of_which_first) == (1, 0)
    assert lines["OIL-1L"].reason.startswith("first charge supplied with the pump + 1 change")


def test_an_installed_pump_gets_no_first_charge_and_may_be_due_at_once() -> None:
    lines = of_sku(upkeep_lines(a_backing_pump(), Use(ONE_SHIFT, 1, installed=True), STOCK))
    assert (lines["OIL-1L"].pieces, lines["OIL-1L"].of_which_first) == (1, 0)
    assert lines["VANE-KIT"].pieces == 1
    assert "may be due at once" in lines["VANE-KIT"].reason


def test_service_kits_follow_the_hours() -> None:
    # 7 years × 2000 h = 14 000 h at 6000 h: after 6000 and 12 000 h.
    lines = of_sku(upkeep_lines(a_backing_pump(), Use(ONE_SHIFT, 7), STOCK, quantity=3))
    assert lines["VANE-KIT"].pieces == 2 * 3


def test_filter_elements_and_sorbents_follow_the_hours() -> None:
    fitted = (STOCK.items["MIST"], STOCK.items["SORPTION"])
    lines = of_sku(upkeep_lines(a_backing_pump(), Use(ONE_SHIFT, 3), STOCK, fitted=fitted))
    # 6000 h: one element after 3000 h (the next is due as the horizon ends), sorbent after 1500 h,
    # 3000 h and 4500 h.
    assert lines["MIST-ELEMENT"].pieces == 1
    assert lines["SORBENT"].pieces == 3


def test_cleaning_goes_acetone_then_isopropanol_and_never_ethanol_on_silicone() -> None:
    # Common practice, no source: ethanol does not cut silicone fluid.
    fluid = replace(a_fluid("B65", "90.00", 65 * CM3), life_hours=1000.0)
    lines = upkeep_lines(a_vapour_pump(), Use(ONE_SHIFT, 2), with_fluids(fluid))
    cleaning = [line for line in lines if line.group is UpkeepGroup.CLEANING]
    assert [line.sku for line in cleaning] == ["ACETONE-1L", "IPA-1L"]
    # 4000 h at 1000 h a change: 3 strip-downs × 300 cm³ = 0.9 L.
    assert cleaning[0].pieces == 1
    assert cleaning[0].reason == "step 1 of cleaning: 3 strip-downs × 300 cm³"


def test_one_strip_down_is_one_and_gloves_are_counted_in_pieces() -> None:
    fluid = replace(a_fluid("B65", "90.00", 65 * CM3), life_hours=2000.0)
    gloves = replace(
        a_solvent("GLOVES", "gloves", 0, 0.0, 0.0), pieces=10, use_per_strip_down_pieces=4
    )
    stock = with_fluids(fluid, gloves)
    once = of_sku(upkeep_lines(a_vapour_pump(), Use(ONE_SHIFT, 2), stock))
    assert once["ACETONE-1L"].reason == "step 1 of cleaning: 1 strip-down × 300 cm³"
    assert once["GLOVES"].reason == "before cleaning: 1 strip-down × 4 pieces"
    assert once["GLOVES"].pieces == 1
    thrice = of_sku(upkeep_lines(a_vapour_pump(), Use(ONE_SHIFT, 6), stock))
    # 12000 h at 2000 h a change: 5 strip-downs × 4 gloves, in bags of 10
    assert thrice["GLOVES"].reason == "before cleaning: 5 strip-downs × 4 pieces"
    assert thrice["GLOVES"].pieces == 2


def test_the_usual_fluid_is_the_one_cheapest_by_volume_not_by_bottle() -> None:
    # 90 for 65 cm³ are 1.38 a cm³, 480 for 500 cm³ are 0.96
    small = replace(a_fluid("SMALL", "90.00", 65 * CM3), grade="small", kind=FluidKind.MINERAL)
    large = replace(a_fluid("LARGE", "480.00", 500 * CM3), grade="large")
    assert usual_grade(a_vapour_pump(), Exposure(), with_fluids(small, large)) == "large"
    dearer = replace(large, price=Decimal("720.00"))
    assert usual_grade(a_vapour_pump(), Exposure(), with_fluids(small, dearer)) == "small"


def test_no_common_solvent_is_sold_for_perfluoropolyether() -> None:
    fluid = replace(
        a_fluid("PFPE", "300.00", 65 * CM3), kind=FluidKind.PERFLUOROPOLYETHER, life_hours=1000.0
    )
    lines = upkeep_lines(a_vapour_pump(), Use(ONE_SHIFT, 2), with_fluids(fluid))
    assert not [line for line in lines if line.group is UpkeepGroup.CLEANING]


def test_a_seal_set_at_each_opening_and_a_heater_in_reserve() -> None:
    fluid = replace(a_fluid("B65", "90.00", 65 * CM3), life_hours=1000.0)
    lines = of_sku(upkeep_lines(a_vapour_pump(), Use(ONE_SHIFT, 2), with_fluids(fluid)))
    assert lines["VJ-SEALS"].pieces == 3
    assert lines["VJ-HEATER"].pieces == 1


@pytest.mark.parametrize("hazard", [Hazard.OXYGEN_RICH, Hazard.CORROSIVE, Hazard.PARTICULATES])
def test_bad_gas_halves_the_life_of_a_sealing_oil(hazard: Hazard) -> None:
    oil = an_oil("O", "1.00", 1e-3)
    life = fluid_life(oil, ONE_SHIFT, Exposure(frozenset({hazard})))
    assert life.hours == oil.life_hours / 2
    assert len(life.reasons) == 1


def test_air_ages_the_hot_fluid_of_a_boiler_but_not_a_sealing_oil() -> None:
    # common practice, no source: hot hydrocarbon cracks in air, vane oil works in air all day
    often = replace(ONE_SHIFT, cycles_per_day=50)
    oil = an_oil("OIL-X", "1", 1e-3)
    assert fluid_life(oil, often, Exposure()).hours == oil.life_hours
    hot = replace(a_fluid("F", "1", 1e-4), oxidation=OxidationStability.LOW)
    assert fluid_life(hot, often, Exposure()).hours < hot.life_hours
    inert = replace(hot, oxidation=OxidationStability.INERT)
    assert fluid_life(inert, often, Exposure()).hours == inert.life_hours


def test_perfluoropolyether_stands_oxygen() -> None:
    oil = replace(
        an_oil("O", "1.00", 1e-3),
        kind=FluidKind.PERFLUOROPOLYETHER,
        oxidation=OxidationStability.INERT,
    )
    life = fluid_life(oil, ONE_SHIFT, Exposure(frozenset({Hazard.OXYGEN_RICH, Hazard.CORROSIVE})))
    assert (life.hours, life.reasons) == (oil.life_hours, ())


@given(cycles=st.floats(0, 500), more=st.floats(0.1, 500))
def test_more_air_never_lengthens_the_life_of_a_hot_fluid(cycles: float, more: float) -> None:
    fluid = a_fluid("F", "1.00", 1e-4)
    seldom = fluid_life(fluid, replace(ONE_SHIFT, cycles_per_day=cycles), Exposure())
    often = fluid_life(fluid, replace(ONE_SHIFT, cycles_per_day=cycles + more), Exposure())
    assert 0 < often.hours < seldom.hours <= fluid.life_hours


def test_oxygen_takes_perfluoropolyether_by_itself_or_refuses() -> None:
    oxygen = Exposure(frozenset({Hazard.OXYGEN_RICH}))
    with pytest.raises(OutOfRange, match="no fluid for"):
        usual_grade(a_backing_pump(), oxygen, STOCK)
    pfpe = replace(
        an_oil("P", "200.00", 1e-3, grade="perfluoro"), kind=FluidKind.PERFLUOROPOLYETHER
    )
    assert usual_grade(a_backing_pump(), oxygen, a_catalog([*all_items(), pfpe])) == "perfluoro"


def test_backstreaming_is_lost_but_what_a_baffle_catches_drips_back() -> None:
    pump = replace(a_vapour_pump(), backstreaming_kg_m2_s=1e-6)
    fluid = replace(a_fluid("F", "1.00", 1e-4), vapour_pressure_a=0.0)
    # By hand: 1e-6 kg/(m²·s) × π/4 × (0.05 m)² / 1095 kg/m³ = 1.793e-12 m³/s; the foreline's share
    # with a vapour pressure of 10^-20 Pa is nothing.
    assert loss_m3_s(pump, fluid, None) == pytest.approx(1.793e-12, rel=1e-3)
    baffle = a_trap("B", "ISO-K 100")
    assert loss_m3_s(pump, fluid, baffle) == pytest.approx(0.05 * 1.793e-12, rel=1e-3)
    cold = a_trap("N", "ISO-K 100", TrapKind.NITROGEN_TRAP)
    assert loss_m3_s(pump, fluid, cold) == pytest.approx(1.793e-12, rel=1e-3)


def test_fluid_leaves_as_vapour_through_the_foreline() -> None:
    pump = replace(a_vapour_pump(), backstreaming_kg_m2_s=0.0)
    fluid = replace(a_fluid("F", "1.00", 1e-4), vapour_pressure_a=0.0, vapour_pressure_b_k=0.0)
    # By hand: p = 1 Pa, ρ = pM/RT = 0.55/(8.3145 × 320) kg/m³; gas 0.04/50 m³/s; /1095 kg/m³.
    by_hand = 1 * 0.55 / (8.314462618 * 320) * (0.04 / 50) / 1095
    assert loss_m3_s(pump, fluid, None) == pytest.approx(by_hand, rel=1e-9)


def test_a_large_loss_is_topped_up() -> None:
    pump = replace(a_vapour_pump(), backstreaming_kg_m2_s=1e-6)
    lines = of_sku(upkeep_lines(pump, Use(ONE_SHIFT, 2), STOCK))
    # 1.793e-12 m³/s × 4000 h = 25.8 cm³ beyond the 30 cm³ charge.
    assert lines["FLUID-65"].reason == (
        "first charge 30 cm³ + top-up 25.8 cm³ = 55.8 cm³ → 1 × 65 cm³"
    )


def test_hours_follow_the_shift_or_the_cycles() -> None:
    assert running_hours_per_year(ONE_SHIFT) == 2000
    long = replace(ONE_SHIFT, cycles_per_day=2, time_at_pressure_s=6 * 3600.0)
    assert running_hours_per_year(long) == 12 * 250
    assert running_hours_per_year(ONE_SHIFT, PumpKind.CRYO) == pytest.approx(8766)


def test_cycles_longer_than_a_day_are_refused() -> None:
    crowded = replace(ONE_SHIFT, cycles_per_day=5, time_at_pressure_s=6 * 3600.0)
    with pytest.raises(OutOfRange, match="5 cycles of 6 h at pressure do not fit into one day"):
        running_hours_per_year(crowded)


def test_energy_is_stated_power_times_the_hours_on() -> None:
    # by hand: 0.5 kW × 2000 h, the warm-up is part of the shift
    assert energy_kwh_per_year(a_vapour_pump(), ONE_SHIFT) == pytest.approx(1000)
    assert energy_kwh_per_year(a_turbo_pump(), ONE_SHIFT) == pytest.approx(400)
    chilled = replace(a_trap("T", "KF 25", TrapKind.REFRIGERATED_TRAP), power_w=700.0)
    assert energy_kwh_per_year(chilled, ONE_SHIFT) == pytest.approx(1400)
    # 3 kW day and night: 365.25 days of 24 h
    assert energy_kwh_per_year(a_cryopump(1e5), ONE_SHIFT) == pytest.approx(3 * 8766)


def test_pumps_that_only_rough_are_not_charged_for_the_shift() -> None:
    # by hand: 4 openings a day, each 6 min of roughing, 250 days: 100 h; a scroll pump of 400 W
    opened = replace(ONE_SHIFT, cycles_per_day=4.0, time_at_pressure_s=3600.0)
    daily = roughing_s_per_day(opened, 360.0)
    assert running_hours_per_year(opened, PumpKind.SCROLL, daily) == pytest.approx(100.0)
    rougher = replace(a_turbo_pump(), power_w=400.0)
    assert energy_kwh_per_year(rougher, opened, daily) == pytest.approx(40.0)
    use = Use(opened, 2.0, run_s_per_day=daily)
    assert use.hours(PumpKind.SCROLL) == pytest.approx(200.0)
    # roughing as long as the stack is on: all of that time, not more
    assert roughing_s_per_day(opened, 4 * 3600.0) == opened.shift_s
    # by hand: a chamber opened once in ten days, 1 h of roughing: 6 min a day on average
    seldom = replace(ONE_SHIFT, cycles_per_day=0.1, time_at_pressure_s=86_400.0)
    assert roughing_s_per_day(seldom, 3600.0) == pytest.approx(360.0)


@pytest.mark.parametrize("daily_s", [-1.0, 86_401.0, math.nan])
def test_a_day_has_24_hours(daily_s: float) -> None:
    with pytest.raises(OutOfRange, match="24 hours"):
        running_hours_per_year(ONE_SHIFT, None, daily_s)


@given(
    years=st.floats(0.1, 20),
    quantity=st.integers(1, 6),
    cycles=st.floats(0, 40),
    installed=st.booleans(),
)
def test_lines_add_up_and_never_run_dry(
    years: float, quantity: int, cycles: float, *, installed: bool
) -> None:
    duty = replace(ONE_SHIFT, cycles_per_day=cycles)
    use = Use(duty, years, installed=installed)
    lines = upkeep_lines(a_vapour_pump(), use, STOCK, quantity=quantity)
    for line in lines:
        assert line.total == line.unit_price * line.pieces
        assert 0 <= line.of_which_first <= line.pieces
        assert line.pieces > 0
        assert line.reason
    fluids = [line for line in lines if line.group is UpkeepGroup.FLUIDS]
    bought = sum(int(line.sku.removeprefix("FLUID-")) * line.pieces for line in fluids)
    life = fluid_life(a_fluid("F", "1", 1e-4), duty, Exposure()).hours
    lives = use.replacements(PumpKind.VAPOUR_JET, life) + (0 if installed else 1)
    assert bought >= 30 * quantity * lives


def test_nonsense_is_refused() -> None:
    with pytest.raises(OutOfRange, match="a time above zero"):
        Use(ONE_SHIFT, 0)
    with pytest.raises(OutOfRange, match="at least one pump"):
        upkeep_lines(a_vapour_pump(), Use(ONE_SHIFT, 1), STOCK, quantity=0)
    with pytest.raises(UnknownName, match="Unknown fluid grade"):
        upkeep_lines(a_vapour_pump(), Use(ONE_SHIFT, 1), STOCK, fluid_grade="tar")


def test_a_pump_without_fluid_has_none() -> None:
    lines = upkeep_lines(a_turbo_pump(), Use(ONE_SHIFT, 5), STOCK)
    assert not [line for line in lines if line.group is UpkeepGroup.FLUIDS]
