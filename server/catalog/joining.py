"""Whether a catalogue holds what closes a joint and what leads on from a flange."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from server.catalog.draft import Draft
from server.catalog.flanges import Flange, FlangeSystem
from server.catalog.items import (
    Filter,
    Gauge,
    Item,
    LinePart,
    LineShape,
    Pump,
    Trap,
    Valve,
)

# What closes a joint of two equal flanges: ISO 2861 (KF), ISO 1609 (ISO-K, ISO-F), ISO 3669 (CF).
CLOSED_BY: dict[FlangeSystem, tuple[LineShape, LineShape]] = {
    FlangeSystem.KF: (LineShape.CENTRING_RING, LineShape.CLAMP),
    FlangeSystem.ISO_K: (LineShape.CENTRING_RING, LineShape.CLAMP),
    FlangeSystem.ISO_F: (LineShape.CENTRING_RING, LineShape.BOLT_SET),
    FlangeSystem.CF: (LineShape.GASKET, LineShape.BOLT_SET),
}
JOINT_SHAPES = frozenset(shape for pair in CLOSED_BY.values() for shape in pair)
LEADING_SHAPES = frozenset(
    {
        LineShape.TUBE,
        LineShape.ELBOW,
        LineShape.TEE,
        LineShape.HOSE,
        LineShape.REDUCER,
        LineShape.ADAPTOR,
    }
)


@dataclass(frozen=True)
class Joints:
    """The joints that a catalogue's line parts can close."""

    parts: tuple[LinePart, ...]
    """Without repeats: what matters are shape and flanges."""

    @classmethod
    def of(cls, draft: Draft) -> Joints:
        """Gather the line parts of a draft."""
        first_of = {
            (part.shape, part.flange_a, part.flange_b): part for _, part in draft.of_type(LinePart)
        }
        return cls(tuple(first_of.values()))

    def missing(self, flange: Flange) -> tuple[str, ...]:
        """Return in words what is lacking to close a joint of two such flanges."""
        return tuple(
            shape.value.replace("_", " ")
            for shape in CLOSED_BY[flange.system]
            if not any(part.shape is shape and _serves(part, flange) for part in self.parts)
        )

    def leads_on(self, flange: Flange) -> bool:
        """Say whether a tube, hose, elbow, tee, reducer or adaptor mates with the flange."""
        return any(
            end is not None and end.mates_with(flange)
            for part in self.parts
            if part.shape in LEADING_SHAPES
            for end in (part.flange_a, part.flange_b)
        )

    def flanges_of(self, item: Item) -> Iterator[tuple[str, Flange]]:
        """Return the flanges of an item by the column they stand in."""
        if isinstance(item, Pump | Trap):
            yield "inlet", item.inlet
            if item.outlet is not None:
                yield "outlet", item.outlet
        elif isinstance(item, Valve | Gauge | Filter):
            yield "flange", item.flange
        elif isinstance(item, LinePart) and item.shape not in JOINT_SHAPES:
            yield "flange_a", item.flange_a
            if item.flange_b is not None:
                yield "flange_b", item.flange_b


def _serves(part: LinePart, flange: Flange) -> bool:
    """Rings serve ISO-K and ISO-F alike; clamps and bolts their own system only."""
    if part.shape is LineShape.CENTRING_RING:
        return part.flange_a.mates_with(flange)
    return part.flange_a == flange
