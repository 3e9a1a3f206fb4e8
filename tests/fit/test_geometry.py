"""Lines of a stack: what stands in them, in the order of the gas."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from server.catalog.flanges import parse_flange
from server.catalog.items import (
    BackingPump,
    TrapKind,
    TrapPlace,
    TurboPump,
    VapourPump,
)
from server.fit.assembly import foreline_assembly, roughing_assembly
from server.fit.candidates import Back
from server.fit.geometry import Outlet, foreline, outlet_of, rough_line, rough_line_to_trap
from server.fit.results import Role
from server.physics.gas import mean_speed_m_s
from server.physics.line import Line, line_conductance_m3_s
from server.physics.parts import Restriction
from server.physics.species import SPECIES
from tests.fit.engine_cases import BENCH, COATER, a_bench, a_rougher, demo_catalog, inquiry
from tests.fit.rarer_stock import a_booster
from tests.fit.stock import a_trap

TRAP = a_trap("CONDENSER", "KF 25", TrapKind.REFRIGERATED_TRAP, TrapPlace.FORELINE)


def test_a_trap_stands_in_the_line_unless_it_is_behind_a_booster() -> None:
    asked = inquiry(BENCH, rough_line__length="1 m", foreline__length="0.5 m")
    rougher = replace(a_rougher(), inlet=parse_flange("KF 25"))
    wide = replace(a_booster(), inlet=parse_flange("KF 40"))
    plain, trapped, boosted = (
        Back(rougher, booster, trap, None, None)
        for booster, trap in ((None, None), (None, TRAP), (wide, TRAP))
    )
    bare, outlet = a_bench(rougher), Outlet(parse_flange("KF 25"), None)

    def names(back: Back) -> tuple[list[str], list[str]]:
        lines = rough_line(back, asked, bare), foreline(outlet, back, asked)
        return [part.name for part in lines[0].parts], [part.name for part in lines[1].parts]

    assert names(plain) == (["rough line"], ["foreline"])
    assert names(trapped) == (["rough line", TRAP.name], ["foreline", TRAP.name])
    assert names(boosted) == (["rough line"], ["foreline"])
    # what is in front of the trap is the tube alone, as wide as what it leads to
    for back, flange in ((trapped, "KF 25"), (boosted, "KF 40")):
        (tube,) = rough_line_to_trap(back, asked, bare).parts
        assert (tube.name, tube.bore_m) == ("rough line", parse_flange(flange).bore_m)


CATALOG = demo_catalog()
ASKED = inquiry(COATER)
BACKS = [Back(pump, None, None, None, None) for pump in CATALOG.of_type(BackingPump)]


def valves_of(line: Line) -> list[str]:
    return [part.name for part in line.parts if isinstance(part, Restriction)]


@pytest.mark.parametrize("back", BACKS, ids=lambda back: back.backing.sku)
def test_the_rough_line_holds_the_valve_that_is_sold_in_it(back: Back) -> None:
    sold = roughing_assembly(None, back.entry, ASKED.rough_line, CATALOG, shared=False)
    placed = [part.item.name for part in sold.parts if part.role is Role.VALVE]
    assert placed
    assert valves_of(rough_line(back, ASKED, CATALOG)) == placed


def test_a_foreline_holds_the_valve_that_is_sold_in_it_and_only_vapour_pumps_have_one() -> None:
    seen = set()
    for pump in CATALOG.of_type(VapourPump):
        outlet, back = outlet_of(pump, CATALOG), BACKS[0]
        assert outlet is not None
        sold = foreline_assembly(
            outlet.flange, back.entry, ASKED.foreline, pump.kind, CATALOG, pump.supplied
        )
        placed = [part.item.name for part in sold.parts if part.role is Role.VALVE]
        assert valves_of(foreline(outlet, back, ASKED)) == placed
        assert len(placed) == 1
        seen.add(outlet.flange)
    assert len(seen) > 2
    turbos = [outlet_of(pump, CATALOG) for pump in CATALOG.of_type(TurboPump)]
    assert all(outlet is not None and outlet.valve is None for outlet in turbos)


def test_a_valve_takes_its_share_of_molecular_flow_by_hand() -> None:
    """In series 1/C = 1/C_tube + 1/C_valve; openings of one bore count once (Oatley 1957)."""
    back = next(back for back in BACKS if back.entry.bore_m == pytest.approx(0.025, abs=2e-3))
    line = rough_line(back, ASKED, CATALOG)
    valve = next(part for part in line.parts if isinstance(part, Restriction))
    tubes = Line(tuple(part for part in line.parts if part is not valve), line.pump_bore_m)
    with_valve, without = (
        float(line_conductance_m3_s(each, 1e-6, 293.15, SPECIES["nitrogen"]))
        for each in (line, tubes)
    )
    speed = float(mean_speed_m_s(293.15, SPECIES["nitrogen"].molar_mass_kg_mol))
    opening = math.pi / 4.0 * valve.bore_m**2 * speed / 4.0
    wall = 1.0 / valve.molecular_conductance_n2_m3_s - 1.0 / opening
    assert valve.bore_m == pytest.approx(back.entry.bore_m, rel=0.05)
    assert 1.0 / with_valve == pytest.approx(1.0 / without + wall, rel=0.02)
