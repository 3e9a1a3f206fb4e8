"""What watches a stack: gauges, interlocks, and the vent valve of the chamber.

What is needed where is common practice with no published source.
"""

from __future__ import annotations

from decimal import Decimal

from server.catalog.flanges import Flange
from server.catalog.items import (
    VAPOUR_KINDS,
    Catalog,
    Cooling,
    Gauge,
    Interlock,
    InterlockGuard,
    Pump,
    SuppliedFor,
    Valve,
    ValveRole,
)
from server.fit.joints import bench
from server.fit.kit import Assembly, Kit
from server.fit.results import Role
from server.physics.constants import ATMOSPHERE_PA
from server.units import Dimension, format_quantity

# A foreline gauge must show the tolerable foreline pressures of all classes (tens of Pa) with a
# decade below, and roughing pressures above.
_FORELINE_GAUGE_LOW_PA = 1.0
_FORELINE_GAUGE_HIGH_PA = 1000.0

# Gauges whose stated top is this close below atmosphere still show it.
_TOP_TOLERANCE = 1.02


def gauge_assembly(lowest_pressure_pa: float, catalog: Catalog) -> Assembly:
    """List the chamber's gauges: the cheapest set from atmosphere to the lowest pressure.

    Parameters
    ----------
    lowest_pressure_pa : float
        Lowest pressure to be read in the chamber. [Pa]
    catalog : Catalog
        Where the gauges come from.
    """
    kit = Kit(bench(catalog))
    gauges = _gauge_cover(lowest_pressure_pa, catalog.of_type(Gauge))
    if gauges is None:
        kit.gap(
            "The catalogue's gauges do not read from atmosphere to "
            f"{format_quantity(lowest_pressure_pa, Dimension.PRESSURE, digits=2)}."
        )
    for gauge in gauges or ():
        kit.add(
            Role.GAUGE,
            gauge,
            "chamber pressure, "
            f"{format_quantity(gauge.lowest_pa, Dimension.PRESSURE, digits=2)} to "
            f"{format_quantity(gauge.highest_pa, Dimension.PRESSURE, digits=2)}",
        )
        kit.join(gauge.flange, gauge.flange)
    return kit.finish()


def interlock_assembly(pump: Pump, catalog: Catalog) -> Assembly:
    """List the interlocks of one pump.

    A vapour-jet pump or booster is guarded by temperature, cooling and foreline pressure; any other
    water-cooled pump by its water flow.
    """
    kit = Kit(bench(catalog))
    wanted: list[tuple[InterlockGuard, Cooling, str]] = []
    if pump.kind in VAPOUR_KINDS:
        if not pump.brings(SuppliedFor.TEMPERATURE_SWITCH):
            wanted.append(
                (InterlockGuard.TEMPERATURE, Cooling.NONE, "heater off when the pump overheats")
            )
        wanted.append(
            (InterlockGuard.FORELINE_PRESSURE, Cooling.NONE, "heater off when the foreline fails")
        )
    hot = pump.kind in VAPOUR_KINDS
    if pump.cooling is Cooling.WATER or (hot and pump.cooling is Cooling.AIR):
        what = "heater" if hot else "pump"
        note = f"{what} off when the {pump.cooling.value} cooling fails"
        wanted.append((InterlockGuard.COOLING_FLOW, pump.cooling, note))
    for guard, medium, note in wanted:
        found = _interlock(guard, medium, catalog)
        if found is not None:
            kit.add(Role.INTERLOCK, found, note)
        else:
            kit.gap(f"The catalogue has no interlock for {guard.value.replace('_', ' ')}.")
    return kit.finish()


def _interlock(guard: InterlockGuard, medium: Cooling, catalog: Catalog) -> Interlock | None:
    """Return the cheapest interlock that watches something, None where there is none."""
    found = [
        item
        for item in catalog.of_type(Interlock)
        if item.guard is guard
        and (guard is not InterlockGuard.COOLING_FLOW or item.cooling is medium)
    ]
    return min(found, key=lambda item: (item.price, item.sku), default=None)


def join_foreline_interlock(kit: Kit, outlet: Flange, catalog: Catalog) -> None:
    """Join the interlock that watches the foreline to it, by a tee of the line's size.

    The interlock itself is among the parts of its pump, see `interlock_assembly`.
    """
    watch = _interlock(InterlockGuard.FORELINE_PRESSURE, Cooling.NONE, catalog)
    if watch is None or watch.flange is None:
        return
    branch = kit.insert_tee(outlet, "the foreline interlock")
    if branch is not None:
        kit.connect(branch, watch.flange)


def vent_assembly(catalog: Catalog) -> Assembly:
    """List the chamber's vent valve with its joint."""
    kit = Kit(bench(catalog))
    valves = [valve for valve in catalog.of_type(Valve) if valve.role is ValveRole.VENT]
    if valves:
        valve = min(valves, key=lambda item: (item.price, item.sku))
        kit.add(Role.VALVE, valve, "lets air or dry nitrogen into the chamber")
        kit.join(valve.flange, valve.flange)
    else:
        kit.gap("The catalogue has no vent valve.")
    return kit.finish()


def add_foreline_gauge(kit: Kit, outlet: Flange, catalog: Catalog) -> None:
    """Take a gauge for the foreline, with a tee of the line's size for it."""
    gauges = [
        gauge
        for gauge in catalog.of_type(Gauge)
        if gauge.lowest_pa <= _FORELINE_GAUGE_LOW_PA and gauge.highest_pa >= _FORELINE_GAUGE_HIGH_PA
    ]
    if not gauges:
        kit.gap("The catalogue has no gauge for the foreline.")
        return
    gauge = min(gauges, key=lambda item: (item.price, item.sku))
    branch = kit.insert_tee(outlet, "the foreline gauge")
    if branch is not None:
        kit.add(Role.GAUGE, gauge, "foreline pressure")
        kit.connect(branch, gauge.flange)


def _gauge_cover(lowest_pa: float, gauges: tuple[Gauge, ...]) -> tuple[Gauge, ...] | None:
    """Return the cheapest gauges whose ranges join up from atmosphere down to a pressure.

    Shortest path: from the pressure reached so far, a gauge that reads it leads to its lowest one.
    """
    best: dict[float, tuple[tuple[Decimal, int], tuple[Gauge, ...]]] = {}
    reach = sorted({ATMOSPHERE_PA, *(gauge.lowest_pa for gauge in gauges)}, reverse=True)
    best[ATMOSPHERE_PA] = ((Decimal(0), 0), ())
    for at in reach:
        if at not in best:
            continue
        taken = best[at][1]
        for gauge in gauges:
            if gauge.lowest_pa < at <= gauge.highest_pa * _TOP_TOLERANCE:
                now = (*taken, gauge)
                key = (sum((item.price for item in now), Decimal(0)), len(now))
                if gauge.lowest_pa not in best or key < best[gauge.lowest_pa][0]:
                    best[gauge.lowest_pa] = (key, now)
    ends = [found for low, found in best.items() if low <= lowest_pa]
    return min(ends, key=lambda found: found[0])[1] if ends else None
