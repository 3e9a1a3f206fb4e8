"""The record of comparisons: what is asserted, and what is kept of it."""

from __future__ import annotations

import pytest

from tests.accuracy import AIMS, Quantity, agrees, kept, nothing_kept


def test_the_worst_deviation_is_kept_and_too_large_a_one_fails() -> None:
    with nothing_kept():
        agrees(Quantity.BEND, [1.01, 0.98], 1.0)
        agrees(Quantity.BEND, 1.005, 1.0)
        with pytest.raises(AssertionError, match="a book"):
            agrees(Quantity.BEND, 1.06, 1.0, source="a book")
        (found,) = (row for row in kept() if row[0] is Quantity.BEND)
    assert found[1] == pytest.approx(0.06)
    assert found[2] == 4


def test_every_quantity_has_an_aim() -> None:
    assert set(AIMS) == set(Quantity)
