"""Laws of any engine: a harder job never helps, and every combination is counted."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from server.catalog.items import (
    Catalog,
    Cooling,
    SpeedCurve,
)
from server.fit.candidates import fields_of
from server.fit.costs import Purse
from server.fit.evaluation import How, judge
from server.fit.loads import loads_of
from server.fit.results import MarginKey
from tests.fit.engine_cases import (
    BENCH,
    a_bench,
    a_jet,
    a_rougher,
    inquiry,
)
from tests.fit.stock import a_fluid, a_turbo_pump

Ratios = NDArray[np.float64]

FLUID = a_fluid("FLUID", "90.00", 65e-6)
TURBO = replace(
    a_turbo_pump(),
    cooling=Cooling.AIR,
    largest_inlet_pa=5.0,
    compression={"nitrogen": 1e9, "hydrogen": 1e4, "water": 1e8},
    curves=(SpeedCurve("nitrogen", (1e-7, 0.1, 1.0, 5.0), (0.1, 0.1, 0.08, 0.03)),),
)
# only in the direction that makes the job harder
HARDER = st.fixed_dictionaries(
    {
        "leak": st.floats(1.0, 50.0),
        "area": st.floats(1.0, 50.0),
        "length": st.floats(1.0, 20.0),
        "gas": st.floats(1.0, 20.0),
        "bore": st.floats(0.3, 1.0),
    }
)
# one cell of the speed tables: S ∝ 1/p read linearly (0.3 %), twice
TABLE = 0.01


def ratios(catalog: Catalog, harder: dict[str, float]) -> dict[tuple[int, MarginKey], Ratios]:
    requirements = inquiry(
        BENCH,
        chamber__leak_rate=f"{1e-4 * harder['leak']} Pa*m3/s",
        chamber__surfaces=[
            {"material": "stainless_steel", "area": f"{0.3 * harder['area']} m2"},
            {"material": "fkm", "area": f"{0.001 * harder['area']} m2"},
        ],
        line={
            "length": f"{0.1 * harder['length']} m",
            "bore": f"{0.05 * harder['bore']} m",
            "bends": 1,
        },
        foreline={
            "length": f"{0.2 * harder['length']} m",
            "bore": f"{0.025 * harder['bore']} m",
            "bends": 0,
        },
        rough_line={
            "length": f"{0.2 * harder['length']} m",
            "bore": f"{0.025 * harder['bore']} m",
            "bends": 0,
        },
        process={
            "pressure": "1 Pa",
            "gas": [{"species": "nitrogen", "flow": f"{1e-3 * harder['gas']} Pa*m3/s"}],
        },
        pump_down_time="30 min",
    )
    loads, purse = loads_of(requirements), Purse(requirements, catalog)
    found: dict[tuple[int, MarginKey], Ratios] = {}
    for number, field in enumerate(fields_of(requirements, catalog)):
        if not field.size:
            continue
        judged = judge(field, loads, requirements, catalog, purse, How(follow_all=True))
        for key, ledger in judged.ledgers.items():
            found[number, key] = np.broadcast_to(ledger.ratio, judged.worst_share.shape)
    return found


EASY = {"leak": 1.0, "area": 1.0, "length": 1.0, "gas": 1.0, "bore": 1.0}


@cache
def small_catalog() -> Catalog:
    return a_bench(a_jet(), TURBO, a_rougher(), replace(a_rougher(20e-3), sku="LARGER"), FLUID)


@cache
def easy_ratios() -> dict[tuple[int, MarginKey], Ratios]:
    return ratios(small_catalog(), EASY)


@settings(max_examples=15)
@given(harder=HARDER)
def test_a_harder_job_never_improves_a_margin(harder: dict[str, float]) -> None:
    hard = ratios(small_catalog(), harder)
    assert hard.keys() == easy_ratios().keys()
    for key, easy in easy_ratios().items():
        applies = ~np.isnan(easy)
        assert np.array_equal(applies, ~np.isnan(hard[key])), key
        better = hard[key][applies] > easy[applies] * (1 + TABLE)
        assert not better.any(), (key, hard[key], easy)


@pytest.mark.parametrize("what", sorted(EASY))
def test_each_way_of_making_it_harder_costs_some_margin(what: str) -> None:
    hard = ratios(small_catalog(), EASY | {what: 0.4 if what == "bore" else 10.0})
    losses = [
        key for key, easy in easy_ratios().items() if np.any(hard[key] < easy * (1 - 2 * TABLE))
    ]
    assert losses, what


@settings(max_examples=10)
@given(speed=st.floats(0.02, 0.09), backing=st.floats(5e-4, 3e-2), target=st.floats(1e-4, 10.0))
def test_counts_add_up_for_any_small_catalogue(speed: float, backing: float, target: float) -> None:
    catalog = a_bench(a_jet(speed), TURBO, a_rougher(backing), FLUID)
    requirements = inquiry(BENCH, target_pressure=f"{target} Pa")
    loads, purse = loads_of(requirements), Purse(requirements, catalog)
    for field in fields_of(requirements, catalog):
        judged = judge(field, loads, requirements, catalog, purse)
        assert field.considered == int(
            judged.fits.sum() + judged.marginal.sum() + judged.fails.sum()
        ) + sum(field.refused.values())
