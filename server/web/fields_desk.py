"""The fields of the quote desk: a draft and its lines, the search, what is said of a move."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from server.web.field_kinds import Entry, Field, Rows

LINE_COLUMNS = (
    "sku", "name", "quantity", "unit_price", "unit_cost", "discount", "choice", "group", "tax_rate",
    "note",
)  # fmt: skip
"""What a line of a draft is made of."""

DESK: Final[Mapping[str, Field]] = {
    "lines.*.sku": Field("Stock number", "From the catalogue."),
    "lines.*.name": Field("What it is", "In your own words, as it is printed.", required=True),
    "lines.*.quantity": Field("Pieces", "A whole number.", "1"),
    "lines.*.unit_price": Field("Price a piece", "Before any discount."),
    "lines.*.unit_cost": Field("Cost a piece", "What you pay; never printed."),
    "lines.*.discount": Field("Discount [%]", "On this line. Empty: none.", "5"),
    "lines.*.choice": Field(
        "Takes part as",
        "Only included lines are added up; optional and alternative ones show their price.",
        entry=Entry.CHOICE,
        options="line_choices",
        blank="Included",
    ),
    "lines.*.group": Field(
        "Heading",
        "Under which the line is printed.",
        entry=Entry.CHOICE,
        options="line_groups",
        blank="By its kind",
    ),
    "lines.*.tax_rate": Field("Tax rate [%]", "Empty: that of the quote."),
    "lines.*.note": Field("Remark", "Printed under the line."),
    "find": Field(
        "Look for an item of the catalogue",
        "Name, stock number or kind. Nothing is saved by looking.",
        "centring ring 40",
    ),
    "discount": Field(
        "Overall discount [%]",
        "On the sum of the included lines, after their own discounts; not on freight.",
        "3",
    ),
    "freight": Field("Freight", "Added to the net and taxed at the quote’s rate. Empty: none."),
    "price_list": Field("Price list", "Its name, where you have more than one. Empty: not said."),
    "payment": Field("Payment", "When and how it is paid.", entry=Entry.LONG),
    "delivery": Field("Delivery", "From where, packed how, at whose risk.", entry=Entry.LONG),
    "warranty": Field("Warranty", "How long, on what, and on what not.", entry=Entry.LONG),
    "validity": Field("Validity", "How far the prices hold.", entry=Entry.LONG),
    "internal_notes": Field(
        "Internal notes", "For the house only: never printed, never sent.", entry=Entry.LONG
    ),
    "note": Field("Remark", "Kept in the history, for the house only.", entry=Entry.LONG),
    "answered_by": Field("Who answered", "Name of the person at the customer’s.", required=True),
    "text": Field("Words", "In number, customer, contact, title, stack or reference."),
    "state": Field(
        "State", "As many as you like; none means every state.", entry=Entry.MANY, options="states"
    ),
    "since": Field("Made from", "First day, as 2026-11-25.", "2026-11-25"),
    "until": Field("Made up to", "Last day, that day included.", "2026-12-31"),
    "least": Field("Total from", "Smallest total, tax included.", "1000"),
    "largest": Field("Total up to", "Largest total, tax included.", "25000"),
    "currency": Field("Currency", "Three letters of ISO 4217.", "EUR"),
    "page": Field("Page", "Which page of the list.", "1"),
}

DESK_ROWS: Final[Mapping[str, Rows]] = {
    "lines": Rows(
        "Lines",
        "Parts that come with a pump are added by themselves.",
        "line",
        LINE_COLUMNS,
        at_least=0,
        at_most=500,
    ),
}
