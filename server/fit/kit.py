"""A list of parts in the making: chains of parts with every joint closed, or named as open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property

from server.catalog.flanges import Flange
from server.catalog.items import (
    Filter,
    Item,
    LinePart,
    LineShape,
    SuppliedFor,
    SuppliedPart,
    Trap,
)
from server.fit.joints import Bench, family, pieces_per_sku
from server.fit.requirements import LineRun
from server.fit.results import Role

# A line is made of whole tubes; within a tenth of the length asked for, bends and stubs give the
# rest.
_LENGTH_TOLERANCE = 0.9
# A flange counts as wide enough when its bore is at least this share of the bore asked for: a
# "160 mm" line is one with a bore of 153 mm (ISO 1609).
_BORE_TOLERANCE = 0.95


@dataclass(frozen=True)
class PlacedPart:
    """A part of a stack: how many of its SKU, and why."""

    role: Role
    item: Item
    quantity: int
    note: str

    @property
    def price(self) -> Decimal:
        """Price of all of them."""
        return self.item.price * self.quantity


@dataclass(frozen=True)
class Assembly:
    """Parts that belong together; ``open_joints`` names what no catalogue part closes."""

    parts: tuple[PlacedPart, ...] = ()
    open_joints: tuple[str, ...] = ()

    @cached_property
    def price(self) -> Decimal:
        """Price of all parts; the price of a sum of assemblies is the sum of their prices."""
        return sum((part.price for part in self.parts), Decimal(0))

    @cached_property
    def fitted(self) -> tuple[Item, ...]:
        """Filters and traps, whose elements and fillings are used up."""
        return tuple(part.item for part in self.parts if isinstance(part.item, Filter | Trap))

    def __add__(self, other: Assembly) -> Assembly:
        """Put two assemblies together; equal parts become one line."""
        merged: dict[tuple[Role, str], PlacedPart] = {}
        for part in (*self.parts, *other.parts):
            key = (part.role, part.item.sku)
            old = merged.get(key)
            merged[key] = part if old is None else _merged(old, part)
        gaps = dict.fromkeys((*self.open_joints, *other.open_joints))
        return Assembly(tuple(merged.values()), tuple(gaps))


def _merged(old: PlacedPart, new: PlacedPart) -> PlacedPart:
    note = old.note if new.note in old.note else "; ".join(filter(None, (old.note, new.note)))
    return PlacedPart(old.role, old.item, old.quantity + new.quantity, note)


@dataclass(frozen=True)
class Stage:
    """A part in a chain with its two flanges."""

    role: Role
    item: Item
    entry: Flange
    exit: Flange
    note: str


@dataclass
class Kit:
    """Collects pieces, then rounds each part up to whole packs."""

    bench: Bench
    _pieces: dict[tuple[Role, str], tuple[Item, int, list[str]]] = field(default_factory=dict)
    _gaps: list[str] = field(default_factory=list)

    def add(self, role: Role, item: Item, note: str, pieces: int = 1) -> None:
        """Take pieces of a part."""
        _, had, notes = self._pieces.setdefault((role, item.sku), (item, 0, []))
        if note and note not in notes:
            notes.append(note)
        self._pieces[role, item.sku] = (item, had + pieces, notes)

    def gap(self, sentence: str) -> None:
        """Name something that the catalogue cannot provide."""
        self._gaps.append(sentence)

    def join(
        self, first: Flange, second: Flange, supplied: frozenset[LineShape] = frozenset()
    ) -> None:
        """Close one joint of mating flanges; shapes that come with a pump are not taken again."""
        parts = self.bench.joint(first, second)
        if parts is None:
            self.gap(f"The catalogue has no complete set for a joint at {second}.")
            return
        for part, pieces in parts:
            if part.shape not in supplied:
                self.add(Role.LINE, part, f"joint at {second}", pieces)

    def connect(
        self, start: Flange, goal: Flange, supplied: frozenset[LineShape] = frozenset()
    ) -> None:
        """Lead from one flange to another by adaptors, closing every joint on the way."""
        self.chain(start, (), goal, supplied)

    def chain(
        self,
        start: Flange,
        stages: Sequence[Stage],
        goal: Flange,
        supplied: frozenset[LineShape] = frozenset(),
        *,
        start_is_joined: bool = False,
    ) -> None:
        """Put stages one behind the other from a first flange to a last one, with adaptors between.

        Parameters
        ----------
        start, goal : Flange
            The flanges at both ends.
        stages : sequence of Stage
            What stands between them, in order.
        supplied : set of LineShape
            Parts of the last joint that come with a pump.
        start_is_joined : bool
            The joint at ``start`` is already listed elsewhere.
        """
        whole: list[Stage] = []
        at = start
        for stage in stages:
            whole += (*self._adaptors(at, stage.entry), stage)
            at = stage.exit
        whole += self._adaptors(at, goal)
        at = start
        for number, stage in enumerate(whole):
            if number or not start_is_joined:
                self._join_if_mating(at, stage.entry)
            self.add(stage.role, stage.item, stage.note)
            at = stage.exit
        if whole or not start_is_joined:
            self._join_if_mating(at, goal, supplied)

    def _adaptors(self, start: Flange, goal: Flange) -> tuple[Stage, ...]:
        if start.mates_with(goal):
            return ()
        path = self.bench.path(start, goal)
        if path is None:
            self.gap(f"No part of the catalogue leads from {start} to {goal}.")
        return tuple(
            Stage(Role.LINE, step.part, step.entry, step.exit, f"from {step.entry} to {step.exit}")
            for step in path or ()
        )

    def _join_if_mating(
        self, first: Flange, second: Flange, supplied: frozenset[LineShape] = frozenset()
    ) -> None:
        # Where no adaptor leads across, the gap is already named.
        if first.mates_with(second):
            self.join(first, second, supplied)

    def run_stages(self, run: LineRun, near: Flange, *, flexible: bool) -> tuple[Stage, ...]:
        """Choose tubes (or hoses) and elbows for a run of line.

        Parameters
        ----------
        run : LineRun
            Length, bore and bends asked for.
        near : Flange
            The flange the run starts from; its system is preferred and its bore is the default.
        flexible : bool
            Take hoses where the size has them; a hose needs no elbows.
        """
        size = self.line_size(run, near)
        shape = LineShape.TUBE
        if flexible and self.bench.straights(LineShape.HOSE, size):
            shape = LineShape.HOSE
        stages = list(self._straight_stages(run, size, shape))
        if shape is LineShape.TUBE:
            stages += self._elbow_stages(run, size)
        return tuple(stages)

    def line_size(self, run: LineRun, near: Flange) -> Flange:
        """Return the flange size of a run: the smallest wide enough, near's system first."""
        if run.bore_m is None:
            return near
        wide = [end for end in self.bench.sizes if end.bore_m >= _BORE_TOLERANCE * run.bore_m]
        if not wide:
            self.gap(f"No tube or hose of the catalogue is {run.bore_m * 1000:.0f} mm wide.")
            return near
        return min(wide, key=lambda end: (family(end)[0] != family(near)[0], end.bore_m, str(end)))

    def insert_tee(self, size: Flange, note: str) -> Flange | None:
        """Put a tee into a line (one joint more) and return its branch."""
        tees = self.bench.shaped.get((LineShape.TEE, family(size)), ())
        if not tees:
            self.gap(f"The catalogue has no tee of {size} for {note}.")
            return None
        self.add(Role.LINE, tees[0], note)
        self.join(size, tees[0].flange_a)
        return tees[0].flange_b or tees[0].flange_a

    def finish(self) -> Assembly:
        """Round pieces up to whole SKUs."""
        parts = []
        for (role, _), (item, pieces, notes) in self._pieces.items():
            in_one = pieces_per_sku(item) if isinstance(item, LinePart) else 1
            note = "; ".join(notes)
            if in_one > 1:
                note = f"{note} (packs of {in_one})"
            parts.append(PlacedPart(role, item, math.ceil(pieces / in_one), note))
        return Assembly(tuple(parts), tuple(dict.fromkeys(self._gaps)))

    def _straight_stages(self, run: LineRun, size: Flange, shape: LineShape) -> tuple[Stage, ...]:
        need_mm = round(run.length_m * 1000 * _LENGTH_TOLERANCE)
        if need_mm <= 0:
            return ()
        tubes = self.bench.run(shape, size, need_mm)
        if not tubes:
            self.gap(f"The catalogue has no tube of {size} for the run of {run.length_m:g} m.")
        note = f"for the run of {run.length_m:g} m"
        return tuple(
            Stage(Role.LINE, tube, tube.flange_a, tube.flange_b or tube.flange_a, note)
            for tube in tubes
        )

    def _elbow_stages(self, run: LineRun, size: Flange) -> tuple[Stage, ...]:
        elbows = self.bench.shaped.get((LineShape.ELBOW, family(size)), ())
        if run.bends and not elbows:
            self.gap(f"The catalogue has no elbow of {size} for the bends of the line.")
            return ()
        return tuple(
            Stage(
                Role.LINE,
                elbow,
                elbow.flange_a,
                elbow.flange_b or elbow.flange_a,
                "bend of the line",
            )
            for elbow in elbows[:1]
            for _ in range(run.bends)
        )


_AT_INLET = {
    SuppliedFor.INLET_RING: LineShape.CENTRING_RING,
    SuppliedFor.INLET_GASKET: LineShape.GASKET,
    SuppliedFor.INLET_CLAMP: LineShape.CLAMP,
    SuppliedFor.INLET_BOLTS: LineShape.BOLT_SET,
}
_AT_OUTLET = {
    SuppliedFor.OUTLET_RING: LineShape.CENTRING_RING,
    SuppliedFor.OUTLET_GASKET: LineShape.GASKET,
    SuppliedFor.OUTLET_CLAMP: LineShape.CLAMP,
    SuppliedFor.OUTLET_BOLTS: LineShape.BOLT_SET,
}


def supplied_shapes(
    supplied: Sequence[SuppliedPart], *, outlet: bool = False
) -> frozenset[LineShape]:
    """Return which parts of a pump's inlet (or outlet) joint come with it."""
    shapes = _AT_OUTLET if outlet else _AT_INLET
    return frozenset(shapes[each] for part in supplied for each in part.serves if each in shapes)
