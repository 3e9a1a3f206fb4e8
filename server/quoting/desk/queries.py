"""A search for quotes, read from what people type."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from server.errors import Fault, InvalidInquiry
from server.fit.money import LARGEST_AMOUNT, known_currencies
from server.quoting.desk.ports import PAGE_SIZE, QuoteQuery
from server.quoting.desk.states import QuoteState
from server.quoting.reading import CellReader, Refused, decimal_of, one_of, whole_number

FIELDS = (
    "text", "customer", "state", "since", "until", "least", "largest", "currency", "page",
    "page_size",
)  # fmt: skip
"""Names of what a search is read from; ``state`` may be a list."""

LARGEST_PAGE = 10**6
LARGEST_PAGE_SIZE = 200


def read_query(typed: Mapping[str, object]) -> QuoteQuery:
    """Return the search of what was typed.

    Parameters
    ----------
    typed : mapping
        Text or numbers by the names in `FIELDS`; an empty text counts as not given.

    Raises
    ------
    InvalidInquiry
        With one fault for each field that cannot be used.
    """
    reader = CellReader({name: cell for name, cell in typed.items() if name != "state"})
    reader.refuse_unknown(FIELDS)
    state_faults: list[Fault] = []
    query = QuoteQuery(
        text=reader.line("text"),
        customer=reader.line("customer"),
        states=_read_states(typed.get("state"), state_faults),
        since=reader.value("since", _day, None),
        until=reader.value("until", _day, None),
        least=reader.value("least", _amount, None),
        largest=reader.value("largest", _amount, None),
        currency=reader.value("currency", _currency, ""),
        page=reader.value("page", whole_number(1, LARGEST_PAGE), 1),
        page_size=reader.value("page_size", whole_number(1, LARGEST_PAGE_SIZE), PAGE_SIZE),
    )
    faults = (*reader.faults, *state_faults)
    if faults:
        raise InvalidInquiry(faults)
    return query


def _read_states(typed: object, faults: list[Fault]) -> frozenset[QuoteState]:
    words = typed if isinstance(typed, list | tuple) else [typed]
    found: set[QuoteState] = set()
    for word in words:
        reader = CellReader({"state": word})
        state = reader.value("state", one_of(QuoteState), None)
        faults += reader.faults
        if state is not None:
            found.add(state)
    return frozenset(found)


def _day(text: str) -> date:
    accepted = "a day as year-month-day, such as 2026-03-31"
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        raise Refused("This is not a day.", accepted)
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused("There is no such day.", accepted) from None


def _amount(text: str) -> Decimal:
    accepted = f"an amount from 0 to {LARGEST_AMOUNT}"
    amount = decimal_of(text, accepted)
    if not 0 <= amount <= LARGEST_AMOUNT or amount != round(amount, 4):
        raise Refused("This amount is out of range.", accepted)
    return amount


def _currency(text: str) -> str:
    if text not in known_currencies():
        raise Refused("This currency is not traded in.", ", ".join(known_currencies()))
    return text
