"""What is said beside a cell that cannot be taken, and which amounts of money are."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

import pytest
from pydantic import BaseModel, Field, ValidationError
from pydantic_core import PydanticCustomError

from server.fit.faults import faults_of
from server.fit.inquiry_types import MoneyOf, read_money


class Row(BaseModel):
    """Bounds of every kind."""

    least: Annotated[int, Field(ge=2)] = 2
    above: Annotated[int, Field(gt=2)] = 3
    most: Annotated[int, Field(le=2)] = 2
    below: Annotated[int, Field(lt=2)] = 1
    few: Annotated[list[int], Field(max_length=2)] = []


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("least", 1, "The number must be greater than or equal to 2."),
        ("above", 2, "The number must be greater than 2."),
        ("most", 3, "The number must be less than or equal to 2."),
        ("below", 2, "The number must be less than 2."),
        ("few", [1, 2, 3], "The list has more than 2 entries."),
    ],
)
def test_a_bound_is_said_in_words_and_numbers(field: str, typed: object, says: str) -> None:
    with pytest.raises(ValidationError) as refused:
        Row.model_validate({field: typed})
    (fault,) = faults_of(refused.value.errors())
    assert (fault.field, fault.message) == (field, says)
    assert "2" in fault.accepted
    assert "_" not in fault.accepted


@pytest.mark.parametrize(
    ("typed", "amount"),
    [("12,5", "12.5"), ("12,50", "12.50"), (" 3.25 ", "3.25"), (7, "7"), (0.24, "0.24"),
     ("1,0000", "1.0000"), ("12", "12")],
)  # fmt: skip
def test_an_amount_of_money_is_read_exactly(typed: object, amount: str) -> None:
    assert read_money(typed, "an amount") == Decimal(amount)


@pytest.mark.parametrize(
    "typed", [True, False, None, ["1"], "", "1,000", "1,2,3", "1.000,5", "1_000", "x", "nan", "inf"]
)
def test_what_may_be_read_in_two_ways_is_no_amount(typed: object) -> None:
    # "1,000" is one thousand in one country and one in another
    with pytest.raises(PydanticCustomError) as refused:
        read_money(typed, "an amount")
    assert "amount" in str(refused.value)


@pytest.mark.parametrize("typed", [True, None, ["1"], {"amount": 1}])
def test_what_is_no_number_at_all_is_asked_for_as_money(typed: object) -> None:
    with pytest.raises(PydanticCustomError, match="amount of money is wanted"):
        read_money(typed, "an amount")


def test_the_amounts_that_are_taken_are_said_with_their_bounds() -> None:
    budget = MoneyOf(Decimal("1e9"), zero_allowed=False)
    assert budget.accepted.startswith("an amount above 0 up to 1,000,000,000")
    assert MoneyOf(Decimal(100)).accepted.startswith("an amount from 0 up to 100")
    for typed in ("0", "-1", "1000000001"):
        with pytest.raises(PydanticCustomError, match="outside what makes sense"):
            budget.check(typed)
    assert budget.check("12,5") == "12,5"
    assert MoneyOf(Decimal(100)).check("0") == "0"
