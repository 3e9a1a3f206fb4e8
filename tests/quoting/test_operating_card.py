"""The operating card against the pump's data and facts of the trade: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest

from server.catalog.items import FluidKind, SuppliedFor, SuppliedPart, TrapKind
from server.errors import OutOfRange
from server.fit.requirements import (
    GasFlow,
    Hazard,
    Process,
    Requirements,
    Surface,
    VapourLoad,
)
from server.fit.results import Role, StackAdvice
from server.quoting.card import CardSection, OperatingCard
from server.quoting.operating_card import operating_card
from tests.fit.stock import a_backing_pump, a_catalog
from tests.quoting.stacks import a_stack, part, requirements, stock, vapour_stack

STOCK = stock()


def card_of(stack: StackAdvice, needs: Requirements | None = None) -> OperatingCard:
    return operating_card(stack, needs or requirements(), STOCK)


def section(card: OperatingCard, key: str) -> CardSection:
    found = card.section(key)
    assert found is not None
    return found


def text_of(found: CardSection) -> str:
    return "\n".join(f"{step.text} {step.wait_for}" for step in found.steps)


def place(found: CardSection, words: str) -> int:
    """Number of the step that holds the words."""
    return next(i for i, step in enumerate(found.steps) if words in step.text)


def test_start_order_is_backing_pump_then_cooling_then_heater() -> None:
    start = section(card_of(vapour_stack()), "start")
    assert start.ordered
    backing, fan = place(start, "Switch Vane on"), place(start, "fan of")
    assert backing < fan < place(start, "Switch the heater on")


def test_heater_on_to_ready_takes_the_pump_s_warm_up() -> None:
    # The pump of the stock: 7 min.
    start = section(card_of(vapour_stack()), "start")
    heater = start.steps[place(start, "Switch the heater on")]
    assert heater.wait_s == 420.0
    assert heater.wait_for.startswith("ready for work after 7 min")
    assert "fan runs whenever the heater does" in heater.text
    assert "without a break" in start.steps[-1].text


def test_the_fan_runs_on_and_air_comes_in_only_when_cool() -> None:
    stop = section(card_of(vapour_stack()), "stop")
    off, fan = place(stop, "heater off"), place(stop, "Leave the fan running")
    cool, pump_off = place(stop, "Let no air in"), place(stop, "Vane off")
    assert off < fan < cool < pump_off
    assert stop.steps[fan].wait_s == 600.0
    assert stop.steps[fan].wait_for == "at least 10 min"
    assert "60 °C" in stop.steps[cool].text
    assert stop.steps[-1].text == "Switch the fan off last."


def test_fill_to_the_cold_mark_and_find_the_level_at_the_hot_mark() -> None:
    fill = section(card_of(vapour_stack()), "fill")
    assert "30 cm³ of Fluid 65, to the lower line of the sight glass" in fill.steps[0].text
    assert "When the pump runs, the level stands at the upper line" in fill.steps[1].text
    assert "500 cm³ of Oil 1l" in text_of(fill)
    assert "1 × Special centring ring, ISO-K 100" in text_of(fill)


def test_cleaning_goes_acetone_then_isopropanol_and_not_ethanol() -> None:
    fluid = section(card_of(vapour_stack()), "fluid")
    assert place(fluid, "acetone") < place(fluid, "isopropanol")
    assert "Ethanol does not cut silicone fluid" in text_of(fluid)
    assert "every 12000 h" in text_of(fluid)


def test_perfluoropolyether_is_not_cleaned_with_common_solvents() -> None:
    items = dict(STOCK.items)
    items["FLUID-65"] = replace(items["FLUID-65"], kind=FluidKind.PERFLUOROPOLYETHER)  # type: ignore[call-arg]
    card = operating_card(vapour_stack(), requirements(), a_catalog(items.values()))
    fluid = section(card, "fluid")
    assert "do not dissolve perfluoropolyether" in text_of(fluid)
    assert "isopropanol" not in text_of(fluid)
    assert any(caution.about == "Perfluoropolyether" for caution in card.cautions)


def test_the_chamber_is_crossed_over_at_the_pressure_of_the_pump_down() -> None:
    chamber = section(card_of(vapour_stack()), "chamber")
    assert "crossover pressure of 0.13 mbar" in text_of(chamber)
    assert "below about 0.10 mbar" in text_of(chamber)
    roughing, switching = place(chamber, "open the roughing valve"), place(chamber, "Close the rou")
    assert roughing < switching < place(chamber, "Open the isolation valve slowly")


def test_without_a_pump_down_the_inlet_limit_bounds_the_crossover() -> None:
    chamber = section(card_of(replace(vapour_stack(), pump_down=None)), "chamber")
    assert "largest inlet pressure of 0.015 mbar" in text_of(chamber)


def test_limits_are_the_pump_s_data() -> None:
    limits = {limit.name: limit.value for limit in card_of(vapour_stack()).limits}
    assert limits["Foreline at no load, at most"] == 60.0
    assert limits["Foreline at full load, at most"] == 50.0
    assert limits["Inlet, continuous, at most"] == 1.5
    assert limits["Air may be let in below"] == 333.15


def test_failures_of_a_vapour_jet_pump_are_answered() -> None:
    failures = section(card_of(vapour_stack()), "failures")
    assert not failures.ordered
    for words in ("Power fails", "fan fails", "foreline rises", "Air has rushed"):
        assert words in text_of(failures)


def test_the_cold_trap_is_filled_under_vacuum_and_warmed_before_the_pump_is_stopped() -> None:
    stack = replace(vapour_stack(), parts=(*vapour_stack().parts, part(Role.TRAP, "COLD-TRAP")))
    card = card_of(stack)
    start, stop = section(card, "start"), section(card, "stop")
    assert place(start, "Switch the heater on") < place(start, "liquid nitrogen")
    assert place(stop, "warm up behind closed valves") < place(stop, "Vane off")
    assert "Liquid nitrogen" in {caution.about for caution in card.cautions}
    assert "oil vapour" not in text_of(section(card, "chamber"))


def test_a_turbo_starts_below_its_start_pressure_and_is_vented_slowly() -> None:
    card = card_of(a_stack(part(Role.HIGH_VACUUM_PUMP, "TURBO"), part(Role.BACKING_PUMP, "VANE")))
    start, stop = section(card, "start"), section(card, "stop")
    rotor = start.steps[place(start, "Switch Turbo on")]
    assert place(start, "Open the cooling water") < place(start, "Switch Vane on")
    assert "below 10 mbar" in rotor.text
    assert rotor.wait_s == 180.0
    assert place(stop, "Switch Turbo off") < place(stop, "in slowly by the vent valve")
    assert place(stop, "in slowly by the vent valve") < place(stop, "Vane off")
    assert card.section("fluid") is None


def test_a_cryopump_is_roughed_cooled_and_regenerated() -> None:
    card = card_of(a_stack(part(Role.HIGH_VACUUM_PUMP, "CRYO"), part(Role.BACKING_PUMP, "VANE")))
    start, renewal = section(card, "start"), section(card, "regeneration")
    assert place(start, "Switch Vane on") < place(start, "compressor of Cryo on")
    assert start.steps[-1].wait_s == 5400.0
    assert any(step.wait_s == 14_400.0 for step in renewal.steps)
    assert {limit.name for limit in card.limits} >= {"Holds of argon", "Holds of hydrogen"}
    assert "Gas held by the cryopump" in {caution.about for caution in card.cautions}


def test_a_sputter_ion_pump_is_started_behind_a_turbo() -> None:
    stack = a_stack(
        part(Role.HIGH_VACUUM_PUMP, "ION"),
        part(Role.BOOSTER, "TURBO"),
        part(Role.BACKING_PUMP, "VANE"),
    )
    card = card_of(stack)
    start = section(card, "start")
    order = ["Switch Vane on", "Switch Turbo on", "high voltage of Ion on", "Close the roughing"]
    assert [place(start, words) for words in order] == sorted(place(start, w) for w in order)
    assert card.section("regeneration") is None
    assert "High voltage and magnets" in {caution.about for caution in card.cautions}


def test_a_rough_stack_with_vapour_runs_on_ballast() -> None:
    needs = replace(requirements(), process=Process(None, (), (VapourLoad("water", 1e-6),)))
    items = dict(STOCK.items)
    items["VANE"] = replace(a_backing_pump(), ballast_m3_s=2e-4)
    stack = a_stack(
        part(Role.BOOSTER, "ROOTS"),
        part(Role.BACKING_PUMP, "VANE"),
        part(Role.OIL, "OIL-1L"),
        part(Role.TRAP, "CONDENSER"),
    )
    card = operating_card(stack, needs, a_catalog(items.values()))
    start, stop = section(card, "start"), section(card, "stop")
    assert start.steps[place(start, "gas ballast")].wait_s == 1800.0
    assert place(start, "gas ballast") < place(start, "Open the roughing valve")
    booster = start.steps[place(start, "Switch Roots on")]
    assert booster.wait_for == "only once its inlet is below 12 mbar"
    assert "target" in start.steps[-1].wait_for  # which a stack may reach by its booster only
    assert place(stop, "Switch Roots off") < place(stop, "gas ballast") < place(stop, "Vane off")
    assert "condensed vapour halves its life" in text_of(section(card, "care"))


def test_a_sorption_trap_is_renewed_as_care_and_not_at_every_stop() -> None:
    parts = (part(Role.HIGH_VACUUM_PUMP, "TURBO"), part(Role.BACKING_PUMP, "VANE"))
    trap = replace(STOCK.items["COLD-TRAP"], kind=TrapKind.FORELINE_SORPTION, capacity_kg=0.085)  # type: ignore[call-arg]
    stock_with = a_catalog({**STOCK.items, "COLD-TRAP": trap}.values())
    stack = a_stack(*parts, part(Role.TRAP, "COLD-TRAP"))
    card = operating_card(stack, requirements(), stock_with)
    assert "It holds about 85 g." in text_of(section(card, "backing_care"))
    assert "filling" not in text_of(section(card, "stop"))


def test_a_stack_without_a_pump_has_no_card() -> None:
    with pytest.raises(OutOfRange, match="without a pump"):
        card_of(a_stack(part(Role.GAUGE, "PIRANI")))


@pytest.mark.parametrize(
    ("hazard", "about"),
    [
        (Hazard.OXYGEN_RICH, "Oxygen-rich gas"),
        (Hazard.CORROSIVE, "Corrosive gas"),
        (Hazard.FLAMMABLE, "Flammable gas or vapour"),
        (Hazard.TOXIC, "Toxic gas"),
        (Hazard.PARTICULATES, "Dust"),
        (Hazard.PYROPHORIC, "Pyrophoric gas"),
    ],
)
def test_each_hazard_brings_its_caution(hazard: Hazard, about: str) -> None:
    plain = {caution.about for caution in card_of(vapour_stack()).cautions}
    needs = replace(requirements(), hazards=frozenset({hazard}))
    found = {caution.about for caution in card_of(vapour_stack(), needs).cautions}
    assert found - plain == {about}


@pytest.mark.parametrize(
    ("species", "abouts"),
    [
        ("hydrogen", {"Flammable gas or vapour"}),
        ("carbon_monoxide", {"Flammable gas or vapour", "Toxic gas"}),
        ("oxygen", {"Oxygen-rich gas"}),
        ("air", set()),
        ("argon", set()),
    ],
)
def test_a_gas_brings_its_cautions_without_a_hazard_named(species: str, abouts: set[str]) -> None:
    # Hazard classes of the Globally Harmonized System, from memory.
    plain = {caution.about for caution in card_of(vapour_stack()).cautions}
    needs = replace(requirements(), process=Process(0.5, (GasFlow(species, 1e-5),), ()))
    assert {c.about for c in card_of(vapour_stack(), needs).cautions} - plain == abouts


def test_oxygen_diluted_below_a_quarter_is_not_called_rich() -> None:
    gases = (GasFlow("oxygen", 2e-6), GasFlow("argon", 8e-6))
    needs = replace(requirements(), process=Process(0.5, gases, ()))
    assert "Oxygen-rich gas" not in {c.about for c in card_of(vapour_stack(), needs).cautions}


def test_glass_brings_the_caution_of_implosion() -> None:
    chamber = requirements().chamber
    glass = Surface("borosilicate_glass", chamber.surfaces[0].condition, 0.3)
    needs = replace(requirements(), chamber=replace(chamber, surfaces=(glass,)))
    assert "Glass under vacuum" in {c.about for c in card_of(vapour_stack(), needs).cautions}


def test_cautions_of_a_vapour_jet_pump_end_with_the_codes_of_the_place() -> None:
    about = [caution.about for caution in card_of(vapour_stack()).cautions]
    assert {"Hot boiler", "Air on hot fluid", "Heater", "Solvents for cleaning"} <= set(about)
    assert about[-2:] == ["Electricity", "Codes and trained people"]


def test_oil_that_comes_with_the_pump_is_filled_in_although_it_is_not_sold() -> None:
    charge = SuppliedPart(
        "First charge of mineral oil",
        1,
        "in a bottle beside the pump",
        (SuppliedFor.FIRST_CHARGE,),
        FluidKind.MINERAL,
    )
    items = dict(STOCK.items)
    items["VANE"] = a_backing_pump(supplied=(charge,))
    stack = a_stack(*(part for part in vapour_stack().parts if part.role is not Role.OIL))
    card = operating_card(stack, requirements(), a_catalog(items.values()))
    fill = text_of(section(card, "fill"))
    assert "500 cm³ of Oil 1l (the first charge comes with the pump)" in fill
