"""What each margin must reach to pass, and the limits that practice sets.

Every figure here is common practice with no published source unless it says otherwise: the
thresholds are safety factors in the spirit of handbook advice (round figures, larger where the
input scatters more).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from server.fit.requirements import Cleanliness, Venting
from server.fit.results import MarginKey


@dataclass(frozen=True)
class MarginRule:
    """How one margin is judged and shown; a yes or no has no unit, money that of the inquiry."""

    title: str
    unit: str
    threshold: float
    why: str


RULES: Mapping[MarginKey, MarginRule] = {
    MarginKey.ULTIMATE: MarginRule(
        "Base pressure", "Pa", 1.5, "published outgassing rates of one material scatter by 3–10×"
    ),
    MarginKey.PROCESS_PRESSURE: MarginRule(
        "Process pressure", "Pa", 1.15, "pump speeds are stated to about 10 %"
    ),
    MarginKey.THROUGHPUT: MarginRule(
        "Gas load", "Pa·m³/s", 1.25, "a stack at its largest throughput has no room for a leak"
    ),
    MarginKey.FORELINE: MarginRule(
        "Foreline pressure",
        "Pa",
        1.3,
        "above the tolerable pressure a vapour-jet or turbo pump stops pumping",
    ),
    MarginKey.INLET: MarginRule(
        "Inlet pressure",
        "Pa",
        1.2,
        "above the largest continuous inlet pressure jets break or rotors heat",
    ),
    MarginKey.CROSSOVER: MarginRule(
        "Crossover",
        "Pa",
        1.2,
        "roughing must get clearly below the crossover limit, not creep to it",
    ),
    MarginKey.PUMP_DOWN: MarginRule(
        "Pump-down time", "s", 1.2, "surfaces are rarely as clean as they were assumed to be"
    ),
    MarginKey.VAPOUR: MarginRule(
        "Vapour", "kg/s", 1.25, "vapour that condenses in the pump spoils its oil or its bearings"
    ),
    MarginKey.DUTY: MarginRule("Duty", "s", 1.0, "the day's cycles must fit into the shift"),
    MarginKey.BACKSTREAMING: MarginRule(
        "Backstreaming", "kg/(m²·s)", 1.0, "the allowed rates are already rounded to the safe side"
    ),
    MarginKey.FLUID: MarginRule("Fluid", "K", 1.0, "a fluid hotter than it stands turns to tar"),
    MarginKey.UTILITIES: MarginRule(
        "Utilities", "", 1.0, "what the site does not offer cannot be used"
    ),
    MarginKey.COMPATIBILITY: MarginRule(
        "Compatibility", "", 1.0, "gas, cleanliness and pump must go together"
    ),
    MarginKey.BUDGET: MarginRule("Budget", "", 1.0, "the purchase price against the budget given"),
}

# Allowed oil backstreaming at the chamber, kg/(m²·s). Common practice, no source: 1e-3
# mg/(cm²·min) is a bare vapour-jet pump (O'Hanlon 2003, ch. 12, order of magnitude, from memory),
# 1e-5 a baffled one.
ALLOWED_BACKSTREAMING_KG_M2_S: Mapping[Cleanliness, float] = {
    Cleanliness.TOLERANT: 1.67e-6,
    Cleanliness.LOW_OIL: 5.0e-9,
}

BASE_STATE_AFTER_S = 24 * 3600.0
"""The base pressure is the state after a day of pumping without process gas."""

VANE_CLEAN_ROUGHING_PA = 10.0
"""Below this a bare oil-sealed pump sends oil up its line (Hablanian 1997, from memory)."""

LEAK_GSD = 1.6
"""Geometric standard deviation of a stated leak rate (judgement, no source)."""

SPEED_GSD = 1.06
"""Geometric standard deviation of a pump's speed about its curve (judgement, no source)."""

SMALLEST_REGENERATION_INTERVAL_S = 7 * 24 * 3600.0
"""A capture pump should run a working week between regenerations (common practice, no source)."""

BURST_S = 60.0
"""The gas burst after crossover may hold a vapour-jet pump at its largest throughput this long."""

FORELINE_SHARE_AT_CROSSOVER = 0.5
"""Crossover stays below this share of the no-load tolerable foreline pressure."""

CROSSOVER_ROOM = 1.2
"""The chamber is handed over this factor below the limit, where roughing gets there."""

ROUNDING = 1e-9
"""Ratios this close to a threshold count as at it."""

HUMIDITY: Mapping[Venting, float] = {Venting.AIR: 1.0, Venting.DRY_NITROGEN: 0.3}
"""Water that surfaces take up from the gas a chamber is vented with, relative to room air.

Dry nitrogen that flows while the door is open brings the next pump-down to about a third.
"""
