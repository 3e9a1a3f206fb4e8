"""Whole packs, against an exhaustive search."""

from __future__ import annotations

import itertools
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.flanges import parse_flange
from server.errors import OutOfRange
from server.fit.joints import bench
from server.fit.kit import Kit
from server.fit.packing import Pack, cheapest_cover
from tests.fit.stock import a_catalog, hardware_for

packs = st.lists(
    st.builds(
        Pack,
        size=st.integers(1, 12),
        price=st.decimals("0.00", "40.00", places=2),
    ),
    min_size=1,
    max_size=3,
)


@given(need=st.integers(1, 30), packs=packs)
def test_no_other_mix_is_cheaper(need: int, packs: list[Pack]) -> None:
    counts = cheapest_cover(need, packs)
    assert sum(n * pack.size for n, pack in zip(counts, packs, strict=True)) >= need
    cost = sum((n * pack.price for n, pack in zip(counts, packs, strict=True)), Decimal(0))
    every = itertools.product(*(range(-(-need // pack.size) + 1) for pack in packs))
    cheapest = min(
        sum((n * pack.price for n, pack in zip(mix, packs, strict=True)), Decimal(0))
        for mix in every
        if sum(n * pack.size for n, pack in zip(mix, packs, strict=True)) >= need
    )
    assert cost == cheapest


def test_equal_prices_take_fewer_pieces() -> None:
    assert cheapest_cover(2, [Pack(1, Decimal(5)), Pack(2, Decimal(10))]) == (0, 1)


def test_a_large_need_is_covered_at_once() -> None:
    sizes = [(65, "90"), (250, "290"), (500, "480"), (1000, "900"), (5000, "4300")]
    counts = cheapest_cover(123_457, [Pack(size, Decimal(price)) for size, price in sizes])
    # By hand: 24 × 5 L leave 3457 cm³, for which 3 × 1 L + 500 cm³ at 3180 beats 4 × 1 L at 3600.
    assert counts == (0, 0, 1, 3, 24)


def test_nothing_needed_buys_nothing() -> None:
    assert cheapest_cover(0, [Pack(1, Decimal(1))]) == (0,)


def test_a_need_with_nothing_on_offer_is_refused() -> None:
    with pytest.raises(OutOfRange, match="Nothing is on offer"):
        cheapest_cover(1, [])
    with pytest.raises(OutOfRange, match="at least one unit"):
        cheapest_cover(1, [Pack(0, Decimal(1))])


@pytest.mark.parametrize(("joints", "packs"), [(9, 1), (10, 1), (11, 2), (30, 3)])
def test_pieces_are_rounded_up_to_whole_packs(joints: int, packs: int) -> None:
    """Copper gaskets in packs of ten; a set of bolts serves one joint, whatever its bolts."""
    size = parse_flange("CF 100")
    kit = Kit(bench(a_catalog(hardware_for(size))))
    for _ in range(joints):
        kit.join(size, size)
    found = {part.item.sku: part for part in kit.finish().parts}
    assert found["GASKET-CF-100"].quantity == packs
    assert "packs of 10" in found["GASKET-CF-100"].note
    assert found["BOLT_SET-CF-100"].quantity == joints
