"""The gas to be pumped, against hand calculation."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.fit.loads import AIR, PUMP_K, loads_of
from server.physics.gas import throughput_pa_m3_s
from server.physics.gasload import load_at_pa_m3_s
from tests.fit.engine_cases import COATER, inquiry

LOADS = loads_of(inquiry(COATER))


def test_a_standard_flow_becomes_a_throughput_by_moles_check_c9() -> None:
    # values.json C9: 1 sccm = 7.4358e-7 mol/s = 1.8124e-3 Pa·m³/s at 20 °C (SEMI E12, ideal gas)
    assert float(throughput_pa_m3_s(7.4358e-7, PUMP_K)) == pytest.approx(1.8124e-3, rel=1e-4)
    assert LOADS.process_pa_m3_s["argon"] == pytest.approx(20 * 1.8124e-3, rel=1e-4)


def test_a_vapour_rate_becomes_a_throughput_by_its_molar_mass() -> None:
    # by hand: 3 g/h ÷ 18.015 g/mol = 4.626e-5 mol/s; × 8.314 J/(mol K) × 293.15 K
    assert LOADS.process_pa_m3_s["water"] == pytest.approx(0.11275, rel=1e-3)
    assert LOADS.vapour_kg_s == {"water": pytest.approx(3e-3 / 3600)}


def test_leak_and_surfaces_add_up_by_species() -> None:
    # by hand, 24 h after the start: steel 5.7e-6·2.6/24, FKM 1.52e-3·0.02·24^−0.8 (Elsey 1975)
    day = LOADS.base_pa_m3_s(24 * 3600.0)
    assert day[AIR] == pytest.approx(2e-6)
    assert day["water"] == pytest.approx(5.7e-6 * 2.6 / 24 + 1.52e-3 * 0.02 * 24**-0.8, rel=1e-9)
    assert day["argon"] == 0.0


def test_loads_with_other_surfaces_do_not_remember_those_they_were_made_from() -> None:
    day = 24 * 3600.0
    assert LOADS.base_pa_m3_s(day)["water"] > 0.0
    bare = replace(LOADS, surfaces=(), permeation_pa_m3_s={})
    assert bare.base_pa_m3_s(day) == {**dict.fromkeys(LOADS.species, 0.0), AIR: LOADS.leak_pa_m3_s}


def test_process_gas_comes_on_top_while_the_process_runs() -> None:
    base, running = LOADS.base_pa_m3_s(1500.0), LOADS.running_pa_m3_s(1500.0)
    assert running["argon"] - base["argon"] == pytest.approx(LOADS.process_pa_m3_s["argon"])
    assert running["water"] - base["water"] == pytest.approx(LOADS.process_pa_m3_s["water"])
    assert running[AIR] == base[AIR]


def test_a_hot_chamber_holds_less_gas() -> None:
    # p·V/T is the amount: 180 L at 22 °C hold what 178.8 L hold at 20 °C
    assert LOADS.volume_m3 == pytest.approx(0.180 * PUMP_K / 295.15, rel=1e-12)
    oven = loads_of(inquiry(COATER, chamber__temperature="300 degC"))
    assert oven.volume_m3 == pytest.approx(0.180 * PUMP_K / 573.15, rel=1e-12)


def test_without_process_there_is_none() -> None:
    assert LOADS.has_process
    assert not loads_of(inquiry(COATER, process=None)).has_process


def test_hydrogen_comes_off_baked_steel() -> None:
    surfaces = [{"material": "stainless_steel", "area": "1 m2", "condition": "baked"}]
    loads = loads_of(inquiry(COATER, chamber__surfaces=surfaces, process=None))
    # Young 1969: 2e-12 Torr·L/(s·cm²) = 2.67e-9 Pa·m³/(s·m²), constant
    for hours in (1.0, 24.0):
        found = loads.base_pa_m3_s(3600.0 * hours)["hydrogen"]
        assert found == pytest.approx(2e-12 * 133.322 * 1e-3 * 1e4, rel=0.02)


def test_air_is_always_among_the_species_and_first() -> None:
    assert LOADS.species == ("air", "argon", "water")


def test_a_sum_with_weights_one_is_the_whole_base_load() -> None:
    whole = LOADS.weighted({gas: np.ones(2) for gas in LOADS.species})
    for time_s in (60.0, 1500.0, 86_400.0):
        expected = sum(LOADS.base_pa_m3_s(time_s).values())
        assert load_at_pa_m3_s(whole, time_s) == pytest.approx(expected, rel=1e-12)


@settings(max_examples=30)
@given(water=st.floats(0.1, 10.0), air=st.floats(0.1, 10.0), time_s=st.floats(60.0, 1e6))
def test_each_species_is_weighted_by_its_own_factor(
    water: float, air: float, time_s: float
) -> None:
    weights = {"air": np.array([air]), "water": np.array([water]), "argon": np.ones(1)}
    load = LOADS.base_pa_m3_s(time_s)
    expected = air * load["air"] + water * load["water"]
    assert load_at_pa_m3_s(LOADS.weighted(weights), time_s) == pytest.approx(expected, rel=1e-9)


CLEAN: dict[str, Any] = {
    "chamber": {
        "volume": "50 L",
        "surfaces": [{"material": "stainless_steel", "area": "1 m2", "condition": "baked"}],
        "leak_rate": "0 Pa*m3/s",
    },
    "target_pressure": "1e-7 mbar",
}


def test_an_elastomer_ring_of_the_port_lets_air_and_moisture_through() -> None:
    """By hand: an FKM ring of 153 mm bore, 5 mm thick, 5 mm wide: A/d = π·0.153 m.

    K of air 0.38 and of water 40 times 1e-8 cm³(STP)·cm/(cm²·s·bar) = 1.10e-12 m²/s at 23 °C
    (middle of the ranges of PEACOCK-1980, from memory, factor 2); outside 100 155 Pa of air and
    1 170 Pa of moisture.
    """
    loads = loads_of(inquiry(CLEAN, chamber__port="ISO-K 160"))
    length = np.pi * 0.153
    unit = 1.0985e-12
    air, water = 0.38 * unit * length * 100_155.0, 40 * unit * length * 1_170.0
    assert loads.permeation_pa_m3_s["air"] == pytest.approx(air, rel=1e-3)
    assert loads.permeation_pa_m3_s["water"] == pytest.approx(water, rel=1e-3)
    for hours in (1.0, 1000.0):
        base = loads.base_pa_m3_s(3600.0 * hours)
        assert base["air"] == pytest.approx(air, rel=1e-3)
        assert base["water"] == pytest.approx(water, rel=1e-3)
    whole = loads.weighted({gas: np.ones(1) for gas in loads.species})
    assert load_at_pa_m3_s(whole, 1e6) == pytest.approx(sum(loads.base_pa_m3_s(1e6).values()))


@pytest.mark.parametrize("changes", [{"chamber__port": "CF 160"}, {}])
def test_metal_seals_let_nothing_through(changes: dict[str, Any]) -> None:
    asked = inquiry(CLEAN, **changes)
    assert asked.chamber.seals == ()
    assert not loads_of(asked).permeation_pa_m3_s


def test_permeation_counts_the_elastomers_that_are_listed_and_says_so() -> None:
    surfaces = [
        {"material": "stainless_steel", "area": "1 m2"},
        {"material": "nbr", "area": "0.01 m2"},
        {"material": "fkm", "area": "0.02 m2"},
    ]
    asked = inquiry(CLEAN, chamber__surfaces=surfaces, chamber__port="CF 160")
    assert [seal.material for seal in asked.chamber.seals] == ["nbr", "fkm"]
    assert [seal.area_m2 for seal in asked.chamber.seals] == pytest.approx([0.01, 0.02])
    (note,) = (note for note in asked.assumptions if note.field == "chamber.seals")
    assert "factor of two" in note.reason


def test_above_the_pressures_where_permeation_matters_none_is_counted() -> None:
    surfaces = [{"material": "fkm", "area": "0.02 m2"}]
    asked = inquiry(CLEAN, chamber__surfaces=surfaces, target_pressure="2e-5 Pa")
    assert asked.chamber.seals == ()
