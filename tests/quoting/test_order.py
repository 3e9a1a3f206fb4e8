"""What is typed for a quote: kept when good, named when not."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import InvalidInquiry
from server.quoting.order import FIELDS, Party, QuoteOrder, read_order

NOW = datetime(2026, 3, 2, tzinfo=UTC)
SELLER = Party("Demo distributor")


def read(**data: object) -> QuoteOrder:
    return read_order({"customer": "Institute", **data}, seller=SELLER, created_at=NOW)


def test_only_the_customer_is_needed() -> None:
    order = read()
    assert order.customer == Party("Institute")
    assert order.tax_rate_percent == Decimal(0)
    assert (order.validity_days, order.consumables_years) == (30, 0.0)


@pytest.mark.parametrize(
    ("typed", "rate"), [("19", "19"), ("8.1 %", "8.1"), (7, "7"), ("", "0"), (" 0% ", "0")]
)
def test_tax_rates(typed: object, rate: str) -> None:
    assert read(tax_rate=typed).tax_rate_percent == Decimal(rate)


def test_text_is_kept_but_for_what_cannot_be_printed() -> None:
    order = read(customer=" Müller\u0000 &  Söhne ", address="Lane 3\r\nTown", notes="<b>=1+1")
    assert order.customer.name == "Müller & Söhne"
    assert order.customer.address == "Lane 3\nTown"
    assert order.notes == "<b>=1+1"


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("customer", ""),
        ("customer", None),
        ("customer", 7),
        ("customer", "x" * 201),
        ("email", "nobody"),
        ("tax_rate", "a lot"),
        ("tax_rate", "nan"),
        ("tax_rate", "-1"),
        ("tax_rate", "51"),
        ("tax_rate", "1.23456"),
        ("tax_rate", ["19"]),
        ("validity_days", "0"),
        ("validity_days", "366"),
        ("validity_days", "a month"),
        ("validity_days", True),
        ("consumables_years", "-1"),
        ("consumables_years", "inf"),
        ("consumables_years", "21"),
        ("notes", "x" * 5001),
        ("discount", "5"),
    ],
)
def test_what_cannot_be_used_is_named_by_its_field(field: str, typed: object) -> None:
    with pytest.raises(InvalidInquiry) as caught:
        read(**{field: typed})
    assert [fault.field for fault in caught.value.faults] == [field]
    assert caught.value.faults[0].message.endswith(".")


def test_all_faults_come_at_once() -> None:
    with pytest.raises(InvalidInquiry) as caught:
        read(customer="", tax_rate="x", validity_days="x")
    assert {fault.field for fault in caught.value.faults} == {
        "customer",
        "tax_rate",
        "validity_days",
    }


anything = st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.lists(st.text())


@given(st.dictionaries(st.sampled_from(FIELDS), anything))
def test_nonsense_gives_an_order_or_faults(data: dict[str, object]) -> None:
    try:
        order = read_order(data, seller=SELLER, created_at=NOW)
    except InvalidInquiry as invalid:
        assert {fault.field for fault in invalid.faults} <= set(FIELDS)  # noqa: PT017
    else:
        assert order.customer.name
        assert 0 <= order.tax_rate_percent <= 50
