"""Inquiries, the demo catalogue and whole judgements for the tests of the engine."""

from __future__ import annotations

import copy
import hashlib
import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from server.catalog.items import BackingPump, Catalog, Item, PumpKind, SpeedCurve, VapourPump
from server.catalog.tables import load_catalog
from server.fit.candidates import Back, Field, Front, fields_of
from server.fit.choice import StackChoice, field_of_choice
from server.fit.costs import Purse
from server.fit.evaluation import How, Judged, count_rejected, judge
from server.fit.explain import Spot
from server.fit.inquiry import read_inquiry
from server.fit.loads import Loads, loads_of
from server.fit.requirements import Requirements
from tests.fit.stock import a_backing_pump, a_catalog, a_vapour_pump

DEMO = Path(__file__).parents[2] / "catalog_demo"

COATER: dict[str, Any] = {
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
    "line": {"length": "0.4 m", "bends": 1},
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
    "utilities": {"cooling_water": True, "three_phase": False, "mains_voltage": "230 V"},
    "commercial": {"horizon_years": 3, "energy_price_per_kwh": "0.24"},
}
"""The example of the contract."""

DISTILLATION: dict[str, Any] = {
    "title": "Short-path still, 10 Pa",
    "application": "distillation",
    "chamber": {
        "volume": "20 L",
        "port": "KF 50",
        "surfaces": [{"material": "borosilicate_glass", "area": "0.5 m2"}],
        "leak_rate": "0.5 Pa*m3/s",
    },
    "line": {"length": "0.1 m", "bends": 0},
    "target_pressure": "5 Pa",
    "process": {"pressure": "15 Pa", "gas": [{"species": "air", "flow": "30 sccm"}]},
    "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "230 V"},
}


@cache
def demo_catalog() -> Catalog:
    """The demo catalogue, loaded once."""
    return load_catalog(DEMO)


def inquiry(base: Mapping[str, Any], **changes: Any) -> Requirements:
    """Return an inquiry with changes; ``process__gas=…`` changes the entry of a group."""
    data: dict[str, Any] = copy.deepcopy(dict(base))
    for path, value in changes.items():
        *groups, last = path.split("__")
        place = data
        for group in groups:
            place = place.setdefault(group, {})
        if value is None:
            place.pop(last, None)
        else:
            place[last] = value
    return read_inquiry(data)


@dataclass(frozen=True)
class Stack:
    """One judged combination."""

    front: Front | None
    back: Back
    judged: Judged
    row: int
    column: int

    @property
    def skus(self) -> tuple[str, ...]:
        """Every pump, fluid and trap by SKU."""
        back = (self.back.backing, self.back.booster, self.back.trap, self.back.oil)
        parts: list[Item | None] = [*back]
        if self.front is not None:
            parts = [self.front.pump, self.front.fluid, self.front.trap, *parts]
        return tuple(part.sku for part in parts if part is not None)

    def ratio(self, key: str) -> float:
        """Ratio of a margin, NaN where it does not apply."""
        ledger = next((led for name, led in self.judged.ledgers.items() if name == key), None)
        if ledger is None:
            return np.nan
        shape = self.judged.worst_share.shape
        return float(np.broadcast_to(ledger.ratio, shape)[self.row, self.column])


@dataclass(frozen=True)
class Judgement:
    """All fields of an inquiry, judged."""

    requirements: Requirements
    loads: Loads
    fields: tuple[Field, ...]
    judged: tuple[Judged, ...]
    refused: Counter[str]

    @property
    def considered(self) -> int:
        """Combinations looked at."""
        return sum(field.considered for field in self.fields)

    @property
    def rejected(self) -> Counter[str]:
        """Rejected combinations by reason."""
        return sum((count_rejected(judged) for judged in self.judged), Counter(self.refused))

    def count(self, verdict: str) -> int:
        """Combinations that are ``fits`` or ``marginal``."""
        return sum(int(getattr(judged, verdict).sum()) for judged in self.judged)

    def returned(self) -> list[Stack]:
        """Every stack that no margin fails."""
        return [
            stack_of(judged, int(row), int(column))
            for judged in self.judged
            for row, column in zip(*np.nonzero(~judged.fails), strict=True)
        ]


def stack_of(judged: Judged, row: int, column: int) -> Stack:
    """Return one combination of a judged field."""
    field = judged.case.field
    return Stack(field.fronts[row], field.backs[column], judged, row, column)


def spot_of(requirements: Requirements, catalog: Catalog, choice: StackChoice) -> Spot:
    """Judge one chosen combination."""
    field = field_of_choice(choice, requirements, catalog)
    purse = Purse(requirements, catalog)
    judged = judge(
        field, loads_of(requirements), requirements, catalog, purse, How(follow_all=True)
    )
    return Spot(judged, 0, 0)


def judge_all(
    requirements: Requirements, catalog: Catalog, *, follow_all: bool = False
) -> Judgement:
    """Judge every combination of a catalogue for an inquiry."""
    loads, purse = loads_of(requirements), Purse(requirements, catalog)
    fields = fields_of(requirements, catalog)
    refused: Counter[str] = Counter()
    judged = []
    for field in fields:
        refused.update(field.refused)
        if field.size:
            judged.append(judge(field, loads, requirements, catalog, purse, How(follow_all)))
    return Judgement(requirements, loads, fields, tuple(judged), refused)


_DONE: dict[str, Judgement] = {}


def judged_demo(base: Mapping[str, Any], **changes: Any) -> Judgement:
    """Judge the demo catalogue; the same inquiry is judged once in a run."""
    key = json.dumps([base, changes], sort_keys=True)
    if key not in _DONE:
        _DONE[key] = judge_all(inquiry(base, **changes), demo_catalog())
    return _DONE[key]


BENCH: dict[str, Any] = {
    "title": "Bench without lines",
    "chamber": {
        "volume": "100 L",
        "temperature": "20 degC",
        "port": "KF 50",
        "surfaces": [{"material": "stainless_steel", "area": "0.01 m2", "condition": "unbaked"}],
        "leak_rate": "0 Pa*m3/s",
    },
    "line": {"length": "0 m", "bends": 0},
    "rough_line": {"length": "0 m", "bends": 0},
    "foreline": {"length": "0 m", "bends": 0},
    "target_pressure": "1e-2 Pa",
    "utilities": {"cooling_water": True, "three_phase": False, "mains_voltage": "230 V"},
}
"""An inquiry in which nothing but the pumps matters."""


def a_bench(*items: Item) -> Catalog:
    """Return a catalogue of these items; tables are kept by version, so each has its own."""
    version = hashlib.sha256(repr(items).encode()).hexdigest()
    return replace(a_catalog(items), version=version)


def a_jet(speed_m3_s: float = 0.065, **changes: Any) -> VapourPump:
    """A small vapour-jet pump that keeps its speed up to its largest inlet pressure."""
    pump = replace(
        a_vapour_pump("JET", inlet="KF 50"),
        largest_inlet_pa=13.33,
        largest_throughput_pa_m3_s=speed_m3_s * 13.33,
        tolerable_foreline_no_load_pa=66.66,
        tolerable_foreline_full_load_pa=66.66,
        boiler_k=535.0,
        **changes,
    )
    points = (1e-6, 13.33)
    return replace(pump, curves=(SpeedCurve("nitrogen", points, (speed_m3_s, speed_m3_s)),))


def a_rougher(speed_m3_s: float = 2.5e-3, ultimate_pa: float = 1e-3, **changes: Any) -> BackingPump:
    """A backing pump of constant speed, a dry one with a hot exhaust."""
    pump = replace(
        a_backing_pump("ROUGHER", kind=PumpKind.SCROLL, oil_charge_m3=0.0),
        ultimate_pa=ultimate_pa,
        **changes,
    )
    return replace(pump, curves=(SpeedCurve("air", (1.0, 1.1e5), (speed_m3_s, speed_m3_s)),))
