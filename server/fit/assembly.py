"""The parts that make pumps into a stack, place by place.

Each function lists the parts of one place (inlet, foreline, roughing, …) and depends on what stands
there alone, so that the price of a stack is the sum of its places' prices. The pumps themselves and
what they are filled with are not among the parts: see `fit.upkeep` for fluids and oils.
What is needed where is common practice with no published source.
"""

from __future__ import annotations

import math
from collections.abc import Set as AbstractSet

from server.catalog.compatibility import OIL_TRAPS
from server.catalog.flanges import Flange
from server.catalog.items import (
    CAPTURE_KINDS,
    HIGH_VACUUM_KINDS,
    OIL_SEALED_KINDS,
    VAPOUR_KINDS,
    BackingPump,
    Catalog,
    Filter,
    FilterRole,
    Pump,
    PumpKind,
    SuppliedFor,
    SuppliedPart,
    Trap,
    TrapKind,
    TrapPlace,
    Valve,
    ValveRole,
)
from server.fit.instruments import (
    add_foreline_gauge,
    gauge_assembly,
    interlock_assembly,
    join_foreline_interlock,
    vent_assembly,
)
from server.fit.joints import bench
from server.fit.kit import Assembly, Kit, PlacedPart, Stage, supplied_shapes
from server.fit.requirements import Cleanliness, Hazard, LineRun
from server.fit.results import Role

__all__ = [
    "Assembly",
    "PlacedPart",
    "backing_assembly",
    "foreline_assembly",
    "gauge_assembly",
    "inlet_assembly",
    "interlock_assembly",
    "isolation_valve",
    "roughing_assembly",
    "sorption_trap",
    "vent_assembly",
]

VALVED_KINDS = VAPOUR_KINDS | CAPTURE_KINDS
"""Kinds that are kept hot or cold while the chamber is vented: they need an isolation valve."""

_BAFFLES = frozenset({TrapKind.WATER_BAFFLE, TrapKind.AIR_BAFFLE})


def inlet_assembly(
    port: Flange | None, pump: Pump, trap: Trap | None, line: LineRun, catalog: Catalog
) -> Assembly:
    """List the parts from the chamber's port to a pump's inlet, the trap or baffle included.

    Parameters
    ----------
    port : Flange or None
        The chamber's port; None stands for a port of the size of what is joined to it.
    pump : Pump
        The pump at the end of the line; the joint parts supplied with it are not sold again.
    trap : Trap or None
        Trap or baffle between isolation valve and pump.
    line : LineRun
        The customer's run of tube.
    catalog : Catalog
        Where the parts come from.
    """
    kit = Kit(bench(catalog))
    pump_side = pump.inlet if trap is None else trap.inlet
    stages: list[Stage] = []
    valve = isolation_valve(pump_side, pump.kind, catalog)
    if valve is not None:
        note = "keeps the pump working while the chamber is vented"
        stages.append(_valve_stage(valve, note))
    elif pump.kind in VALVED_KINDS:
        kit.gap(f"The catalogue has no isolation valve for {pump_side}.")
    if trap is not None:
        stages.append(_trap_stage(trap, "keeps vapour out of the chamber"))
    first = stages[0].entry if stages else pump.inlet
    start = first if port is None else port
    tubes = kit.run_stages(line, start, flexible=False)
    kit.chain(start, (*tubes, *stages), pump.inlet, supplied_shapes(pump.supplied))
    return kit.finish()


def isolation_valve(flange: Flange, kind: PumpKind, catalog: Catalog) -> Valve | None:
    """Return the valve between chamber and high-vacuum pump, None where the kind needs none.

    A turbomolecular pump runs up together with roughing and needs none.
    """
    if kind not in VALVED_KINDS:
        return None
    return bench(catalog).valve(ValveRole.ISOLATION, flange)


def foreline_assembly(
    outlet: Flange,
    inlet: Flange,
    foreline: LineRun,
    kind: PumpKind,
    catalog: Catalog,
    supplied: tuple[SuppliedPart, ...] = (),
) -> Assembly:
    """List the parts from a pump's outlet to the inlet of the pump behind it.

    Parameters
    ----------
    outlet, inlet : Flange
        Outlet of the pump in front, inlet of the pump behind.
    foreline : LineRun
        Length, bore and bends of the line.
    kind : PumpKind
        Kind of the pump in front: high-vacuum pumps get a foreline gauge, vapour-jet pumps a
        foreline valve as well.
    catalog : Catalog
        Where the parts come from.
    supplied : tuple of SuppliedPart
        What comes with the pump in front: parts of its outlet joint are not sold again.
    """
    kit = Kit(bench(catalog))
    stages: list[Stage] = []
    valve = foreline_valve(outlet, kind, catalog)
    if valve is not None:
        note = "holds the foreline while the backing pump roughs the chamber"
        stages.append(_valve_stage(valve, note))
    elif kind in VAPOUR_KINDS:
        kit.gap(f"The catalogue has no foreline valve for {outlet}.")
    stages += kit.run_stages(foreline, outlet, flexible=True)
    # Laid from the backing pump's side, so that the last joint is the one at the pump's outlet.
    turned = [Stage(s.role, s.item, s.exit, s.entry, s.note) for s in reversed(stages)]
    kit.chain(inlet, turned, outlet, supplied_shapes(supplied, outlet=True))
    if kind in HIGH_VACUUM_KINDS:
        add_foreline_gauge(kit, outlet, catalog)
    if kind in VAPOUR_KINDS:
        join_foreline_interlock(kit, outlet, catalog)
    return kit.finish()


def foreline_valve(outlet: Flange, kind: PumpKind, catalog: Catalog) -> Valve | None:
    """Return the valve at a pump's outlet, None where the kind needs none."""
    return bench(catalog).valve(ValveRole.FORELINE, outlet) if kind in VAPOUR_KINDS else None


def roughing_valve(rough_line: LineRun, inlet: Flange, catalog: Catalog) -> Valve | None:
    """Return the valve at the chamber's end of a rough line; its bore defaults to the inlet's."""
    size = Kit(bench(catalog)).line_size(rough_line, inlet)
    return bench(catalog).valve(ValveRole.ROUGHING, size)


def roughing_assembly(
    port: Flange | None, inlet: Flange, rough_line: LineRun, catalog: Catalog, *, shared: bool
) -> Assembly:
    """List the parts of the rough line from the chamber to a backing pump or booster.

    Parameters
    ----------
    port : Flange or None
        The chamber's port where it is roughed through its only one; None stands for a second port
        of the line's own size, beside the high-vacuum pump's.
    inlet : Flange
        Inlet of the pump that roughs.
    rough_line : LineRun
        Length, bore and bends of the line; its bore defaults to that of ``inlet``.
    catalog : Catalog
        Where the parts come from.
    shared : bool
        The pump also backs a high-vacuum pump: a tee joins the two lines at its inlet.
    """
    kit = Kit(bench(catalog))
    size = kit.line_size(rough_line, inlet)
    stages: list[Stage] = []
    valve = roughing_valve(rough_line, inlet, catalog)
    if valve is None:
        kit.gap(f"The catalogue has no roughing valve for {size}.")
    else:
        stages.append(_valve_stage(valve, "opens the way from the chamber to the roughing pump"))
    start = port or (valve.flange if valve is not None else size)
    stages += kit.run_stages(rough_line, inlet, flexible=True)
    branch = kit.insert_tee(inlet, "joining rough line and foreline") if shared else inlet
    if branch is not None:
        kit.chain(start, stages, branch)
    return kit.finish()


def backing_assembly(
    pump: BackingPump,
    hazards: AbstractSet[Hazard],
    cleanliness: Cleanliness,
    catalog: Catalog,
    trap: Trap | None = None,
) -> Assembly:
    """List what a backing pump needs at its own flanges.

    An exhaust filter on an oil-sealed pump (unless it comes with the pump), a sorption trap before
    an oil-sealed pump where little oil is allowed, a dust filter where particulates come.

    Parameters
    ----------
    pump : BackingPump
        The pump.
    hazards : set of Hazard
        What the gas brings.
    cleanliness : Cleanliness
        How much oil vapour the work stands.
    catalog : Catalog
        Where the parts come from.
    trap : Trap or None
        A trap or condenser chosen for the pump's inlet; it counts as the oil trap if it is one.
    """
    kit = Kit(bench(catalog))
    oil_sealed = pump.kind in OIL_SEALED_KINDS
    stages: list[Stage] = []
    if trap is not None:
        oil = trap.kind is TrapKind.FORELINE_SORPTION
        note = _KEEPS_OIL_BACK if oil else "catches vapour before the backing pump"
        stages.append(_trap_stage(trap, note))
    if cleanliness is Cleanliness.LOW_OIL and oil_sealed and not _stops_oil(trap):
        sorption = sorption_trap(pump.inlet, catalog)
        if sorption is None:
            kit.gap("The catalogue has no sorption trap for the line to the oil-sealed pump.")
        else:
            stages.append(_trap_stage(sorption, _KEEPS_OIL_BACK))
    if Hazard.PARTICULATES in hazards and not pump.brings(SuppliedFor.INLET_FILTER):
        dust = _filter_for(FilterRole.INLET_DUST, pump, catalog)
        if dust is None:
            kit.gap(f"The catalogue has no dust filter large enough for {pump.name}.")
        else:
            stages.append(Stage(Role.FILTER, dust, dust.flange, dust.flange, "keeps dust out"))
    # The line that ends at the trap or the pump's inlet has brought the first joint already.
    start = pump.inlet if trap is None else trap.inlet
    kit.chain(start, stages, pump.inlet, start_is_joined=True)
    if oil_sealed and not pump.brings(SuppliedFor.EXHAUST_FILTER):
        _exhaust_filter(kit, pump, catalog)
    return kit.finish()


_KEEPS_OIL_BACK = "keeps the backing pump's oil vapour back"


def _valve_stage(valve: Valve, note: str) -> Stage:
    return Stage(Role.VALVE, valve, valve.flange, valve.flange, note)


def _trap_stage(trap: Trap, note: str) -> Stage:
    role = Role.BAFFLE if trap.kind in _BAFFLES else Role.TRAP
    return Stage(role, trap, trap.inlet, trap.outlet, note)


def _stops_oil(trap: Trap | None) -> bool:
    return trap is not None and trap.kind in OIL_TRAPS


def sorption_trap(flange: Flange, catalog: Catalog) -> Trap | None:
    """Return the sorption trap nearest to the flange of an oil-sealed pump, None where none is."""
    traps = [
        trap
        for trap in catalog.of_type(Trap)
        if trap.kind is TrapKind.FORELINE_SORPTION and trap.place is TrapPlace.FORELINE
    ]

    def distance(trap: Trap) -> tuple[bool, bool, float, object]:
        ratio = trap.outlet.bore_m / flange.bore_m
        return (not trap.outlet.mates_with(flange), ratio < 1.0, abs(math.log(ratio)), trap.price)

    return min(traps, key=distance, default=None)


def _filter_for(role: FilterRole, pump: Pump, catalog: Catalog) -> Filter | None:
    largest = max((max(curve.speed_m3_s) for curve in pump.curves), default=0.0)
    filters = [
        item
        for item in catalog.of_type(Filter)
        if item.role is role and item.largest_speed_m3_s >= largest
    ]
    return min(filters, key=lambda item: (item.price, item.sku), default=None)


def _exhaust_filter(kit: Kit, pump: BackingPump, catalog: Catalog) -> None:
    mist = _filter_for(FilterRole.EXHAUST_MIST, pump, catalog)
    if mist is None:
        kit.gap(f"The catalogue has no exhaust filter large enough for {pump.name}.")
        return
    kit.add(Role.FILTER, mist, "holds oil mist back at the exhaust")
    if pump.outlet is None:
        kit.gap(f"{pump.name} states no exhaust flange for its filter.")
        return
    kit.connect(pump.outlet, mist.flange, supplied_shapes(pump.supplied, outlet=True))
