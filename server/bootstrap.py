"""Make the checkout's own environment and continue inside it.

This module runs before any package is installed: the standard library alone, and no other module
of the project.
"""

from __future__ import annotations

import compileall
import fcntl
import hashlib
import os
import subprocess
import sys
import tomllib
import venv
from collections.abc import Sequence
from importlib import metadata
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
LOCKS = ROOT / ".locks"
PYTHON = VENV / "bin" / "python"
# Which locks bring what a lock is needed for: the tests' packages include the program's.
BROUGHT_BY = {"run": ("run", "test"), "test": ("test",)}


class SetupFailed(Exception):
    """The environment cannot be made; the message says what to do about it."""


def ensure_environment(module: str, lock_name: str, arguments: Sequence[str]) -> None:
    """Return when the packages of a lock are at hand, else install them and start over.

    Parameters
    ----------
    module : str
        What to start again inside the environment, as in ``python -m module``.
    lock_name : str
        ``run`` or ``test``: the lock in ``.locks`` whose packages are needed.
    arguments : sequence of str
        The command line that is handed on unchanged.

    Raises
    ------
    SetupFailed
        When the environment cannot be made, for example in a folder that cannot be written.
    """
    lock = LOCKS / f"{lock_name}.txt"
    if not lock.is_file():
        return  # an installed wheel: its installer brought the packages
    inside = Path(sys.prefix).resolve() == VENV.resolve()
    if inside and _is_current(lock) and _venv_fits_this_python():
        return
    if not inside and sys.prefix != sys.base_prefix and _has_packages(lock_name):
        return
    if not _is_current(lock):
        _fill(lock)
    _continue_inside(module, arguments)


def _stamp_of(lock: Path) -> str:
    version = _venv_version()
    return hashlib.sha256(lock.read_bytes() + version.encode()).hexdigest()


def _venv_version() -> str:
    try:
        lines = (VENV / "pyvenv.cfg").read_text(encoding="utf-8").splitlines()
    except OSError:
        return ""
    return next((line for line in lines if line.startswith("version")), "")


def _venv_fits_this_python() -> bool:
    """Tell a `.venv` whose Python was replaced by a newer one, with its packages left behind."""
    return f"= {sys.version_info.major}.{sys.version_info.minor}." in _venv_version()


def _stamp_file(lock: Path) -> Path:
    return VENV / f".filled-{lock.stem}"


def _is_current(lock: Path) -> bool:
    brought = (LOCKS / f"{name}.txt" for name in BROUGHT_BY[lock.stem])
    return PYTHON.exists() and any(_was_filled_from(one) for one in brought)


def _was_filled_from(lock: Path) -> bool:
    try:
        stamp = _stamp_file(lock).read_text(encoding="ascii")
    except OSError:
        return False
    return stamp == _stamp_of(lock)


def _has_packages(lock_name: str) -> bool:
    declared = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = list(declared["project"]["dependencies"])
    if lock_name != "run":
        wanted += declared["dependency-groups"][lock_name]
    try:
        for requirement in wanted:
            metadata.distribution(requirement.partition(">=")[0].partition("[")[0].strip())
    except metadata.PackageNotFoundError:
        return False
    return True


def _fill(lock: Path) -> None:
    """Make or top up ``.venv``; two starts at once wait for each other."""
    try:
        VENV.mkdir(exist_ok=True)
        guard = (VENV / ".guard").open("w")
    except OSError as error:
        raise SetupFailed(
            f"The environment cannot be made: {VENV} cannot be written ({error.strerror}). "
            "Copy the checkout to a folder of your own, or start it from a virtual environment "
            "that has its packages (pip install .)."
        ) from error
    with guard:
        fcntl.flock(guard, fcntl.LOCK_EX)
        if _is_current(lock):
            return  # the other start has done it
        print(f"Setting up {VENV} (once; about a minute) …", file=sys.stderr, flush=True)
        if not _has_pip():
            _make()
        pip = [str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
        _run([*pip, "--require-hashes", "-r", str(LOCKS / "uv.txt")])
        uv = [str(VENV / "bin" / "uv"), "pip", "install", "--quiet", "--python", str(PYTHON)]
        # The machine's own certificates, as pip does: company networks often add one. Compiled
        # now, or the first start, and each where Python may not write, would take seconds for it.
        words = ["--system-certs", "--compile-bytecode", "--require-hashes", "-r", str(lock)]
        _run([*uv, *words])
        compileall.compile_dir(ROOT / "server", quiet=2)
        _stamp_file(lock).write_text(_stamp_of(lock), encoding="ascii")


def _has_pip() -> bool:
    if not PYTHON.exists():
        return False
    return not subprocess.run([str(PYTHON), "-c", "import pip"], check=False).returncode


def _make() -> None:
    try:
        venv.create(VENV, with_pip=True, symlinks=True)
    except (OSError, subprocess.CalledProcessError) as error:
        raise SetupFailed(
            f"Python could not make a virtual environment in {VENV}: {error}. "
            "On Debian, install the package python3-venv, then start again."
        ) from error


def _run(command: Sequence[str]) -> None:
    finished = subprocess.run(command, check=False)
    if finished.returncode:
        raise SetupFailed(
            f"“{' '.join(command[:4])} …” failed with exit code {finished.returncode}; "
            "its own words stand above. Without a way to a package index the first start "
            "cannot work."
        )


def _continue_inside(module: str, arguments: Sequence[str]) -> NoReturn:
    sys.stdout.flush()
    sys.stderr.flush()
    # The same process goes on as the environment's Python: signals and Ctrl-C reach it directly.
    os.execv(PYTHON, [str(PYTHON), "-m", module, *arguments])  # noqa: S606
