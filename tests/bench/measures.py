"""What is measured of speed and size; benchmarks and the table of figures share it."""

from __future__ import annotations

import gc
import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice
from typing import Any

import numpy as np

from server.bootstrap import ROOT
from server.catalog.items import Catalog, Pump
from server.catalog.tables import load_catalog
from server.fit.advice import advise
from server.fit.inquiry import read_inquiry
from server.fit.requirements import Requirements
from server.paths import Folder, folder
from server.physics.gasload import GasLoad
from server.physics.pumpdown import Phase, PhaseResult, pump_down
from server.physics.speedtable import SpeedTable, log_grid
from server.web.examples import EXAMPLES
from tests.bench.running import memory_mb
from tests.catalog.grown import grown_catalog
from tests.fit.engine_cases import COATER, judge_all
from tests.fit.test_evacuation import Chamber, followed, integrated_s

NOTHING_FITS: Mapping[str, object] = {
    "chamber": {"volume": "5 m3"},
    "target_pressure": "1e-9 mbar",
    "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "400 V"},
}
CASES: Mapping[str, Mapping[str, object]] = {**EXAMPLES, "nothing fits": NOTHING_FITS}
STEP = 1.01
"""Each round's chamber and line are larger by a percent: no cache of whole inquiries helps."""


def demo() -> Catalog:
    """Read the demo catalogue."""
    return load_catalog(folder(Folder.CATALOG_DEMO))


def varied(requirements: Requirements) -> Iterator[Requirements]:
    """Yield an inquiry again and again, never the same twice."""
    factor = 1.0
    while True:
        factor *= STEP
        chamber = replace(requirements.chamber, volume_m3=requirements.chamber.volume_m3 * factor)
        line = replace(requirements.line, length_m=requirements.line.length_m * factor)
        yield replace(requirements, chamber=chamber, line=line)


def cpu_of(work: Callable[[], object]) -> float:
    """Return the processor time of some work. [s]"""
    before = time.process_time()
    work()
    return time.process_time() - before


@contextmanager
def started() -> Iterator[None]:
    """Put what there is out of the collector's sight, as the server does once it has started."""
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()


def advice_s(case: Mapping[str, object], catalog: Catalog, rounds: int = 7) -> float:
    """Return the median processor time of an advice once everything is loaded. [s]

    What was loaded is out of the collector's sight, as in the server (``server/cli.py``): the
    collector looks at what answers make, and not again and again at what a start has made.
    """
    asked = varied(read_inquiry(case))
    advise(next(asked), catalog)
    with started():
        return statistics.median(
            cpu_of(partial(advise, inquiry, catalog)) for inquiry in islice(asked, rounds)
        )


# --- a process of its own ----------------------------------------------------------------------

FIRST_ANSWER = """
import resource, time
started = time.process_time()
from server.catalog.tables import load_catalog
from server.fit.advice import advise
from server.fit.inquiry import read_inquiry
from server.paths import Folder, folder
from server.web.examples import EXAMPLES
loaded = time.process_time()
catalog = load_catalog(folder(Folder.CATALOG_DEMO))
read = time.process_time()
assert advise(read_inquiry(next(iter(EXAMPLES.values()))), catalog).stacks
print(loaded, read - loaded, time.process_time() - read, time.process_time())
"""
MEMORY = """
from server.catalog.tables import load_catalog
from server.fit.advice import advise
from server.fit.inquiry import read_inquiry
from server.paths import Folder, folder
from server.web.examples import EXAMPLES
from tests.bench.running import memory_mb
import os
catalog = load_catalog(folder(Folder.CATALOG_DEMO))
sizes = [memory_mb(os.getpid())]
for case in EXAMPLES.values():
    for _ in range(10):
        advise(read_inquiry(case), catalog)
print(*sizes, memory_mb(os.getpid()), memory_mb(os.getpid(), "VmHWM"))
"""


def told_by(program: str, *words: str) -> tuple[float, ...]:
    """Run a program in a fresh process and return the numbers it prints."""
    command = [sys.executable, "-c", program, *words]
    done = subprocess.run(  # noqa: S603  # our own code
        command, cwd=ROOT, check=True, capture_output=True, text=True
    )
    return tuple(float(word) for word in done.stdout.split())


@dataclass(frozen=True)
class FirstAnswer:
    """Seconds of a process that reads the catalogue and answers one inquiry."""

    wall: float
    cpu: float
    imports: float
    catalog: float
    advice: float


def first_answer(rounds: int = 3) -> FirstAnswer:
    """Return the quickest of a few fresh processes."""
    found = []
    for _ in range(rounds):
        before = time.perf_counter()
        imports, read, advice, cpu = told_by(FIRST_ANSWER)
        found.append(FirstAnswer(time.perf_counter() - before, cpu, imports, read, advice))
    return min(found, key=lambda one: one.wall)


# --- pump-downs --------------------------------------------------------------------------------


def many_pump_downs(count: int = 20_000) -> Callable[[], PhaseResult]:
    """Return work: speeds, volumes and loads over three decades, atmosphere to 1 mPa.

    How far from the floor: the same candidates marched down 160 nodes of ln p, at constant load and
    with one gathered speed, one product and one quotient a node, take 9 ms of numpy where this
    takes about 80. Half of them come to their targets without steps, the others are stepped until
    the load of their surfaces begins to decay. Unlike that march it follows load and pressure where
    one runs after the other: seven points of an integral, of which each costs two logarithms
    and an exponential for each kind of surface, at 6 to 14 ns apiece, and some rounds where the
    load has not had fifteen time constants to slow down.
    """
    rng = np.random.default_rng(1)
    grid = log_grid(1e-6, 1.2e5)
    table = SpeedTable(grid, np.geomspace(0.01, 10.0, 200)[:, None] * np.ones((1, grid.count)))
    load = GasLoad(1e-6, np.geomspace(1e-6, 1e-3, count)[:, None], np.array([1.0]))
    phase = Phase(table, rng.integers(0, 200, count), 101_325.0, 1e-3)
    volume = np.exp(rng.uniform(np.log(0.01), np.log(10.0), count))
    return lambda: pump_down(volume, load, phase, 1e6)


@dataclass(frozen=True)
class PerStack:
    """Processor time of one stack of a field, and of its pump-down by an adaptive solver. [s]"""

    engine: float
    solver: float
    stacks: int

    @property
    def times_cheaper(self) -> float:
        """The solver's time in units of the engine's."""
        return self.solver / self.engine


def per_stack(sample: int = 12) -> PerStack:
    """Compare states, margins and pump-downs of a whole field with ``solve_ivp`` at rtol 1e-4.

    The engine's time is shared by the combinations it evaluates, without those that a part rules
    out by itself; the solver follows the pump-down alone, its speeds given, for a sample of those
    that reach the target.
    """
    catalog = demo()
    asked = varied(read_inquiry(COATER))
    judge_all(next(asked), catalog)
    inquiry = next(asked)
    before = time.process_time()
    judgement = judge_all(inquiry, catalog)
    seconds = time.process_time() - before
    evaluated = sum(judged.worst_share.size for judged in judgement.judged)
    chamber = Chamber(judgement, rtol=1e-4)
    stacks = followed(judgement)
    chosen = [stacks[i] for i in np.linspace(0, len(stacks) - 1, sample).astype(int)]
    before = time.process_time()
    for judged, row, column in chosen:
        integrated_s(chamber, judged, row, column)
    solver = (time.process_time() - before) / sample
    return PerStack(seconds / evaluated, solver, evaluated)


# --- growth ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Grown:
    """An advice over a larger catalogue, in a process of its own."""

    times: int
    pumps: int
    considered: int
    seconds: float
    peak_mb: float


GROWTH_LIMIT_S = 300
"""Processor time of a first answer and those that are measured: a busy machine changes nothing."""
GROWTH_ENOUGH_S = 20.0
"""Answers are measured again until so much time has gone into them."""
GROWTH_LIMIT_BYTES = 4 * 2**30
"""A shared machine survives an engine that does not."""


def growth(times: int) -> Grown | None:
    """Return what an advice over so many times the demo's pumps takes; None over the limits.

    A stack is a high-vacuum pump, a backing pump and mostly a booster, so combinations grow with
    the 2.5th to 2.7th power of the number of pumps. What a part or a bound rules out costs nothing
    for each combination: it is counted by the part. Of what is left, fronts that differ in the
    price of their fluid alone are judged as one: for the mirror coater 12 thousand pairs, 0.12, 1.8
    and 46 million at 1, 3, 10 and 30 times the pumps. Bounds decide 96 % of these and 4 % are
    followed, 1.5 to 2 µs each with all that is worked out for a back. One answer took 0.21, 0.67,
    3.7 and 76 s of processor time, and the process held at most 158, 224, 442 and 858 MB. So time
    still grows with the pairs that may work, only at about a quarter of the price: each of them
    is compared. What is held is one block, the speeds of 2,000 backs, the backs, and 19 bytes for
    each set of pumps that works.
    """
    program = "import sys; from tests.bench.measures import tell_growth; tell_growth(sys.argv[1])"
    try:
        pumps, considered, seconds, peak = told_by(program, str(times))
    except subprocess.CalledProcessError:
        return None
    return Grown(times, int(pumps), int(considered), seconds, peak)


def tell_growth(times: str) -> None:
    """Print the numbers of `Grown` for a process that only does this."""
    resource.setrlimit(resource.RLIMIT_AS, (GROWTH_LIMIT_BYTES, GROWTH_LIMIT_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (GROWTH_LIMIT_S, GROWTH_LIMIT_S))
    catalog = grown_catalog(int(times))
    case: Any = next(iter(EXAMPLES.values()))
    asked, taken = varied(read_inquiry(case)), list[float]()
    considered = advise(next(asked), catalog).counts.considered
    while len(taken) < 3 and sum(taken) < GROWTH_ENOUGH_S:
        taken.append(cpu_of(partial(advise, next(asked), catalog)))
    seconds = statistics.median(taken)
    pumps = len(catalog.of_type(Pump))
    sys.stdout.write(f"{pumps} {considered} {seconds} {memory_mb(os.getpid(), 'VmHWM')}\n")
