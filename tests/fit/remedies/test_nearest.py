"""Which stacks count as nearest to fitting, and that a bound spares only what is farther away."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np
import pytest

from server.fit.candidates import Field, fields_of
from server.fit.costs import Purse
from server.fit.evaluation import How, Judged, judge
from server.fit.loads import loads_of
from server.fit.margins import STEADY_MARGINS
from server.fit.remedies.nearest import nearest
from server.fit.remedies.offered import remedies_for
from server.fit.requirements import Requirements
from server.fit.sweep import Prospect, Sweep
from tests.fit.engine_cases import COATER, demo_catalog, inquiry
from tests.fit.remedies.cases import trial_of

FEW_PUMPS = {"VAPOURJET-160-W-HIGHLOAD", "VAPOURJET-250-W", "TURBO-680-IK", "CRYO-200"}
FEW_BACKS = {"VANE2-0160", "VANE2-0250"}
DEEP = {"target_pressure": "1e-7 mbar"}


def few_of(asked: Requirements, pumps: set[str] = FEW_PUMPS) -> Judged:
    """Judge a handful of pumps of the catalogue, each without trap."""
    catalog = demo_catalog()
    field = fields_of(asked, catalog)[0]
    fronts = tuple(
        front
        for front in field.fronts
        if front is not None and front.pump.sku in pumps and front.trap is None
    )
    backs = tuple(back for back in field.backs if back.skus[0] in FEW_BACKS and not back.booster)
    few = Field(fronts, backs)
    return judge(few, loads_of(asked), asked, catalog, Purse(asked, catalog))


def prospect(judged: Judged, ceiling: float = np.inf, first: int = 0) -> Prospect:
    rows = np.arange(first, first + len(judged.case.field.fronts))
    return Prospect(ceiling, rows, lambda: [judged])


def unwanted(ceiling: float) -> Prospect:
    def refuse() -> Iterator[Judged]:
        pytest.fail("A prospect that its bound puts behind was judged.")

    return Prospect(ceiling, np.arange(1), refuse)


def best_shares(judged: Judged) -> dict[str, float]:
    """The best of each pump, where no stack passes all its steady margins."""
    found: dict[str, float] = {}
    for row, front in enumerate(judged.case.field.fronts):
        assert front is not None
        share = float(judged.worst_share[row].max())
        found[front.pump.sku] = max(share, found.get(front.pump.sku, -np.inf))
    return found


def test_where_a_stack_fits_there_is_nothing_to_remedy() -> None:
    asked = inquiry(COATER)
    judged = few_of(asked)
    assert judged.fits.any()
    assert remedies_for([prospect(judged)], asked, demo_catalog()) == ()


def test_where_nothing_fits_the_three_nearest_pumps_are_remedied() -> None:
    asked = inquiry(COATER, **DEEP)
    judged = few_of(asked)
    assert not judged.fits.any()
    found = nearest([prospect(judged)], 3)
    pumps = [near.front.pump.sku for near in found if near.front]
    shares = best_shares(judged)
    assert pumps == sorted(shares, key=lambda sku: -shares[sku])[:3]
    assert len(set(pumps)) == 3
    assert [near.share for near in found] == pytest.approx([shares[sku] for sku in pumps])
    remedies = remedies_for([prospect(judged)], asked, demo_catalog())
    titles = {trial_of(near, asked).title for near in found}
    assert {remedy.stack_title for remedy in remedies} == titles


def test_a_pump_is_judged_unless_its_bound_lies_below_the_last_of_those_wanted() -> None:
    asked = inquiry(COATER, **DEEP)
    judged = few_of(asked)
    shares = sorted(best_shares(judged).values(), reverse=True)
    for count in (1, 2, 3):
        wanted = nearest([prospect(judged)], count)
        below = unwanted(shares[count - 1] * (1.0 - 1e-6))
        assert nearest([prospect(judged), below], count) == wanted
        with pytest.raises(pytest.fail.Exception):
            nearest([prospect(judged), unwanted(shares[count - 1])], count)
    with pytest.raises(pytest.fail.Exception):  # too few so far: whatever comes is looked at
        nearest([prospect(judged), unwanted(1e-9)], len(shares) + 1)


def test_what_is_equally_near_keeps_the_order_in_which_it_was_formed() -> None:
    asked = inquiry(COATER, **DEEP)
    jets, cryo = few_of(asked, {"VAPOURJET-250-W"}), few_of(asked, {"CRYO-200"})
    for judged in (jets, cryo):
        judged.worst_share[:] = 0.25
    for order in itertools.permutations([prospect(jets, first=7), prospect(cryo, first=3)]):
        pumps = [near.front.pump.sku for near in nearest(order, 2) if near.front]
        assert pumps == ["CRYO-200", "VAPOURJET-250-W"]


@pytest.mark.parametrize(
    "changes",
    [
        {"target_pressure": "1e-5 mbar", "process__gas": [{"species": "argon", "flow": "3 slm"}]},
        {"target_pressure": "1e-9 mbar", "utilities__cooling_water": False},
    ],
)
def test_of_the_whole_catalogue_the_same_are_found_as_without_bounds(
    changes: dict[str, object],
) -> None:
    asked, catalog = inquiry(COATER, **changes), demo_catalog()
    loads, purse = loads_of(asked), Purse(asked, catalog)
    sweep = Sweep(loads, purse)
    for field in fields_of(asked, catalog):
        sweep.over(field)
    assert not sweep.fit
    prospects = sweep.prospects()
    ceilings = [each.ceiling for each in prospects]
    assert ceilings == sorted(ceilings, reverse=True)
    every, first = [], 0
    how = How(only=frozenset(STEADY_MARGINS))
    for field in sweep.fields:
        if field.size:
            every.append(prospect(judge(field, loads, asked, catalog, purse, how), first=first))
        first += len(field.fronts)
    expected = nearest(every, 3)
    found = nearest(prospects, 3)
    assert [(near.front, near.back) for near in found] == [
        (near.front, near.back) for near in expected
    ]
    assert [near.share for near in found] == pytest.approx([near.share for near in expected])
    for each in prospects:
        for judged in each.judge():
            assert float(judged.worst_share.max()) <= each.ceiling * (1.0 + 1e-9)
