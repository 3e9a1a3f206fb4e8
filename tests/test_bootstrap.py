"""Set-up: when packages are installed, when not, and what is said when it cannot work."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

from server.bootstrap import ROOT

ENTRY = "from server.bootstrap import *; import sys; ensure_environment('server', 'run', [])"


def copy_of_bootstrap(folder: Path, *, with_locks: bool = True) -> Path:
    (folder / "server").mkdir()
    for name in (
        "server/__init__.py",
        "server/__main__.py",
        "server/bootstrap.py",
        "pyproject.toml",
    ):
        shutil.copy(ROOT / name, folder / name)
    if with_locks:
        shutil.copytree(ROOT / ".locks", folder / ".locks")
    return folder


def run(folder: Path, python: str, code: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(  # noqa: S603  # our own code in a copy
        [python, "-c", code], cwd=folder, capture_output=True, text=True, check=False
    )


def base_python() -> str:
    return str(Path(sys.base_prefix) / "bin" / "python3")


def test_an_environment_that_has_the_packages_is_used_as_it_is(tmp_path: Path) -> None:
    # This test's own interpreter is another environment than the copy's would be.
    folder = copy_of_bootstrap(tmp_path)
    finished = run(folder, sys.executable, f"{ENTRY}; print('went on')")
    assert finished.stdout == "went on\n"
    assert not (folder / ".venv").exists()


def test_an_installed_wheel_needs_no_set_up(tmp_path: Path) -> None:
    folder = copy_of_bootstrap(tmp_path, with_locks=False)
    finished = run(folder, base_python(), f"{ENTRY}; print('went on')")
    assert finished.stdout == "went on\n"
    assert not (folder / ".venv").exists()


def test_a_folder_where_nothing_can_be_made_is_named(tmp_path: Path) -> None:
    folder = copy_of_bootstrap(tmp_path)
    (folder / ".venv").write_text("a file in the way, as good as a read-only folder for root")
    finished = subprocess.run(  # noqa: S603  # our own code in a copy
        [base_python(), "-m", "server"], cwd=folder, capture_output=True, text=True, check=False
    )
    assert finished.returncode == 2
    assert f"{folder / '.venv'} cannot be written" in finished.stderr
    assert "Traceback" not in finished.stderr


def test_set_up_knows_the_standard_library_alone(tmp_path: Path) -> None:
    # -I -S: no site-packages at all; -X importtime would list what an import drags in.
    code = f"import sys; sys.path.insert(0, {str(ROOT)!r}); import server.bootstrap"
    finished = subprocess.run(  # noqa: S603  # our own code without any package
        [base_python(), "-I", "-S", "-c", code],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert finished.returncode == 0, finished.stderr
