"""Where the files that are not code lie: beside the package in a checkout, inside it in a wheel."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


class Folder(StrEnum):
    """The folders of files that go with the code."""

    TEMPLATES = "templates"
    STATIC = "static"
    CATALOG_DEMO = "catalog_demo"


def checkout() -> Path | None:
    """Return the top of the checkout this code runs from, or None for an installed wheel."""
    return None if (_PACKAGE / "_data").is_dir() else _PACKAGE.parent


def folder(name: Folder) -> Path:
    """Return a folder of files that go with the code.

    Parameters
    ----------
    name : Folder
        Which one.

    Returns
    -------
    Path
        The checkout's folder; for an installed wheel, the copy inside the package.
    """
    top = checkout()
    return (top if top is not None else _PACKAGE / "_data") / name.value


def default_data_dir(data_home: Path) -> Path:
    """Return where the database goes when nobody says.

    Parameters
    ----------
    data_home : Path
        The user's folder for the data of programs.

    Returns
    -------
    Path
        ``.data`` in a checkout, which git ignores; else ``pumpwright`` in the user's folder.
    """
    top = checkout()
    return top / ".data" if top is not None else data_home / "pumpwright"
