"""The trade's words for the identifiers of the records, as pages show them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from server.fit.requirements import Condition
from server.physics.outgassing import MATERIALS

WORDS: Final[Mapping[str, str]] = {
    # kinds of pumps
    "rough_vacuum": "backing pump alone",
    "vapour_jet": "vapour-jet pump",
    "vapour_booster": "vapour booster",
    "turbomolecular": "turbomolecular pump",
    "turbomolecular_drag": "turbomolecular pump with drag stage",
    "cryo": "cryopump",
    "sputter_ion": "sputter-ion pump",
    "vane_two_stage": "two-stage vane pump",
    "vane_single_stage": "single-stage vane pump",
    "scroll": "scroll pump",
    "diaphragm": "diaphragm pump",
    "diaphragm_chemistry": "chemistry diaphragm pump",
    "multistage_roots": "multistage Roots pump",
    "screw": "screw pump",
    "roots_booster": "Roots booster",
    # fluids and oils
    "mineral": "mineral oil",
    "synthetic_hydrocarbon": "synthetic hydrocarbon",
    "tetraphenyl_trisiloxane": "tetraphenyl trisiloxane",
    "pentaphenyl_trisiloxane": "pentaphenyl trisiloxane",
    "polyphenyl_ether": "polyphenyl ether",
    "perfluoropolyether": "perfluoropolyether",
    # roles of parts
    "high_vacuum_pump": "high-vacuum pump",
    "booster": "booster",
    "backing_pump": "backing pump",
    "fluid": "pump fluid",
    "oil": "oil",
    "trap": "trap",
    "baffle": "baffle",
    "line": "line part",
    "valve": "valve",
    "gauge": "gauge",
    "interlock": "interlock",
    "filter": "filter",
    "supplied": "supplied with the pump",
    # cleanliness
    "tolerant": "oil vapour does no harm",
    "low_oil": "little oil vapour",
    "oil_free": "no oil anywhere",
    # hazards
    "oxygen_rich": "oxygen-rich (over 25 % oxygen)",
    "corrosive": "corrosive",
    "flammable": "flammable",
    "toxic": "toxic",
    "particulates": "dust or flakes",
    "pyrophoric": "catches fire in air",
    # conditions
    "unbaked": "clean, not baked",
    "baked": "baked in vacuum",
    "as_received": "as delivered, not cleaned",
    # applications
    "general": "general purpose",
    "distillation": "distillation",
    "degassing": "degassing",
    "drying_oven": "drying oven",
    "freeze_drying": "freeze-drying",
    "coating": "coating",
    "optics": "optics",
    "furnace": "vacuum furnace",
    "analyser": "analyser or mass spectrometer",
    "leak_test": "leak-test rig",
    "load_lock": "load-lock",
    "surface_science": "surface science, ultra-high vacuum",
    # margins
    "ultimate": "base pressure",
    "process_pressure": "process pressure",
    "throughput": "gas load",
    "foreline": "foreline pressure",
    "inlet": "inlet pressure",
    "crossover": "crossover",
    "pump_down": "pump-down time",
    "vapour": "vapour",
    "duty": "duty",
    "backstreaming": "oil vapour in the chamber",
    "utilities": "supplies on site",
    "compatibility": "compatibility",
    "budget": "budget",
    # verdicts
    "pass": "passes",
    "marginal": "marginal",
    "fail": "fails",
    "fits": "fits",
    "rejected": "does not fit",
    # cooling
    "none": "none",
    "air": "air",
    "water": "water",
    # states
    "base": "at base pressure",
    "process": "during the process",
    # a working day
    "dry_nitrogen": "dry nitrogen",
    "foreline_pumped": "foreline pumped",
    "warm_up": "warm-up",
    "roughing": "roughing",
    "take_over": "take-over",
    "pumping_to_target": "pumping to the target",
    "at_pressure": "at pressure",
    "chamber_open": "chamber open",
    "repeated_cycles": "more such cycles",
    "standing_ready": "standing ready",
    "cool_down": "cool-down",
    "night": "night",
    "warming": "warming up",
    "working": "at work",
    "standing_by": "standing by",
    "cooling": "cooling, switched off",
    "off": "off",
    # materials
    "mild_steel": "mild steel",
    "fkm": "FKM (fluoroelastomer)",
    "nbr": "NBR (nitrile rubber)",
    "ptfe": "PTFE",
    "pmma": "PMMA",
    "epoxy": "epoxy resin",
    "nylon": "nylon (polyamide)",
    # supplies
    "n_hexane": "n-hexane",
    # traps
    "water_baffle": "water-cooled baffle",
    "air_baffle": "air-cooled baffle",
    "nitrogen_trap": "liquid-nitrogen trap",
    "refrigerated_trap": "refrigerated trap",
    "foreline_sorption": "foreline sorption trap",
    "condenser": "condenser",
    # spares
    "exhaust_mist": "exhaust mist filter",
    "inlet_dust": "inlet dust filter",
}

_MEANS: Final[Mapping[str, str]] = {
    "fluid": "suitable pump fluid",
    "ultimate": "reaches the target pressure with gas loads of the chamber alone",
    "process_pressure": "holds the process pressure with the process gas and vapour flowing",
    "throughput": "largest gas flow the pump stands, against the flow of the process",
    "foreline": "tolerable foreline pressure against the pressure the backing pump holds there",
    "inlet": "largest inlet pressure the pump stands, against the pressure it sees",
    "crossover": "pressure at which the high-vacuum pump may take over, against what roughing "
    "reaches",
    "pump_down": "time wanted against time needed to the target pressure",
    "vapour": "vapour the stack carries off or holds, against the vapour the work gives off",
    "duty": "the shift against the day’s cycles with start and venting; or how long a capture "
    "pump holds gas, against how long it should",
    "backstreaming": "oil vapour the work stands, against what reaches the chamber",
    "utilities": "cooling water and mains on site, against what the pumps need",
    "compatibility": "materials and fluids that stand the gas",
    "budget": "money at hand against the price of the stack",
}

_SURFACE: Final = rf"\b(?:{'|'.join((*MATERIALS, *Condition))})\b"


def words(identifier: object) -> str:
    """Return the words for an identifier of the records.

    Parameters
    ----------
    identifier : object
        A member of one of the record enums, or its value.

    Returns
    -------
    str
        Lower-case words; an identifier without an entry is shown with spaces for underscores.
    """
    key = str(identifier)
    return WORDS.get(key, key.replace("_", " "))


def assumed(value: object) -> str:
    """Return an assumed value in words: identifiers and typed units as people write them.

    Parameters
    ----------
    value : object
        Such as ``oil_free``, ``20 degC`` or ``2.8 m² stainless_steel, unbaked``.

    Returns
    -------
    str
        Such as ``20 °C``; what is no identifier stays as it is.
    """
    key = str(value)
    if key in WORDS:
        return WORDS[key]
    shown = re.sub(_SURFACE, lambda found: words(found[0]), key)
    return shown.replace("degC", "°C").replace("*", "·").replace("_", " ")


def means(margin_key: object) -> str:
    """Return what a margin compares, in one phrase.

    Parameters
    ----------
    margin_key : object
        A margin key or its value.

    Returns
    -------
    str
        Empty for an unknown key.
    """
    return _MEANS.get(str(margin_key), "")


def sentence(text: str) -> str:
    """Return the text with a capital first letter, leaving the rest as it is."""
    return text[:1].upper() + text[1:]
