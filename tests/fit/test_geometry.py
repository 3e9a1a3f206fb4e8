"""Lines of a stack: what stands in them, in the order of the gas."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from server.catalog.flanges import parse_flange
from server.catalog.items import PumpKind, RootsBooster, TrapKind, TrapPlace
from server.fit.candidates import Back
from server.fit.geometry import foreline, rough_line, rough_line_to_trap
from tests.fit.engine_cases import BENCH, a_rougher, inquiry
from tests.fit.stock import a_trap, a_turbo_pump

TRAP = a_trap("CONDENSER", "KF 25", TrapKind.REFRIGERATED_TRAP, TrapPlace.FORELINE)


def a_booster() -> RootsBooster:
    base = a_turbo_pump()
    names = ("name", "price", "cost_price", "mass_kg", "stock", "lead_time_days", "mains_voltages",
             "phases", "power_w", "cooling", "noise_dba", "service_hours")  # fmt: skip
    shared: dict[str, Any] = {name: getattr(base, name) for name in names}
    return RootsBooster(
        sku="BOOSTER",
        kind=PumpKind.ROOTS_BOOSTER,
        inlet=parse_flange("KF 40"),
        outlet=parse_flange("KF 25"),
        ultimate_pa=1e-2,
        displacement_m3_s=0.07,
        largest_difference_pa=5e3,
        cut_in_pa=2e3,
        bypass_valve=True,
        **shared,
    )


def test_a_trap_stands_in_the_line_unless_it_is_behind_a_booster() -> None:
    asked = inquiry(BENCH, rough_line__length="1 m", foreline__length="0.5 m")
    rougher = replace(a_rougher(), inlet=parse_flange("KF 25"))
    plain, trapped, boosted = (
        Back(rougher, booster, trap, None, None)
        for booster, trap in ((None, None), (None, TRAP), (a_booster(), TRAP))
    )
    outlet = parse_flange("KF 25")

    def names(back: Back) -> tuple[list[str], list[str]]:
        lines = rough_line(back, asked), foreline(outlet, back, asked)
        return [part.name for part in lines[0].parts], [part.name for part in lines[1].parts]

    assert names(plain) == (["rough line"], ["foreline"])
    assert names(trapped) == (["rough line", TRAP.name], ["foreline", TRAP.name])
    assert names(boosted) == (["rough line"], ["foreline"])
    # what is in front of the trap is the tube alone, as wide as what it leads to
    for back, flange in ((trapped, "KF 25"), (boosted, "KF 40")):
        (tube,) = rough_line_to_trap(back, asked).parts
        assert (tube.name, tube.bore_m) == ("rough line", parse_flange(flange).bore_m)
