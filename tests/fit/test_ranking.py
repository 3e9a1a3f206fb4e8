"""The order of the stacks."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from server.fit.ranking import Standing, ranked

Row = tuple[bool, int, float, int]


def standing(rows: list[Row]) -> Standing:
    """Rows of fits, cost, weakest margin, pumps; names in the order given."""
    fits, cost, weakest, pumps = zip(*rows, strict=True)
    return Standing(
        np.array(fits), np.array(cost), np.array(weakest), np.array(pumps), np.arange(len(rows))
    )


def order(rows: list[Row]) -> list[int]:
    return [int(position) for position in ranked(standing(rows))]


def test_what_fits_comes_before_what_is_cheaper_but_marginal() -> None:
    assert order([(False, 100, 1.1, 0), (True, 900, 1.2, 1)]) == [1, 0]


def test_the_cheapest_over_the_horizon_comes_first() -> None:
    assert order([(True, 900, 9.0, 0), (True, 500, 1.2, 1), (True, 700, 2.0, 2)]) == [1, 2, 0]


def test_equal_costs_are_ordered_by_the_weakest_margin_then_by_name() -> None:
    assert order([(True, 500, 1.2, 0), (True, 500, 1.5, 1)]) == [1, 0]
    assert order([(True, 500, 1.2, 0), (True, 500, 1.2, 1)]) == [0, 1]


def test_each_set_of_pumps_is_shown_once_with_what_ranks_best() -> None:
    assert order([(True, 700, 2.0, 7), (True, 600, 2.0, 7), (False, 100, 1.0, 7)]) == [1]


rows = st.tuples(st.booleans(), st.integers(0, 5), st.sampled_from([1.0, 1.5]), st.integers(0, 4))


@given(given_rows=st.lists(rows, min_size=1, max_size=12))
def test_the_order_is_that_of_a_plain_sort(given_rows: list[Row]) -> None:
    def key(position: int) -> tuple[bool, int, float, int]:
        fits, cost, weakest, _ = given_rows[position]
        return (not fits, cost, -weakest, position)

    expected: list[int] = []
    seen: set[int] = set()
    for position in sorted(range(len(given_rows)), key=key):
        if given_rows[position][3] not in seen:
            seen.add(given_rows[position][3])
            expected.append(position)
    assert order(given_rows) == expected
