"""Larger catalogues: every pump of the demo several times over, a little different each time."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from random import Random

from server.catalog.items import Catalog
from server.catalog.tables import build_catalog, read_folder
from server.paths import Folder, folder

PUMP_TABLES = tuple(
    f"pumps_{kind}.csv" for kind in ("vapour", "turbo", "capture", "backing", "booster")
)
SIDE_TABLES = (
    "speed_points.csv",
    "compression.csv",
    "compression_booster.csv",
    "capacity.csv",
    "supplied_parts.csv",
    "price_list.csv",
)
WITH_SPEED = ("displacement", "largest_throughput", "ballast")
WITH_ULTIMATE = ("ultimate", "ultimate_ballast")
LEAST_SPEED, MOST_ULTIMATE, PRICE_SPREAD = 0.85, 1.2, 0.25
_NUMBER = re.compile(r"[0-9.]+(?:e[+-]?[0-9]+)?", re.IGNORECASE)

Rows = list[dict[str, str]]


def grown_catalog(times: int, seed: int = 1) -> Catalog:
    """Return the demo with its pumps so many times over, read and checked as any catalogue."""
    return build_catalog(grown_tables(times, seed))


def grown_tables(times: int, seed: int = 1) -> Mapping[str, bytes]:
    """Return the demo's tables with copies of every pump.

    A copy has a SKU and a price of its own, is up to 15 % slower (a pump cannot be faster than its
    throat lets molecules in) and ends up to 20 % higher; what depends on its speed goes with it.
    """
    files = dict(read_folder(folder(Folder.CATALOG_DEMO)))
    tables = {name: _rows(files[name]) for name in (*PUMP_TABLES, *SIDE_TABLES, "spares.csv")}
    pumps = {row["sku"] for name in PUMP_TABLES for row in tables[name]}
    random = Random(seed)  # noqa: S311  # plausible, not secret
    grown = {name: list(rows) for name, rows in tables.items()}
    for copy in range(1, times):
        changes = {
            sku: (random.uniform(LEAST_SPEED, 1.0), random.uniform(1.0, MOST_ULTIMATE),
                  random.uniform(1.0 - PRICE_SPREAD, 1.0 + PRICE_SPREAD))
            for sku in sorted(pumps)
        }  # fmt: skip
        for name in (*PUMP_TABLES, *SIDE_TABLES):
            grown[name] += [
                _copied(row, copy, *changes[row["sku"]])
                for row in tables[name]
                if row["sku"] in pumps
            ]
    _fit_spares(grown, tables, pumps, times)
    return files | {name: _text(rows) for name, rows in grown.items()}


def _fit_spares(
    grown: Mapping[str, Rows], tables: Mapping[str, Rows], pumps: set[str], times: int
) -> None:
    """Let spares fit the copies too: further spares for every ten, as a cell holds no more."""
    prices = {row["sku"]: row for row in tables["price_list.csv"]}
    for row in tables["spares.csv"]:
        fitting = [word for word in row["fits"].replace(";", " ").split() if word in pumps]
        for first in range(0, times if fitting else 0, 10):
            copies = range(max(first, 1), min(first + 10, times))
            more = [f"{sku}-{copy}" for copy in copies for sku in fitting]
            if first == 0:
                row["fits"] = " ".join([row["fits"], *more])
                continue
            sku = f"{row['sku']}-{first}"
            grown["spares.csv"].append({**row, "sku": sku, "fits": " ".join(more)})
            grown["price_list.csv"].append({**prices[row["sku"]], "sku": sku})


def _copied(
    row: Mapping[str, str], copy: int, speed: float, ultimate: float, price: float
) -> dict[str, str]:
    made = {**row, "sku": f"{row['sku']}-{copy}"}
    if row.get("variant_of"):
        made["variant_of"] = f"{row['variant_of']}-{copy}"
    factors = dict.fromkeys(("speed", *WITH_SPEED), speed)
    factors |= dict.fromkeys(WITH_ULTIMATE, ultimate)
    factors |= dict.fromkeys(("price", "cost_price"), price)
    for column, factor in factors.items():
        if row.get(column):
            digits = ".2f" if "price" in column else ".4g"
            made[column] = _NUMBER.sub(
                lambda found, by=factor, how=digits: format(float(found[0]) * by, how),  # type: ignore[misc]
                row[column],
                count=1,
            )
    return made


def _rows(content: bytes) -> Rows:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def _text(rows: Rows) -> bytes:
    into = io.StringIO(newline="")
    writer = csv.DictWriter(into, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return into.getvalue().encode()
