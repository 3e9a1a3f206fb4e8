"""The runs of tube between chamber and pumps, as the physics wants them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from server.catalog.arrays import GRID
from server.catalog.flanges import Flange
from server.catalog.items import Catalog, Trap, Valve
from server.fit.alike import Groups
from server.fit.assembly import foreline_valve, isolation_valve, roughing_valve
from server.fit.candidates import Back, HighVacuumPump
from server.fit.memory import shelf
from server.fit.requirements import LineRun, Requirements
from server.physics.line import Line, Part, Restriction, Tube
from server.physics.line_table import LineTable


def chamber_line(
    pump: HighVacuumPump, trap: Trap | None, requirements: Requirements, catalog: Catalog
) -> Line:
    """Return what stands between chamber and high-vacuum pump: tube, isolation valve, trap."""
    parts = list(line_to_trap(pump, trap, requirements, catalog).parts)
    if trap is not None:
        parts.append(restriction(trap))
    return Line(tuple(parts), pump_bore_m=pump.inlet.bore_m)


def line_to_trap(
    pump: HighVacuumPump, trap: Trap | None, requirements: Requirements, catalog: Catalog
) -> Line:
    """Return what stands between the chamber and the trap (or the pump where there is none).

    A trap's cold wall takes the place of a pump: its speed counts the trap's opening already.
    """
    entry = pump.inlet if trap is None else trap.inlet
    parts: list[Part] = list(_tube(requirements.line, requirements.chamber.port or entry, "line"))
    valve = _valve(isolation_valve(entry, pump.kind, catalog))
    return Line((*parts, *valve), None if trap is None else trap.equivalent_bore_m)


def rough_line(back: Back, requirements: Requirements, catalog: Catalog) -> Line:
    """Return the line from the chamber to the pump that roughs it: valve, tube, the back's trap.

    Behind turbomolecular pumps too, though such a chamber is roughed through the pump itself
    (chamber line, standing rotor, foreline): a back's roughing is followed once for all fronts.
    """
    stub = rough_line_to_trap(back, requirements, catalog)
    return Line((*stub.parts, *_trap(back)), back.inlet_pump.inlet.bore_m)


def rough_line_to_trap(back: Back, requirements: Requirements, catalog: Catalog) -> Line:
    """Return the part of the rough line in front of the back's trap, which stands for a pump."""
    run, entry = requirements.rough_line, back.entry
    valve = _valve(roughing_valve(run, entry, catalog))
    wall_bore_m = None if back.trap is None else back.trap.equivalent_bore_m
    return Line((*valve, *_tube(run, entry, "rough line")), wall_bore_m)


@dataclass(frozen=True)
class Outlet:
    """Where a high-vacuum pump's foreline begins."""

    flange: Flange
    valve: Valve | None
    """The foreline valve that stands there."""


def outlet_of(pump: HighVacuumPump, catalog: Catalog) -> Outlet | None:
    """Return the outlet of a pump with its foreline valve; None for pumps without foreline."""
    flange, kind = pump.outlet, pump.kind
    return None if flange is None else Outlet(flange, foreline_valve(flange, kind, catalog))


def foreline(outlet: Outlet, back: Back, requirements: Requirements) -> Line:
    """Return the line from a high-vacuum pump's outlet to the back: valve, tube, the trap."""
    narrower = min(outlet.flange, back.entry, key=lambda flange: flange.bore_m)
    tube = _tube(requirements.foreline, narrower, "foreline")
    return Line((*_valve(outlet.valve), *tube, *_trap(back)), back.inlet_pump.inlet.bore_m)


def forelines(
    outlets: Sequence[Outlet], backs: Sequence[Back], requirements: Requirements
) -> LineTable:
    """Return the lines from every outlet to every back, all those of an outlet together."""
    starts = tuple((outlet.flange.bore_m, *_valve(outlet.valve)) for outlet in outlets)
    ends = tuple((back.entry.bore_m, back.inlet_pump.inlet.bore_m, *_trap(back)) for back in backs)
    return shelf().once(
        ("forelines", requirements.foreline, starts, ends),
        lambda: line_table(
            [foreline(outlet, back, requirements) for outlet in outlets for back in backs]
        ),
    )


def line_table(lines: Sequence[Line]) -> LineTable:
    """Return lines on the grid of all tables."""
    return LineTable(lines, GRID.pressure_pa)


def _valve(valve: Valve | None) -> tuple[Part, ...]:
    return () if valve is None else (restriction(valve),)


def groups_by_line(backs: Sequence[Back]) -> Groups:
    """Group backs whose lines are alike, whatever the run and the flange at the other end."""
    return Groups.by(back.line_end for back in backs)


def _trap(back: Back) -> tuple[Part, ...]:
    """Trap at the back's inlet; one behind a booster does not stand in the line."""
    return () if back.trap is None or back.booster is not None else (restriction(back.trap),)


def _tube(run: LineRun, flange: Flange, name: str) -> tuple[Part, ...]:
    if run.length_m <= 0.0:
        return ()
    return (_made_tube(run.length_m, run.bore_m or flange.bore_m, run.bends, name),)


@lru_cache(maxsize=4096)
def _made_tube(length_m: float, bore_m: float, bends: int, name: str) -> Tube:
    return Tube(length_m, bore_m, bends, name)


def restriction(item: Trap | Valve) -> Restriction:
    """Return a valve or trap as the physics wants it."""
    return _restriction(
        item.name,
        item.molecular_conductance_m3_s,
        item.equivalent_bore_m,
        item.equivalent_length_m,
    )


@lru_cache(maxsize=4096)
def _restriction(name: str, molecular_m3_s: float, bore_m: float, length_m: float) -> Restriction:
    return Restriction(name, molecular_m3_s, bore_m, length_m)
