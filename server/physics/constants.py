"""Constants of nature and of convention: each is exact by definition."""

from __future__ import annotations

from server.units.table import MOLAR_GAS_CONSTANT

GAS_CONSTANT_J_MOL_K = float(MOLAR_GAS_CONSTANT)
"""Boltzmann's constant times Avogadro's, both fixed by the SI of 2019."""
ATMOSPHERE_PA = 101_325.0
TORR_PA = ATMOSPHERE_PA / 760.0
ZERO_CELSIUS_K = 273.15
