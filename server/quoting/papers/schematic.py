"""A picture of a stack: the way of the gas from the chamber to the exhaust, as symbols on a line.

The symbols are our own plain ones: circles that narrow towards the outlet are pumps, bow ties are
valves, toothed boxes are traps, circles with a needle are gauges.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from html import escape

from server.catalog.items import Catalog, TrapPlace, Valve, ValveRole
from server.fit.results import Part, Role

INK = "#1c2326"
SOFT = "#4c575c"
ACCENT = "#0d5c63"
WASH = "#e0efef"

STEP = 92
EDGE = 46
AXIS = 74
"""Height of the line that the gas takes."""
BYPASS = 26
HEIGHT = 124
RADIUS = 17


class Symbol(StrEnum):
    """What is drawn for a station."""

    CHAMBER = "chamber"
    PUMP = "pump"
    VALVE = "valve"
    TRAP = "trap"
    FILTER = "filter"


_SYMBOL_OF = {
    Role.HIGH_VACUUM_PUMP: Symbol.PUMP,
    Role.BOOSTER: Symbol.PUMP,
    Role.BACKING_PUMP: Symbol.PUMP,
    Role.TRAP: Symbol.TRAP,
    Role.BAFFLE: Symbol.TRAP,
    Role.FILTER: Symbol.FILTER,
}


@dataclass(frozen=True)
class Station:
    """One part that the gas passes."""

    symbol: Symbol
    word: str
    """What it is, short enough to stand below its symbol."""
    name: str
    """Its name in the catalogue; empty for the chamber."""


@dataclass(frozen=True)
class Schematic:
    """The stations in the order of the gas, and the way around the high-vacuum pump."""

    stations: tuple[Station, ...]
    roughing: Station | None = None
    """Valve of the way from the chamber past the high-vacuum pump."""
    roughing_ends: int = 0
    """Index of the station in front of which that way joins the line again."""
    vent: Station | None = None

    @property
    def numbered(self) -> tuple[Station, ...]:
        """Every station that is something to buy, in the order of the numbers in the picture."""
        others = (station for station in (self.roughing, self.vent) if station is not None)
        return (*self.stations[1:], *others)

    @property
    def alt(self) -> str:
        """The picture in words."""
        way = " to ".join(station.word for station in self.stations)
        around = "; a roughing valve leads past the high-vacuum pump" if self.roughing else ""
        vented = "; a vent valve opens the chamber to air or nitrogen" if self.vent else ""
        return f"Way of the gas: {way}, then to the exhaust{around}{vented}."


def schematic_of(parts: Iterable[Part], catalog: Catalog, words: Callable[[str], str]) -> Schematic:
    """Return the schematic of a stack.

    Parameters
    ----------
    parts : iterable of Part
        The stack's parts.
    catalog : Catalog
        Tells which valve is which; a valve that it no longer has is left out.
    words : callable
        From a role to its words.
    """
    listed = tuple(parts)

    def of(*roles: Role, place: TrapPlace | None = None) -> list[Station]:
        return [
            Station(_SYMBOL_OF[part.role], words(part.role), _counted(part))
            for part in listed
            if part.role in roles and (place is None or part.place == place)
        ]

    def valve(role: ValveRole) -> list[Station]:
        found = (part for part in listed if part.role is Role.VALVE)
        return [
            Station(Symbol.VALVE, f"{role.value} valve", _counted(part))
            for part in found
            if _is_valve(part, role, catalog)
        ][:1]

    above = [
        *valve(ValveRole.ISOLATION),
        *of(Role.TRAP, Role.BAFFLE, place=TrapPlace.HIGH_VACUUM),
        *of(Role.HIGH_VACUUM_PUMP),
        *valve(ValveRole.FORELINE),
    ]
    behind = [
        *of(Role.BOOSTER),
        *of(Role.TRAP, Role.BAFFLE, place=TrapPlace.FORELINE),
        *of(Role.BACKING_PUMP),
        *of(Role.FILTER),
    ]
    chamber = Station(Symbol.CHAMBER, "chamber", "")
    return Schematic(
        stations=(chamber, *above, *behind),
        roughing=next(iter(valve(ValveRole.ROUGHING)), None),
        roughing_ends=1 + len(above),
        vent=next(iter(valve(ValveRole.VENT)), None),
    )


def schematic_svg(schematic: Schematic) -> str:
    """Return the picture as SVG; the numbers are those of `Schematic.numbered`."""
    count = len(schematic.stations)
    width = 2 * EDGE + STEP * count
    body = "".join(_drawn(schematic, width))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {HEIGHT}" '
        f'width="{width}" height="{HEIGHT}" font-family="Noto Sans" font-size="9.5" '
        f'fill="none" stroke="{INK}" stroke-width="1.4" stroke-linecap="round" '
        f'stroke-linejoin="round">{body}</svg>'
    )


def _drawn(schematic: Schematic, width: int) -> Iterator[str]:
    places = [EDGE + STEP * index for index in range(len(schematic.stations))]
    end = width - EDGE
    yield f'<path d="M{places[0]} {AXIS}H{end}m-7-4l7 4l-7 4" stroke="{SOFT}"/>'
    yield _text(end + 4, AXIS + 3, "exhaust", anchor="start")
    number = 0
    for x, station in zip(places, schematic.stations, strict=True):
        yield _SHAPES[station.symbol](x, AXIS)
        if station.symbol is not Symbol.CHAMBER:
            number += 1
            yield _number(x - RADIUS - 5, AXIS - RADIUS - 1, number)
        yield _text(x, AXIS + 34, station.word)
    if schematic.roughing is not None:
        number += 1
        yield from _around(places, schematic.roughing_ends, number)
    if schematic.vent is not None:
        number += 1
        yield f'<path d="M{places[0] - 14} {AXIS - 16}V{BYPASS}" stroke="{SOFT}"/>'
        yield _bow_tie(places[0] - 14, BYPASS + 6, upright=True)
        yield _number(places[0] - 32, BYPASS + 6, number)


def _around(places: list[int], ends: int, number: int) -> Iterator[str]:
    """Draw the way past the high-vacuum pump, its valve in the middle."""
    start, end = places[0] + 10, places[ends] - STEP // 2
    middle = (start + end) / 2
    yield f'<path d="M{start} {AXIS - 16}V{BYPASS}H{end}V{AXIS}" stroke="{SOFT}"/>'
    yield f'<circle cx="{end}" cy="{AXIS}" r="2" fill="{SOFT}" stroke="none"/>'
    yield _bow_tie(middle, BYPASS)
    yield _number(middle - 18, BYPASS + 13, number)
    yield _text(middle, BYPASS - 13, "roughing valve")


def _chamber(x: float, y: float) -> str:
    return (
        f'<rect x="{x - 25}" y="{y - 17}" width="50" height="34" rx="5" fill="#ffffff" '
        f'stroke-width="1.8"/>'
    )


def _pump(x: float, y: float) -> str:
    near, far = RADIUS * 0.74, RADIUS * 0.9
    return (
        f'<circle cx="{x}" cy="{y}" r="{RADIUS}" fill="{WASH}" stroke="{ACCENT}" '
        f'stroke-width="1.8"/>'
        f'<path d="M{x - 11:g} {y - near:g}L{x + far:g} {y - 7}M{x - 11:g} {y + near:g}'
        f'L{x + far:g} {y + 7}" stroke="{ACCENT}"/>'
    )


def _valve(x: float, y: float) -> str:
    return _bow_tie(x, y)


def _bow_tie(x: float, y: float, *, upright: bool = False) -> str:
    path = "m-8-11h16l-16 22h16z" if upright else "m-11-8v16l22-16v16z"
    return f'<path d="M{x:g} {y:g}{path}" fill="#ffffff"/>'


def _trap(x: float, y: float) -> str:
    return (
        f'<rect x="{x - 15}" y="{y - 17}" width="30" height="34" fill="#ffffff"/>'
        f'<path d="M{x - 15} {y}l5-9l5 18l5-18l5 18l5-18l5 9" stroke="{ACCENT}"/>'
    )


def _filter(x: float, y: float) -> str:
    return (
        f'<rect x="{x - 14}" y="{y - 15}" width="28" height="30" fill="#ffffff"/>'
        f'<path d="M{x} {y - 15}v30" stroke-dasharray="3 3.5"/>'
    )


_SHAPES: dict[Symbol, Callable[[float, float], str]] = {
    Symbol.CHAMBER: _chamber,
    Symbol.PUMP: _pump,
    Symbol.VALVE: _valve,
    Symbol.TRAP: _trap,
    Symbol.FILTER: _filter,
}


def _number(x: float, y: float, number: int) -> str:
    return _text(x, y, str(number), colour=ACCENT, bold=True)


def _text(
    x: float,
    y: float,
    text: str,
    *,
    anchor: str = "middle",
    colour: str = SOFT,
    bold: bool = False,
) -> str:
    weight = ' font-weight="700"' if bold else ""
    return (
        f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" fill="{colour}" stroke="none"'
        f"{weight}>{escape(text)}</text>"
    )


def _is_valve(part: Part, role: ValveRole, catalog: Catalog) -> bool:
    item = catalog.items.get(part.sku)
    return isinstance(item, Valve) and item.role is role


def _counted(part: Part) -> str:
    return f"{part.quantity} × {part.name}" if part.quantity > 1 else part.name
