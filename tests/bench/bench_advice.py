"""How long an advice takes, and what it rests on.

Run by name: ``python3 -m tests tests/bench/bench_advice.py -n 0 --benchmark-only``; all figures
with what they should be: ``python3 -m tests figures``.
"""

from __future__ import annotations

from typing import Any

import pytest

from server.catalog.items import Catalog
from server.fit.advice import advise
from server.fit.inquiry import read_inquiry
from tests.bench.measures import CASES, FIRST_ANSWER, demo, many_pump_downs, told_by, varied


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return demo()


@pytest.mark.parametrize("name", list(CASES))
def test_full_advice(benchmark: Any, catalog: Catalog, name: str) -> None:
    asked = varied(read_inquiry(CASES[name]))
    advice = benchmark(lambda: advise(next(asked), catalog))
    assert (advice.counts.fit > 0) == (name != "nothing fits")


def test_pump_down_of_20_000_candidates(benchmark: Any) -> None:
    assert benchmark(many_pump_downs()).reached.all()


def test_reading_the_catalogue(benchmark: Any) -> None:
    assert benchmark(demo).items


def test_first_answer_of_a_fresh_process(benchmark: Any) -> None:
    """Start Python, read the catalogue, answer one inquiry."""
    benchmark.pedantic(told_by, args=(FIRST_ANSWER,), rounds=3)
