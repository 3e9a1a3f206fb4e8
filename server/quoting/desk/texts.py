"""The texts of an offer: how it is paid, delivered, guaranteed."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Texts:
    """Paragraphs under the sums; empty ones are left out."""

    payment: str = ""
    delivery: str = ""
    warranty: str = ""
    validity: str = ""


NO_TEXTS = Texts()

USUAL_TEXTS = Texts(
    payment="Payment within 30 days of the invoice, without deduction.",
    delivery="Delivery from our store, packed; freight as stated. Part shipments are possible.",
    warranty=(
        "Twelve months from delivery on new equipment, on faults of material and workmanship; not "
        "on parts that wear, on fluids, or where the operating card was not followed."
    ),
    validity="Prices hold until the date stated, subject to prior sale of stock.",
)
"""Common practice, no source; a seller puts his own in their place."""
