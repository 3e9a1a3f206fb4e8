"""The fields in which a stack of one's own choice is named."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from server.web.field_kinds import Entry, Field

STACK: Final[Mapping[str, Field]] = {
    "stack.high_vacuum_pump": Field(
        "High-vacuum pump",
        "Takes over below about 0.1 mbar. Leave it out for rough vacuum.",
        entry=Entry.GROUPED,
        options="high_vacuum_pump",
        blank="None",
    ),
    "stack.booster": Field(
        "Booster",
        "Between high-vacuum pump and backing pump, for much gas at medium pressure. A sputter-ion "
        "pump is roughed by a turbomolecular pump in this place.",
        entry=Entry.GROUPED,
        options="booster",
        blank="None",
    ),
    "stack.backing_pump": Field(
        "Backing pump",
        "Exhausts to air and keeps the pressure behind the high-vacuum pump low. Every stack has "
        "one.",
        entry=Entry.GROUPED,
        options="backing_pump",
        blank="Choose",
        required=True,
    ),
    "stack.fluid": Field(
        "Pump fluid",
        "Only for vapour-jet pumps and vapour boosters. Empty: a suitable one is chosen.",
        entry=Entry.GROUPED,
        options="fluid",
        blank="Choose for me",
    ),
    "stack.trap": Field(
        "Trap or baffle",
        "Holds back oil vapour, or catches vapour from the work.",
        entry=Entry.GROUPED,
        options="trap",
        blank="None",
    ),
}
