"""Benches on which nothing but the pumps matters, and the numbers of their margins."""

from __future__ import annotations

from typing import Any

import numpy as np

from server.catalog.items import CapturePump, Cooling, PumpKind, SpeedCurve
from server.fit.candidates import Field, fields_of
from server.fit.costs import Purse
from server.fit.evaluation import How, Judged, judge
from server.fit.loads import loads_of
from server.fit.results import MarginKey
from tests.fit.engine_cases import BENCH, Stack, a_bench, inquiry, stack_of
from tests.fit.stock import a_turbo_pump


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
    curves = tuple(SpeedCurve(gas, (1e-8, 1.0), (0.5, 0.5)) for gas in ("nitrogen", "hydrogen"))
    base = a_turbo_pump("CRYO")
    shared = {name: getattr(base, name) for name in ("name", "price", "cost_price", "mass_kg")}
    return CapturePump(
        sku="CRYO",
        stock=1,
        lead_time_days=30,
        kind=PumpKind.CRYO,
        inlet=base.inlet,
        ultimate_pa=1e-8,
        mains_voltages=(230,),
        phases=1,
        power_w=3000.0,
        cooling=Cooling.AIR,
        noise_dba=60.0,
        service_hours=13_000.0,
        largest_inlet_pa=1.0,
        curves=curves,
        start_pressure_pa=40.0,
        cool_down_s=6000.0,
        regeneration_s=14_400.0,
        largest_throughput_pa_m3_s=1.0,
        capacity_pa_m3={"nitrogen": capacity_pa_m3},
        **shared,
    )
