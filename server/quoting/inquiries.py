"""Inquiries that customers send from the public check: kept, read by an engineer, quoted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from typing import Protocol

from pydantic_core import to_json

from server.errors import Fault, InvalidInquiry
from server.fit.choice import StackChoice
from server.quoting.order import Party
from server.quoting.reading import CellReader, email

LARGEST_REQUIREMENTS_BYTES = 20_000
CONSENT = (
    "I agree that my name, firm, e-mail and what I wrote are kept to answer this inquiry, and for "
    "nothing else."
)
"""What the sender agrees to; kept with the inquiry in the words of that day."""


class InquiryState(StrEnum):
    """How far an inquiry has come."""

    NEW = "new"
    OPENED = "opened"
    QUOTED = "quoted"


@dataclass(frozen=True)
class Sender:
    """Who sent an inquiry, and what they wrote beside the numbers."""

    name: str
    email: str
    company: str = ""
    message: str = ""
    consent: str = CONSENT

    @property
    def as_customer(self) -> Party:
        """The sender as the customer of a quote."""
        return Party(self.company or self.name, contact=self.name, email=self.email)


@dataclass(frozen=True)
class ReceivedInquiry:
    """An inquiry as it was sent, and what became of it."""

    token: str
    received_at: datetime
    sender: Sender
    title: str
    typed: Mapping[str, object]
    """The requirements as typed, in the shape of the JSON contract."""
    choice: StackChoice
    """The pumps the sender had checked."""
    state: InquiryState = InquiryState.NEW
    opened_by: str = ""
    opened_at: datetime | None = None
    advice_token: str = ""
    """The newest advice made on it."""
    quote_number: str = ""
    """The newest quote made on it."""

    def opened(self, who: str, now: datetime) -> ReceivedInquiry:
        """Return the inquiry as opened; who opened it first stays."""
        if self.state is not InquiryState.NEW:
            return self
        return replace(self, state=InquiryState.OPENED, opened_by=who, opened_at=now)

    def advised(self, advice_token: str) -> ReceivedInquiry:
        """Return the inquiry with the advice made on it."""
        return replace(self, advice_token=advice_token)

    def quoted(self, number: str) -> ReceivedInquiry:
        """Return the inquiry with the quote made on it."""
        return replace(self, state=InquiryState.QUOTED, quote_number=number)


class InquiryBox(Protocol):
    """Keeps inquiries that were sent; nothing is deleted."""

    def add(self, inquiry: ReceivedInquiry) -> None:
        """Keep an inquiry."""
        ...

    def get(self, token: str) -> ReceivedInquiry:
        """Return an inquiry; raises ``NotFound``."""
        ...

    def open(self, token: str, who: str, now: datetime) -> ReceivedInquiry:
        """Note that somebody looks after an inquiry, and return it; raises ``NotFound``."""
        ...

    def note_advice(self, token: str, advice_token: str) -> None:
        """Note the advice that was made on an inquiry; raises ``NotFound``."""
        ...

    def note_quote(self, advice_token: str, number: str) -> None:
        """Note the quote made on an advice, where the advice was made on an inquiry."""
        ...

    def of_advice(self, advice_token: str) -> ReceivedInquiry | None:
        """Return the inquiry that an advice was made on, None for any other advice."""
        ...

    def recent(self, count: int) -> tuple[ReceivedInquiry, ...]:
        """Return the newest inquiries, newest first."""
        ...


SENDER_FIELDS = ("name", "company", "email", "message", "consent")


def read_sender(typed: Mapping[str, object], place: str = "sender.") -> Sender:
    """Return who sends an inquiry.

    Parameters
    ----------
    typed : mapping
        Text by the names in `SENDER_FIELDS`.
    place : str
        What the names of the fields begin with in faults.

    Raises
    ------
    InvalidInquiry
        With one fault for each field that cannot be used; without consent as well.
    """
    reader = CellReader(typed, place)
    reader.refuse_unknown(SENDER_FIELDS)
    sender = Sender(
        name=reader.line("name", needed=True),
        email=reader.line("email", needed=True, check=email),
        company=reader.line("company"),
        message=reader.text("message"),
    )
    faults = list(reader.faults)
    if typed.get("consent") != "yes":
        message = "Tick this to send the inquiry; without it nothing is kept."
        faults.append(Fault(f"{place}consent", "", message))
    if faults:
        raise InvalidInquiry(faults)
    return sender


def must_be_small(typed: Mapping[str, object]) -> None:
    """Refuse requirements that are longer than any form that people fill in.

    Raises
    ------
    InvalidInquiry
        When they are.
    """
    size = len(to_json(typed, inf_nan_mode="constants"))
    if size > LARGEST_REQUIREMENTS_BYTES:
        message = f"This is too long for an inquiry: {size} bytes."
        accepted = f"up to {LARGEST_REQUIREMENTS_BYTES} bytes"
        raise InvalidInquiry([Fault("", "", message, accepted)])
