"""A small catalogue of our own for tests of parts, upkeep, quotes and cards."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal

from server.catalog.flanges import Flange, FlangeSystem, parse_flange
from server.catalog.items import (
    BackingPump,
    Catalog,
    CleaningSupply,
    Cooling,
    Filter,
    FilterRole,
    Fluid,
    FluidKind,
    FluidService,
    Gauge,
    Interlock,
    InterlockGuard,
    Item,
    LinePart,
    LineShape,
    OxidationStability,
    PumpKind,
    Spare,
    SparePurpose,
    SpeedCurve,
    SuppliedFor,
    SuppliedPart,
    Trap,
    TrapKind,
    TrapPlace,
    TurboPump,
    Valve,
    ValveRole,
    VapourPump,
)

CM3 = 1e-6


def priced(sku: str, price: str, stock: int = 5, lead_time_days: int = 10) -> dict[str, object]:
    """The fields every item has."""
    return {
        "sku": sku,
        "name": sku.replace("-", " ").capitalize(),
        "mass_kg": 1.0,
        "price": Decimal(price),
        "cost_price": Decimal(price) / 2,
        "stock": stock,
        "lead_time_days": lead_time_days,
    }


def a_vapour_pump(
    sku: str = "VJ",
    *,
    inlet: str = "ISO-K 100",
    charge_m3: float = 30 * CM3,
    cooling: Cooling = Cooling.AIR,
    supplied: tuple[SuppliedPart, ...] = (),
    kind: PumpKind = PumpKind.VAPOUR_JET,
) -> VapourPump:
    return VapourPump(
        **priced(sku, "1900.00", stock=0, lead_time_days=30),  # type: ignore[arg-type]
        kind=kind,
        inlet=parse_flange(inlet),
        outlet=parse_flange("KF 25"),
        ultimate_pa=1e-5,
        mains_voltages=(230,),
        phases=1,
        power_w=500.0,
        cooling=cooling,
        noise_dba=45.0,
        service_hours=8000.0,
        largest_inlet_pa=1.5,
        supplied=supplied,
        throat_m=0.05,
        fluid_kinds=tuple(FluidKind),
        charge_m3=charge_m3,
        charge_cold_mark="lower line of the sight glass",
        charge_hot_mark="upper line of the sight glass",
        boiler_k=500.0,
        warm_up_s=420.0,
        cool_down_s=1500.0,
        cooling_after_stop_s=600.0,
        tolerable_foreline_no_load_pa=60.0,
        tolerable_foreline_full_load_pa=50.0,
        knee_pa=0.6,
        largest_throughput_pa_m3_s=0.04,
        backstreaming_kg_m2_s=1e-9,
        temperature_switch_k=343.15,
        vent_below_k=333.15,
    )


def a_backing_pump(
    sku: str = "VANE",
    *,
    kind: PumpKind = PumpKind.VANE_TWO_STAGE,
    oil_charge_m3: float = 500 * CM3,
    supplied: tuple[SuppliedPart, ...] = (),
) -> BackingPump:
    oils = (FluidKind.MINERAL, FluidKind.PERFLUOROPOLYETHER) if oil_charge_m3 else ()
    return BackingPump(
        **priced(sku, "1200.00"),  # type: ignore[arg-type]
        kind=kind,
        inlet=parse_flange("KF 25"),
        outlet=parse_flange("KF 25"),
        ultimate_pa=0.3,
        mains_voltages=(230,),
        phases=1,
        power_w=400.0,
        cooling=Cooling.AIR,
        noise_dba=52.0,
        service_hours=6000.0,
        curves=(SpeedCurve("air", (1.0, 1e5), (2.2e-3, 2.5e-3)),),
        supplied=supplied,
        exhaust_k=343.15,
        exhaust_valve_pa=1.1e5,
        oil_charge_m3=oil_charge_m3,
        oil_kinds=oils,
    )


def a_turbo_pump(sku: str = "TURBO") -> TurboPump:
    return TurboPump(
        **priced(sku, "5200.00", stock=1, lead_time_days=21),  # type: ignore[arg-type]
        kind=PumpKind.TURBOMOLECULAR_DRAG,
        inlet=parse_flange("ISO-K 100"),
        outlet=parse_flange("KF 16"),
        ultimate_pa=1e-7,
        mains_voltages=(230,),
        phases=1,
        power_w=200.0,
        cooling=Cooling.WATER,
        noise_dba=48.0,
        service_hours=30_000.0,
        supplied=(
            SuppliedPart(
                "Centring ring with splinter screen, ISO-K 100",
                1,
                "keep it",
                (SuppliedFor.INLET_RING,),
            ),
        ),
        tolerable_foreline_pa=800.0,
        run_up_s=180.0,
        start_pressure_pa=1000.0,
        largest_throughput_pa_m3_s=0.3,
    )


def a_fluid(sku: str, price: str, container_m3: float, grade: str = "trisiloxane") -> Fluid:
    return Fluid(
        **priced(sku, price),  # type: ignore[arg-type]
        kind=FluidKind.PENTAPHENYL_TRISILOXANE,
        grade=grade,
        service=FluidService.VAPOUR,
        container_m3=container_m3,
        density_kg_m3=1095.0,
        molar_mass_kg_mol=0.55,
        vapour_pressure_a=14.4,
        vapour_pressure_b_k=6500.0,
        heat_stable=True,
        largest_boiler_k=560.0,
        oxidation=OxidationStability.GOOD,
        life_hours=12_000.0,
    )


def an_oil(sku: str, price: str, container_m3: float, grade: str = "vane-mineral") -> Fluid:
    return replace(
        a_fluid(sku, price, container_m3, grade),
        kind=FluidKind.MINERAL,
        service=FluidService.SEALED,
        oxidation=OxidationStability.LOW,
        life_hours=3000.0,
    )


def a_trap(
    sku: str,
    flange: str,
    kind: TrapKind = TrapKind.WATER_BAFFLE,
    place: TrapPlace = TrapPlace.HIGH_VACUUM,
) -> Trap:
    return Trap(
        **priced(sku, "700.00", stock=0, lead_time_days=45),  # type: ignore[arg-type]
        kind=kind,
        place=place,
        inlet=parse_flange(flange),
        outlet=parse_flange(flange),
        molecular_conductance_m3_s=0.3,
        equivalent_bore_m=0.08,
        equivalent_length_m=0.1,
        backstreaming_factor=0.05,
        surface_k=288.0,
        cooling=Cooling.WATER if kind is TrapKind.WATER_BAFFLE else Cooling.NONE,
    )


def a_valve(sku: str, role: ValveRole, flange: str) -> Valve:
    return Valve(
        **priced(sku, "310.00"),  # type: ignore[arg-type]
        role=role,
        flange=parse_flange(flange),
        molecular_conductance_m3_s=0.5,
        equivalent_bore_m=0.1,
        equivalent_length_m=0.03,
        operation="hand wheel",
    )


def a_line_part(
    shape: LineShape,
    first: str,
    second: str | None = None,
    *,
    price: str = "20.00",
    length_m: float = 0.0,
) -> LinePart:
    ends = f"{first} {second or ''} {round(length_m * 1000) or ''}".strip()
    return LinePart(
        **priced(f"{shape.value} {ends}".upper().replace(" ", "-"), price),  # type: ignore[arg-type]
        shape=shape,
        flange_a=parse_flange(first),
        flange_b=parse_flange(second) if second else None,
        length_m=length_m,
        material="stainless steel",
    )


def hardware_for(flange: Flange) -> Iterable[LinePart]:
    """What closes joints of one size: rings or gaskets, clamps or bolts, with honest packs."""
    name = str(flange)
    if flange.system is FlangeSystem.CF:
        gasket = a_line_part(LineShape.GASKET, name, price="15.00")
        yield replace(gasket, pack=10, material="copper")
        yield replace(a_line_part(LineShape.BOLT_SET, name, price="12.00"), pack=6)
        return
    if flange.system is FlangeSystem.ISO_F:
        yield replace(a_line_part(LineShape.BOLT_SET, name, price="18.00"), pack=8)
        return
    ring = a_line_part(LineShape.CENTRING_RING, name, price="6.00")
    yield replace(ring, material="FKM")
    yield replace(ring, sku=f"{ring.sku}-NBR", material="NBR", price=Decimal("4.00"))
    single = flange.system is FlangeSystem.KF
    yield a_line_part(LineShape.CLAMP, name, price="5.00" if single else "3.00")


def line_parts() -> Iterable[LinePart]:
    for name in ("KF 16", "KF 25", "ISO-K 63", "ISO-K 100", "ISO-F 100", "ISO-K 250", "CF 100"):
        yield from hardware_for(parse_flange(name))
    for name in ("KF 16", "KF 25"):
        yield a_line_part(LineShape.HOSE, name, name, price="60.00", length_m=0.5)
        yield a_line_part(LineShape.HOSE, name, name, price="95.00", length_m=1.0)
        yield a_line_part(LineShape.TEE, name, name, price="30.00")
    for name in ("ISO-K 63", "ISO-K 100"):
        yield a_line_part(LineShape.TUBE, name, name, price="70.00", length_m=0.1)
        yield a_line_part(LineShape.TUBE, name, name, price="110.00", length_m=0.5)
        yield a_line_part(LineShape.ELBOW, name, name, price="130.00")
    yield a_line_part(LineShape.REDUCER, "KF 25", "KF 16", price="25.00")
    yield a_line_part(LineShape.REDUCER, "ISO-K 100", "ISO-K 63", price="90.00")
    yield a_line_part(LineShape.ADAPTOR, "ISO-K 63", "KF 25", price="60.00")
    yield a_line_part(LineShape.ADAPTOR, "CF 100", "ISO-K 100", price="160.00")


def a_gauge(sku: str, price: str, lowest_pa: float, highest_pa: float) -> Gauge:
    return Gauge(
        **priced(sku, price),  # type: ignore[arg-type]
        principle="heat loss",
        flange=parse_flange("KF 16"),
        lowest_pa=lowest_pa,
        highest_pa=highest_pa,
    )


def an_interlock(sku: str, guard: InterlockGuard, cooling: Cooling = Cooling.NONE) -> Interlock:
    return Interlock(**priced(sku, "140.00"), guard=guard, cooling=cooling)  # type: ignore[arg-type]


def a_filter(sku: str, role: FilterRole, element_sku: str) -> Filter:
    return Filter(
        **priced(sku, "150.00"),  # type: ignore[arg-type]
        role=role,
        flange=parse_flange("KF 25"),
        largest_speed_m3_s=0.01,
        element_sku=element_sku,
        element_hours=3000.0,
    )


def a_spare(
    sku: str, purpose: SparePurpose, fits: tuple[str, ...], every_hours: float | None
) -> Spare:
    return Spare(
        **priced(sku, "85.00"),  # type: ignore[arg-type]
        purpose=purpose,
        fits=fits,
        every_hours=every_hours,
    )


def a_solvent(
    sku: str, substance: str, step: int, use_m3: float, content_m3: float
) -> CleaningSupply:
    return CleaningSupply(
        **priced(sku, "13.00"),  # type: ignore[arg-type]
        substance=substance,
        content_m3=content_m3,
        use_per_strip_down_m3=use_m3,
        step=step,
        hazard="highly flammable",
    )


def all_items() -> list[Item]:
    return [
        a_vapour_pump(),
        a_backing_pump(),
        a_turbo_pump(),
        a_fluid("FLUID-65", "90.00", 65 * CM3),
        a_fluid("FLUID-500", "480.00", 500 * CM3),
        an_oil("OIL-1L", "19.00", 1e-3),
        a_trap("BAFFLE", "ISO-K 100"),
        a_trap("SORPTION", "KF 25", TrapKind.FORELINE_SORPTION, TrapPlace.FORELINE),
        a_valve("GATE-100", ValveRole.ISOLATION, "ISO-K 100"),
        a_valve("FORE-25", ValveRole.FORELINE, "KF 25"),
        a_valve("ROUGH-25", ValveRole.ROUGHING, "KF 25"),
        a_valve("VENT-16", ValveRole.VENT, "KF 16"),
        *line_parts(),
        a_gauge("PIRANI", "210.00", 0.05, 1.01e5),
        a_gauge("COLD", "640.00", 1e-6, 1.0),
        a_gauge("WIDE", "990.00", 1e-6, 1.01e5),
        an_interlock("LOCK-TEMPERATURE", InterlockGuard.TEMPERATURE),
        an_interlock("LOCK-AIR", InterlockGuard.COOLING_FLOW, Cooling.AIR),
        an_interlock("LOCK-WATER", InterlockGuard.COOLING_FLOW, Cooling.WATER),
        an_interlock("LOCK-FORELINE", InterlockGuard.FORELINE_PRESSURE),
        a_filter("MIST", FilterRole.EXHAUST_MIST, "MIST-ELEMENT"),
        a_filter("DUST", FilterRole.INLET_DUST, "DUST-ELEMENT"),
        a_spare("MIST-ELEMENT", SparePurpose.FILTER_ELEMENT, ("MIST",), 3000.0),
        a_spare("DUST-ELEMENT", SparePurpose.FILTER_ELEMENT, ("DUST",), 3000.0),
        a_spare("SORBENT", SparePurpose.SORBENT, ("SORPTION",), 1500.0),
        a_spare("VANE-KIT", SparePurpose.SERVICE_KIT, ("VANE",), 6000.0),
        a_spare("VJ-SEALS", SparePurpose.SEAL_SET, ("VJ",), None),
        a_spare("VJ-HEATER", SparePurpose.HEATER, ("VJ",), None),
        a_solvent("ACETONE-1L", "acetone", 1, 300 * CM3, 1e-3),
        a_solvent("IPA-1L", "isopropanol", 2, 200 * CM3, 1e-3),
        a_solvent("ETHANOL-1L", "ethanol", 1, 300 * CM3, 1e-3),
    ]


def a_catalog(items: Iterable[Item] | None = None) -> Catalog:
    chosen = all_items() if items is None else list(items)
    return Catalog(
        name="test stock",
        currency="EUR",
        version="test",
        note="",
        items={item.sku: item for item in chosen},
    )
