"""The names people use for gases, vapours and materials, and the keys the model knows them by."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import cache

from server.errors import UnknownName, UnknownSpecies
from server.physics.outgassing import MATERIALS, OUTGASSING
from server.physics.species import SPECIES
from server.physics.vapour import SATURATION

# Chemists' and shop-floor names beside key, name and formula of the species table.
_SPECIES_ALIASES: Mapping[str, str] = {
    "steam": "water", "water_vapour": "water", "water_vapor": "water", "moisture": "water",
    "dry_air": "air", "room_air": "air", "co_2": "carbon_dioxide",
    "ipa": "isopropanol", "propan_2_ol": "isopropanol", "2_propanol": "isopropanol",
    "isopropyl_alcohol": "isopropanol", "ethyl_alcohol": "ethanol", "alcohol": "ethanol",
    "etoh": "ethanol", "methyl_alcohol": "methanol", "meoh": "methanol", "propanone": "acetone",
    "toluol": "toluene", "hexane": "n_hexane", "etoac": "ethyl_acetate", "mecn": "acetonitrile",
    "dcm": "dichloromethane", "methylene_chloride": "dichloromethane", "thf": "tetrahydrofuran",
    "dmso": "dimethyl_sulfoxide", "sulphur_hexafluoride": "sulfur_hexafluoride",
}  # fmt: skip

_MATERIAL_ALIASES: Mapping[str, str] = {
    "stainless": "stainless_steel", "steel": "mild_steel", "carbon_steel": "mild_steel",
    "aluminum": "aluminium", "glass": "borosilicate_glass",
    "fluoroelastomer": "fkm", "fluorocarbon_rubber": "fkm", "nitrile": "nbr",
    "nitrile_rubber": "nbr", "polyamide": "nylon",
    "acrylic": "pmma", "ss": "stainless_steel", "alumina": "ceramic",
}  # fmt: skip

_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉", "0123456789")


def resolve_species(text: str) -> str:
    """Return the key of the gas or vapour that ``text`` names, by key, name, formula or habit.

    Raises
    ------
    UnknownSpecies
        When nothing of the species table is meant.
    """
    found = _species_by_name().get(_folded(text))
    if found is None:
        raise UnknownSpecies(text, _in_words(SPECIES))
    return found


def resolve_vapour(text: str) -> str:
    """Return the key of the condensable substance that ``text`` names.

    Raises
    ------
    UnknownName
        When it is not known, or is a gas that does not condense at a pump's temperatures.
    """
    key = _species_by_name().get(_folded(text))
    if key is None or key not in SATURATION:
        raise UnknownName("vapour", text, _in_words(SATURATION))
    return key


def resolve_material(text: str) -> str:
    """Return the key of the chamber or seal material that ``text`` names.

    Raises
    ------
    UnknownName
        When the outgassing table has no such material.
    """
    folded = _folded(text)
    key = _MATERIAL_ALIASES.get(folded, folded)
    if key not in MATERIALS:
        raise UnknownName("material", text, [material_in_words(known) for known in MATERIALS])
    return key


def _in_words(keys: Iterable[str]) -> list[str]:
    """Return the names of some species as people write them, in order."""
    return sorted(SPECIES[key].name for key in keys)


def conditions_of(material: str) -> tuple[str, ...]:
    """Return the conditions for which the material's outgassing rate is known."""
    return tuple(sorted(str(condition) for known, condition in OUTGASSING if known == material))


@cache
def _species_by_name() -> Mapping[str, str]:
    pairs = [
        (_folded(name), key)
        for key, species in SPECIES.items()
        for name in (key, species.name, species.formula)
    ]
    pairs += [(alias, key) for alias, key in _SPECIES_ALIASES.items() if key in SPECIES]
    return _without_ambiguous(pairs)


def _without_ambiguous(pairs: Iterable[tuple[str, str]]) -> Mapping[str, str]:
    """Return name → key, leaving out a formula that two substances share."""
    found: dict[str, set[str]] = {}
    for name, key in pairs:
        found.setdefault(name, set()).add(key)
    return {name: keys.pop() for name, keys in found.items() if len(keys) == 1 and name}


def _folded(text: str) -> str:
    lowered = text.strip().lower().translate(_SUBSCRIPTS)
    return re.sub(r"[\s\-_]+", "_", lowered)


_ABBREVIATIONS = frozenset({"fkm", "nbr", "pmma", "ptfe"})


def material_in_words(key: str) -> str:
    """Return a material as people write it: ``FKM``, ``stainless steel``."""
    return key.upper() if key in _ABBREVIATIONS else key.replace("_", " ")
