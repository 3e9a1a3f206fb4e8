"""A field judged in blocks gives the answer of one judged at once, and of one without bounds."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
import pytest

from server.catalog.items import (
    BackingPump,
    Catalog,
    PumpKind,
    RootsBooster,
    Trap,
    TrapPlace,
    TurboPump,
)
from server.fit.advice import advise
from server.fit.alike import Groups
from server.fit.candidates import COLD_TRAPS, Back, fields_of, make_back
from server.fit.classes import with_cheapest
from server.fit.requirements import Requirements
from server.fit.results import Advice
from server.fit.sweep import Limits
from tests.catalog.grown import grown_catalog
from tests.fit.engine_cases import COATER, DISTILLATION, demo_catalog, inquiry, judge_all

TINY = Limits(combinations=5_000, backs=70)
"""Far below the demo's fields: each becomes several portions, and these several blocks."""

SEVERAL: Mapping[str, Any] = {
    "coater": inquiry(COATER),
    "still": inquiry(DISTILLATION),
    "wet, no water": inquiry(COATER, utilities__cooling_water=False, cleanliness="low_oil"),
    "nothing fits": inquiry(COATER, target_pressure="1e-9 mbar", process=None),
}


def leaves(value: object, path: str = "") -> Iterator[tuple[str, object]]:
    """Yield every number and word of an answer."""
    if is_dataclass(value):
        for one in fields(value):
            yield from leaves(getattr(value, one.name), f"{path}.{one.name}")
    elif isinstance(value, Mapping):
        for key, part in value.items():
            yield from leaves(part, f"{path}[{key}]")
    elif isinstance(value, tuple | list):
        for place, part in enumerate(value):
            yield from leaves(part, f"{path}[{place}]")
    else:
        yield path, value


def must_be_equal(one: Advice, other: Advice) -> None:
    """Compare answers; roots of one batch and of another agree to what they are solved within.

    A rejected combination is counted under the margin that misses by most where it was judged, and
    under the bound that decided where it was not.
    """
    assert sum(one.counts.rejected.values()) == sum(other.counts.rejected.values())
    first, second = (
        [(path, leaf) for path, leaf in leaves(advice) if ".counts.rejected" not in path]
        for advice in (one, other)
    )
    assert [path for path, _ in first] == [path for path, _ in second]
    for (path, mine), (_, its) in zip(first, second, strict=True):
        if isinstance(mine, float) and isinstance(its, float) and not math.isnan(mine):
            assert mine == pytest.approx(its, rel=1e-6), path
        else:
            assert mine == its or mine != mine, path


@pytest.mark.parametrize("name", list(SEVERAL))
def test_the_answer_does_not_depend_on_the_size_of_the_blocks(name: str) -> None:
    asked = SEVERAL[name]
    must_be_equal(advise(asked, demo_catalog(), TINY), advise(asked, demo_catalog()))


def test_a_larger_catalogue_gets_the_same_answer_in_one_block_and_in_many() -> None:
    catalog, asked = grown_catalog(3), inquiry(COATER, process__vapour=None)
    at_once, few = Limits(10**9, 10**9), Limits(combinations=30_000, backs=500)
    assert max(len(field.backs) for field in fields_of(asked, catalog)) > 2 * few.backs
    must_be_equal(advise(asked, catalog, few), advise(asked, catalog, at_once))


@pytest.mark.parametrize("limits", [TINY, Limits()], ids=["blocks", "whole"])
def test_bounds_and_blocks_find_what_judging_everything_finds(limits: Limits) -> None:
    asked = inquiry(COATER)
    advice, judgement = advise(asked, demo_catalog(), limits), judge_all(asked, demo_catalog())
    assert advice.counts.considered == judgement.considered
    assert advice.counts.fit == judgement.count("fits")
    assert advice.counts.marginal == judgement.count("marginal")
    assert sum(advice.counts.rejected.values()) == sum(judgement.rejected.values())
    horizon = asked.commercial.horizon_years
    cheapest = min(
        int(judged.cost.total(horizon)[judged.fits].min())
        for judged in judgement.judged
        if judged.fits.any()
    )
    assert advice.stacks[0].cost.total_over_horizon * 100 == cheapest


@pytest.mark.parametrize(
    "asked",
    [
        inquiry(COATER, process__vapour=None),
        inquiry(COATER, process__vapour=None, commercial__budget="16000"),
    ],
    ids=["no budget", "budget"],
)
def test_a_larger_catalogue_is_counted_and_ranked_as_if_all_were_judged(
    asked: Requirements,
) -> None:
    catalog = grown_catalog(3)
    advice, judgement = advise(asked, catalog), judge_all(asked, catalog)
    assert advice.counts.fit == judgement.count("fits") > 0
    assert advice.counts.marginal == judgement.count("marginal") > 0
    assert sum(advice.counts.rejected.values()) == sum(judgement.rejected.values())
    assert advice.counts.considered == judgement.considered
    horizon = asked.commercial.horizon_years
    cheapest: dict[tuple[str, ...], int] = {}
    for judged in judgement.judged:
        total = judged.cost.total(horizon)
        for row, column in zip(*np.nonzero(judged.fits), strict=True):
            front = judged.case.field.fronts[row]
            pumps = (front.pump.sku if front else "", *judged.case.field.backs[column].skus[:2])
            cheapest[pumps] = min(cheapest.get(pumps, 10**12), int(total[row, column]))
    best = sorted(cheapest.values())
    for stack, least in zip(advice.stacks, best, strict=False):
        assert stack.cost.total_over_horizon * 100 == least


def test_of_equally_cheap_fluids_with_other_margins_each_stands_for_itself() -> None:
    alike = Groups.by(["a", "a", "b", "a", "a", "b"])
    cost, stands = np.array([7, 5, 9, 5, 5, 8]), np.array([2.0, 1.5, 1.0, 1.2, 1.5, 1.0])
    classes = with_cheapest(alike, cost, stands)
    # fluids 1 and 4 are one, 3 differs in its margin, 0 is dearer and counted with 1; 5 leads b
    assert classes.first.tolist() == [1, 3, 5]
    assert classes.members.tolist() == [3, 1, 2]


def every_back(
    asked: Requirements, catalog: Catalog, boosters: tuple[RootsBooster | TurboPump | None, ...]
) -> list[Back]:
    """Form the backs one by one, those too that cannot be used."""
    made = []
    for backing in catalog.of_type(BackingPump):
        cold = [
            trap
            for trap in catalog.of_type(Trap)
            if trap.place is TrapPlace.FORELINE and trap.kind in COLD_TRAPS
            and trap.inlet.bore_m >= 0.95 * backing.inlet.bore_m and asked.process.vapour
        ]  # fmt: skip
        for booster in boosters:
            for trap in (None, *cold) if booster is None else (None,):
                made.append(make_back(backing, booster, trap, asked, catalog))
    return made


@pytest.mark.parametrize("name", list(SEVERAL))
def test_what_is_never_formed_is_counted_as_if_it_were(name: str) -> None:
    asked, catalog = SEVERAL[name], demo_catalog()
    plain = every_back(asked, catalog, (None, *catalog.of_type(RootsBooster)))
    with_turbo = every_back(asked, catalog, catalog.of_type(TurboPump))
    for field in fields_of(asked, catalog):
        kinds = {front.pump.kind for front in field.fronts if front}
        backs = with_turbo if kinds == {PumpKind.SPUTTER_ION} else plain
        usable = {(back.skus, back.oil) for back in backs if back.refusal is None}
        assert {(back.skus, back.oil) for back in field.backs} == usable
        by_backs = Counter(back.refusal.key.value for back in backs if back.refusal)
        left = {key: count * len(field.fronts) for key, count in by_backs.items()}
        by_fronts = Counter(field.refused)
        by_fronts.subtract(left)
        # what is not the backs' comes in whole columns: a front takes all its backs along
        assert all(count >= 0 and count % len(backs) == 0 for count in by_fronts.values())
        assert field.considered % len(backs) == 0
