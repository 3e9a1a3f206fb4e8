"""What an offer must say of its goods: dangerous goods, export control, what can leave when."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from server.catalog.items import (
    Catalog,
    CleaningSupply,
    Item,
    Pump,
    Spare,
    SparePurpose,
    VapourPump,
)


@dataclass(frozen=True)
class DangerousGoods:
    """Lines that travel under the rules for dangerous goods."""

    un_number: str
    """Such as ``UN 1090``."""
    name: str
    hazard_class: str
    """Class or division, subsidiary ones in brackets."""
    packing_group: str
    """Empty where the class has none."""
    skus: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """What the offer says."""
        group = f", packing group {self.packing_group}" if self.packing_group else ""
        return (
            f"{self.un_number} {self.name}, class {self.hazard_class}{group} "
            f"({', '.join(self.skus)}): dangerous goods, packed, marked and carried by the rules "
            "for the mode of transport; carriers may refuse them or charge more."
        )


@dataclass(frozen=True)
class _Substance:
    un_number: str
    name: str
    hazard_class: str
    packing_group: str


# UN Model Regulations (Recommendations on the Transport of Dangerous Goods), list of ch. 3.2;
# packing groups of class 3 by flash and boiling point, ch. 2.3. n-Hexane, toluene, methanol and
# liquid nitrogen from memory (high confidence). Ethanol: group II above 80 %.
_SUBSTANCES: dict[str, _Substance] = {
    "acetone": _Substance("UN 1090", "acetone", "3", "II"),
    "ethanol": _Substance("UN 1170", "ethanol", "3", "II"),
    "isopropanol": _Substance("UN 1219", "2-propanol (isopropanol)", "3", "II"),
    "n_hexane": _Substance("UN 1208", "hexanes", "3", "II"),
    "toluene": _Substance("UN 1294", "toluene", "3", "II"),
    "methanol": _Substance("UN 1230", "methanol", "3 (6.1)", "II"),
}
_BY_NUMBER = {each.un_number: each for each in _SUBSTANCES.values()}
_LIQUID_NITROGEN = _Substance("UN 1977", "nitrogen, refrigerated liquid", "2.2", "")


def dangerous_goods(items: Iterable[Item]) -> tuple[DangerousGoods, ...]:
    """Return the dangerous goods among items, in the order of their UN numbers.

    Parameters
    ----------
    items : iterable of Item
        What is offered. A solvent counts by its UN number in the catalogue, or by its substance.
    """
    found: dict[_Substance, list[str]] = {}
    for item in items:
        substance = _substance_of(item)
        if substance is not None and item.sku not in found.setdefault(substance, []):
            found[substance].append(item.sku)
    return tuple(
        DangerousGoods(s.un_number, s.name, s.hazard_class, s.packing_group, tuple(skus))
        for s, skus in sorted(found.items(), key=lambda pair: pair[0].un_number)
    )


def _substance_of(item: Item) -> _Substance | None:
    if isinstance(item, Spare) and item.purpose is SparePurpose.LIQUID_NITROGEN:
        return _LIQUID_NITROGEN
    if not isinstance(item, CleaningSupply):
        return None
    if not item.un_number:
        return _SUBSTANCES.get(item.substance)
    unknown = _Substance(item.un_number, item.substance, "see its safety data sheet", "")
    return _BY_NUMBER.get(item.un_number, unknown)


# EU Regulation 2021/821, Annex I, entry 2B231: all three together. The list of INFCIRC/254/Part 2,
# 3.A.8, has 13.3 mPa (from memory); the narrower EU figure is used.
CONTROLLED_THROAT_M = 0.38
CONTROLLED_SPEED_M3_S = 15.0
CONTROLLED_ULTIMATE_PA = 0.013
_SPEED_GASES = frozenset({"air", "nitrogen"})


def export_hints(items: Iterable[Item]) -> tuple[str, ...]:
    """Return a hint for each pump that meets the published thresholds of export control.

    The throat is the vapour pump's own, or the inlet flange's clear bore; speed is the largest for
    air or nitrogen.
    """
    pumps = {item.sku: item for item in items if isinstance(item, Pump)}
    return tuple(_hint(pump) for pump in pumps.values() if _is_controlled(pump))


def _throat_m(pump: Pump) -> float:
    return pump.throat_m if isinstance(pump, VapourPump) else pump.inlet.bore_m


def _largest_speed_m3_s(pump: Pump) -> float:
    curves = [curve for curve in pump.curves if curve.gas in _SPEED_GASES]
    return max((max(curve.speed_m3_s) for curve in curves), default=0.0)


def _is_controlled(pump: Pump) -> bool:
    return (
        _throat_m(pump) >= CONTROLLED_THROAT_M
        and _largest_speed_m3_s(pump) >= CONTROLLED_SPEED_M3_S
        and pump.ultimate_pa < CONTROLLED_ULTIMATE_PA
    )


def _hint(pump: Pump) -> str:
    return (
        f"{pump.name}: throat {_throat_m(pump) * 1000:.0f} mm, "
        f"{_largest_speed_m3_s(pump):.3g} m³/s and an ultimate pressure of "
        f"{pump.ultimate_pa * 1000:.2g} mPa meet the thresholds of dual-use entry 2B231 "
        "(EU Regulation 2021/821, Annex I): ask your compliance officer before you offer or ship."
    )


@dataclass(frozen=True)
class Shipment:
    """What can leave on one day."""

    day: date
    pieces: tuple[tuple[str, int], ...]
    """(SKU, pieces)."""


@dataclass(frozen=True)
class Wanted:
    """Pieces of one line."""

    sku: str
    quantity: int
    counts: bool
    """An included line takes its pieces first."""


def pieces_from_stock(wanted: Sequence[Wanted], catalog: Catalog) -> tuple[int, ...]:
    """Return for each line how many of its pieces can leave at once.

    Included lines take from the stock first, in their order; optional and alternative ones see
    what these leave.

    Parameters
    ----------
    wanted : sequence of Wanted
        The lines; a line without SKU takes nothing from any stock.
    catalog : Catalog
        Stock.
    """
    left = {line.sku: catalog.get(line.sku, Item).stock for line in wanted if line.sku}
    taken = [0] * len(wanted)
    for index in sorted(range(len(wanted)), key=lambda i: (not wanted[i].counts, i)):
        line = wanted[index]
        if line.sku:
            taken[index] = min(line.quantity, max(left[line.sku], 0))
            if line.counts:
                left[line.sku] -= taken[index]
    return tuple(taken)


def shipments(start: date, lines: Iterable[tuple[str, int, int, int]]) -> tuple[Shipment, ...]:
    """Return the part shipments, earliest first.

    Parameters
    ----------
    start : date
        Day the order is placed, at the earliest the day of the offer.
    lines : iterable of (SKU, pieces, pieces from stock, lead time [day])
        Lines with a SKU that count.
    """
    by_day: dict[date, dict[str, int]] = {}
    for sku, quantity, from_stock, lead_time_days in lines:
        later = start + timedelta(days=lead_time_days)
        for day, pieces in ((start, from_stock), (later, quantity - from_stock)):
            if pieces:
                leaving = by_day.setdefault(day, {})
                leaving[sku] = leaving.get(sku, 0) + pieces
    return tuple(Shipment(day, tuple(pieces.items())) for day, pieces in sorted(by_day.items()))
