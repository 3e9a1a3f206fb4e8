"""What a page and the API say of a pump that treats gases differently."""

from __future__ import annotations

import pytest

from server.catalog.items import Catalog, RootsBooster
from server.web.item_charts import pump_chart
from server.web.item_facts import facts_of
from server.web.routes.api import item_out


@pytest.mark.parametrize(
    ("sku", "name", "value"),
    [
        # as the demo's tables have them
        ("TURBO-065-IK", "Largest throughput, other gases", "argon 0.400 mbar·L/s"),
        ("TURBO-065-IK", "Tolerable foreline pressure, other gases", "hydrogen 6.30 mbar"),
        ("CRYO-200", "Gas absorbed in one burst", "20 Pa·m³"),
        ("DIAPHRAGMC-0022", "Largest rate of water vapour", "28.0 g/h"),
        (
            "VAPOURJET-050-A",
            "Tolerable foreline pressure, full load, other gases",
            "helium 0.460 mbar",
        ),
    ],
)
def test_limits_by_gas_are_read_in_the_trades_units(
    demo_catalog: Catalog, sku: str, name: str, value: str
) -> None:
    told = {fact.name: fact.value for fact in facts_of(demo_catalog.items[sku])}
    assert value in told[name]


def test_a_pump_without_them_says_nothing_of_them(demo_catalog: Catalog) -> None:
    told = {fact.name for fact in facts_of(demo_catalog.items["VANE2-0090"])}
    assert "Largest rate of water vapour" not in told
    names = {fact.name for fact in facts_of(demo_catalog.items["IONPUMP-020-CF40"])}
    assert "Gas absorbed in one burst" not in names


@pytest.mark.parametrize(
    ("sku", "field", "value"),
    [
        (
            "TURBO-065-IK",
            "largest_throughput_by_gas_pa_m3_s",
            {"argon": 0.04, "helium": 0.13, "hydrogen": 0.12},
        ),
        ("TURBO-065-IK", "tolerable_foreline_by_gas_pa", {"helium": 1000.0, "hydrogen": 630.0}),
        ("CRYO-200", "burst_pa_m3", 20.0),
        ("DIAPHRAGMC-0022", "largest_vapour_kg_s", 28e-3 / 3600),
    ],
)
def test_programs_find_the_limits_by_name(
    demo_catalog: Catalog, sku: str, field: str, value: object
) -> None:
    told = item_out(demo_catalog.items[sku]).model_dump()
    assert told[field] == pytest.approx(value)


def test_programs_find_a_boosters_compression_for_each_gas(demo_catalog: Catalog) -> None:
    told = item_out(demo_catalog.items["ROOTS-0500"]).model_dump()
    assert set(told["compression_by_gas"]) == {"helium", "hydrogen"}
    curve = told["compression_by_gas"]["helium"]
    assert len(curve["pressure_pa"]) == len(curve["compression"]) == 9


def test_the_chart_of_a_booster_shows_every_gas(demo_catalog: Catalog) -> None:
    chart = pump_chart(demo_catalog.get("ROOTS-0500", RootsBooster))
    assert chart is not None
    assert "air, helium, hydrogen" in chart.alt
    bare = pump_chart(demo_catalog.get("ROOTS-0150", RootsBooster))
    assert bare is not None
    assert "hydrogen" not in bare.alt
