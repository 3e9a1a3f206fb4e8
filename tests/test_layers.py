"""The shape of the code: one-way imports, modules of a size to read, nothing stray at the top."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
import tomllib
from importlib.metadata import packages_distributions
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


NAMED_OTHERWISE = {
    "python-multipart",
    "fontpkg-noto-sans",
    "fontpkg-noto-sans-arabic",
    "fontpkg-source-sans-3",
}
"""Needed without an import: FastAPI reads forms with it; the typefaces are found by their names."""


def test_the_server_asks_for_the_packages_it_imports_and_no_others() -> None:
    imported = {
        name.partition(".")[0]
        for module in MODULES
        if module.parts[0] == "server"
        for node in ast.walk(ast.parse((ROOT / module).read_text(encoding="utf-8")))
        for name in _imported_by(node)
    } - {"server", *sys.stdlib_module_names}
    owners = packages_distributions()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = {re.split(r"[\[>=]", line)[0] for line in project["dependencies"]}
    # what these packages stand on themselves, and is used with them
    beside = {"starlette", "sqlalchemy", "pydantic-core"}
    found = {owners[name][0].lower().replace("_", "-") for name in imported}
    assert found - beside == asked - NAMED_OTHERWISE


def _imported_by(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    return [node.module] if isinstance(node, ast.ImportFrom) and node.module else []
