"""``python3 -m tests figures``: what was promised and what is reached, as one table.

Nothing is asserted about time: a figure depends on the machine and on what else it does. The
accuracy rows come from the very tests that assert them.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from server.bootstrap import ROOT
from tests.accuracy import AIMS, Quantity
from tests.bench import measures, paper_measures
from tests.bench.event_loop import health_while_advising
from tests.bench.running import a_server, memory_mb

COMPARING = (
    "tests/physics/test_tube.py",
    "tests/physics/test_gas.py",
    "tests/physics/test_vapour.py",
    "tests/physics/test_conductance.py",
    "tests/physics/test_pumpdown.py",
    "tests/fit/test_states.py",
    "tests/fit/test_evacuation.py",
)
GROWTHS = (1, 3, 10, 30)
MEDIAN = "median, each inquiry new; the start out of the collector's sight, as in the server"


@dataclass(frozen=True)
class Figure:
    """One row of the table."""

    what: str
    found: str
    aim: str
    note: str = ""


def main() -> int:
    """Print every figure; return pytest's code of the tests that compare."""
    sys.stdout.write(f"{_load()}\n")
    for heading, figures in (("Speed", speed), ("Process", process), ("Growth", growth)):
        _print(heading, figures())
    sys.stdout.write("\nThe tests that compare with the outside world\n")
    sys.stdout.flush()
    code, rows = accuracy_figures()
    _print("Accuracy: worst deviation from the reference", rows)
    return code


def speed() -> Iterator[Figure]:
    """Measure what an answer takes once everything is loaded, as processor time of one thread."""
    catalog = measures.demo()
    for name, case in measures.CASES.items():
        seconds = measures.advice_s(case, catalog)
        yield Figure(f"advice, {name}", _ms(seconds), "100 ms", MEDIAN)
    work = measures.many_pump_downs()
    work()
    yield Figure("20,000 pump-downs", _ms(measures.cpu_of(work)), "20 ms", "floor of a prototype")
    yield Figure("catalogue, read again", _ms(measures.cpu_of(measures.demo)), "100 ms")
    yield from documents()
    one = measures.per_stack()
    yield Figure(
        "a stack against solve_ivp, rtol 1e-4",
        f"{one.times_cheaper:,.0f} ×",
        "500 ×",
        f"{one.engine * 1e6:.2f} µs and {one.solver * 1e3:.1f} ms; {one.stacks:,} stacks",
    )


def documents() -> Iterator[Figure]:
    """Measure documents of a quote once the library and the fonts are loaded."""
    for name, made, aim in (
        ("PDF of a quote of 60 lines", paper_measures.pdfs(60), "150 ms"),
        ("spreadsheet of it", paper_measures.sheets(60), "100 ms"),
    ):
        next(made)
        seconds = min(measures.cpu_of(partial(next, made)) for _ in range(5))
        yield Figure(name, _ms(seconds), aim, "best of 5, each another quote")


def process() -> Iterator[Figure]:
    """Measure fresh processes: start, size, and whether the server goes on answering."""
    first = measures.first_answer()
    parts = f"imports {_ms(first.imports)}, catalogue {_ms(first.catalog)}, advice "
    note = f"processor {first.cpu:.2f} s: {parts}{_ms(first.advice)}"
    yield Figure("first answer of a fresh process", f"{first.wall:.2f} s", "1.5 s", note)
    empty, resident, peak = measures.told_by(measures.MEMORY)
    note = f"{empty:.0f} MB before the first; at most {peak:.0f} MB"
    yield Figure("memory after ten advices of each example", f"{resident:.0f} MB", "250 MB", note)
    with a_server() as running:
        yield Figure("memory of the server, ready", f"{memory_mb(running.pid):.0f} MB", "250 MB")
    median, last, count = health_while_advising()
    note = f"median {_ms(median)}, {count:,} checks"
    yield Figure("health check while 8 advices run, p99", _ms(last), "50 ms", note)


def growth() -> Iterator[Figure]:
    """Measure larger catalogues."""
    first: measures.Grown | None = None
    for times in GROWTHS:
        grown = measures.growth(times)
        if grown is None:
            limits = f"{measures.GROWTH_LIMIT_S} s or {measures.GROWTH_LIMIT_BYTES >> 30} GB"
            yield Figure(f"advice over {times} × the pumps", "none", f"{times} × the time",
                         f"no answer within {limits}")  # fmt: skip
            continue
        first = first or grown
        more = f"{grown.seconds / first.seconds:.1f} × the time"
        yield Figure(
            f"advice over {grown.pumps:,} pumps",
            _ms(grown.seconds),
            f"{times} × the time" if times > 1 else "",
            f"{more}, {grown.considered:,} combinations, {grown.peak_mb:.0f} MB",
        )


COMPARE = """
import json, pathlib, sys
import pytest
code = pytest.main(sys.argv[2:])
from tests.accuracy import kept  # only now: pytest rewrites what it imports
pathlib.Path(sys.argv[1]).write_text(json.dumps(list(kept())))
sys.exit(code)
"""


def accuracy_figures() -> tuple[int, list[Figure]]:
    """Run the tests that compare with the outside world, and tell the worst of each kind."""
    with tempfile.NamedTemporaryFile("r", encoding="utf-8") as told:
        words = [*COMPARING, "-q", "-p", "no:cacheprovider", "-n", "0", "--no-header"]
        command = [sys.executable, "-c", COMPARE, told.name, *words]
        code = subprocess.run(command, cwd=ROOT, check=False).returncode  # noqa: S603  # our tests
        found = json.loads(told.read())
    return code, [
        Figure(name, _percent(worst), _percent(AIMS[Quantity(name)]), f"{count:,} comparisons")
        for name, worst, count in found
    ]


def _print(heading: str, figures: Iterator[Figure] | list[Figure]) -> None:
    sys.stdout.write(f"\n{heading}\n")
    for figure in figures:
        line = f"  {figure.what:<48} {figure.found:>10}   aim {figure.aim:<15} {figure.note}"
        sys.stdout.write(f"{line.rstrip()}\n")
        sys.stdout.flush()


def _load() -> str:
    busy = os.getloadavg()[0]
    return f"{os.cpu_count()} processors, {busy:.1f} of them busy before the start."


def _ms(seconds: float) -> str:
    return f"{seconds * 1e3:.1f} ms"


def _percent(share: float) -> str:
    return f"{share * 100:.2g} %"


if __name__ == "__main__":
    sys.exit(main())
