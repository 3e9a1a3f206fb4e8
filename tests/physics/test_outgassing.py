"""Published rates and their law; sources beside each check."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from server.errors import OutOfRange, UnknownName
from server.physics.outgassing import (
    CONDITIONS,
    LAW_START_S,
    MATERIALS,
    OUTGASSING,
    outgassing_rate_pa_m_s,
    outgassing_row,
)
from server.physics.species import SPECIES

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


# material, condition, rate at one hour [Torr L/(s cm2)], exponent: Elsey 1975 and O'Hanlon 2003
# App. C.2-C.5 in the units printed there, from memory
PRINTED = [
    ("aluminium", "as_received", 1.70e-7, 0.75),
    ("mild_steel", "unbaked", 5.4e-7, 1.0),
    ("mild_steel", "as_received", 6.0e-7, 1.0),
    ("copper", "as_received", 4.0e-8, 1.0),
    ("brass", "unbaked", 4.0e-7, 1.6),
    ("titanium", "unbaked", 1.13e-8, 0.8),
    ("borosilicate_glass", "as_received", 7.35e-9, 1.1),
    ("ceramic", "unbaked", 9.0e-8, 1.0),
    ("fkm", "unbaked", 1.14e-6, 0.8),
    ("nbr", "unbaked", 3.5e-6, 0.3),
    ("polychloroprene", "unbaked", 3.0e-5, 0.4),
    ("epoxy", "unbaked", 1.16e-6, 0.8),
    ("pmma", "unbaked", 7.2e-7, 0.44),
    ("nylon", "unbaked", 1.2e-5, 0.5),
]


@pytest.mark.parametrize(("material", "condition", "printed", "alpha"), PRINTED)
def test_rates_are_those_printed_in_other_units(
    material: str, condition: str, printed: float, alpha: float
) -> None:
    row = outgassing_row(material, condition)
    assert row.q1_pa_m_s == pytest.approx(printed * constants.torr * 1e-3 / 1e-4, rel=0.01)
    assert row.alpha == alpha


def test_between_two_samples_the_middle_is_taken() -> None:
    """The geometric mean of the rows named beside it; Elsey 1975, from memory."""
    for material, rates in {
        "copper": (2.51e-5, 4.67e-6, 2.5e-6),
        "borosilicate_glass": (9.8e-6, 1.55e-6),
        "ptfe": (4.0e-4, 8.7e-5),
    }.items():
        middle = float(np.exp(np.mean(np.log(rates))))
        assert outgassing_row(material, "unbaked").q1_pa_m_s == pytest.approx(middle, rel=0.03)


def test_what_is_not_published_apart_has_the_rate_of_its_neighbour() -> None:
    """Polymers as received are as degreased ones: washing does not reach what is dissolved."""
    for material in ("fkm", "nbr", "polychloroprene", "ptfe", "epoxy", "pmma", "nylon", "ceramic"):
        clean, received = (outgassing_row(material, c) for c in ("unbaked", "as_received"))
        assert (clean.q1_pa_m_s, clean.alpha) == (received.q1_pa_m_s, received.alpha)


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
        assert row.species in SPECIES
        assert row.material in MATERIALS
        assert row.condition in CONDITIONS
        assert 0.0 <= row.alpha <= 2.0
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
