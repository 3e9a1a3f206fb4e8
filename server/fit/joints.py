"""Joints: rings, clamps, gaskets and bolts between flanges, and adaptors across sizes.

Common practice, no source: one ring and one clamp on a KF joint; one ring and claw clamps on ISO-K,
the more the larger; one ring and a bolt set on ISO-F; one gasket and a bolt set on CF.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property, lru_cache

from server.catalog.flanges import Flange, FlangeSystem
from server.catalog.items import Catalog, LinePart, LineShape, Valve, ValveRole
from server.catalog.joining import JOINT_SHAPES
from server.fit.packing import Pack, cheapest_cover

Family = tuple[str, int]
"""Flanges that mate: system (ISO-K and ISO-F as one) and nominal size."""

# Claw clamps on an ISO-K joint by nominal size: from memory, common practice.
CLAWS = {63: 4, 80: 4, 100: 4, 125: 4, 160: 4, 200: 6, 250: 6, 320: 8, 400: 8, 500: 12, 630: 12}

# Seal materials taken where the catalogue offers several: common practice, no source.
_USUAL_SEAL = {LineShape.CENTRING_RING: "fkm", LineShape.GASKET: "copper"}


def family(flange: Flange) -> Family:
    """Return what a flange has in common with all flanges it mates with."""
    is_iso = flange.system in {FlangeSystem.ISO_K, FlangeSystem.ISO_F}
    return ("ISO" if is_iso else flange.system.value, flange.nominal)


def piece_price(part: LinePart) -> Decimal:
    """Return the price of one piece; a bolt set counts as one piece."""
    return part.price / pieces_per_sku(part)


def pieces_per_sku(part: LinePart) -> int:
    """Return how many pieces one SKU holds; a bolt set serves one joint, whatever its bolts."""
    return 1 if part.shape is LineShape.BOLT_SET else part.pack


@dataclass(frozen=True)
class Step:
    """A two-flange part in a chain: in at ``entry``, out at ``exit``."""

    part: LinePart
    entry: Flange
    exit: Flange


@dataclass(frozen=True, eq=False)
class Bench:
    """The catalogue's line parts and valves, sorted for fitting; equal to itself alone."""

    hardware: Mapping[tuple[LineShape, Family], LinePart]
    shaped: Mapping[tuple[LineShape, Family], tuple[LinePart, ...]]
    """Tubes, elbows, hoses and tees by the family of their first flange."""
    crossings: Mapping[Family, tuple[Step, ...]]
    """Adaptors and reducers by the family they are entered at, both ways round."""
    valves: tuple[Valve, ...]

    def straights(self, shape: LineShape, size: Flange) -> tuple[LinePart, ...]:
        """Return the tubes or hoses between two flanges of a size."""
        parts = self.shaped.get((shape, family(size)), ())
        return tuple(
            part
            for part in parts
            if part.flange_b is not None and part.flange_b.mates_with(size) and part.length_m > 0
        )

    @cached_property
    def sizes(self) -> frozenset[Flange]:
        """Flanges of all tubes and hoses."""
        return frozenset(
            part.flange_a
            for (shape, _), parts in self.shaped.items()
            if shape in {LineShape.TUBE, LineShape.HOSE}
            for part in parts
        )

    def run(self, shape: LineShape, size: Flange, need_mm: int) -> tuple[LinePart, ...]:
        """Return the tubes or hoses that make up a length at the lowest price.

        Returns
        -------
        tuple of LinePart
            Empty when the catalogue has none of this size.
        """
        return _run(self, shape, size, need_mm)

    def joint(self, first: Flange, second: Flange) -> tuple[tuple[LinePart, int], ...] | None:
        """Return the parts and pieces that close a joint of two mating flanges.

        Returns
        -------
        tuple of (LinePart, int) or None
            None when the catalogue lacks one of them.
        """
        return _joint(self, first, second)

    def joint_price(self, flange: Flange) -> Decimal:
        """Return what one joint at this flange costs, zero when it cannot be closed."""
        parts = self.joint(flange, flange) or ()
        return sum((piece_price(part) * pieces for part, pieces in parts), Decimal(0))

    def closes(self, first: Flange, second: Flange) -> bool:
        """Say whether two flanges mate and the catalogue has what closes the joint."""
        return first.mates_with(second) and self.joint(first, second) is not None

    def path(self, start: Flange, goal: Flange) -> tuple[Step, ...] | None:
        """Return the adaptors from one flange to another: fewest parts, then lowest price.

        Returns
        -------
        tuple of Step or None
            Empty when the two mate directly; None when no way exists.
        """
        return _path(self, start, goal)

    def valve(self, role: ValveRole, flange: Flange) -> Valve | None:
        """Return the valve nearest to a flange: mating first, then as wide, then as near in size.

        Returns
        -------
        Valve or None
            None when the catalogue has none for this place.
        """
        return _valve(self, role, flange)


@lru_cache(maxsize=4096)
def _run(on_bench: Bench, shape: LineShape, size: Flange, need_mm: int) -> tuple[LinePart, ...]:
    tubes = on_bench.straights(shape, size)
    if not tubes:
        return ()
    joint = on_bench.joint_price(size)
    packs = [Pack(max(1, round(tube.length_m * 1000)), tube.price + joint) for tube in tubes]
    counts = cheapest_cover(need_mm, packs)
    return tuple(tube for tube, count in zip(tubes, counts, strict=True) for _ in range(count))


@lru_cache(maxsize=4096)
def _joint(
    on_bench: Bench, first: Flange, second: Flange
) -> tuple[tuple[LinePart, int], ...] | None:
    wanted = [
        (on_bench.hardware.get((shape, family(first))), pieces)
        for shape, pieces in _recipe(first, second)
    ]
    closed = tuple((part, pieces) for part, pieces in wanted if part is not None)
    return closed if len(closed) == len(wanted) else None


@lru_cache(maxsize=4096)
def _path(on_bench: Bench, start: Flange, goal: Flange) -> tuple[Step, ...] | None:
    tie = itertools.count()
    queue: list[tuple[int, Decimal, int, Flange, tuple[Step, ...]]] = [
        (0, Decimal(0), next(tie), start, ())
    ]
    seen: set[Flange] = set()
    while queue:
        parts, cost, _, at, way = heapq.heappop(queue)
        if on_bench.closes(at, goal):
            return way
        if at in seen:
            continue
        seen.add(at)
        for step in on_bench.crossings.get(family(at), ()):
            if step.exit not in seen and on_bench.closes(at, step.entry):
                added = cost + step.part.price + on_bench.joint_price(step.exit)
                heapq.heappush(queue, (parts + 1, added, next(tie), step.exit, (*way, step)))
    return None


@lru_cache(maxsize=1024)
def _valve(on_bench: Bench, role: ValveRole, flange: Flange) -> Valve | None:
    valves = [valve for valve in on_bench.valves if valve.role is role]

    def distance(valve: Valve) -> tuple[bool, bool, float, object, str]:
        ratio = valve.flange.bore_m / flange.bore_m
        mates = valve.flange.mates_with(flange)
        return (not mates, ratio < 1.0, abs(math.log(ratio)), valve.price, valve.sku)

    return min(valves, key=distance, default=None)


class _Same:
    """A catalogue as a key: the very object, since its mapping of items cannot be hashed."""

    def __init__(self, catalog: Catalog) -> None:
        self.catalog = catalog

    def __hash__(self) -> int:
        return id(self.catalog)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.catalog is self.catalog


def bench(catalog: Catalog) -> Bench:
    """Return a catalogue's parts, sorted for fitting; sorted once for each catalogue."""
    return _sorted_bench(_Same(catalog))


@lru_cache(maxsize=8)
def _sorted_bench(key: _Same) -> Bench:
    catalog = key.catalog
    parts = catalog.of_type(LinePart)
    shapes = (LineShape.TUBE, LineShape.ELBOW, LineShape.HOSE, LineShape.TEE)
    crossings: dict[Family, list[Step]] = {}
    for part in parts:
        if part.shape in {LineShape.ADAPTOR, LineShape.REDUCER} and part.flange_b is not None:
            for entry, out in ((part.flange_a, part.flange_b), (part.flange_b, part.flange_a)):
                crossings.setdefault(family(entry), []).append(Step(part, entry, out))
    return Bench(
        hardware=_best_hardware(part for part in parts if part.shape in JOINT_SHAPES),
        shaped=_grouped(part for part in parts if part.shape in shapes),
        crossings={key: tuple(steps) for key, steps in crossings.items()},
        valves=catalog.of_type(Valve),
    )


def _recipe(first: Flange, second: Flange) -> tuple[tuple[LineShape, int], ...]:
    systems = {first.system, second.system}
    if systems == {FlangeSystem.KF}:
        return ((LineShape.CENTRING_RING, 1), (LineShape.CLAMP, 1))
    if systems == {FlangeSystem.CF}:
        return ((LineShape.GASKET, 1), (LineShape.BOLT_SET, 1))
    if systems == {FlangeSystem.ISO_F}:
        return ((LineShape.CENTRING_RING, 1), (LineShape.BOLT_SET, 1))
    return ((LineShape.CENTRING_RING, 1), (LineShape.CLAMP, CLAWS[first.nominal]))


def _best_hardware(parts: Iterable[LinePart]) -> dict[tuple[LineShape, Family], LinePart]:
    best: dict[tuple[LineShape, Family], LinePart] = {}
    for part in sorted(parts, key=_hardware_order):
        best.setdefault((part.shape, family(part.flange_a)), part)
    return best


def _hardware_order(part: LinePart) -> tuple[bool, Decimal, str]:
    unusual = _USUAL_SEAL.get(part.shape, "") not in part.material.lower()
    return (unusual, piece_price(part), part.sku)


def _grouped(parts: Iterable[LinePart]) -> dict[tuple[LineShape, Family], tuple[LinePart, ...]]:
    groups: dict[tuple[LineShape, Family], tuple[LinePart, ...]] = {}
    for part in sorted(parts, key=lambda part: (part.price, part.sku)):
        key = (part.shape, family(part.flange_a))
        groups[key] = (*groups.get(key, ()), part)
    return groups
