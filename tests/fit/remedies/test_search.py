"""The search for the smallest change, and how its value is said."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from server.fit.remedies.matters import Change, Matter
from server.fit.remedies.safe_side import length, rounded
from server.fit.remedies.search import gap_of, smallest
from server.units import Dimension, parse_quantity
from tests.fit.engine_cases import COATER, inquiry

WITHIN = 0.01
"""How far above its threshold a margin may come to lie, as the contract asks."""


def a_change(now: float, far: float, *, whole: bool = False) -> Change:
    asked = inquiry(COATER)
    return Change(
        Matter.TARGET, "Pa", now, far, lambda _value: asked, str, lambda _value: (), whole
    )


def unbounded(_value: float) -> float:
    return math.inf


@given(
    now=st.floats(1e-6, 1e6),
    ln_room=st.floats(0.1, 7.0),
    power=st.sampled_from([-3.0, -1.0, -0.5, 0.5, 1.0, 3.0, 4.0]),
    share=st.floats(1e-3, 0.999),
)
def test_a_power_law_is_met_exactly_where_it_can_be(
    now: float, ln_room: float, power: float, share: float
) -> None:
    far = now * math.exp(math.copysign(ln_room, power))

    def share_at(value: float) -> float:
        return share * math.exp(power * math.log(value / now))

    def gap_at(value: float) -> float:
        return gap_of(share_at(value))

    found = smallest(a_change(now, far), gap_at, unbounded)
    exact = now * share ** (-1.0 / power)  # share·(x/now)^power = 1
    if abs(math.log(exact / now)) > ln_room * (1.0 + 1e-9):
        assert found is None
    elif abs(math.log(exact / now)) < ln_room * (1.0 - 1e-9):
        assert found is not None
        assert 1.0 - 1e-9 <= share_at(found) <= 1.0 + WITHIN


@given(jump=st.floats(1.01, 900.0))
def test_where_a_margin_jumps_the_passing_side_is_taken(jump: float) -> None:
    def gap_at(value: float) -> float:
        return gap_of(0.0 if value < jump else math.inf)

    found = smallest(a_change(1.0, 1000.0), gap_at, unbounded)
    assert found is not None
    assert jump <= found <= jump * 1.001


@given(bends=st.integers(1, 30), enough=st.integers(0, 30))
def test_of_counts_the_largest_that_passes_is_kept(bends: int, enough: int) -> None:
    def gap_at(count: float) -> float:
        return 0.0 if count <= enough else -0.7

    found = smallest(a_change(bends, 0.0, whole=True), gap_at, unbounded)
    if enough < bends:
        assert found == enough


@given(value=st.floats(1e-9, 1e7), dimension=st.sampled_from([Dimension.PRESSURE, Dimension.TIME]))
def test_a_value_is_rounded_to_the_side_that_is_asked_for(
    value: float, dimension: Dimension
) -> None:
    above = parse_quantity(rounded(value, dimension, up=True), dimension)
    below = parse_quantity(rounded(value, dimension, up=False), dimension)
    assert value * (1.0 - 1e-5) <= above <= value * 1.0101
    assert value / 1.0101 <= below <= value * (1.0 + 1e-5)


def test_lengths_are_said_in_whole_millimetres() -> None:
    assert length(0.0831, up=True) == "84 mm"
    assert length(0.0839, up=False) == "83 mm"
    assert length(0.084, up=True) == "84 mm"
    assert length(1.2) == "1.2 m"
    assert length(1.2346, up=True) == "1.235 m"
    assert length(1.2346, up=False) == "1.234 m"


@given(
    ln_room=st.floats(0.5, 7.0),
    power=st.sampled_from([-1.0, 1.0]),
    reached=st.floats(0.05, 0.9),
)
def test_what_goes_in_proportion_is_found_at_the_first_try(
    ln_room: float, power: float, reached: float
) -> None:
    tries: list[float] = []
    share = math.exp(-reached * ln_room)

    def gap_at(value: float) -> float:
        tries.append(value)
        return gap_of(share * math.exp(power * math.log(value)))

    assert smallest(a_change(1.0, math.exp(math.copysign(ln_room, power))), gap_at, unbounded)
    assert len(tries) == 2
    assert tries[0] == 1.0


@given(
    root=st.floats(1.05, 900.0), power=st.sampled_from([0.3, 1.0, 2.5]), beyond=st.floats(0.0, 0.02)
)
def test_where_a_bound_fails_nothing_is_judged_but_the_present_value(
    root: float, power: float, beyond: float
) -> None:
    """The margin jumps where its bound ends, or a little beyond."""
    jump, judged = root * (1.0 + beyond), list[float]()

    def gap_at(value: float) -> float:
        judged.append(value)
        return gap_of(0.0 if value < jump else 3.0)

    def bound_at(value: float) -> float:
        return power * math.log(value / root)

    found = smallest(a_change(1.0, 1000.0), gap_at, bound_at)
    assert found is not None
    assert jump <= found <= jump * 1.001
    assert all(value >= root * (1.0 - 1e-4) for value in judged[1:])


def test_a_margin_that_fails_where_its_bound_passes_at_last_has_no_remedy() -> None:
    def bound_at(value: float) -> float:
        return -1.0 if value < 1000.0 else 0.0

    assert smallest(a_change(1.0, 1000.0), lambda _value: gap_of(0.0), bound_at) is None
