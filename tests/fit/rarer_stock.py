"""Pumps that few stacks have: a cryopump and a Roots booster."""

from __future__ import annotations

from server.catalog.flanges import parse_flange
from server.catalog.items import CapturePump, Cooling, PumpKind, RootsBooster
from tests.fit.stock import priced


def a_cryopump() -> CapturePump:
    return CapturePump(
        **priced("CRYO", "15000.00", stock=0, lead_time_days=70),  # type: ignore[arg-type]
        kind=PumpKind.CRYO,
        inlet=parse_flange("ISO-K 100"),
        ultimate_pa=1e-8,
        mains_voltages=(230,),
        phases=1,
        power_w=3000.0,
        cooling=Cooling.WATER,
        cooling_water_m3_s=5e-5,
        noise_dba=58.0,
        service_hours=13_000.0,
        start_pressure_pa=40.0,
        cool_down_s=5400.0,
        regeneration_s=14_400.0,
        largest_throughput_pa_m3_s=1.0,
        capacity_pa_m3={"argon": 1e5, "hydrogen": 1e3},
    )


def a_booster() -> RootsBooster:
    return RootsBooster(
        **priced("ROOTS", "6000.00"),  # type: ignore[arg-type]
        kind=PumpKind.ROOTS_BOOSTER,
        inlet=parse_flange("ISO-K 63"),
        outlet=parse_flange("KF 25"),
        ultimate_pa=0.1,
        mains_voltages=(400,),
        phases=3,
        power_w=1100.0,
        cooling=Cooling.AIR,
        noise_dba=63.0,
        service_hours=20_000.0,
        displacement_m3_s=0.07,
        largest_difference_pa=8000.0,
        cut_in_pa=1200.0,
        bypass_valve=False,
    )
