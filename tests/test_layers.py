"""The shape of the code: one-way imports, modules of a size to read, nothing stray at the top."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from server.bootstrap import ROOT

LONGEST_MODULE = 400
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "server",
    "templates",
    "static",
    "catalog_demo",
    "tests",
}
PACKAGES = ("physics", "catalog", "fit", "quoting", "store", "web", "units")
MODULES = sorted(
    path.relative_to(ROOT)
    for folder in ("server", "tests")
    for path in (ROOT / folder).rglob("*.py")
)


def lint_imports(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [str(Path(sys.executable).parent / "lint-imports"), "--no-cache"]
    return subprocess.run(  # noqa: S603  # the tool of this environment
        command, cwd=folder, capture_output=True, text=True, check=False
    )


def test_the_import_contracts_hold() -> None:
    finished = lint_imports(ROOT)
    assert finished.returncode == 0, finished.stdout


def small_copy(folder: Path) -> Path:
    """Make an empty project of our layers under our contracts, which it keeps."""
    shutil.copy(ROOT / "pyproject.toml", folder)
    server = folder / "server"
    for package in ("", *PACKAGES):
        (server / package).mkdir()
        (server / package / "__init__.py").touch()
    for module in ("__main__", "cli", "errors", "paths", "bootstrap", "web/app"):
        (server / f"{module}.py").touch()
    (server / "web/app.py").write_text("import server.store\n", encoding="utf-8")
    return server


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("web/nothing.py", "import math"),
        ("physics/gas.py", "import server.catalog"),
        ("units/table.py", "import server.physics"),
        ("errors.py", "import server.fit"),
        ("bootstrap.py", "import server.errors"),
        ("store/rows.py", "import server.web"),
        ("quoting/quote.py", "import sqlmodel"),
        ("fit/advice.py", "import fastapi"),
        ("web/pages.py", "import server.store"),
        ("stray.py", "import math"),
    ],
)
def test_the_contracts_catch_what_they_forbid(tmp_path: Path, module: str, line: str) -> None:
    server = small_copy(tmp_path)
    (server / module).write_text(f"{line}\n", encoding="utf-8")
    allowed = module == "web/nothing.py"
    assert (lint_imports(tmp_path).returncode == 0) is allowed


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_a_module_says_what_it_is_and_fits_in_one_sitting(module: Path) -> None:
    text = (ROOT / module).read_text(encoding="utf-8")
    assert ast.get_docstring(ast.parse(text)), "a module begins with what it is for"
    assert text.count("\n") <= LONGEST_MODULE


def test_the_top_level_holds_what_a_newcomer_expects() -> None:
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert found - {"__pycache__", "build", "dist"} == TOP_LEVEL


def test_the_locks_name_no_place_to_fetch_from() -> None:
    for lock in (ROOT / ".locks").glob("*.txt"):
        text = lock.read_text(encoding="utf-8")
        assert "://" not in text
        assert "index" not in text
        pinned = [line for line in text.splitlines() if line[:1].isalnum()]
        assert pinned
        assert all("==" in line for line in pinned)


def test_the_test_lock_agrees_with_the_run_lock() -> None:
    def pins(name: str) -> set[str]:
        lines = (ROOT / ".locks" / name).read_text(encoding="utf-8").splitlines()
        return {
            line.partition("==")[0] + "==" + line.split("==")[1].split()[0]
            for line in lines
            if line[:1].isalnum()
        }

    assert pins("run.txt") <= pins("test.txt")
