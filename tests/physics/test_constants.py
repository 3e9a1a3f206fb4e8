"""The constants against the published ones."""

from __future__ import annotations

import pytest
from scipy import constants as published

from server.physics import constants


def test_constants_are_the_published_ones() -> None:
    # CODATA, as scipy carries it; R is k·N_A, both exact since 2019.
    gas_constant = published.k * published.N_A
    assert pytest.approx(gas_constant, rel=1e-15) == constants.GAS_CONSTANT_J_MOL_K
    assert published.atm == constants.ATMOSPHERE_PA
    assert published.torr == constants.TORR_PA
    assert published.zero_Celsius == constants.ZERO_CELSIUS_K
