"""What each application usually means: values filled in when the inquiry is silent.

Every value is common practice in the trade (no published source) and is shown with its reason; what
the customer states always wins.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from server.fit.requirements import Application


@dataclass(frozen=True)
class PresetValue:
    """One cell an application fills: dotted path as in the JSON, value as typed, reason."""

    field: str
    value: str | bool
    reason: str


@dataclass(frozen=True)
class SurfaceRecipe:
    """How the inner surface is estimated when none is stated.

    Attributes
    ----------
    material, condition : str
        What the wall is made of and its state.
    fixtures : float
        Total inner surface as a multiple of a cube's of the same volume. [-]
    seal : str
        Elastomer of the seals; empty for metal seals.
    seal_share : float
        Elastomer surface as a share of the wall. [-]
    """

    material: str = "stainless_steel"
    condition: str = "unbaked"
    fixtures: float = 1.5
    seal: str = "fkm"
    seal_share: float = 0.005


@dataclass(frozen=True)
class Preset:
    """An application: its name for people, a sentence, its values and its surfaces."""

    title: str
    summary: str
    values: tuple[PresetValue, ...] = ()
    surfaces: SurfaceRecipe = SurfaceRecipe()


def _clean(reason: str, level: str = "low_oil") -> PresetValue:
    return PresetValue("cleanliness", level, reason)


PRESETS: Mapping[Application, Preset] = MappingProxyType(
    {
        Application.GENERAL: Preset("General use", "A chamber without special demands."),
        Application.DISTILLATION: Preset(
            "Distillation",
            "Glassware or a short-path still; vapour reaches the pump.",
            (
                PresetValue("duty.time_at_pressure", "6 h", "a still usually runs most of a shift"),
                PresetValue("rough_line.length", "1 m", "the pump stands beside the still"),
            ),
            SurfaceRecipe("borosilicate_glass", "as_received", 1.5, "fkm", 0.01),
        ),
        Application.DEGASSING: Preset(
            "Degassing",
            "Resins, oils or melts are freed of gas.",
            (
                PresetValue("duty.cycles_per_day", "4", "batches follow each other over a shift"),
                PresetValue(
                    "duty.time_at_pressure", "30 min", "the foam has usually settled by then"
                ),
            ),
            SurfaceRecipe("stainless_steel", "as_received", 2.0),
        ),
        Application.DRYING_OVEN: Preset(
            "Drying oven",
            "Goods dry on warm shelves.",
            (
                PresetValue("chamber.temperature", "60 degC", "usual shelf temperature"),
                PresetValue("duty.time_at_pressure", "6 h", "drying usually takes most of a shift"),
            ),
            SurfaceRecipe("stainless_steel", "as_received", 3.0, "fkm", 0.01),
        ),
        Application.FREEZE_DRYING: Preset(
            "Freeze-drying",
            "Ice sublimes to a condenser; the pump holds the pressure.",
            (
                PresetValue("duty.cycles_per_day", "1", "one batch runs through the day and night"),
                PresetValue("duty.time_at_pressure", "20 h", "primary and secondary drying"),
                PresetValue("duty.shift", "24 h", "a batch runs unattended through the night"),
            ),
            SurfaceRecipe("stainless_steel", "as_received", 3.0, "fkm", 0.01),
        ),
        Application.COATING: Preset(
            "Coating",
            "Films are evaporated or sputtered; the chamber is opened every batch.",
            (
                _clean("films stick badly to surfaces that carry oil"),
                PresetValue("duty.cycles_per_day", "4", "batches follow each other over a shift"),
                PresetValue("duty.time_at_pressure", "45 min", "usual length of a coating run"),
            ),
            SurfaceRecipe("stainless_steel", "unbaked", 3.0),
        ),
        Application.OPTICS: Preset(
            "Optics",
            "Mirrors, windows or laser optics in vacuum.",
            (_clean("oil and silicone deposits darken optical surfaces", "oil_free"),),
            SurfaceRecipe("stainless_steel", "unbaked", 2.0),
        ),
        Application.FURNACE: Preset(
            "Vacuum furnace",
            "Sintering, brazing or annealing between cooled walls.",
            (
                PresetValue(
                    "duty.time_at_pressure", "5 h", "heating, soaking and cooling in vacuum"
                ),
                PresetValue("duty.shift", "12 h", "a furnace run outlasts a working day"),
            ),
            SurfaceRecipe("stainless_steel", "as_received", 5.0, "fkm", 0.005),
        ),
        Application.ANALYSER: Preset(
            "Analyser",
            "Mass spectrometers, electron microscopes and the like.",
            (
                _clean("oil shows in spectra and charges on lenses and apertures", "oil_free"),
                PresetValue("duty.time_at_pressure", "23 h", "analysers stay under vacuum"),
                PresetValue("duty.shift", "24 h", "analysers stay under vacuum"),
                PresetValue("duty.days_per_year", "350", "analysers stay under vacuum"),
            ),
            SurfaceRecipe("stainless_steel", "unbaked", 1.5),
        ),
        Application.LEAK_TEST: Preset(
            "Leak testing",
            "Parts are pumped out and tested with tracer gas.",
            (
                _clean("oil vapour dissolves helium and raises the background"),
                PresetValue("duty.cycles_per_day", "60", "one part every few minutes"),
                PresetValue("duty.time_at_pressure", "2 min", "usual length of a test"),
            ),
            SurfaceRecipe("stainless_steel", "unbaked", 2.0),
        ),
        Application.LOAD_LOCK: Preset(
            "Load-lock",
            "A small chamber passes samples into a clean one.",
            (
                _clean("whatever is in the load-lock gets into the clean chamber", "oil_free"),
                PresetValue("duty.cycles_per_day", "10", "several samples a day"),
                PresetValue("duty.time_at_pressure", "15 min", "transfer takes minutes"),
            ),
            SurfaceRecipe("stainless_steel", "unbaked", 1.5),
        ),
        Application.SURFACE_SCIENCE: Preset(
            "Surface science",
            "Baked, metal-sealed chambers at ultra-high vacuum.",
            (
                _clean("a monolayer of oil spoils a clean surface", "oil_free"),
                PresetValue(
                    "chamber.leak_rate", "1e-10 mbar*L/s", "metal seals, tested with helium"
                ),
                PresetValue("duty.time_at_pressure", "230 h", "the chamber stays under vacuum"),
                PresetValue("duty.shift", "24 h", "the chamber stays under vacuum"),
                PresetValue("duty.cycles_per_day", "0.1", "opened a few times a month at most"),
                PresetValue("duty.days_per_year", "350", "the chamber stays under vacuum"),
            ),
            SurfaceRecipe("stainless_steel", "baked", 2.0, ""),
        ),
    }
)
