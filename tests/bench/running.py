"""A real server process to measure, and what the kernel says of a process."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from server.bootstrap import ROOT


@dataclass(frozen=True)
class Running:
    """A server that said it is ready."""

    url: str
    pid: int
    started_s: float
    """Clock (`time.perf_counter`) just before its start."""


@contextmanager
def a_server(data_dir: Path | None = None) -> Iterator[Running]:
    """Start ``python -m server`` on a free port; stop it at the end."""
    with tempfile.TemporaryDirectory() as empty:
        words = ["-m", "server", "--port", "0", "--data-dir", str(data_dir or empty)]
        started = time.perf_counter()
        process = subprocess.Popen(  # noqa: S603  # our own program
            [sys.executable, *words], cwd=ROOT, stdout=subprocess.PIPE, text=True
        )
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
            assert "open " in line, line
            yield Running(line.split("open ")[1].strip(), process.pid, started)
        finally:
            process.terminate()
            process.wait(30)


def memory_mb(pid: int, field: str = "VmRSS") -> float:
    """Return a size of a process as Linux tells it: ``VmRSS`` now, ``VmHWM`` at most."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith(f"{field}:"):
            return float(line.split()[1]) / 1024
    raise AssertionError(f"no {field} of process {pid}")


def cpu_s(pid: int) -> float:
    """Return the processor time that a process has used."""
    words = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")
