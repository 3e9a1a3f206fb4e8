"""Published rates and their law; sources beside each check."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import OutOfRange, UnknownName
from server.physics.outgassing import (
    LAW_START_S,
    MATERIALS,
    OUTGASSING,
    outgassing_rate_pa_m_s,
    outgassing_row,
)

# material, condition, hours, lowest and highest published rate [Pa m/s], source
BANDS = [
    # Elsey 1975 rows span 1.3e-7 to 2.8e-5 at 10 h; Chiggiato 2014 (CERN-2013-007) gives 2e-7
    ("stainless_steel", "unbaked", 10.0, 1.3e-7, 2.8e-6),
    # Chiggiato 2014: 3e-6/t[h] as the rule for unbaked metals, here within a factor 3
    ("stainless_steel", "unbaked", 1.0, 1e-6, 9e-6),
    # Young 1969 (2.67e-9, abstract read) and O'Hanlon 2003 C.1 (4.0e-9)
    ("stainless_steel", "baked", 100.0, 2.6e-9, 4.1e-9),
    # Elsey 1975 after Schram, confirmed by Wong 2002 (6.3e-9 Torr L/s/cm2)
    ("aluminium", "unbaked", 1.0, 8.3e-6, 8.5e-6),
    ("aluminium", "unbaked", 10.0, 7.9e-7, 8.6e-7),
    # Moraw & Dobrozemsky 1974 (5.3e-11) to Young 1969 (5.3e-10)
    ("aluminium", "baked", 100.0, 5.3e-11, 5.4e-10),
    # Elsey 1975 (2.4e-4 by its exponent) and Chiggiato 2014 (1e-4) at 10 h
    ("fkm", "unbaked", 10.0, 1e-4, 2.5e-4),
    # Chiggiato 2014: 1e-2 at 10 h; Elsey's row gives 1.6e-2
    ("polychloroprene", "unbaked", 10.0, 1e-2, 1.7e-2),
    # Elsey 1975: 2.45e-6 at 10 h
    ("titanium", "unbaked", 10.0, 2.3e-6, 2.6e-6),
    # Elsey 1975: 1.33e-5 at 10 h
    ("brass", "unbaked", 10.0, 1.2e-5, 1.5e-5),
]


@pytest.mark.parametrize(("material", "condition", "hours", "low", "high"), BANDS)
def test_rates_lie_in_the_published_band(
    material: str, condition: str, hours: float, low: float, high: float
) -> None:
    rate = float(outgassing_rate_pa_m_s(outgassing_row(material, condition), hours * 3600.0))
    assert low <= rate <= high


def test_spread_of_stainless_steel_covers_the_published_rows() -> None:
    # Elsey 1975 at 1 h for cleaned or polished steel: 1.8e-5, 1.1e-5, 2.28e-6, 5.7e-6
    row = outgassing_row("stainless_steel", "unbaked")
    z = np.log(np.array([1.8e-5, 1.1e-5, 2.28e-6, 5.7e-6]) / row.q1_pa_m_s) / np.log(
        row.geometric_sd
    )
    assert np.max(np.abs(z)) < 2.0


@pytest.mark.parametrize("material", MATERIALS)
def test_every_material_is_known_unbaked_and_as_received(material: str) -> None:
    unbaked, received = outgassing_row(material, "unbaked"), outgassing_row(material, "as_received")
    assert unbaked.species == received.species == "water"
    assert received.q1_pa_m_s >= unbaked.q1_pa_m_s


def test_baking_helps_every_material_that_can_be_baked() -> None:
    baked = [row for row in OUTGASSING.values() if row.condition == "baked"]
    assert len(baked) >= 7
    for row in baked:
        later = outgassing_rate_pa_m_s(outgassing_row(row.material, "unbaked"), 10 * 3600.0)
        assert row.q1_pa_m_s < float(later)
        assert row.alpha == 0.0


def test_every_row_has_a_source_and_a_spread() -> None:
    for row in OUTGASSING.values():
        assert row.source
        assert row.geometric_sd >= 2.0


@given(st.sampled_from(sorted(OUTGASSING)), st.floats(0.0, 1e8), st.floats(1.0, 100.0))
def test_a_surface_never_gives_off_more_later(
    key: tuple[str, str], time_s: float, factor: float
) -> None:
    row = OUTGASSING[key]
    early, late = outgassing_rate_pa_m_s(row, [time_s, time_s * factor])
    assert late <= early


def test_the_law_is_held_before_its_start() -> None:
    row = outgassing_row("stainless_steel", "unbaked")
    rates = outgassing_rate_pa_m_s(row, [0.0, LAW_START_S / 2, LAW_START_S])
    assert rates == pytest.approx(row.q1_pa_m_s * 60.0)  # 1/t law: sixty times the rate at 1 h


def test_scalar_equals_array() -> None:
    row = outgassing_row("fkm", "unbaked")
    times = np.array([10.0, 1e3, 1e5])
    whole = outgassing_rate_pa_m_s(row, times)
    assert [float(outgassing_rate_pa_m_s(row, t)) for t in times] == list(whole)


def test_unknown_material_condition_and_missing_pairs_say_what_is_known() -> None:
    with pytest.raises(UnknownName, match="stainless_steel"):
        outgassing_row("cheese", "unbaked")
    with pytest.raises(UnknownName, match="as_received"):
        outgassing_row("brass", "boiled")
    with pytest.raises(OutOfRange, match="unbaked, as_received"):
        outgassing_row("brass", "baked")
    with pytest.raises(OutOfRange, match="negative"):
        outgassing_rate_pa_m_s(outgassing_row("brass", "unbaked"), -1.0)
