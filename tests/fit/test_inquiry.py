"""Inquiries: the contract's example, every default named, every fault in its place."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from server.catalog.flanges import Flange, FlangeSystem
from server.errors import InvalidInquiry, UnknownName
from server.fit.defaults import surfaces_default
from server.fit.inquiry import InquiryIn, read_inquiry
from server.fit.names import resolve_material, resolve_species, resolve_vapour
from server.fit.presets import PRESETS
from server.fit.requirements import (
    Application,
    Cleanliness,
    Condition,
    Hazard,
    Requirements,
    Surface,
)

# The worked request of the programs' contract.
EXAMPLE: dict[str, Any] = {
    "title": "Mirror coater, 180 L",
    "chamber": {
        "volume": "180 L",
        "temperature": "22 degC",
        "port": "ISO-K 160",
        "surfaces": [
            {"material": "stainless_steel", "area": "2.6 m2", "condition": "unbaked"},
            {"material": "fkm", "area": "0.02 m2"},
        ],
        "leak_rate": "2e-5 mbar*L/s",
    },
    "line": {"length": "0.4 m", "bore": None, "bends": 1},
    "target_pressure": "2e-5 mbar",
    "pump_down_time": "25 min",
    "process": {
        "pressure": "5e-3 mbar",
        "gas": [{"species": "argon", "flow": "20 sccm"}],
        "vapour": [{"substance": "water", "rate": "3 g/h"}],
    },
    "duty": {
        "cycles_per_day": 6,
        "time_at_pressure": "45 min",
        "days_per_year": 220,
        "shift": "9 h",
    },
    "cleanliness": "tolerant",
    "hazards": [],
    "utilities": {"cooling_water": True, "three_phase": False, "mains_voltage": "230 V"},
    "commercial": {
        "currency": "EUR",
        "horizon_years": 3,
        "energy_price_per_kwh": "0.24",
        "budget": None,
    },
    "limit": 10,
}
SHORTEST: dict[str, Any] = {"chamber": {"volume": "50 L"}, "target_pressure": "1e-3 mbar"}


def changed(path: str, value: object, base: dict[str, Any] = EXAMPLE) -> dict[str, Any]:
    """Return the request with one cell changed."""
    request = copy.deepcopy(base)
    here: Any = request
    *steps, last = path.split(".")
    for step in steps:
        here = here[int(step)] if isinstance(here, list) else here.setdefault(step, {})
    here[int(last) if isinstance(here, list) else last] = value
    return request


def faults(request: dict[str, Any], currency: str = "EUR") -> dict[str, tuple[str, str, str]]:
    """Return field → (typed, message, accepted) of a request that must be refused."""
    with pytest.raises(InvalidInquiry) as caught:
        read_inquiry(request, currency=currency)
    return {f.field: (f.typed, f.message, f.accepted) for f in caught.value.faults}


def assumed(requirements: Requirements) -> dict[str, tuple[str, str]]:
    return {a.field: (a.value, a.reason) for a in requirements.assumptions}


def test_the_contracts_example_reads_into_si() -> None:
    r = read_inquiry(EXAMPLE)
    assert r.chamber.volume_m3 == pytest.approx(180 * constants.liter)
    assert r.chamber.temperature_k == pytest.approx(constants.zero_Celsius + 22)
    assert r.chamber.port == Flange(FlangeSystem.ISO_K, 160)
    assert r.chamber.surfaces[0] == Surface("stainless_steel", Condition.UNBAKED, 2.6)
    assert r.chamber.leak_pa_m3_s == pytest.approx(2e-6)
    assert r.target_pressure_pa == pytest.approx(2e-3)
    assert r.pump_down_time_s == 1500
    assert r.process.pressure_pa == pytest.approx(0.5)
    # 1 sccm = 1 cm3/min at 0 °C and 101 325 Pa (SEMI E12).
    one_sccm = constants.atm * 1e-6 / 60 / (constants.R * constants.zero_Celsius)
    assert r.process.gas[0].flow_mol_s == pytest.approx(20 * one_sccm)
    assert r.process.vapour[0].rate_kg_s == pytest.approx(3e-3 / 3600)
    assert r.duty.shift_s == 9 * 3600
    assert r.utilities.mains_v == 230
    assert r.commercial.energy_price_per_kwh == Decimal("0.24")


def test_the_example_lists_only_the_defaults_it_used() -> None:
    listed = assumed(read_inquiry(EXAMPLE))
    assert set(listed) == {
        "application",
        "chamber.surfaces.1.condition",
        "line.bore",
        "rough_line.length",
        "rough_line.bore",
        "rough_line.bends",
        "foreline.length",
        "foreline.bore",
        "foreline.bends",
        "duty.vent_time",
        "duty.venting",
        "hazards",
        "commercial.budget",
    }


def test_the_shortest_inquiry_lists_every_field_it_left_open() -> None:
    listed = assumed(read_inquiry(SHORTEST))
    stated = {"chamber.volume", "target_pressure"}
    open_fields = {
        "title", "application", "chamber.temperature", "chamber.port", "chamber.surfaces",
        "chamber.leak_rate", "pump_down_time", "process.pressure", "process.gas", "cleanliness",
        "hazards", "limit", "duty.cycles_per_day", "duty.time_at_pressure", "duty.days_per_year",
        "duty.shift", "duty.vent_time", "duty.venting", "utilities.cooling_water",
        "utilities.three_phase", "utilities.mains_voltage", "commercial.currency",
        "commercial.horizon_years", "commercial.energy_price_per_kwh", "commercial.budget",
        *(f"{line}.{cell}" for line in ("line", "rough_line", "foreline")
          for cell in ("length", "bore", "bends")),
    }  # fmt: skip
    assert set(listed) == open_fields
    assert not stated & set(listed)
    assert all(value and reason for value, reason in listed.values())


def test_the_surface_of_a_silent_inquiry_is_that_of_a_cube_with_fixtures() -> None:
    r = read_inquiry(changed("chamber.volume", "1 m3", SHORTEST))
    wall, seal = r.chamber.surfaces
    assert wall.area_m2 == pytest.approx(9.0)  # 6 m2 of a 1 m cube, half as much again inside
    assert (wall.material, seal.material) == ("stainless_steel", "fkm")
    assert seal.area_m2 < 0.02 * wall.area_m2


def test_ultra_high_vacuum_is_taken_to_be_baked_and_metal_sealed() -> None:
    r = read_inquiry(changed("target_pressure", "1e-9 mbar", SHORTEST))
    assert [s.condition for s in r.chamber.surfaces] == [Condition.BAKED]
    assert r.chamber.leak_pa_m3_s < 1e-9
    assert "baked" in assumed(r)["chamber.surfaces"][1]


def test_a_chamber_is_taken_to_be_baked_below_a_pressure_not_at_it() -> None:
    recipe = PRESETS[Application.GENERAL].surfaces
    conditions = {
        target: surfaces_default(recipe, 1.0, target)[0][0].condition for target in (0.99e-6, 1e-6)
    }
    assert conditions == {0.99e-6: Condition.BAKED, 1e-6: Condition.UNBAKED}


def test_bends_that_nobody_mentions_are_none_beside_a_length_and_the_usual_ones_without() -> None:
    given = assumed(read_inquiry(changed("line.length", "0.4 m", SHORTEST)))["line.bends"]
    assert given == ("0", "none was mentioned with the length")
    silent = assumed(read_inquiry(SHORTEST))["line.bends"]
    assert silent[1] == "as many as such a run usually has"


@pytest.mark.parametrize("application", list(Application))
def test_a_preset_fills_cells_says_so_and_gives_way_to_what_is_typed(
    application: Application,
) -> None:
    request = changed("application", application, SHORTEST)
    listed = assumed(read_inquiry(request))
    for value in PRESETS[application].values:
        assert listed[value.field][1].startswith(PRESETS[application].title)
    typed = changed("cleanliness", "tolerant", request)
    assert read_inquiry(typed).cleanliness is Cleanliness.TOLERANT
    assert "cleanliness" not in assumed(read_inquiry(typed))


@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ("argon", "argon"), ("Ar", "argon"), ("N2", "nitrogen"), ("n₂", "nitrogen"),
        ("water vapour", "water"), ("H2O", "water"), ("IPA", "isopropanol"),
        ("carbon dioxide", "carbon_dioxide"), ("SF6", "sulfur_hexafluoride"),
        ("CO", "carbon_monoxide"),
    ],
)  # fmt: skip
def test_gases_are_known_by_key_name_formula_and_habit(typed: str, key: str) -> None:
    r = read_inquiry(changed("process.gas.0.species", typed))
    assert r.process.gas[0].species == key


@pytest.mark.parametrize("resolve", [resolve_species, resolve_vapour, resolve_material])
def test_an_unknown_name_is_answered_with_names_that_people_write_and_that_are_read(
    resolve: Callable[[str], str],
) -> None:
    with pytest.raises(UnknownName) as caught:
        resolve("phlogiston")
    keys = [resolve(name) for name in caught.value.known]
    assert len(set(keys)) == len(keys) > 10
    assert "_" not in str(caught.value)
    assert [resolve(key) for key in keys] == keys


def test_a_flow_typed_as_throughput_counts_at_the_chambers_temperature() -> None:
    request = changed("process.gas.0.flow", "1 mbar*L/s")
    request["chamber"]["temperature"] = "127 degC"
    flow = read_inquiry(request).process.gas[0].flow_mol_s
    assert flow == pytest.approx(0.1 / (constants.R * (constants.zero_Celsius + 127)))


def test_the_unit_of_a_quantity_does_not_matter() -> None:
    litres = read_inquiry(changed("chamber.volume", "180 L"))
    cubic_metres = read_inquiry(changed("chamber.volume", 0.18))
    assert cubic_metres.chamber.volume_m3 == pytest.approx(litres.chamber.volume_m3)


@pytest.mark.parametrize(
    ("path", "typed", "hint"),
    [
        ("chamber.volume", "-5 L", "L"),
        ("chamber.volume", "0 L", "L"),
        ("chamber.volume", "2e6 m3", "L"),
        ("chamber.volume", "5e-5 mbar", "L"),
        ("chamber.volume", True, "L"),
        ("chamber.volume", ["1 L"], "L"),
        ("chamber.temperature", "3000 degC", "degC"),
        ("chamber.surfaces.1.area", "0 m2", "m2"),
        ("chamber.surfaces.0.material", "unobtainium", "stainless_steel"),
        ("chamber.surfaces.0.condition", "polished", "unbaked"),
        ("chamber.port", "XY 160", "ISO-K 160"),
        ("chamber.leak_rate", "-1e-5 mbar*L/s", "mbar"),
        ("line.bends", "two", "whole number"),
        ("line.bends", -1, "0"),
        ("line.bore", "0 mm", "mm"),
        ("target_pressure", "0 mbar", "mbar"),
        ("target_pressure", math.nan, "mbar"),
        ("target_pressure", math.inf, "mbar"),
        ("target_pressure", "3 bar", "mbar"),
        ("target_pressure", "1e-12 mbar", "mbar"),
        ("pump_down_time", "soon", "min"),
        ("process.gas.0.species", "phlogiston", "argon"),
        ("process.gas.0.flow", "0 sccm", "sccm"),
        ("process.vapour.0.substance", "argon", "water"),
        ("process.vapour.0.rate", "3 L", "g/h"),
        ("duty.cycles_per_day", 0, "number"),
        ("duty.cycles_per_day", "many", "number"),
        ("duty.days_per_year", 400, "366"),
        ("duty.shift", "30 h", "h"),
        ("cleanliness", "spotless", "oil_free"),
        ("hazards", "toxic", "list"),
        ("hazards", ["explosive"], "oxygen_rich"),
        ("utilities.cooling_water", "perhaps", "true"),
        ("utilities.mains_voltage", "12 V", "V"),
        ("commercial.currency", "USD", "EUR"),
        ("commercial.horizon_years", 0, "number"),
        ("commercial.energy_price_per_kwh", "cheap", "amount"),
        ("commercial.energy_price_per_kwh", "NaN", "amount"),
        ("commercial.budget", -1, "amount"),
        ("limit", 0, "1"),
        ("limit", 1000, "50"),
        ("title", "x" * 201, "200"),
        ("title", "a\x00b", "200"),
        ("title", "\ud800", "200"),
        ("unheard_of", 1, "documentation"),
    ],
)
def test_a_fault_names_its_field_and_what_would_be_accepted(
    path: str, typed: object, hint: str
) -> None:
    found = faults(changed(path, typed))
    field = next(iter(found))
    assert len(found) == 1
    assert field == path or field == f"{path}.0"
    assert found[field][1].endswith(".")
    assert hint in found[field][2] + found[field][1]


def test_every_fault_of_a_request_is_found_at_once() -> None:
    request = changed("chamber.volume", "heavy")
    request["target_pressure"] = "-1 mbar"
    request["duty"]["shift"] = "blue"
    assert set(faults(request)) == {"chamber.volume", "target_pressure", "duty.shift"}


@pytest.mark.parametrize("missing", ["chamber", "target_pressure"])
def test_what_is_needed_is_said_to_be_needed(missing: str) -> None:
    request = {key: value for key, value in SHORTEST.items() if key != missing}
    assert faults(request)[missing][1] == "This is needed."


def test_what_was_typed_comes_back_shortened() -> None:
    assert len(faults(changed("chamber.volume", "9" * 10_000_000))["chamber.volume"][0]) <= 100


def test_cycles_that_do_not_fit_into_a_day_are_refused() -> None:
    request = changed("duty.cycles_per_day", 40)
    assert "fit into a day" in faults(request)["duty.time_at_pressure"][1]


def test_another_catalogues_currency_is_the_accepted_one() -> None:
    request = changed("commercial.currency", "CHF")
    assert read_inquiry(request, currency="CHF").commercial.currency == "CHF"


@pytest.mark.parametrize(
    ("duty", "vent_s"),
    [
        # by hand: a tenth of 8 h ÷ 4 is 12 min; a quarter of an hour at most; as typed
        ({"shift": "8 h", "cycles_per_day": 4}, 720.0),
        ({"shift": "24 h", "cycles_per_day": "0.1"}, 900.0),
        ({"vent_time": "25 min", "venting": "dry_nitrogen"}, 1500.0),
    ],
)
def test_how_long_the_chamber_is_open(duty: dict[str, object], vent_s: float) -> None:
    read = read_inquiry({**SHORTEST, "duty": duty})
    assert read.duty.vent_time_s == pytest.approx(vent_s)
    assert read.duty.venting.value == duty.get("venting", "air")
    assert ("duty.venting" in assumed(read)) == ("venting" not in duty)


@pytest.mark.parametrize(("cell", "typed"), [("vent_time", "soon"), ("venting", "argon")])
def test_an_impossible_venting_is_refused_at_its_field(cell: str, typed: str) -> None:
    with pytest.raises(InvalidInquiry) as refused:
        read_inquiry({**SHORTEST, "duty": {cell: typed}})
    assert [fault.field for fault in refused.value.faults] == [f"duty.{cell}"]


def test_a_checked_inquiry_keeps_every_cell_as_typed() -> None:
    kept = InquiryIn.model_validate(EXAMPLE).model_dump(mode="json", exclude_unset=True)
    assert kept == EXAMPLE


PATHS = [
    "title", "application", "chamber", "chamber.volume", "chamber.temperature", "chamber.port",
    "chamber.surfaces", "chamber.surfaces.0.area", "chamber.leak_rate", "line", "line.length",
    "line.bends", "target_pressure", "pump_down_time", "process", "process.gas",
    "process.gas.0.species", "process.gas.0.flow", "process.vapour.0.substance",
    "process.vapour.0.rate", "duty.cycles_per_day", "duty.time_at_pressure", "cleanliness",
    "hazards", "utilities.cooling_water", "utilities.mains_voltage", "commercial.currency",
    "commercial.budget", "commercial.energy_price_per_kwh", "limit",
]  # fmt: skip
NONSENSE = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=40),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=5,
)


@given(path=st.sampled_from(PATHS), value=NONSENSE)
def test_nonsense_is_read_or_refused_but_never_breaks(path: str, value: object) -> None:
    try:
        read = read_inquiry(changed(path, value))
    except InvalidInquiry:
        return
    assert math.isfinite(read.target_pressure_pa)
    assert read.target_pressure_pa > 0
    assert math.isfinite(read.chamber.volume_m3)


@pytest.mark.parametrize(
    ("gas", "rich"),
    [
        ([{"species": "oxygen", "flow": "20 sccm"}], True),
        # 30 % and 20 % of oxygen in argon: either side of the 25 % by volume of the trade
        # (PNEUROP, BCGA and EIGA guidance, from memory: shared references, safety facts)
        ([{"species": "oxygen", "flow": "3 sccm"}, {"species": "argon", "flow": "7 sccm"}], True),
        ([{"species": "oxygen", "flow": "2 sccm"}, {"species": "argon", "flow": "8 sccm"}], False),
        ([{"species": "air", "flow": "20 sccm"}], False),
        # air holds 20.95 % (CRC Handbook): with a twentieth of oxygen 24.9 %, with a tenth 28.9 %
        ([{"species": "air", "flow": "19 sccm"}, {"species": "oxygen", "flow": "1 sccm"}], False),
        ([{"species": "air", "flow": "9 sccm"}, {"species": "oxygen", "flow": "1 sccm"}], True),
    ],
)
def test_gas_with_much_oxygen_is_oxygen_rich_whether_it_was_said_or_not(
    gas: list[dict[str, str]], rich: bool
) -> None:
    read = read_inquiry({**SHORTEST, "process": {"gas": gas}})
    assert (Hazard.OXYGEN_RICH in read.hazards) is rich
    assert ("oxygen" in assumed(read)["hazards"][1]) is rich
