"""Dangerous goods, export control, and what can leave when."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.flanges import parse_flange
from server.catalog.items import Catalog, CleaningSupply, SpeedCurve, VapourPump
from server.catalog.tables import load_catalog
from server.fit.results import Role
from server.paths import Folder, folder
from server.quoting.desk.goods import (
    Wanted,
    dangerous_goods,
    export_hints,
    pieces_from_stock,
    shipments,
)
from server.quoting.drafting import draft_quote
from tests.fit.stock import a_catalog, a_fluid, a_vapour_pump
from tests.quoting.stacks import a_stack, order, part, requirements, stock


@pytest.fixture(scope="module")
def demo() -> Catalog:
    return load_catalog(folder(Folder.CATALOG_DEMO))


def a_solvent(substance: str, un_number: str = "") -> CleaningSupply:
    return CleaningSupply(
        sku=substance.upper(), name=substance, mass_kg=1.0,
        price=Decimal(20), cost_price=Decimal(9),
        stock=1, lead_time_days=3, substance=substance, step=1, un_number=un_number,
    )  # fmt: skip


# UN Model Regulations, list of dangerous goods (acetone, ethanol, 2-propanol read; n-hexane,
# toluene, methanol from memory, high confidence).
@pytest.mark.parametrize(
    ("substance", "number", "hazard_class"),
    [
        ("acetone", "UN 1090", "3"),
        ("ethanol", "UN 1170", "3"),
        ("isopropanol", "UN 1219", "3"),
        ("n_hexane", "UN 1208", "3"),
        ("toluene", "UN 1294", "3"),
        ("methanol", "UN 1230", "3 (6.1)"),
    ],
)
def test_a_solvent_has_its_un_number(substance: str, number: str, hazard_class: str) -> None:
    for solvent in (a_solvent(substance), a_solvent(substance, number)):
        (goods,) = dangerous_goods([solvent])
        assert (goods.un_number, goods.hazard_class, goods.packing_group) == (
            number, hazard_class, "II",
        )  # fmt: skip
        assert goods.skus == (solvent.sku,)
        assert number in goods.sentence


def test_a_number_that_is_not_in_our_table_is_named_all_the_same() -> None:
    (goods,) = dangerous_goods([a_solvent("heptane", "UN 1206")])
    assert goods.un_number == "UN 1206"
    assert "safety data sheet" in goods.sentence


def test_gloves_are_no_dangerous_goods(demo: Catalog) -> None:
    assert dangerous_goods([a_solvent("gloves")]) == ()
    named = {goods.un_number for goods in dangerous_goods(demo.items.values())}
    assert {"UN 1090", "UN 1219"} <= named


def a_large_pump(throat_m: float, speed_m3_s: float, ultimate_pa: float) -> VapourPump:
    curve = SpeedCurve("air", (1e-5, 1.0), (speed_m3_s, speed_m3_s / 2))
    return replace(
        a_vapour_pump(),
        inlet=parse_flange("ISO-F 500"),
        throat_m=throat_m,
        curves=(curve,),
        ultimate_pa=ultimate_pa,
    )


# EU Regulation 2021/821, Annex I, 2B231: throat 380 mm or more, 15 m³/s or more, ultimate vacuum
# better than 13 mPa; all three.
@pytest.mark.parametrize(
    ("throat_m", "speed_m3_s", "ultimate_pa", "hinted"),
    [
        (0.38, 15.0, 0.0129, True),
        (0.3799, 15.0, 0.001, False),
        (0.50, 14.99, 0.001, False),
        (0.50, 20.0, 0.013, False),
        (0.50, 20.0, 1e-6, True),
    ],
)
def test_the_export_hint_needs_all_three(
    throat_m: float, speed_m3_s: float, ultimate_pa: float, hinted: bool
) -> None:
    hints = export_hints([a_large_pump(throat_m, speed_m3_s, ultimate_pa)])
    assert len(hints) == hinted
    assert all("compliance officer" in hint for hint in hints)


def test_stock_goes_to_included_lines_first() -> None:
    fluid = replace(a_fluid("F", "1", 1e-4), stock=5)
    wanted = [
        Wanted("F", 4, False),
        Wanted("F", 3, True),
        Wanted("F", 3, True),
        Wanted("", 2, True),
    ]
    assert pieces_from_stock(wanted, a_catalog([fluid])) == (0, 3, 2, 0)


def test_an_optional_line_sees_what_is_left() -> None:
    fluid = replace(a_fluid("F", "1", 1e-4), stock=5)
    wanted = [Wanted("F", 3, True), Wanted("F", 4, False), Wanted("F", 9, False)]
    assert pieces_from_stock(wanted, a_catalog([fluid])) == (3, 2, 2)


@given(
    stocked=st.integers(0, 30),
    wanted=st.lists(st.tuples(st.integers(1, 20), st.booleans()), max_size=8),
)
def test_no_more_is_promised_than_there_is(stocked: int, wanted: list[tuple[int, bool]]) -> None:
    catalog = a_catalog([replace(a_fluid("F", "1", 1e-4), stock=stocked)])
    lines = [Wanted("F", quantity, counts) for quantity, counts in wanted]
    taken = pieces_from_stock(lines, catalog)
    included = sum(n for n, line in zip(taken, lines, strict=True) if line.counts)
    asked = sum(line.quantity for line in lines if line.counts)
    assert included == min(asked, stocked)
    assert all(0 <= n <= line.quantity for n, line in zip(taken, lines, strict=True))


def test_part_shipments_by_hand() -> None:
    start = date(2026, 3, 2)
    found = shipments(start, [("A", 5, 3, 10), ("B", 1, 1, 0), ("C", 2, 0, 10), ("A", 1, 0, 30)])
    assert [(s.day, dict(s.pieces)) for s in found] == [
        (date(2026, 3, 2), {"A": 3, "B": 1}),
        (date(2026, 3, 12), {"A": 2, "C": 2}),
        (date(2026, 4, 1), {"A": 1}),
    ]


def test_an_offer_says_when_all_of_it_can_leave() -> None:
    stack = a_stack(part(Role.HIGH_VACUUM_PUMP, "VJ"), part(Role.BACKING_PUMP, "VANE"))
    quote = draft_quote(stack, requirements(), stock(), order())
    # The jet pump is not in stock and takes 30 days; the vane pump can leave at once.
    assert quote.ships_complete_on == date(2026, 4, 1)
    assert [(s.day, s.pieces) for s in quote.shipments] == [
        (date(2026, 3, 2), (("VANE", 1),)), (date(2026, 4, 1), (("VJ", 1),)),
    ]  # fmt: skip
