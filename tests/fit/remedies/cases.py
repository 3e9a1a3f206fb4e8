"""Stacks that fail, each in its own way, and how a remedy is applied to them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from server.fit.candidates import Combination, Field
from server.fit.choice import StackChoice, field_of_choice
from server.fit.costs import Purse
from server.fit.evaluation import ALL_MARGINS, How, Judged, judge
from server.fit.explain import Spot
from server.fit.loads import loads_of
from server.fit.remedies.changes import change_of
from server.fit.remedies.matters import Change, Matter
from server.fit.remedies.offered import remedies_of_stack
from server.fit.remedies.surfaces import treatments
from server.fit.remedies.trial import Trial, remade, share_of
from server.fit.requirements import Condition, Requirements
from server.fit.results import MarginKey, Remedy
from tests.fit.engine_cases import COATER, demo_catalog, inquiry

JET = StackChoice("VAPOURJET-160-W", None, "VANE2-0160")
JET_BACKED_WELL = StackChoice("VAPOURJET-160-W", None, "VANE2-0250")
WRONG_FLUID = StackChoice(
    "VAPOURJET-160-W-HIGHLOAD", None, "VANE2-0250", "FLUID-MINERAL-NARROW-500ML"
)
CRYO = StackChoice("CRYO-200", None, "DIAPHRAGM-0009")
ROUGH = StackChoice(None, None, "VANE2-0160")

CASES: Mapping[str, tuple[StackChoice, Mapping[str, Any]]] = {
    "narrow line": (JET, {"line": {"length": "1.2 m", "bore": "60 mm", "bends": 2}}),
    "narrow line, short shift": (
        JET,
        {"line": {"length": "1.2 m", "bore": "60 mm", "bends": 2}, "duty__shift": "8 h"},
    ),
    "deep target": (JET, {"target_pressure": "2e-7 mbar"}),
    "much gas": (JET, {"process__gas": [{"species": "argon", "flow": "150 sccm"}]}),
    "heater too weak": (JET_BACKED_WELL, {}),
    "wrong fluid": (WRONG_FLUID, {}),
    "poor roughing": (CRYO, {}),
    "much vapour": (ROUGH, {"process__vapour": [{"substance": "water", "rate": "5 kg/h"}]}),
    "many cycles": (JET, {"duty__cycles_per_day": 14, "duty__time_at_pressure": "40 min"}),
    "little money": (JET, {"commercial__budget": "8000"}),
    "clean work": (JET, {"cleanliness": "low_oil"}),
    "no water": (JET, {"utilities__cooling_water": False}),
    "leaky": (ROUGH, {"chamber__leak_rate": "3 mbar*L/s", "target_pressure": "0.05 mbar"}),
    "slow roughing": (
        ROUGH,
        {
            "rough_line": {"length": "5 m", "bore": "12 mm", "bends": 4},
            "target_pressure": "0.5 mbar",
            "pump_down_time": "8 min",
        },
    ),
}


def spot_of(choice: StackChoice, asked: Requirements) -> Spot:
    catalog = demo_catalog()
    field = field_of_choice(choice, asked, catalog)
    purse = Purse(asked, catalog)
    judged = judge(field, loads_of(asked), asked, catalog, purse, How(follow_all=True))
    row, column = np.unravel_index(int(np.argmax(judged.worst_share)), judged.worst_share.shape)
    return Spot(judged, int(row), int(column))


@cache
def case(name: str) -> tuple[Spot, Requirements, tuple[Remedy, ...]]:
    choice, changes = CASES[name]
    asked = inquiry(COATER, **changes)
    spot = spot_of(choice, asked)
    return spot, asked, remedies_of_stack(spot, asked, demo_catalog())


def judged_alone(
    spot: Spot, asked: Requirements, only: frozenset[MarginKey] = ALL_MARGINS
) -> Judged:
    """Judge the stack of a spot from nothing, with nothing that a search remembers."""
    catalog = demo_catalog()
    front, back = remade(spot.front, spot.back, asked, catalog)
    field = Field((front,), (back,))
    how = How(follow_all=True, only=only)
    return judge(field, loads_of(asked), asked, catalog, Purse(asked, catalog), how)


def trial_of(spot: Combination, asked: Requirements) -> Trial:
    return Trial(spot, Purse(asked, demo_catalog()))


def share(judged: Judged, key: MarginKey) -> float:
    return share_of(judged.ledgers.get(key), key)


def requirements_behind(remedy: Remedy, spot: Spot, asked: Requirements) -> Requirements | None:
    """Return the inquiry with a remedy's change made; None for another part."""
    change = change_behind(remedy, spot, asked)
    if change is not None:
        return change.apply(remedy.to_value)
    for treatment in treatments(asked):
        if treatment.path == remedy.change:
            return treatment.apply(asked, Condition(remedy.settings[0][1]))
    if remedy.change in {Matter.WATER, Matter.THREE_PHASE}:
        name = remedy.change.rpartition(".")[2]
        return replace(asked, utilities=replace(asked.utilities, **{name: True}))
    return None


@cache
def judged_after(name: str, remedy: Remedy) -> Judged:
    spot, asked, _ = case(name)
    changed = requirements_behind(remedy, spot, asked)
    assert changed is not None
    return judged_alone(spot, changed)


def change_behind(remedy: Remedy, spot: Spot, asked: Requirements) -> Change | None:
    if remedy.change not in set(Matter):
        return None
    return change_of(Matter(remedy.change), asked, spot.front, spot.back)
