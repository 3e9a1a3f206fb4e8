"""Reads the reference tables; each row carries its source."""

from __future__ import annotations

import csv
from pathlib import Path

FOLDER = Path(__file__).parents[1] / "reference"


def rows(name: str) -> list[dict[str, str]]:
    with (FOLDER / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def numbers(name: str, column: str) -> list[float]:
    return [float(row[column]) for row in rows(name)]
