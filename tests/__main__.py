"""``python3 -m tests``: all checks in one command; with arguments, pytest alone with them.

``python3 -m tests figures`` prints the promises of speed, size and accuracy beside what is reached.

Sets up the environment, and Chromium with what its driver needs, on a machine that lacks them.
"""

from __future__ import annotations

import ctypes
import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

from server.bootstrap import ROOT, SetupFailed, ensure_environment

DEBIAN_PACKAGES = ("chromium", "libatomic1")
EVERYTHING = ("-n", "2", "--benchmark-disable")


def start() -> NoReturn:
    """Set up, check and go on as pytest; exit at the first check that fails, with its code."""
    arguments = sys.argv[1:]
    try:
        ensure_environment("tests", "test", arguments)
        ensure_browser(in_ci=os.environ.get("CI") == "true")
    except SetupFailed as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(2)
    os.chdir(ROOT)
    if arguments == ["figures"]:
        os.execv(sys.executable, [sys.executable, "-m", "tests.figures"])  # noqa: S606
    if not arguments:
        run_quick_checks()
        print("== pytest", flush=True)
    sys.stderr.flush()
    # This process becomes pytest: its summary is the last that is printed, its code the answer.
    words = [sys.executable, "-m", "pytest", *(arguments or EVERYTHING)]
    os.execv(sys.executable, words)  # noqa: S606


def run_quick_checks() -> None:
    """Run the checks before pytest in order; exit at the first that fails."""
    for name, command in quick_checks():
        print(f"== {name}", flush=True)
        if code := subprocess.run(command, check=False).returncode:
            print(f"== {name} failed", flush=True)
            sys.exit(code)


def quick_checks() -> tuple[tuple[str, Sequence[str]], ...]:
    """Return the checks before pytest, in order: name and command."""
    python = sys.executable
    return (
        ("ruff format", (python, "-m", "ruff", "format", "--check", ".")),
        ("ruff check", (python, "-m", "ruff", "check", ".")),
        ("mypy", (python, "-m", "mypy")),
        ("lint-imports", (str(Path(python).parent / "lint-imports"),)),
    )


def ensure_browser(*, in_ci: bool) -> None:
    """Install what the browser tests need when it is missing.

    Without the right to do so this says how; the browser tests then skip, but not in CI.
    """
    if has_browser():
        return
    if shutil.which("apt-get") and (prefix := _administrator()) is not None:
        print("Installing Chromium for the browser tests …", file=sys.stderr, flush=True)
        environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        apt = [*prefix, "apt-get", "-qq", "-o", "Dpkg::Use-Pty=0"]
        for words in (["update"], ["install", "--yes", *DEBIAN_PACKAGES]):
            subprocess.run([*apt, *words], check=False, env=environment, stdout=sys.stderr)
    if has_browser():
        return
    advice = (
        "The browser tests need Chromium. On Debian: "
        f"sudo apt-get update && sudo apt-get install {' '.join(DEBIAN_PACKAGES)}"
    )
    if in_ci:
        raise SetupFailed(advice)
    sys.stderr.write(f"{advice}\nGoing on without: those tests are skipped.\n")


def has_browser() -> bool:
    """Tell whether Chromium and the library its driver needs are there."""
    try:
        ctypes.CDLL("libatomic.so.1")
    except OSError:
        return False
    return shutil.which("chromium") is not None


def _administrator() -> list[str] | None:
    """Return the words before a command that needs the administrator, or None when refused."""
    if os.geteuid() == 0:
        return []
    if shutil.which("sudo") is None:
        return None
    asked = subprocess.run(["sudo", "-n", "true"], check=False, capture_output=True)
    return None if asked.returncode else ["sudo", "-n"]


if __name__ == "__main__":
    start()
