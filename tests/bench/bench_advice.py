"""How long an advice takes.

Run by name: ``python3 -m tests tests/bench/bench_advice.py -n 0 --benchmark-only``.
"""

from __future__ import annotations

import subprocess
import sys
from typing import Any

import numpy as np
import pytest

from server.catalog.items import Catalog
from server.catalog.tables import load_catalog
from server.fit.advice import advise
from server.fit.inquiry import read_inquiry
from server.fit.requirements import Requirements
from server.paths import Folder, folder
from server.physics.gasload import GasLoad
from server.physics.pumpdown import Phase, pump_down
from server.physics.speedtable import SpeedTable, log_grid
from server.web.examples import EXAMPLES

NOTHING_FITS = {
    "chamber": {"volume": "5 m3"},
    "target_pressure": "1e-9 mbar",
    "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "400 V"},
}


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog(folder(Folder.CATALOG_DEMO))


@pytest.fixture(scope="module")
def coater() -> Requirements:
    return read_inquiry(EXAMPLES["mirror-coater"])


def test_full_advice(benchmark: Any, catalog: Catalog, coater: Requirements) -> None:
    advice = benchmark(advise, coater, catalog)
    assert advice.counts.fit > 0


def test_advice_when_nothing_fits(benchmark: Any, catalog: Catalog) -> None:
    advice = benchmark(advise, read_inquiry(NOTHING_FITS), catalog)
    assert advice.counts.fit == 0


def test_pump_down_of_20_000_candidates(benchmark: Any) -> None:
    """Speeds, volumes and loads over three decades each, from the atmosphere to 1 mPa."""
    rng = np.random.default_rng(1)
    n = 20_000
    grid = log_grid(1e-6, 1.2e5)
    table = SpeedTable(grid, np.geomspace(0.01, 10.0, 200)[:, None] * np.ones((1, grid.count)))
    load = GasLoad(1e-6, np.geomspace(1e-6, 1e-3, n)[:, None], np.array([1.0]))
    phase = Phase(table, rng.integers(0, 200, n), 101_325.0, 1e-3)
    volume = np.exp(rng.uniform(np.log(0.01), np.log(10.0), n))
    found = benchmark(pump_down, volume, load, phase, 1e6)
    assert found.reached.all()


def test_reading_the_catalogue(benchmark: Any) -> None:
    assert benchmark(load_catalog, folder(Folder.CATALOG_DEMO)).items


def test_first_answer_of_a_fresh_process(benchmark: Any) -> None:
    """Start Python, read the catalogue, answer one inquiry."""
    program = (
        "from server.catalog.tables import load_catalog\n"
        "from server.fit.advice import advise\n"
        "from server.fit.inquiry import read_inquiry\n"
        "from server.paths import Folder, folder\n"
        "from server.web.examples import EXAMPLES\n"
        "read = read_inquiry(EXAMPLES['mirror-coater'])\n"
        "assert advise(read, load_catalog(folder(Folder.CATALOG_DEMO))).stacks\n"
    )
    benchmark.pedantic(
        subprocess.run, args=([sys.executable, "-c", program],), kwargs={"check": True}, rounds=3
    )
