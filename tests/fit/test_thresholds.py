"""Rules of the margins: complete, readable, and on the cautious side of their own reasons."""

from __future__ import annotations

import pytest

from server.fit.requirements import Cleanliness, Venting
from server.fit.results import MarginKey
from server.fit.thresholds import ALLOWED_BACKSTREAMING_KG_M2_S, HUMIDITY, RULES

UNITS = {
    MarginKey.ULTIMATE: "Pa",
    MarginKey.PROCESS_PRESSURE: "Pa",
    MarginKey.THROUGHPUT: "Pa·m³/s",
    MarginKey.FORELINE: "Pa",
    MarginKey.INLET: "Pa",
    MarginKey.CROSSOVER: "Pa",
    MarginKey.PUMP_DOWN: "s",
    MarginKey.VAPOUR: "kg/s",
    MarginKey.DUTY: "s",
    MarginKey.BACKSTREAMING: "kg/(m²·s)",
    MarginKey.FLUID: "K",
    MarginKey.UTILITIES: "",
    MarginKey.COMPATIBILITY: "",
    MarginKey.BUDGET: "",
}
EXACT = (
    MarginKey.DUTY, MarginKey.BACKSTREAMING, MarginKey.FLUID, MarginKey.UTILITIES,
    MarginKey.COMPATIBILITY, MarginKey.BUDGET,
)  # fmt: skip


@pytest.mark.parametrize("key", list(MarginKey))
def test_every_margin_has_a_title_a_unit_a_threshold_and_a_reason(key: MarginKey) -> None:
    rule = RULES[key]
    assert rule.unit == UNITS[key]
    assert rule.title[0].isupper()
    assert " " in rule.why
    assert rule.why[0].islower()
    # what is counted or forbidden has no safety factor; what is measured has (common practice)
    assert (rule.threshold == 1.0) == (key in EXACT)
    assert 1.0 <= rule.threshold <= 2.0


def test_room_grows_with_the_scatter_of_what_is_known() -> None:
    """Outgassing scatters by 3–10×, a pump's speed by a tenth; common practice, no source."""
    thresholds = {key: rule.threshold for key, rule in RULES.items()}
    assert max(thresholds, key=lambda key: thresholds[key]) is MarginKey.ULTIMATE
    assert thresholds[MarginKey.PROCESS_PRESSURE] >= 1.1
    measured = {key: value for key, value in thresholds.items() if key not in EXACT}
    assert min(measured, key=lambda key: measured[key]) is MarginKey.PROCESS_PRESSURE


def test_allowed_oil_lies_between_a_bare_and_a_baffled_pump() -> None:
    # O'Hanlon 2003, ch. 12, from memory: bare 1e-3, baffled 1e-5 mg/(cm2 min)
    mg_cm2_min = 1e-6 / 1e-4 / 60.0
    bare, baffled = 1e-3 * mg_cm2_min, 1e-5 * mg_cm2_min
    assert ALLOWED_BACKSTREAMING_KG_M2_S[Cleanliness.TOLERANT] == pytest.approx(10 * bare, rel=0.01)
    assert baffled < ALLOWED_BACKSTREAMING_KG_M2_S[Cleanliness.LOW_OIL] < bare / 10
    assert Cleanliness.OIL_FREE not in ALLOWED_BACKSTREAMING_KG_M2_S


def test_dry_nitrogen_leaves_about_a_third_of_the_water() -> None:
    assert HUMIDITY[Venting.AIR] == 1.0
    assert HUMIDITY[Venting.DRY_NITROGEN] == pytest.approx(1 / 3, rel=0.15)
