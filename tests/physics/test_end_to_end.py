"""Rows laid end to end against numpy's own search and interpolation, row by row."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.physics.end_to_end import EndToEnd

numbers = st.floats(-1e3, 1e3)


@given(
    rows=st.lists(st.lists(numbers, min_size=4, max_size=4).map(sorted), min_size=1, max_size=5),
    wanted=st.lists(st.one_of(numbers, st.sampled_from([-np.inf, np.inf, -1e6, 1e6])), min_size=1),
    data=st.data(),
)
def test_each_row_is_searched_as_if_it_were_alone(
    rows: list[list[float]], wanted: list[float], data: st.DataObject
) -> None:
    table, at = np.array(rows), np.array(wanted)
    row = np.array([data.draw(st.integers(0, len(rows) - 1)) for _ in wanted])
    laid = EndToEnd(table)
    expected = [np.searchsorted(table[r], x) for r, x in zip(row, at, strict=True)]
    assert laid.first_reaching(row, at).tolist() == expected


@given(
    rows=st.lists(
        st.lists(st.integers(-1000, 1000), min_size=4, max_size=4, unique=True).map(sorted),
        min_size=1, max_size=5,
    ),
    wanted=st.lists(st.one_of(numbers, st.sampled_from([-1e6, 1e6])), min_size=1),
    data=st.data(),
)  # fmt: skip
def test_each_row_is_interpolated_as_if_it_were_alone_and_held_at_its_ends(
    rows: list[list[int]], wanted: list[float], data: st.DataObject
) -> None:
    table = np.array(rows, dtype=np.float64)
    values = np.cumsum(np.ones_like(table), axis=1) * np.arange(1.0, len(table) + 1.0)[:, None]
    row = np.array([data.draw(st.integers(0, len(rows) - 1)) for _ in wanted])
    found = EndToEnd(table).between(row, np.array(wanted), values)
    expected = [np.interp(x, table[r], values[r]) for r, x in zip(row, wanted, strict=True)]
    assert found == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_a_step_of_a_row_has_the_value_behind_it_and_so_has_its_end() -> None:
    # numpy's own interpolation of each row alone; what lies beyond an end has the value there
    rows = np.array([[0.0, 1.0, 1.0, 2.0], [5.0, 6.0, 7.0, 7.0]])
    values = np.array([[10.0, 20.0, 30.0, 40.0], [1.0, 2.0, 3.0, 4.0]])
    row = np.array([0, 0, 0, 1, 1, 1])
    wanted = np.array([0.5, 1.0 + 1e-12, 1.5, 7.0 + 1e-12, 99.0, -99.0])
    found = EndToEnd(rows).between(row, wanted, values)
    expected = [np.interp(x, rows[r], values[r]) for r, x in zip(row, wanted, strict=True)]
    assert found == pytest.approx(expected, rel=1e-9)
