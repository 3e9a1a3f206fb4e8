"""Benches on which nothing but the pumps matters, and the numbers of their margins."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from server.catalog.items import CapturePump, Cooling, SpeedCurve
from server.fit.candidates import Field, fields_of
from server.fit.costs import Purse
from server.fit.evaluation import How, Judged, judge
from server.fit.loads import loads_of
from server.fit.results import MarginKey
from tests.fit import rarer_stock
from tests.fit.engine_cases import BENCH, Stack, a_bench, inquiry, stack_of


def judged_bench(*items: Any, **changes: Any) -> Judged:
    """Judge the field of the bench's high-vacuum stacks, else its rough stacks."""
    requirements, catalog = inquiry(BENCH, **changes), a_bench(*items)
    field: Field = fields_of(requirements, catalog)[0]
    loads, purse = loads_of(requirements), Purse(requirements, catalog)
    return judge(field, loads, requirements, catalog, purse, How(follow_all=True))


def only_stack(*items: Any, **changes: Any) -> Stack:
    judged = judged_bench(*items, **changes)
    assert judged.worst_share.shape == (1, 1)
    return stack_of(judged, 0, 0)


def numbers(stack: Stack, key: MarginKey) -> tuple[float, float, float]:
    """Required, available and ratio of one margin."""
    ledger, shape = stack.judged.ledgers[key], stack.judged.worst_share.shape
    place = (stack.row, stack.column)
    return (
        float(np.broadcast_to(ledger.required, shape)[place]),
        float(np.broadcast_to(ledger.available, shape)[place]),
        float(np.broadcast_to(ledger.ratio, shape)[place]),
    )


def wet(rate: str) -> dict[str, Any]:
    return {"vapour": [{"substance": "water", "rate": rate}]}


def a_cryopump(capacity_pa_m3: float) -> CapturePump:
    """A cryopump of 500 L/s that needs no water."""
    curves = tuple(SpeedCurve(gas, (1e-8, 1.0), (0.5, 0.5)) for gas in ("nitrogen", "hydrogen"))
    return replace(
        rarer_stock.a_cryopump(),
        cooling=Cooling.AIR,
        cooling_water_m3_s=0.0,
        largest_inlet_pa=1.0,
        curves=curves,
        capacity_pa_m3={"nitrogen": capacity_pa_m3},
    )
