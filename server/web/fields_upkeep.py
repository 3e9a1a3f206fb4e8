"""The fields of the form that asks for pumps whose consumables are wanted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from server.web.field_kinds import Entry, Field

UPKEEP: Final[Mapping[str, Field]] = {
    "pumps.*.sku": Field(
        "Pump",
        "By its class in the catalogue.",
        entry=Entry.GROUPED,
        options="pumps",
        blank="Choose",
    ),
    "pumps.*.quantity": Field("Pieces", "Pumps of this kind. Empty: one.", "1"),
    "pumps.*.fluid": Field(
        "Fluid or oil",
        "What it is filled with. Empty: the usual one.",
        entry=Entry.GROUPED,
        options="fluids",
        blank="The usual one",
    ),
    "pumps.*.last_service": Field(
        "Last service",
        "When it was last renewed. Empty: not known; work may be due at once.",
        "2025-03-01",
    ),
    "pumps.*.hours_per_year": Field(
        "Hours a year", "Running hours. Empty: from the duty below.", "1800"
    ),
    "table": Field(
        "A table of pumps",
        "CSV with headings in the first row: pump (stock number or the words of its class), "
        "quantity, fluid, last service, hours a year, label. Rows that cannot be read are shown "
        "with the reason; the others count.",
        entry=Entry.LONG,
    ),
    "as_of": Field("Count from", "The day the years begin. Empty: today.", "2026-01-01"),
    "horizon_years": Field("Years to count", "Empty: one year.", "2"),
    "installed": Field(
        "Are the pumps installed already?",
        "Installed pumps have their first charge; their parts may be due at once.",
        entry=Entry.YES_NO,
        blank="Not said: yes",
    ),
    "vapour": Field(
        "Does water or solvent vapour reach the pumps?",
        "Vapour wears oil out sooner.",
        entry=Entry.YES_NO,
        blank="Not said: no",
    ),
}
