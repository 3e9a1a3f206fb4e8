"""The fields of forms that ask who somebody is: for whom a quote is, who sends an inquiry."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from server.web.field_kinds import Entry, Field

PEOPLE: Final[Mapping[str, Field]] = {
    "customer": Field("Customer", "Firm or institute, as it stands on the quote.", required=True),
    "address": Field("Address", "Street, town, country.", entry=Entry.LONG),
    "contact": Field("Contact", "Who asked."),
    "email": Field("E-mail", "Where the quote goes.", "name@example.org"),
    "reference": Field("Their reference", "Number or date of the customer’s inquiry."),
    "tax_rate": Field("Tax rate [%]", "On the sum of all lines. Empty: no tax.", "19"),
    "validity_days": Field("Valid for [days]", "Empty: 30 days.", "30"),
    "consumables_years": Field(
        "Consumables to offer [years]",
        "What the pumps use up in that time, besides the first charge. Empty: none.",
        "1",
    ),
    "notes": Field("Notes", "Printed under the lines.", entry=Entry.LONG),
    "sender.name": Field("Your name", "So that we know whom to answer.", required=True),
    "sender.company": Field("Firm or institute", "Where the pumps will stand."),
    "sender.email": Field(
        "Your e-mail", "Where the answer goes.", "name@example.org", required=True
    ),
    "sender.message": Field(
        "Anything else",
        "What the numbers do not say: what the work is, what went wrong so far, when you need it.",
        entry=Entry.LONG,
    ),
    "sender.consent": Field("Consent", "Without it nothing is sent or kept.", required=True),
    "link.days": Field("Works for [days]", "Empty: 60 days. It can be ended before.", "60"),
    "answer.name": Field("Your name", "Who answers, for the record.", required=True),
    "answer.note": Field(
        "Anything to add", "An order number, a wish for delivery, or why not.", entry=Entry.LONG
    ),
}
