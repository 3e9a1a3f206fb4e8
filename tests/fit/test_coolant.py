"""Liquid nitrogen that cold traps boil off, by hand and against CoolProp."""

from __future__ import annotations

import math
from typing import Any

import pytest
from CoolProp.CoolProp import PropsSI

from server.catalog.items import BackingPump, Spare, SparePurpose, Trap, TrapKind
from server.fit.advice import check
from server.fit.choice import StackChoice
from server.fit.costs import Purse
from server.fit.fluid_use import heat_of_evaporation_j_kg
from server.fit.inquiry import read_inquiry
from server.fit.upkeep import NITROGEN_LATENT_J_M3, UpkeepGroup
from tests.fit.engine_cases import demo_catalog

OVEN: dict[str, Any] = {
    "application": "drying_oven",
    "chamber": {"volume": "100 L"},
    "target_pressure": "1 mbar",
    "process": {"pressure": "10 mbar", "vapour": [{"substance": "water", "rate": "200 g/h"}]},
    "duty": {"cycles_per_day": 1, "time_at_pressure": "6 h", "days_per_year": 220, "shift": "8 h"},
    "commercial": {"horizon_years": 3},
}


def latent_j_kg(fluid: str, quantity: str, value: float) -> float:
    vapour, liquid = (float(PropsSI("H", quantity, value, "Q", q, fluid)) for q in (1, 0))
    return vapour - liquid


@pytest.mark.parametrize(
    ("substance", "fluid", "within"),
    [("water", "Water", 0.01), ("ethanol", "Ethanol", 0.02), ("acetone", "Acetone", 0.03),
     ("toluene", "Toluene", 0.02), ("methanol", "Methanol", 0.03), ("n_hexane", "n-Hexane", 0.02)],
)  # fmt: skip
def test_heat_of_evaporation_is_that_of_coolprop(substance: str, fluid: str, within: float) -> None:
    reference = latent_j_kg(fluid, "T", 293.15)
    assert heat_of_evaporation_j_kg(substance) == pytest.approx(reference, rel=within)


def test_a_volume_of_liquid_nitrogen_takes_up_what_coolprop_says() -> None:
    density = float(PropsSI("D", "P", 101_325.0, "Q", 0, "Nitrogen"))
    reference = density * latent_j_kg("Nitrogen", "P", 101_325.0)
    assert pytest.approx(reference, rel=2e-3) == NITROGEN_LATENT_J_M3


def test_nitrogen_of_an_ovens_cold_trap_by_hand() -> None:
    """At rest over the running hours, and 200 g/h × 2.454 MJ/kg while water comes off."""
    catalog, requirements = demo_catalog(), read_inquiry(OVEN)
    trap = catalog.get("TRAP-FORELINE-LN-KF50", Trap)
    stack = check(requirements, catalog, StackChoice(backing_pump="VANE2-0025", trap=trap.sku))
    plain = check(requirements, catalog, StackChoice(backing_pump="VANE2-0025"))
    litres_at_rest = trap.nitrogen_use_m3_s * 1e3 * 3600.0 * 8.0 * 220.0 * 3.0
    litres_by_vapour = 0.2 * 6.0 * 220.0 * 3.0 * 2.454e6 / NITROGEN_LATENT_J_M3 * 1e3
    deliveries = math.ceil((litres_at_rest + litres_by_vapour) / 10.0)
    price = catalog.get("NITROGEN-LIQUID-10L", Spare).price
    more = float(stack.cost.consumables_per_year - plain.cost.consumables_per_year) * 3.0
    assert more == pytest.approx(float(price) * deliveries, rel=5e-3)


def test_every_nitrogen_trap_has_its_nitrogen_and_no_other() -> None:
    catalog = demo_catalog()
    sold = [s for s in catalog.of_type(Spare) if s.purpose is SparePurpose.LIQUID_NITROGEN]
    fits = {sku for spare in sold for sku in spare.fits}
    assert fits == {t.sku for t in catalog.of_type(Trap) if t.kind is TrapKind.NITROGEN_TRAP}
    purse = Purse(read_inquiry(OVEN), catalog)
    pump = catalog.get("VANE2-0025", BackingPump)
    for sku, wanted in (("TRAP-FORELINE-LN-KF25", True), ("TRAP-FORELINE-CHILLED-KF40", False)):
        lines = purse.upkeep(pump, None, (catalog.get(sku, Trap),))
        assert any(line.group is UpkeepGroup.COOLANT for line in lines) is wanted
