"""What a page says about an item: its group, one line, and every public field in trade units.

The facts follow the record's fields by the unit in their names, so that a new field shows up
without a change here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Final

from server.catalog import items
from server.catalog.flanges import Flange
from server.catalog.items import Item
from server.units import Dimension, format_quantity
from server.web.formatting import duration, of_unit, quantity
from server.web.words import sentence, words


@dataclass(frozen=True)
class Fact:
    """A field as a person reads it."""

    name: str
    value: str


# Shown elsewhere on the page, or nobody's business.
_LEFT_OUT: Final = frozenset({
    "sku", "name", "price", "cost_price", "stock", "lead_time_days", "curves", "supplied",
    "compression_pressure_pa", "compression_k0", "compression_by_gas",
    "vapour_pressure_a", "vapour_pressure_b_k",
})  # fmt: skip

_UNIT_OF_ENDING: Final[Mapping[str, str]] = {
    "_pa_m3_s": "Pa m3/s",
    "_kg_m2_s": "kg/(m²·s)",
    "_pa_m3": "Pa·m³",
    "_kg_m3": "kg/m³",
    "_kg_mol": "kg/mol",
    "_kg_s": "kg/s",
    "_m3_s": "m3/s",
    "_dba": "dB(A)",
    "_hours": "h",
    "_days": "days",
    "_pa": "Pa",
    "_m3": "m3",
    "_kg": "kg",
    "_m": "m",
    "_k": "K",
    "_s": "s",
    "_w": "W",
}  # longest endings first

_GROUPS: Final[tuple[tuple[type[Item], str], ...]] = (
    (items.VapourPump, "Vapour-jet pumps and vapour boosters"),
    (items.TurboPump, "Turbomolecular pumps"),
    (items.CapturePump, "Cryopumps and sputter-ion pumps"),
    (items.BackingPump, "Backing pumps"),
    (items.RootsBooster, "Roots boosters"),
    (items.Fluid, "Fluids and oils"),
    (items.Trap, "Traps and baffles"),
    (items.Valve, "Valves"),
    (items.Gauge, "Gauges"),
    (items.Interlock, "Interlocks"),
    (items.LinePart, "Line parts and joints"),
    (items.Filter, "Filters"),
    (items.Spare, "Spares and service kits"),
    (items.CleaningSupply, "Cleaning supplies"),
)


def group_of(item: Item) -> str:
    """Return the heading an item stands under."""
    return next((name for kind, name in _GROUPS if isinstance(item, kind)), "Others")


def summary_of(item: Item) -> str:
    """Return one line on an item: what sets it apart from its neighbours.

    Parameters
    ----------
    item : Item
        Of the catalogue.

    Returns
    -------
    str
        Empty when the name says it all.
    """
    if isinstance(item, items.RootsBooster):
        return f"{_per_hour(item.displacement_m3_s)} displacement"
    if isinstance(item, items.Pump):
        best = max((max(curve.speed_m3_s) for curve in item.curves), default=None)
        shown = _per_hour if isinstance(item, items.BackingPump) else of_unit("m3/s")
        speed = [] if best is None else [f"up to {shown(best)}"]
        return ", ".join([*speed, f"to {quantity(item.ultimate_pa, 'Pa')}", f"inlet {item.inlet}"])
    if isinstance(item, items.Fluid):
        return f"{words(item.kind)}, {quantity(item.container_m3, 'm3')}"
    if isinstance(item, items.Gauge):
        return f"{quantity(item.lowest_pa, 'Pa')} to {quantity(item.highest_pa, 'Pa')}"
    flange = getattr(item, "inlet", None) or getattr(item, "flange", None)
    return str(flange) if isinstance(flange, Flange) else ""


def _per_hour(m3_s: float) -> str:
    """Return a speed as backing pumps are sold by."""
    return format_quantity(m3_s, Dimension.SPEED, "m3/h")


def facts_of(item: Item) -> tuple[Fact, ...]:
    """Return the public fields of an item, as read.

    Parameters
    ----------
    item : Item
        Of the catalogue.

    Returns
    -------
    tuple of Fact
        Empty fields are left out.
    """
    facts = []
    for entry in fields(item):
        if entry.name in _LEFT_OUT:
            continue
        name, unit = _name_and_unit(entry.name)
        text = _text(getattr(item, entry.name), unit)
        if text:
            facts.append(Fact(sentence(name), text))
    return tuple(facts)


def _name_and_unit(field: str) -> tuple[str, str]:
    for ending, unit in _UNIT_OF_ENDING.items():
        if field.endswith(ending):
            return _readable(field.removesuffix(ending)), unit
    return _readable(field), ""


def _readable(field: str) -> str:
    return _NAMES.get(field, field.replace("_", " "))


_NAMES: Final[Mapping[str, str]] = {
    "mains_voltages": "mains voltages [V]",
    "inlet": "inlet flange",
    "outlet": "outlet flange",
    "ultimate": "ultimate pressure",
    "largest_inlet": "largest inlet pressure",
    "largest_difference": "largest pressure difference",
    "cut_in": "cut-in pressure",
    "warm_up": "warm-up time",
    "run_up": "run-up time",
    "cool_down": "cool-down time",
    "cooling_after_stop": "cooling runs on after stop",
    "tolerable_foreline": "tolerable foreline pressure",
    "tolerable_foreline_no_load": "tolerable foreline pressure, no load",
    "tolerable_foreline_full_load": "tolerable foreline pressure, full load",
    "start": "highest starting pressure",
    "burst": "gas absorbed in one burst",
    "largest_throughput_by_gas": "largest throughput, other gases",
    "tolerable_foreline_by_gas": "tolerable foreline pressure, other gases",
    "tolerable_foreline_no_load_by_gas": "tolerable foreline pressure, no load, other gases",
    "tolerable_foreline_full_load_by_gas": "tolerable foreline pressure, full load, other gases",
    "largest_vapour": "largest rate of water vapour",
    "knee": "pressure at which speed begins to fall",
    "vent_below": "vent only below",
    "lowest": "lowest pressure",
    "highest": "highest pressure",
    "variant_of": "variant of",
    "mass": "mass",
    "service": "service interval",
    "throat": "throat diameter",
    "needs_heat_stable_fluid": "needs a heat-stable fluid",
    "charge": "fluid charge",
    "boiler": "boiler temperature",
    "largest_boiler": "hottest boiler it stands",
    "fits": "belongs to",
    "every": "replaced every",
    "exhaust": "temperature at the exhaust",
    "ballast": "gas ballast flow",
}


def _text(value: object, unit: str) -> str:
    empty = value is None or value in ((), frozenset(), "", 0.0) or value == {}
    if empty and not isinstance(value, bool):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    for kind, show in _SHOWN:
        if isinstance(value, kind):
            return show(value, unit)
    return str(value)


def _many(values: object, unit: str) -> str:
    assert isinstance(values, tuple | frozenset)  # noqa: S101  # as listed in _SHOWN
    listed = sorted(values, key=str) if isinstance(values, frozenset) else values
    return ", ".join(
        words(value) if isinstance(value, str) else _text(value, unit) for value in listed
    )


def _by_name(values: object, unit: str) -> str:
    assert isinstance(values, Mapping)  # noqa: S101  # as listed in _SHOWN
    return ", ".join(f"{words(name)} {_text(value, unit)}" for name, value in values.items())


def _figure(value: object, unit: str) -> str:
    assert isinstance(value, int | float)  # noqa: S101  # as listed in _SHOWN
    return duration(value) if unit == "s" else quantity(float(value), unit)


def _word(value: object, _unit: str) -> str:
    return words(value)


_SHOWN: Final[tuple[tuple[type | tuple[type, ...], Callable[[object, str], str]], ...]] = (
    (StrEnum, _word),
    (Flange, lambda value, _unit: str(value)),
    (Mapping, _by_name),
    ((tuple, frozenset), _many),
    ((int, float), _figure),
)


def has_words(item: Item, typed: str) -> bool:
    """Say whether every word that was typed stands in an item's number, name or summary."""
    text = f"{item.sku} {item.name} {summary_of(item)}".casefold()
    return all(word in text for word in typed.casefold().split())
