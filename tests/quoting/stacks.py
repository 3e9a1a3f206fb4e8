"""Judged stacks made by hand, for tests of quotes, bills and cards."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal

from server.catalog.flanges import parse_flange
from server.catalog.items import (
    Catalog,
    Cooling,
    PumpKind,
    SuppliedFor,
    SuppliedPart,
    TrapKind,
    TrapPlace,
)
from server.fit.requirements import (
    Application,
    Assumption,
    Chamber,
    Cleanliness,
    Commercial,
    Condition,
    Duty,
    LineRun,
    Process,
    Requirements,
    Surface,
    Utilities,
)
from server.fit.results import (
    Cost,
    Margin,
    MarginKey,
    MarginVerdict,
    Part,
    PumpDown,
    Role,
    StackAdvice,
    StackVerdict,
)
from server.quoting.order import Party, QuoteOrder
from tests.fit.rarer_stock import a_booster, a_cryopump
from tests.fit.stock import a_catalog, a_trap, a_vapour_pump, all_items

LINE = LineRun(0.4, None, 1)


def requirements() -> Requirements:
    return Requirements(
        title="Mirror coater, 180 L",
        application=Application.COATING,
        chamber=Chamber(
            volume_m3=0.18,
            temperature_k=295.15,
            port=parse_flange("ISO-K 100"),
            surfaces=(Surface("stainless_steel", Condition.UNBAKED, 2.6),),
            leak_pa_m3_s=2e-6,
        ),
        line=LINE,
        rough_line=LINE,
        foreline=LINE,
        target_pressure_pa=2e-3,
        pump_down_time_s=1500.0,
        process=Process(None, (), ()),
        duty=Duty(0.0, 0.0, 250.0, 8 * 3600.0),
        cleanliness=Cleanliness.TOLERANT,
        hazards=frozenset(),
        utilities=Utilities(cooling_water=True, three_phase=False, mains_v=230),
        commercial=Commercial("EUR", 3.0, Decimal("0.24"), None),
        limit=10,
        assumptions=(Assumption("process.gas", "none", "no gas was named"),),
    )


RING = SuppliedPart(
    "Special centring ring, ISO-K 100", 1, "made for this pump; keep it", (SuppliedFor.INLET_RING,)
)


def stock() -> Catalog:
    """The small catalogue with a cryopump, a booster and a cold trap besides."""
    cryo = a_cryopump()
    ion = replace(
        cryo,
        sku="ION",
        name="Ion",
        kind=PumpKind.SPUTTER_ION,
        start_pressure_pa=1e-3,
        cool_down_s=600.0,
        cooling=Cooling.NONE,
    )
    roots = a_booster()
    cold = a_trap("COLD-TRAP", "ISO-K 100", TrapKind.NITROGEN_TRAP)
    condenser = a_trap("CONDENSER", "KF 25", TrapKind.CONDENSER, TrapPlace.FORELINE)
    pump = a_vapour_pump(supplied=(RING,))
    kept = [item for item in all_items() if item.sku != "VJ"]
    return a_catalog([pump, *kept, cryo, ion, roots, cold, condenser])


def part(role: Role, sku: str, quantity: int = 1, note: str = "") -> Part:
    return Part(role, sku, sku, "", quantity, note)


def margin(key: MarginKey, ratio: float) -> Margin:
    verdict = MarginVerdict.PASS if ratio >= 1.3 else MarginVerdict.MARGINAL
    return Margin(key, 1.0, ratio, "Pa", ratio, 1.3, verdict, "because")


def a_stack(*parts: Part, crossover_pa: float | None = 13.0) -> StackAdvice:
    """A stack of given parts; its pump-down knows the crossover pressure."""
    return StackAdvice(
        rank=1,
        verdict=StackVerdict.FITS,
        title="Vapour-jet pump with rotary vane pump",
        parts=parts,
        margins=(margin(MarginKey.FORELINE, 1.8), margin(MarginKey.ULTIMATE, float("inf"))),
        states={},
        pump_down=PumpDown(600.0, 500.0, 700.0, 0.97, crossover_pa, (), (), (), (), ()),
        cost=Cost("EUR", Decimal(0), Decimal(0), Decimal(0), Decimal(0)),
        rank_reason="cheapest over three years",
        weakest=MarginKey.FORELINE,
        flags=("Silicone leaves deposits on optics.",),
        speed_plots=(),
        workings=(),
    )


def vapour_stack() -> StackAdvice:
    return a_stack(
        part(Role.HIGH_VACUUM_PUMP, "VJ"),
        part(Role.BACKING_PUMP, "VANE"),
        part(Role.FLUID, "FLUID-65"),
        part(Role.OIL, "OIL-1L"),
        part(Role.BAFFLE, "BAFFLE"),
        part(Role.VALVE, "GATE-100"),
        part(Role.VALVE, "FORE-25"),
        part(Role.VALVE, "ROUGH-25"),
        part(Role.LINE, "CENTRING_RING-KF-25", 5, "joint at KF 25"),
        part(Role.LINE, "CLAMP-KF-25", 5, "joint at KF 25"),
        part(Role.GAUGE, "PIRANI", 1, "chamber"),
        part(Role.GAUGE, "PIRANI", 1, "foreline"),
        part(Role.INTERLOCK, "LOCK-AIR"),
        part(Role.FILTER, "MIST"),
        Part(Role.SUPPLIED, "", RING.name, "", RING.quantity, RING.note),
    )


def order(**changes: object) -> QuoteOrder:
    made = QuoteOrder(
        customer=Party("Institute for Thin Films", "Glassworks Lane 3", "A. Person"),
        seller=Party("Demo distributor"),
        created_at=datetime(2026, 3, 2, 9, 30, tzinfo=UTC),
        reference="Inquiry of 27 February",
        tax_rate_percent=Decimal(19),
    )
    return replace(made, **changes)  # type: ignore[arg-type]
