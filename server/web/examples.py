"""Inquiries to start from; invented, plausible for their trade."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

EXAMPLES: Mapping[str, Mapping[str, object]] = MappingProxyType(
    {
        "mirror-coater": {
            "title": "Mirror coater, 180 L",
            "chamber": {
                "volume": "180 L",
                "temperature": "22 degC",
                "port": "ISO-K 160",
                "surfaces": [
                    {"material": "stainless_steel", "area": "2.6 m2", "condition": "unbaked"},
                    {"material": "fkm", "area": "0.02 m2"},
                ],
                "leak_rate": "2e-5 mbar*L/s",
            },
            "line": {"length": "0.4 m", "bore": None, "bends": 1},
            "target_pressure": "2e-5 mbar",
            "pump_down_time": "25 min",
            "process": {
                "pressure": "5e-3 mbar",
                "gas": [{"species": "argon", "flow": "20 sccm"}],
                "vapour": [{"substance": "water", "rate": "3 g/h"}],
            },
            "duty": {
                "cycles_per_day": 6,
                "time_at_pressure": "45 min",
                "days_per_year": 220,
                "shift": "9 h",
            },
            "cleanliness": "tolerant",
            "hazards": [],
            "utilities": {"cooling_water": True, "three_phase": False, "mains_voltage": "230 V"},
            "commercial": {
                "currency": "EUR",
                "horizon_years": 3,
                "energy_price_per_kwh": "0.24",
                "budget": None,
            },
            "limit": 10,
        }
    }
)
