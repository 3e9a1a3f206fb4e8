"""Every pump of the demo catalogue can be joined, kept running and explained."""

from __future__ import annotations

import pytest

from server.catalog.compatibility import traps_for
from server.catalog.flanges import Flange, parse_flange
from server.catalog.items import (
    BACKING_KINDS,
    HIGH_VACUUM_KINDS,
    BackingPump,
    Catalog,
    Fluid,
    Item,
    Pump,
    PumpKind,
    RootsBooster,
    TrapPlace,
    VapourPump,
)
from server.catalog.tables import load_catalog
from server.fit.assembly import (
    Assembly,
    backing_assembly,
    foreline_assembly,
    gauge_assembly,
    inlet_assembly,
    interlock_assembly,
    roughing_assembly,
    vent_assembly,
)
from server.fit.fluid_use import NO_EXPOSURE, charge_m3, usual_grade
from server.fit.requirements import Cleanliness, Duty, Hazard, LineRun
from server.fit.results import Part, Role
from server.fit.upkeep import UpkeepGroup, Use, energy_kwh_per_year, upkeep_lines
from server.paths import Folder, folder
from server.quoting.drafting import draft_quote
from server.quoting.operating_card import operating_card
from tests.quoting.stacks import a_stack, order, requirements

RUN = LineRun(length_m=0.4, bore_m=None, bends=1)
DUTY = Duty(6.0, 2700.0, 220.0, 9 * 3600.0)
PORTS = [None, *map(parse_flange, ("KF 40", "ISO-K 160", "ISO-F 250", "CF 100"))]


@pytest.fixture(scope="module")
def demo() -> Catalog:
    return load_catalog(folder(Folder.CATALOG_DEMO))


def high_vacuum_pumps(demo: Catalog) -> list[Pump]:
    return [pump for pump in demo.of_type(Pump) if pump.kind in HIGH_VACUUM_KINDS]


@pytest.mark.parametrize("port", PORTS, ids=str)
def test_every_high_vacuum_pump_joins_every_port(demo: Catalog, port: Flange | None) -> None:
    for pump in high_vacuum_pumps(demo):
        for trap in (None, *traps_for(pump.inlet, demo, TrapPlace.HIGH_VACUUM)):
            found = inlet_assembly(port, pump, trap, RUN, demo)
            assert found.open_joints == (), pump.sku
            assert found.price > 0


def test_every_pump_joins_every_pump_behind_it(demo: Catalog) -> None:
    behind = [p for p in demo.of_type(Pump) if p.kind in {*BACKING_KINDS, PumpKind.ROOTS_BOOSTER}]
    for pump in (*high_vacuum_pumps(demo), *demo.of_type(RootsBooster)):
        if pump.outlet is not None:
            for other in behind:
                found = foreline_assembly(
                    pump.outlet, other.inlet, RUN, pump.kind, demo, pump.supplied
                )
                assert found.open_joints == (), (pump.sku, other.sku)


def test_every_backing_pump_is_roughed_through_filtered_and_trapped(demo: Catalog) -> None:
    for pump in demo.of_type(BackingPump):
        for shared in (False, True):
            found = roughing_assembly(None, pump.inlet, RUN, demo, shared=shared)
            assert found.open_joints == (), pump.sku
        found = backing_assembly(pump, {Hazard.PARTICULATES}, Cleanliness.LOW_OIL, demo)
        assert found.open_joints == (), pump.sku


def test_gauges_and_interlocks_are_there(demo: Catalog) -> None:
    for lowest_pa in (1e3, 1.0, 1e-2, 1e-5, 1e-8):
        assert gauge_assembly(lowest_pa, demo).open_joints == ()
    for pump in demo.of_type(Pump):
        assert interlock_assembly(pump, demo).open_joints == ()
    assert vent_assembly(demo).open_joints == ()


@pytest.mark.parametrize("years", [1.0, 5.0])
def test_every_pump_has_its_upkeep(demo: Catalog, years: float) -> None:
    for pump in demo.of_type(Pump):
        lines = upkeep_lines(pump, Use(DUTY, years), demo)
        fluids = [line for line in lines if line.group is UpkeepGroup.FLUIDS]
        if isinstance(pump, VapourPump):
            assert fluids, pump.sku
        if charge_m3(pump) == 0:
            assert not fluids, pump.sku
        assert energy_kwh_per_year(pump, DUTY) > 0


def _part(role: Role, item: Item, quantity: int = 1) -> Part:
    return Part(role, item.sku, item.name, "", quantity)


def _parts_of(assembly: Assembly) -> list[Part]:
    return [Part(p.role, p.item.sku, p.item.name, "", p.quantity, p.note) for p in assembly.parts]


def test_every_high_vacuum_pump_gets_a_quote_and_a_card(demo: Catalog) -> None:
    backing = demo.get("VANE2-0400", BackingPump)
    for pump in high_vacuum_pumps(demo):
        parts = [_part(Role.HIGH_VACUUM_PUMP, pump), _part(Role.BACKING_PUMP, backing)]
        if isinstance(pump, VapourPump):
            grade = usual_grade(pump, NO_EXPOSURE, demo)
            fluid = next(item for item in demo.of_type(Fluid) if item.grade == grade)
            parts.append(_part(Role.FLUID, fluid))
        inlet = inlet_assembly(parse_flange("ISO-K 160"), pump, None, RUN, demo)
        stack = a_stack(*parts, *_parts_of(inlet))
        quote = draft_quote(stack, requirements(), demo, order(consumables_years=1.0))
        assert quote.net >= pump.price + backing.price + inlet.price
        card = operating_card(stack, requirements(), demo)
        assert card.section("start") is not None
        assert card.section("stop") is not None
        assert all(step.text.endswith((".", ".)")) for s in card.sections for step in s.steps)
