"""How numbers look: few digits, trade units, times as people say them."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.units import Dimension, parse_quantity
from server.web import formatting
from server.web.pages import bar_place
from server.web.words import assumed


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0.0, "0 s"),
        (0.42, "0.42 s"),
        (48.2, "48 s"),
        (59.7, "1 min"),
        (450.0, "7 min 30 s"),
        (1199.6, "20 min"),
        (1500.0, "25 min"),
        (3599.0, "1 h"),
        (7500.0, "2 h 5 min"),
        (86399.0, "24 h"),
        (90000.0, "1 day 1 h"),
        (3 * 86400.0, "3 days"),
        (math.inf, "not reached"),
    ],
)
def test_times_are_said_as_people_say_them(seconds: float, said: str) -> None:
    assert formatting.duration(seconds) == said


@given(st.floats(min_value=20.0, max_value=1e7))
def test_a_time_said_is_within_two_per_cent_of_the_time(seconds: float) -> None:
    said = formatting.duration(seconds).replace("days", "d").replace("day", "d")
    units = {"s": 1, "min": 60, "h": 3600, "d": 86400}
    words = said.split()
    read = sum(float(n) * units[u] for n, u in zip(words[::2], words[1::2], strict=True))
    assert read == pytest.approx(seconds, rel=0.025)


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.0, "0"), (12.345, "12.3"), (0.0012, "0.0012"), (1234.0, "1234"), (4.5e-7, "4.50e-7"),
     (math.inf, "∞"), (-3.0, "-3"), (1e5, "1.00e5")],
)  # fmt: skip
def test_numbers_have_few_digits(value: float, shown: str) -> None:
    assert formatting.number(value) == shown


@given(st.floats(min_value=1e-9, max_value=2e5))
def test_a_pressure_shown_can_be_typed_back(pascal: float) -> None:
    shown = formatting.quantity(pascal, "Pa")
    assert parse_quantity(shown, Dimension.PRESSURE) == pytest.approx(pascal, rel=6e-3)


def test_quantities_come_in_the_units_of_the_trade() -> None:
    assert formatting.quantity(0.12, "m3/s") == "120 L/s"
    for spelling in ("Pa m3/s", "Pa*m3/s", "Pa·m³/s"):
        assert formatting.quantity(0.1, spelling) == "1.00 mbar·L/s"
    assert formatting.quantity(1500.0, "s") == "25 min"
    assert formatting.quantity(1204.5, "EUR") == "€1,204.50"
    assert formatting.quantity(math.inf, "Pa") == "∞"
    assert formatting.quantity(3.0, "cycles/day") == "3 cycles/day"
    assert formatting.si_quantity(2.62, "m2") == "2.62 m²"
    assert formatting.si_quantity(0.3814, "1") == "0.3814"  # a pure number has no unit to show
    assert formatting.of_unit("Pa")(None) == "—"


def test_money_is_exact() -> None:
    assert formatting.money(Decimal("1204.50"), "EUR") == "€1,204.50"
    assert formatting.money(Decimal(1500), "JPY") == "JP¥1,500"


def test_shares_never_round_up_to_certainty() -> None:
    assert formatting.percent(0.9999) == "over 99 %"
    assert formatting.percent(1.0) == "100 %"
    assert formatting.percent(0.001) == "below 1 %"
    assert formatting.percent(0.0) == "0 %"


@given(st.floats(min_value=0.0, allow_nan=False))
def test_a_bar_stays_on_its_ground_and_one_is_in_the_middle(ratio: float) -> None:
    assert 0 < bar_place(ratio) <= 200
    assert (bar_place(ratio) >= 100) == (ratio >= 0.9999) or ratio > 0.99
    assert bar_place(1.0) == 100


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("oil_free", "no oil anywhere"),
        ("20 degC", "20 °C"),
        ("1e-5 mbar*L/s", "1e-5 mbar·L/s"),
        ("unbaked", "clean, not baked"),
        ("2.8 m² mild_steel, baked", "2.8 m² mild steel, baked in vacuum"),
        ("276 cm² fkm, unbaked", "276 cm² FKM (fluoroelastomer), clean, not baked"),
        ("the flange's own bore", "the flange's own bore"),
    ],
)
def test_assumed_values_are_shown_in_words(value: str, shown: str) -> None:
    assert assumed(value) == shown
