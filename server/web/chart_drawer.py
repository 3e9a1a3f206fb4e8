"""Keeps the specifications of charts under their hash, draws each once, and keeps the drawing."""

from __future__ import annotations

import gzip
import hashlib
import json
import multiprocessing
import os
import re
import tempfile
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from server.errors import NotFound
from server.web import chart_worker
from server.web.chart_theme import Theme, themed

Result = TypeVar("Result")

_KEY = re.compile(r"[0-9a-f]{24}")
LONGEST_DRAWING_S = 60.0
MOST_FILES = 4000


class Kept(StrEnum):
    """Kinds of files kept in the folder of charts, by their ending."""

    SPEC = ".json"
    DRAWING = ".svg"
    BUNDLE = ".js.gz"


class ChartDrawer:
    """Draws charts in a process of its own and keeps them in a folder.

    Parameters
    ----------
    folder : Path
        Made when needed; may be emptied at any time, pages put the specifications back.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._pool: ProcessPoolExecutor | None = None
        self._lock = threading.Lock()

    def keep(self, spec: Mapping[str, object]) -> str:
        """Keep a specification and return its key.

        Parameters
        ----------
        spec : mapping
            Vega-Lite with the colour names of the theme.

        Returns
        -------
        str
            24 hexadecimal figures of its hash.
        """
        text = json.dumps(spec, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()
        key = hashlib.sha256(text).hexdigest()[:24]
        path = self._folder / f"{key}{Kept.SPEC}"
        if not path.exists():
            self._thin_out()
            self._write(path, text)
        return key

    def spec(self, key: str, theme: Theme) -> dict[str, object]:
        """Return a kept specification in the colours of a theme.

        Parameters
        ----------
        key : str
            As returned by `keep`.
        theme : Theme
            Light or dark.

        Raises
        ------
        NotFound
            When no chart has the key.
        """
        path = self._folder / f"{key}{Kept.SPEC}"
        if not _KEY.fullmatch(key) or not path.is_file():
            raise NotFound("There is no such chart. Load its page again.")
        return themed(json.loads(path.read_bytes()), theme)

    def svg(self, key: str, theme: Theme) -> bytes:
        """Return the drawing of a kept specification.

        Parameters
        ----------
        key : str
            As returned by `keep`.
        theme : Theme
            Light or dark.

        Raises
        ------
        NotFound
            When no chart has the key.
        """
        spec = self.spec(key, theme)
        # The theme may change from one release to the next: its colours are part of the name.
        look = hashlib.sha256(json.dumps(spec, sort_keys=True).encode()).hexdigest()[:12]
        path = self._folder / f"{key}-{look}{Kept.DRAWING}"
        if path.is_file():
            return path.read_bytes()
        drawing = self._in_the_pool(chart_worker.draw, spec).encode()
        self._write(path, drawing)
        return drawing

    def bundle(self) -> bytes:
        """Return the gzipped JavaScript module for charts in the browser, made once."""
        path = self._folder / f"bundle-{bundle_version()}{Kept.BUNDLE}"
        if not path.is_file():
            self._write(
                path, gzip.compress(self._in_the_pool(chart_worker.make_bundle).encode(), mtime=0)
            )
        return path.read_bytes()

    def close(self) -> None:
        """End the drawing process."""
        with self._lock:
            pool, self._pool = self._pool, None
        if pool is not None:
            pool.shutdown(wait=True, cancel_futures=True)

    def _in_the_pool(self, work: Callable[..., Result], *given: object) -> Result:
        for attempt in (1, 2):
            try:
                return self._running_pool().submit(work, *given).result(LONGEST_DRAWING_S)
            except BrokenProcessPool:  # the process was killed, by a lack of memory for one
                self.close()
                if attempt == 2:
                    raise
        raise AssertionError("unreachable")

    def _running_pool(self) -> ProcessPoolExecutor:
        with self._lock:
            if self._pool is None:
                start_fresh = multiprocessing.get_context("spawn")
                self._pool = ProcessPoolExecutor(max_workers=1, mp_context=start_fresh)
            return self._pool

    def _write(self, path: Path, content: bytes) -> None:
        """Write beside and move into place, so that no reader sees half a file."""
        self._folder.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=self._folder, prefix=".part-")
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(name).replace(path)

    def _thin_out(self) -> None:
        """Drop the older half once the folder holds too many files; pages put them back."""
        if not self._folder.is_dir():
            return
        files = [p for p in self._folder.iterdir() if p.suffix in {Kept.SPEC, Kept.DRAWING}]
        if len(files) < MOST_FILES:
            return
        files.sort(key=lambda path: path.stat().st_mtime)
        for path in files[: len(files) // 2]:
            path.unlink(missing_ok=True)


def bundle_version() -> str:
    """Return what the bundle's content depends on, short."""
    from importlib.metadata import version

    return version("vl-convert-python")
