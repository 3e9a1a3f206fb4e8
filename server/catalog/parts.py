"""The records of the catalogue that are not pumps: fluids, traps, valves, line parts, supplies."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from server.catalog.flanges import Flange
from server.catalog.pumps import Cooling, FluidKind, Item


class FluidService(StrEnum):
    """Where a fluid works."""

    VAPOUR = "vapour"
    SEALED = "sealed"


class OxidationStability(StrEnum):
    """How a hot fluid stands air."""

    LOW = "low"
    FAIR = "fair"
    GOOD = "good"
    INERT = "inert"


@dataclass(frozen=True, kw_only=True)
class Fluid(Item):
    """Fluid of a vapour-jet pump or oil of a sealed pump (``fluids.csv``); a row per container."""

    kind: FluidKind
    grade: str
    """Same grade = same liquid in another container."""
    service: FluidService
    container_m3: float
    density_kg_m3: float
    molar_mass_kg_mol: float
    vapour_pressure_a: float
    vapour_pressure_b_k: float
    """log10(p/Pa) = A − B/T."""
    heat_stable: bool
    largest_boiler_k: float
    oxidation: OxidationStability
    flash_point_k: float | None = None
    life_hours: float
    source: str = ""


class TrapKind(StrEnum):
    """Kinds of traps and baffles."""

    WATER_BAFFLE = "water_baffle"
    AIR_BAFFLE = "air_baffle"
    NITROGEN_TRAP = "nitrogen_trap"
    REFRIGERATED_TRAP = "refrigerated_trap"
    FORELINE_SORPTION = "foreline_sorption"
    CONDENSER = "condenser"


class TrapPlace(StrEnum):
    """Where a trap or baffle stands in the stack."""

    HIGH_VACUUM = "high_vacuum"
    """Between the high-vacuum pump's inlet and the isolation valve."""
    FORELINE = "foreline"
    """In the line to the backing pump (foreline or rough line)."""


@dataclass(frozen=True, kw_only=True)
class Trap(Item):
    """Trap or baffle (``traps.csv``)."""

    kind: TrapKind
    place: TrapPlace
    inlet: Flange
    outlet: Flange
    molecular_conductance_m3_s: float
    """Nitrogen, 20 °C."""
    equivalent_bore_m: float
    equivalent_length_m: float
    backstreaming_factor: float
    """Fraction of the fluid's vapour that passes."""
    surface_k: float
    capacity_kg: float = 0.0
    """Vapour (as water) held until defrost or regeneration."""
    cooling: Cooling
    nitrogen_use_m3_s: float = 0.0
    """Liquid nitrogen boiled off in use."""
    power_w: float = 0.0


class ValveRole(StrEnum):
    """Which valve of the operating order it is."""

    ISOLATION = "isolation"
    ROUGHING = "roughing"
    FORELINE = "foreline"
    VENT = "vent"


@dataclass(frozen=True, kw_only=True)
class Valve(Item):
    """Valve (``valves.csv``)."""

    role: ValveRole
    flange: Flange
    molecular_conductance_m3_s: float
    equivalent_bore_m: float
    equivalent_length_m: float
    operation: str


@dataclass(frozen=True, kw_only=True)
class Gauge(Item):
    """Vacuum gauge (``gauges.csv``)."""

    principle: str
    flange: Flange
    lowest_pa: float
    highest_pa: float


class InterlockGuard(StrEnum):
    """What an interlock watches."""

    TEMPERATURE = "temperature"
    COOLING_FLOW = "cooling_flow"
    FORELINE_PRESSURE = "foreline_pressure"


@dataclass(frozen=True, kw_only=True)
class Interlock(Item):
    """Safety interlock (``interlocks.csv``)."""

    guard: InterlockGuard
    cooling: Cooling = Cooling.NONE
    """For cooling_flow: the medium watched."""
    flange: Flange | None = None
    """Where it is joined to the vacuum; empty: it is not."""


class LineShape(StrEnum):
    """Shapes of line parts and of what joins them."""

    TUBE = "tube"
    ELBOW = "elbow"
    TEE = "tee"
    REDUCER = "reducer"
    ADAPTOR = "adaptor"
    HOSE = "hose"
    BLANK = "blank"
    CENTRING_RING = "centring_ring"
    GASKET = "gasket"
    CLAMP = "clamp"
    BOLT_SET = "bolt_set"


@dataclass(frozen=True, kw_only=True)
class LinePart(Item):
    """Line part, ring, gasket, clamp or bolts (``line_parts.csv``).

    ``flange_b`` is empty for rings, gaskets, clamps, bolt sets and blanks. ``pack`` pieces come in
    one SKU: gaskets of a pack, claws of a clamp set, bolts of a bolt set (all of one joint). Rings
    named for ISO-K serve ISO-F too. ``material`` of rings and gaskets is that of the seal.
    """

    shape: LineShape
    flange_a: Flange
    flange_b: Flange | None = None
    length_m: float = 0.0
    material: str
    pack: int = 1


class FilterRole(StrEnum):
    """What a filter does."""

    EXHAUST_MIST = "exhaust_mist"
    INLET_DUST = "inlet_dust"


@dataclass(frozen=True, kw_only=True)
class Filter(Item):
    """Filter housing with its first element (``filters.csv``)."""

    role: FilterRole
    flange: Flange
    largest_speed_m3_s: float
    element_sku: str
    element_hours: float


class SparePurpose(StrEnum):
    """What a spare or service part is for."""

    SERVICE_KIT = "service_kit"
    SEAL_SET = "seal_set"
    HEATER = "heater"
    JET_ASSEMBLY = "jet_assembly"
    FILTER_ELEMENT = "filter_element"
    SORBENT = "sorbent"
    LIQUID_NITROGEN = "liquid_nitrogen"


@dataclass(frozen=True, kw_only=True)
class Spare(Item):
    """Service kit, seal set, heater, jets, filter element, sorbent, coolant (``spares.csv``)."""

    purpose: SparePurpose
    fits: tuple[str, ...]
    """SKUs it belongs to."""
    every_hours: float | None = None
    """Replacement interval in running hours; empty: on failure or by opening."""
    content_m3: float = 0.0
    """What one delivery of liquid nitrogen holds; other spares come by the piece."""


@dataclass(frozen=True, kw_only=True)
class CleaningSupply(Item):
    """Solvent, wipe, glove … for strip-down and cleaning (``cleaning.csv``)."""

    substance: str
    content_m3: float = 0.0
    pieces: int = 0
    use_per_strip_down_m3: float = 0.0
    use_per_strip_down_pieces: int = 0
    step: int
    """Order of use; acetone first, then isopropanol."""
    hazard: str = ""
    un_number: str = ""
