"""What a letter says of gases, vapours, surfaces, sizes and money: an amount and its thing."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from functools import cache

from server.errors import DomainError
from server.fit.letter.cues import words
from server.fit.letter.mentions import Mention
from server.fit.letter.phrases import Phrase
from server.fit.names import resolve_material, resolve_species
from server.physics.outgassing import MATERIALS
from server.physics.species import SPECIES
from server.units import Dimension, parse_quantity

_FARTHEST = 40
_FORMULAE = r"Ar|N2|N₂|O2|O₂|He|H2|H₂|H2O|H₂O|CO2|CO₂|SF6|Kr|Xe|IPA"
_SHOP_NAMES = (
    "water vapour", "water vapor", "moisture", "steam", "dry air", "isopropyl alcohol",
    "propan-2-ol", "2-propanol", "ethyl alcohol", "hexane", "methylene chloride",
)  # fmt: skip
_SHOP_MATERIALS = ("stainless", "aluminum", "mild steel", "carbon steel", "glass", "nitrile")
_BAKED = words("baked")
_UNBAKED = words("(?:un|not |never )baked")
_SIZE = re.compile(
    r"(?<![\d.,])(?P<a>\d+(?:[.,]\d+)?) ?(?P<ua>mm|cm|m|in)? ?[x×] ?"
    r"(?P<b>\d+(?:[.,]\d+)?) ?(?P<ub>mm|cm|m|in)? ?[x×] ?"
    r"(?P<c>\d+(?:[.,]\d+)?) ?(?P<uc>mm|cm|m|in)\b"
)
_SIDE = r"(?<![\d.,])\d+(?:\.\d+)?\s?(?:mm|cm|m|inch(?:es)?|in|ft)"
_ROUND = re.compile(
    rf"(?P<d>{_SIDE})\s(?:in\s)?(?:inner\s|inside\s)?(?:diameter|dia\b\.?|i\.?d\b\.?|across)"
    rf"(?:,|\sx|\s×|\sby|\sand)*\s(?P<l>{_SIDE})\s(?:in\s)?(?:long|length|high|tall|deep|height|depth)\b",
    re.IGNORECASE,
)
_VESSEL = words(
    r"chamber|vessel|tank|oven|recipient|bell jar|furnace|cylinder|box|drum",
)
_MONEY = re.compile(
    r"(?P<before>EUR|USD|GBP|CHF|€|\$|£)\s?(?P<sum>\d[\d.,' \u00a0]{0,14}\d|\d)\s?(?P<k>k\b)?"
    r"|(?<![\d.,])(?P<sum2>\d[\d.,' \u00a0]{0,14}\d|\d)\s?(?P<k2>k)?\s?"
    r"(?P<behind>EUR|USD|GBP|CHF|€|euros?\b|dollars?\b|pounds sterling)",
    re.IGNORECASE,
)
_CURRENCIES = {"€": "EUR", "$": "USD", "£": "GBP", "EURO": "EUR", "EUROS": "EUR",
               "DOLLAR": "USD", "DOLLARS": "USD", "POUNDS STERLING": "GBP"}  # fmt: skip
_BUDGET = words(
    r"budget\w*|spend|afford|price limit|must not cost|cost no more|up to",
)
_PER_KWH = re.compile(r"\s?(?:/|per|a)\s?kWh\b", re.IGNORECASE)


def sizes(text: str) -> Iterator[Phrase]:
    """Yield the volume of a vessel whose inner dimensions a sentence states."""
    if not _VESSEL.search(text):
        return
    for found in _SIZE.finditer(text):
        unit = found["uc"]
        sides = [
            parse_quantity(f"{found[side]} {found['u' + side] or unit}", Dimension.LENGTH)
            for side in "abc"
        ]
        yield _volume(found, sides[0] * sides[1] * sides[2], "length × width × height")
    for found in _ROUND.finditer(text):
        across = parse_quantity(found["d"], Dimension.LENGTH)
        long = parse_quantity(found["l"], Dimension.LENGTH)
        yield _volume(found, math.pi / 4 * across**2 * long, "π/4 × diameter² × length")


def _volume(found: re.Match[str], volume_m3: float, how: str) -> Phrase:
    shown = f"{volume_m3 * 1000:.4g} L"
    note = f"{how}, taken as inner dimensions; side arms and pipes are not in it"
    return Phrase("chamber.volume", shown, *found.span(), note)


def money(text: str) -> Iterator[Phrase]:
    """Yield budget, currency and price of energy."""
    for found in _MONEY.finditer(text):
        written = found["sum"] or found["sum2"]
        thousands = bool(found["k"] or found["k2"])
        amount = _amount(written, thousands=thousands)
        sign = (found["before"] or found["behind"]).upper()
        currency = _CURRENCIES.get(sign, sign)
        if amount is None:
            yield Phrase("", "", *found.span(), "The amount cannot be read.")
        elif per := _PER_KWH.match(text, found.end()):
            yield Phrase("commercial.energy_price_per_kwh", amount, found.start(), per.end())
            yield Phrase("commercial.currency", currency, *found.span())
        elif _BUDGET.search(text):
            yield Phrase("commercial.budget", amount, *found.span())
            yield Phrase("commercial.currency", currency, *found.span())
        else:
            yield Phrase("", "", *found.span(), "It is not clear that this is the budget.")


def _amount(written: str, *, thousands: bool) -> str | None:
    """Return an amount as a plain decimal; three digits behind a mark are thousands."""
    digits = re.sub(r"['  \u00a0]", "", written).rstrip(".,")
    digits = re.sub(r"[.,](?=\d{3}(?:\D|$))", "", digits)
    if not re.fullmatch(r"\d+(?:[.,]\d{1,2})?", digits):
        return None
    plain = digits.replace(",", ".")
    if thousands:
        whole = float(plain) * 1000
        return f"{whole:.0f}" if whole == int(whole) else None
    return plain


def thing_of(text: str, mention: Mention, others: Sequence[Mention]) -> tuple[str, int, int] | None:
    """Return the gas or vapour that stands nearest to a flow, and its place.

    Parameters
    ----------
    text : str
        The sentence.
    mention : Mention
        The flow.
    others : sequence of Mention
        All quantities of the sentence; a name beyond another flow belongs to that one.
    """
    return _nearest(_gas_names(), text, mention, others)


def material_of(
    text: str, mention: Mention, others: Sequence[Mention]
) -> tuple[str, int, int] | None:
    """Return the material that stands nearest to an area, and its place."""
    return _nearest(_material_names(), text, mention, others)


def _nearest(
    names: re.Pattern[str], text: str, mention: Mention, others: Sequence[Mention]
) -> tuple[str, int, int] | None:
    rivals = [o for o in others if o is not mention and o.dimension is mention.dimension]
    best: tuple[int, re.Match[str]] | None = None
    for found in names.finditer(text):
        start, end = found.span()
        if start >= mention.end:
            between, distance = text[mention.end : start], start - mention.end
        else:
            # a name before the amount belongs to it more loosely: "argon at 20 sccm"
            between, distance = text[end : mention.start], mention.start - end + 6
        low, high = min(end, mention.end), max(start, mention.start)
        if any(low <= rival.start < high for rival in rivals):
            continue
        distance += 12 * len(re.findall(r"[,;]|\band\b", between))
        if distance <= _FARTHEST and (best is None or distance < best[0]):
            best = (distance, found)
    return None if best is None else (best[1][0], *best[1].span())


def species_key(name: str) -> str:
    """Return the key of a gas that a letter names."""
    return resolve_species(" ".join(name.split()))


def material_key(name: str) -> str:
    """Return the key of a material that a letter names."""
    return resolve_material(" ".join(name.split()))


def condition_of(text: str, place: tuple[int, int], others: Sequence[Mention]) -> str:
    """Return the condition that a sentence states of a surface, empty where it says nothing.

    Parameters
    ----------
    text : str
        The sentence.
    place : tuple of int
        Of the area and its material.
    others : sequence of Mention
        All quantities of the sentence: what stands beyond the next one is not of this surface.
    """
    start, end = place
    until = min((each.start for each in others if each.start >= end), default=len(text))
    before = re.split(r"[,;:]|\b(?:and|plus)\b", text[:start])[-1]
    around = before + text[start:until]
    if _UNBAKED.search(around):
        return "unbaked"
    return "baked" if _BAKED.search(around) else ""


@cache
def _gas_names() -> re.Pattern[str]:
    known = {species.name for species in SPECIES.values()} | set(_SHOP_NAMES)
    ordered = sorted(known, key=len, reverse=True)
    plain = "|".join(re.escape(name).replace(r"\ ", r"[\s-]+") for name in ordered)
    # formulae keep their capitals: "he" and "co" are words
    return re.compile(rf"(?<![\w-])(?:(?i:{plain})|{_FORMULAE})(?![\w₂])")


@cache
def _material_names() -> re.Pattern[str]:
    names: set[str] = set()
    for key in (*MATERIALS, *_SHOP_MATERIALS):
        name = key.replace("_", " ")
        try:
            resolve_material(name)
        except DomainError:
            continue
        names.add(name)
    ordered = sorted(names, key=len, reverse=True)
    plain = "|".join(re.escape(name).replace(r"\ ", r"[\s-]+") for name in ordered)
    return re.compile(rf"(?<![\w-])(?:{plain})(?!\w)", re.IGNORECASE)
