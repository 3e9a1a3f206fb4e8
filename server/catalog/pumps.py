"""The records of the catalogue: what every item has, and the pumps.

Field names end in their SI unit (``ultimate_pa``); the catalogue tables drop that ending from the
column's name and carry the unit in the cell (``ultimate`` with ``5e-4 mbar``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from server.catalog.flanges import Flange


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
    """Speed against inlet pressure for one gas; pressures strictly rising (``speed_points.csv``).

    It is the speed before the loss at the ultimate pressure: what is left is S·(1 − p_ult/p).
    """

    gas: str
    pressure_pa: tuple[float, ...]
    speed_m3_s: tuple[float, ...]
    with_ballast: bool = False


@dataclass(frozen=True)
class CompressionCurve:
    """Zero-flow compression of a booster against foreline pressure, for one gas."""

    pressure_pa: tuple[float, ...]
    compression: tuple[float, ...]


class SuppliedFor(StrEnum):
    """What a supplied part makes it needless to sell."""

    INLET_RING = "inlet_ring"
    INLET_GASKET = "inlet_gasket"
    INLET_CLAMP = "inlet_clamp"
    INLET_BOLTS = "inlet_bolts"
    OUTLET_RING = "outlet_ring"
    OUTLET_GASKET = "outlet_gasket"
    OUTLET_CLAMP = "outlet_clamp"
    OUTLET_BOLTS = "outlet_bolts"
    INLET_FILTER = "inlet_filter"
    EXHAUST_FILTER = "exhaust_filter"
    TEMPERATURE_SWITCH = "temperature_switch"
    FIRST_CHARGE = "first_charge"


@dataclass(frozen=True)
class SuppliedPart:
    """A part that comes with a pump: shown and kept, never sold again (``supplied_parts.csv``)."""

    name: str
    quantity: int
    note: str
    serves: tuple[SuppliedFor, ...] = ()
    """What need not be sold beside it; empty: an extra."""
    fluid: FluidKind | None = None
    """What a first charge is."""


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

    def brings(self, *what: SuppliedFor) -> bool:
        """Say whether one of some things comes with the pump."""
        return any(each in part.serves for part in self.supplied for each in what)


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
    tolerable_foreline_no_load_by_gas_pa: Mapping[str, float] = field(default_factory=dict)
    """Where it differs from air's (``gas_limits.csv``)."""
    tolerable_foreline_full_load_by_gas_pa: Mapping[str, float] = field(default_factory=dict)


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
    largest_throughput_by_gas_pa_m3_s: Mapping[str, float] = field(default_factory=dict)
    """Where it differs from nitrogen's (``gas_limits.csv``)."""
    tolerable_foreline_by_gas_pa: Mapping[str, float] = field(default_factory=dict)
    """Where it differs from nitrogen's (``gas_limits.csv``)."""


@dataclass(frozen=True, kw_only=True)
class CapturePump(Pump):
    """Cryo- or sputter-ion pump (``pumps_capture.csv``)."""

    start_pressure_pa: float
    """Highest pressure at which it may be opened to the chamber or switched on."""
    burst_pa_m3: float | None = None
    """Cryo: gas p·V that its cold head absorbs at once when it is opened to the chamber."""
    cool_down_s: float
    """Cryo: time to reach working temperature; sputter-ion: time to start."""
    regeneration_s: float
    largest_throughput_pa_m3_s: float
    capacity_pa_m3: Mapping[str, float] = field(default_factory=dict)
    """Gas held until regeneration (cryo) or end of life (sputter-ion), p·V (``capacity.csv``)."""


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
    largest_vapour_kg_s: float | None = None
    """Dry pumps: water that passes continuously without staying in the pump, ballast as built."""


@dataclass(frozen=True, kw_only=True)
class RootsBooster(Pump):
    """Roots booster (``pumps_booster.csv``); no curves: its speed depends on the backing pump."""

    displacement_m3_s: float
    compression_pressure_pa: tuple[float, ...] = ()
    compression_k0: tuple[float, ...] = ()
    """Zero-flow compression against foreline pressure, air (``compression_booster.csv``)."""
    compression_by_gas: Mapping[str, CompressionCurve] = field(default_factory=dict)
    """The same for other gases it is specified for."""
    largest_difference_pa: float
    cut_in_pa: float
    bypass_valve: bool
