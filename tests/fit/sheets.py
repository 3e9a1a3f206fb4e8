"""Stacks of every kind with their workings, to be followed by hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from server.catalog.items import Catalog, PumpKind, RootsBooster, TrapKind
from server.catalog.items import VapourPump as Jet
from server.fit.candidates import fields_of
from server.fit.costs import Purse
from server.fit.evaluation import Judged, judge
from server.fit.explain import Spot, margins_of
from server.fit.loads import loads_of
from server.fit.results import Working
from server.fit.workings import benches_of, workings_of
from tests.fit.engine_cases import (
    COATER,
    Stack,
    demo_catalog,
    inquiry,
    judged_demo,
    stack_of,
)

R = 8.314462618  # CODATA 2018
ROOM_K = 293.15
ATM_PA = 101_325.0

SURFACE_SCIENCE: dict[str, Any] = {
    "title": "Baked chamber",
    "chamber": {
        "volume": "60 L",
        "port": "CF 160",
        "surfaces": [{"material": "stainless_steel", "area": "1.5 m2", "condition": "baked"}],
        "leak_rate": "1e-9 mbar*L/s",
    },
    "line": {"length": "0.2 m", "bends": 0},
    "target_pressure": "1e-7 mbar",
    "pump_down_time": "20 h",
    "duty": {
        "cycles_per_day": 0.1,
        "time_at_pressure": "24 h",
        "days_per_year": 300,
        "shift": "24 h",
    },
    "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "400 V"},
}
OVEN: dict[str, Any] = {
    "title": "Drying oven",
    "chamber": {
        "volume": "300 L",
        "temperature": "60 degC",
        "surfaces": [{"material": "mild_steel", "area": "4 m2", "condition": "unbaked"}],
    },
    "target_pressure": "30 Pa",
    "pump_down_time": "40 min",
    "process": {
        "pressure": "300 Pa",
        "gas": [{"species": "nitrogen", "flow": "50 sccm"}],
        "vapour": [{"substance": "water", "rate": "60 g/h"}],
    },
    "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "400 V"},
}


def is_jet(stack: Stack) -> bool:
    return stack.front is not None and isinstance(stack.front.pump, Jet)


def has_trap(stack: Stack) -> bool:
    return stack.front is not None and stack.front.trap is not None


def is_cold_trapped(stack: Stack) -> bool:
    trap = stack.front.trap if stack.front else None
    return trap is not None and trap.kind is TrapKind.NITROGEN_TRAP


def has_kind(stack: Stack, kind: PumpKind) -> bool:
    return stack.front is not None and stack.front.pump.kind is kind


def is_rough(stack: Stack) -> bool:
    return stack.front is None and stack.back.booster is None and stack.back.trap is None


KINDS: dict[str, tuple[dict[str, Any], Callable[[Stack], bool]]] = {
    "vapour-jet": (
        COATER,
        lambda s: is_jet(s) and not has_trap(s) and not s.back.booster and not s.back.trap,
    ),
    "vapour-jet with cold trap": (COATER, lambda s: is_jet(s) and is_cold_trapped(s)),
    "vapour-jet with booster": (
        COATER,
        lambda s: is_jet(s) and isinstance(s.back.booster, RootsBooster),
    ),
    "turbomolecular": (
        COATER,
        lambda s: (
            has_kind(s, PumpKind.TURBOMOLECULAR_DRAG) and not has_trap(s) and not s.back.booster
        ),
    ),
    "cryo": (COATER, lambda s: has_kind(s, PumpKind.CRYO)),
    "sputter-ion": (SURFACE_SCIENCE, lambda s: has_kind(s, PumpKind.SPUTTER_ION)),
    "rough": (OVEN, is_rough),
    "rough with booster": (
        OVEN,
        lambda s: s.front is None and isinstance(s.back.booster, RootsBooster),
    ),
    "rough with condenser": (OVEN, lambda s: s.front is None and s.back.trap is not None),
}


@dataclass(frozen=True)
class Sheet:
    """The workings of one stack, by key."""

    stack: Stack
    lines: tuple[Working, ...]

    def __getitem__(self, key: str) -> Working:
        return next(line for line in self.lines if line.key == key)

    def value(self, key: str) -> float:
        """Return a value that is a number."""
        value = self[key].value
        assert isinstance(value, float)
        return value

    def starting(self, *starts: str) -> list[Working]:
        """Return the lines whose key starts with one of these."""
        return [line for line in self.lines if line.key.startswith(starts)]

    @property
    def states(self) -> list[str]:
        """Keys of the states that exist."""
        return [key for key in ("base", "process") if self.starting(f"{key}-balance")]


def number(line: Working, name: str) -> float:
    """Return the input whose name starts with this."""
    found = [value for label, value in line.inputs.items() if label.startswith(name)]
    assert len(found) == 1, (line.key, name, list(line.inputs))
    assert isinstance(found[0], float | int)
    return float(found[0])


def numbers(line: Working, name: str) -> list[float]:
    """Return all inputs whose names start with this."""
    found = [value for label, value in line.inputs.items() if label.startswith(name)]
    assert all(isinstance(value, float | int) for value in found)
    return [float(value) for value in found]


def sheet_of(stack: Stack) -> Sheet:
    lines = lines_of(stack.judged, stack.row, stack.column, demo_catalog())
    return Sheet(stack, lines)


def lines_of(judged: Judged, row: int, column: int, catalog: Catalog) -> tuple[Working, ...]:
    """Return the workings of one place of a judged field."""
    spot = Spot(judged, row, column)
    purse = Purse(judged.case.requirements, catalog)
    (bench,) = benches_of([spot], purse)
    return workings_of(bench, margins_of(spot))


@cache
def returned(title: str) -> list[Stack]:
    """Return the stacks of one inquiry that no margin fails; only one field of the smaller two."""
    base = next(base for base, _ in KINDS.values() if base["title"] == title)
    if base is COATER:
        return judged_demo(COATER).returned()
    requirements, catalog = inquiry(base), demo_catalog()
    wanted = None if base is OVEN else PumpKind.SPUTTER_ION
    field = next(
        field
        for field in fields_of(requirements, catalog)
        for front in field.fronts[:1]
        if (None if front is None else front.pump.kind) is wanted
    )
    judged = judge(
        field, loads_of(requirements), requirements, catalog,
        Purse(requirements, catalog),
    )  # fmt: skip
    return [stack_of(judged, int(f), int(b)) for f, b in np.argwhere(~judged.fails)]


@cache
def sheet_named(name: str) -> Sheet:
    base, wanted = KINDS[name]
    return sheet_of(next(stack for stack in returned(base["title"]) if wanted(stack)))


def close(one: float, other: float, relative: float = 1e-9) -> bool:
    return math.isclose(one, other, rel_tol=relative, abs_tol=1e-300)
