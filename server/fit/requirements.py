"""The structured inquiry: frozen, SI, complete; every default that was used is listed."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from server.catalog.flanges import Flange


class Application(StrEnum):
    """What the chamber is for; chooses presets and the cautions that matter."""

    GENERAL = "general"
    DISTILLATION = "distillation"
    DEGASSING = "degassing"
    DRYING_OVEN = "drying_oven"
    FREEZE_DRYING = "freeze_drying"
    COATING = "coating"
    OPTICS = "optics"
    FURNACE = "furnace"
    ANALYSER = "analyser"
    LEAK_TEST = "leak_test"
    LOAD_LOCK = "load_lock"
    SURFACE_SCIENCE = "surface_science"


class Cleanliness(StrEnum):
    """How much oil vapour the work stands."""

    TOLERANT = "tolerant"
    LOW_OIL = "low_oil"
    OIL_FREE = "oil_free"


class Hazard(StrEnum):
    """What makes the gas dangerous to pumps or people."""

    OXYGEN_RICH = "oxygen_rich"
    CORROSIVE = "corrosive"
    FLAMMABLE = "flammable"
    TOXIC = "toxic"
    PARTICULATES = "particulates"
    PYROPHORIC = "pyrophoric"


class Condition(StrEnum):
    """State of a surface in vacuum."""

    UNBAKED = "unbaked"
    BAKED = "baked"
    AS_RECEIVED = "as_received"


class Venting(StrEnum):
    """What the chamber is filled with when it is opened."""

    AIR = "air"
    DRY_NITROGEN = "dry_nitrogen"


@dataclass(frozen=True)
class Surface:
    """A surface that gives off gas."""

    material: str
    condition: Condition
    area_m2: float


@dataclass(frozen=True)
class Seal:
    """Elastomer between air and vacuum: its surface on either side, and the way through it."""

    material: str
    area_m2: float
    path_m: float


@dataclass(frozen=True)
class Chamber:
    """The vessel to be pumped."""

    volume_m3: float
    temperature_k: float
    port: Flange | None
    surfaces: tuple[Surface, ...]
    leak_pa_m3_s: float
    seals: tuple[Seal, ...] = ()
    """Elastomer that air and its moisture permeate; empty where that does not matter."""


@dataclass(frozen=True)
class LineRun:
    """A run of tube; a missing bore means the bore of the flange it starts from."""

    length_m: float
    bore_m: float | None
    bends: int


@dataclass(frozen=True)
class GasFlow:
    """Process gas let into the chamber."""

    species: str
    flow_mol_s: float


@dataclass(frozen=True)
class WetGoods:
    """Goods that are dried: the vapour lasts until the liquid is gone, once in every cycle."""

    mass_kg: float
    """Liquid to be removed in one cycle."""
    temperature_k: float
    area_m2: float | None
    """Wet surface; None where it is large enough not to matter."""
    drying_time_s: float
    """Time asked for."""


@dataclass(frozen=True)
class VapourLoad:
    """Vapour given off by the work; of wet goods as fast as heat and diffusion supply it."""

    substance: str
    rate_kg_s: float
    goods: WetGoods | None = None


@dataclass(frozen=True)
class Process:
    """What happens at pressure."""

    pressure_pa: float | None
    gas: tuple[GasFlow, ...]
    vapour: tuple[VapourLoad, ...]


@dataclass(frozen=True)
class Duty:
    """How the system is worked."""

    cycles_per_day: float
    time_at_pressure_s: float
    days_per_year: float
    shift_s: float
    vent_time_s: float = 900.0
    """How long the chamber is open between two cycles: venting, unloading, loading."""
    venting: Venting = Venting.AIR

    @property
    def repeats(self) -> bool:
        """Whether a day has a later cycle, of a chamber that was under vacuum shortly before."""
        return self.cycles_per_day > 1.0


@dataclass(frozen=True)
class Utilities:
    """What the site offers."""

    cooling_water: bool
    three_phase: bool
    mains_v: int


@dataclass(frozen=True)
class Commercial:
    """What the offer is judged by."""

    currency: str
    horizon_years: float
    energy_price_per_kwh: Decimal
    budget: Decimal | None


@dataclass(frozen=True)
class Assumption:
    """A default that was used: the field, the value as shown, and why."""

    field: str
    value: str
    reason: str


@dataclass(frozen=True)
class Requirements:
    """Everything the engine needs; made by ``fit.inquiry`` from what people type."""

    title: str
    application: Application
    chamber: Chamber
    line: LineRun
    rough_line: LineRun
    """Chamber to backing pump; also the only line of a rough-vacuum stack."""
    foreline: LineRun
    """High-vacuum pump's outlet to backing pump."""
    target_pressure_pa: float
    pump_down_time_s: float | None
    process: Process
    duty: Duty
    cleanliness: Cleanliness
    hazards: frozenset[Hazard]
    utilities: Utilities
    commercial: Commercial
    limit: int
    assumptions: tuple[Assumption, ...]
    vapour_hazards: frozenset[Hazard] = frozenset()
    """Hazards that solvent vapours alone bring: told and warned of, not judged as those of gas."""
