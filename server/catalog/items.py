"""The records of the catalogue: pumps, fluids, traps, line parts, supplies.

Field names end in their SI unit (``ultimate_pa``); the catalogue tables drop that ending from the
column's name and carry the unit in the cell (``ultimate`` with ``5e-4 mbar``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import TypeVar

from server.catalog.flanges import Flange
from server.errors import UnknownName


ItemT = TypeVar("ItemT", bound="Item")


class PumpKind(StrEnum):
    """The kinds of pumps, by the trade's terms."""

    VAPOUR_JET = "vapour_jet"
    VAPOUR_BOOSTER = "vapour_booster"
    TURBOMOLECULAR = "turbomolecular"
    TURBOMOLECULAR_DRAG = "turbomolecular_drag"
    CRYO = "cryo"
    SPUTTER_ION = "sputter_ion"
    VANE_TWO_STAGE = "vane_two_stage"
    VANE_SINGLE_STAGE = "vane_single_stage"
    SCROLL = "scroll"
    DIAPHRAGM = "diaphragm"
    DIAPHRAGM_CHEMISTRY = "diaphragm_chemistry"
    MULTISTAGE_ROOTS = "multistage_roots"
    SCREW = "screw"
    ROOTS_BOOSTER = "roots_booster"


VAPOUR_KINDS = frozenset({PumpKind.VAPOUR_JET, PumpKind.VAPOUR_BOOSTER})
TURBO_KINDS = frozenset({PumpKind.TURBOMOLECULAR, PumpKind.TURBOMOLECULAR_DRAG})
CAPTURE_KINDS = frozenset({PumpKind.CRYO, PumpKind.SPUTTER_ION})
HIGH_VACUUM_KINDS = VAPOUR_KINDS | TURBO_KINDS | CAPTURE_KINDS
OIL_SEALED_KINDS = frozenset({PumpKind.VANE_TWO_STAGE, PumpKind.VANE_SINGLE_STAGE})
DRY_BACKING_KINDS = frozenset(
    {
        PumpKind.SCROLL,
        PumpKind.DIAPHRAGM,
        PumpKind.DIAPHRAGM_CHEMISTRY,
        PumpKind.MULTISTAGE_ROOTS,
        PumpKind.SCREW,
    }
)
BACKING_KINDS = OIL_SEALED_KINDS | DRY_BACKING_KINDS


class FluidKind(StrEnum):
    """Kinds of pump fluids and oils, by chemical class."""

    MINERAL = "mineral"
    SYNTHETIC_HYDROCARBON = "synthetic_hydrocarbon"
    TETRAPHENYL_TRISILOXANE = "tetraphenyl_trisiloxane"
    PENTAPHENYL_TRISILOXANE = "pentaphenyl_trisiloxane"
    POLYPHENYL_ETHER = "polyphenyl_ether"
    PERFLUOROPOLYETHER = "perfluoropolyether"


SILICONE_FLUIDS = frozenset({FluidKind.TETRAPHENYL_TRISILOXANE, FluidKind.PENTAPHENYL_TRISILOXANE})


class Cooling(StrEnum):
    """What carries a pump's heat away."""

    NONE = "none"
    AIR = "air"
    WATER = "water"


@dataclass(frozen=True, kw_only=True)
class Item:
    """Anything with a stock-keeping unit and a price.

    ``price`` and ``cost_price`` come from ``price_list.csv``, in the catalogue's currency.
    """

    sku: str
    name: str
    mass_kg: float
    price: Decimal
    cost_price: Decimal
    stock: int
    lead_time_days: int


@dataclass(frozen=True)
class SpeedCurve:
    """Speed against inlet pressure for one gas; pressures strictly rising (``speed_points.csv``)."""

    gas: str
    pressure_pa: tuple[float, ...]
    speed_m3_s: tuple[float, ...]
    with_ballast: bool = False


@dataclass(frozen=True)
class SuppliedPart:
    """A part that comes with a pump: shown and kept, never sold again (``supplied_parts.csv``)."""

    name: str
    quantity: int
    note: str


@dataclass(frozen=True, kw_only=True)
class Pump(Item):
    """What every pump has."""

    kind: PumpKind
    inlet: Flange
    outlet: Flange | None = None
    ultimate_pa: float
    mains_voltages: tuple[int, ...]
    phases: int
    power_w: float
    cooling: Cooling
    cooling_water_m3_s: float = 0.0
    noise_dba: float
    service_hours: float
    largest_inlet_pa: float | None = None
    prepared_for: frozenset[str] = frozenset()
    """Hazards (the contract's words: oxygen_rich, corrosive, …) the build itself is made for."""
    materials: tuple[str, ...] = ()
    """Wetted seal and rotor materials, e.g. fkm, ptfe, aluminium."""
    curves: tuple[SpeedCurve, ...] = ()
    supplied: tuple[SuppliedPart, ...] = ()


@dataclass(frozen=True, kw_only=True)
class VapourPump(Pump):
    """Vapour-jet pump or vapour booster (``pumps_vapour.csv``)."""

    variant_of: str | None = None
    """SKU of the standard pump, for a high-load heater variant."""
    throat_m: float
    fluid_kinds: tuple[FluidKind, ...]
    needs_heat_stable_fluid: bool = False
    charge_m3: float
    charge_cold_mark: str
    charge_hot_mark: str
    boiler_k: float
    warm_up_s: float
    cool_down_s: float
    cooling_after_stop_s: float
    """How long the fan or water must run on after the heater is switched off."""
    tolerable_foreline_no_load_pa: float
    tolerable_foreline_full_load_pa: float
    knee_pa: float
    largest_throughput_pa_m3_s: float
    backstreaming_kg_m2_s: float
    """At the inlet flange, without baffle or trap, mineral fluid of medium vapour pressure."""
    temperature_switch_k: float
    vent_below_k: float
    """Boiler temperature below which air may be let in."""


@dataclass(frozen=True, kw_only=True)
class TurboPump(Pump):
    """Turbomolecular pump, with or without a drag stage (``pumps_turbo.csv``)."""

    tolerable_foreline_pa: float
    run_up_s: float
    start_pressure_pa: float
    """Highest chamber pressure at which the rotor may be started together with roughing."""
    largest_throughput_pa_m3_s: float
    """Continuous, nitrogen, with the pump's own cooling."""
    compression: Mapping[str, float] = field(default_factory=dict)
    """Zero-flow compression per gas (``compression.csv``)."""


@dataclass(frozen=True, kw_only=True)
class CapturePump(Pump):
    """Cryo- or sputter-ion pump (``pumps_capture.csv``)."""

    start_pressure_pa: float
    cool_down_s: float
    """Cryo: time to reach working temperature; sputter-ion: time to start."""
    regeneration_s: float
    largest_throughput_pa_m3_s: float
    capacity_pa_m3: Mapping[str, float] = field(default_factory=dict)
    """Gas held until regeneration (cryo) or end of life (sputter-ion), p·V at 20 °C (``capacity.csv``)."""


@dataclass(frozen=True, kw_only=True)
class BackingPump(Pump):
    """A pump that exhausts to atmosphere (``pumps_backing.csv``)."""

    ballast_m3_s: float = 0.0
    """Gas ballast flow, air at atmospheric pressure."""
    ultimate_ballast_pa: float | None = None
    exhaust_k: float
    """Temperature of the compressed gas at the exhaust valve."""
    exhaust_valve_pa: float
    """Pressure at which the exhaust valve opens."""
    oil_charge_m3: float = 0.0
    oil_kinds: tuple[FluidKind, ...] = ()


@dataclass(frozen=True, kw_only=True)
class RootsBooster(Pump):
    """Roots booster (``pumps_booster.csv``); ``curves`` are left empty: its speed depends on the backing pump."""

    displacement_m3_s: float
    compression_pressure_pa: tuple[float, ...] = ()
    compression_k0: tuple[float, ...] = ()
    """Zero-flow compression against foreline pressure, air (``compression_booster.csv``)."""
    largest_difference_pa: float
    cut_in_pa: float
    bypass_valve: bool


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
    """Fluid of a vapour-jet pump or oil of a sealed pump (``fluids.csv``); one row per container size."""

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

    ``flange_b`` is empty for rings, gaskets, clamps, bolt sets and blanks. ``pack`` pieces come in one SKU
    (a bolt set holds all bolts of one joint).
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


@dataclass(frozen=True, kw_only=True)
class Spare(Item):
    """Service kit, seal set, heater, jet assembly, filter element, sorbent (``spares.csv``)."""

    purpose: SparePurpose
    fits: tuple[str, ...]
    """SKUs it belongs to."""
    every_hours: float | None = None
    """Replacement interval in running hours; empty: on failure or by opening."""


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


@dataclass(frozen=True, kw_only=True)
class Catalog:
    """A whole catalogue, checked; ``version`` is a hash of its tables."""

    name: str
    currency: str
    version: str
    note: str
    items: Mapping[str, Item]

    def of_type(self, kind: type[ItemT]) -> tuple[ItemT, ...]:
        """Return the items of one class, in the order of the tables."""
        return tuple(item for item in self.items.values() if isinstance(item, kind))

    def get(self, sku: str, kind: type[ItemT]) -> ItemT:
        """Return one item of a class.

        Raises
        ------
        UnknownName
            When no item of that class has the SKU.
        """
        item = self.items.get(sku)
        if not isinstance(item, kind):
            raise UnknownName("item", sku, [known.sku for known in self.of_type(kind)])
        return item
