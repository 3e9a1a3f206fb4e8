"""Every public function of the physics states the unit of every argument it takes."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator

import pytest

import server.physics
from server.physics.sources import SOURCES

KNOWN_UNITS = {
    "-", "any", "m", "m2", "m3", "s", "h", "K", "Pa", "kg", "kg/s", "kg/mol", "mol/s", "m/s",
    "m3/s", "Pa s", "Pa m/s", "Pa m3", "Pa m3/s", "Pa2 m6/s2", "J/kg", "J", "W", "1/s", "kg/(m2 s)",
}  # fmt: skip


def public_functions() -> Iterator[tuple[str, Callable[..., object]]]:
    for module in pkgutil.iter_modules(server.physics.__path__, "server.physics."):
        members = inspect.getmembers(importlib.import_module(module.name), inspect.isfunction)
        for name, function in members:
            if function.__module__ == module.name and not name.startswith("_"):
                yield f"{module.name}.{name}", function


def documented_units(function: Callable[..., object]) -> dict[str, str]:
    """Read "name : type" and the last bracket of the text below it, up to the next section."""
    text = inspect.getdoc(function) or ""
    section = re.search(r"Parameters\n-+\n(.*?)(?:\n\n\w+\n-+\n|\Z)", text, re.DOTALL)
    if section is None:
        return {}
    units: dict[str, str] = {}
    entries = re.split(r"^(?=\S)", section.group(1), flags=re.MULTILINE)
    for entry in filter(str.strip, entries):
        head = entry.split(":", 1)[0]
        found = re.findall(r"\[([^\]]+)\]", entry)
        for name in head.split(","):
            units[name.strip().lstrip("*")] = found[-1] if found else "missing"
    return units


@pytest.mark.parametrize(
    "function", [pytest.param(function, id=name) for name, function in public_functions()]
)
def test_every_argument_states_a_known_unit(function: Callable[..., object]) -> None:
    units = documented_units(function)
    assert list(units) == list(inspect.signature(function).parameters)
    assert set(units.values()) <= KNOWN_UNITS, units


@pytest.mark.parametrize(
    "name",
    [
        module.name
        for module in pkgutil.iter_modules(server.physics.__path__)
        if module.name != "sources"
    ],
)
def test_every_cited_source_is_listed(name: str) -> None:
    text = inspect.getsource(importlib.import_module(f"server.physics.{name}"))
    cited = set(re.findall(r"\b[A-Z]{3,}-\d{4}\b", text))
    assert cited <= set(SOURCES)
