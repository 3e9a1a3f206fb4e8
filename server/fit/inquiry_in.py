"""What people and programs send: the inquiry as typed, every cell checked, nothing filled in."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from server.catalog.flanges import parse_flange
from server.fit.inquiry_types import MoneyOf, NameOf, NumberOf, QuantityOf, TextOf
from server.fit.names import resolve_material, resolve_species, resolve_vapour
from server.fit.requirements import Application, Cleanliness, Condition, Hazard, Venting
from server.units import Dimension

# Bounds are the edges of sense for laboratories and small plants, not of the models: a value beyond
# them is a slip of the pen (a wrong unit, a missing minus) far more often than an inquiry.
Volume = Annotated[str | float | int, QuantityOf(Dimension.VOLUME, 1e-6, 1e5)]
Temperature = Annotated[str | float | int, QuantityOf(Dimension.TEMPERATURE, 200.0, 2500.0)]
Area = Annotated[str | float | int, QuantityOf(Dimension.AREA, 0.0, 1e6, low_allowed=False)]
Leak = Annotated[str | float | int, QuantityOf(Dimension.THROUGHPUT, 0.0, 1e3)]
Length = Annotated[str | float | int, QuantityOf(Dimension.LENGTH, 0.0, 100.0)]
Bore = Annotated[str | float | int, QuantityOf(Dimension.LENGTH, 1e-3, 2.0)]
Bends = Annotated[int, Field(ge=0, le=20)]
Pressure = Annotated[str | float | int, QuantityOf(Dimension.PRESSURE, 1e-9, 1e5)]
Span = Annotated[str | float | int, QuantityOf(Dimension.TIME, 1.0, 30 * 86400.0)]
Shift = Annotated[str | float | int, QuantityOf(Dimension.TIME, 60.0, 86400.0)]
Flow = Annotated[str | float | int, QuantityOf(Dimension.GAS_FLOW, 0.0, 100.0, low_allowed=False)]
Rate = Annotated[str | float | int, QuantityOf(Dimension.MASS_RATE, 0.0, 1.0, low_allowed=False)]
Mass = Annotated[str | float | int, QuantityOf(Dimension.MASS, 0.0, 1e4, low_allowed=False)]
GoodsTemperature = Annotated[str | float | int, QuantityOf(Dimension.TEMPERATURE, 150.0, 480.0)]
Mains = Annotated[str | float | int, QuantityOf(Dimension.VOLTAGE, 90.0, 700.0)]
CyclesPerDay = Annotated[str | float | int, NumberOf(0.0, 1000.0, low_allowed=False)]
DaysPerYear = Annotated[str | float | int, NumberOf(0.0, 366.0, low_allowed=False)]
HorizonYears = Annotated[str | float | int, NumberOf(0.0, 30.0, low_allowed=False)]
EnergyPrice = Annotated[str | float | int, MoneyOf(Decimal(100))]
Budget = Annotated[str | float | int, MoneyOf(Decimal("1e9"), zero_allowed=False)]
Title = Annotated[str, TextOf(200)]
Currency = Annotated[str, TextOf(3)]
PortName = Annotated[str, NameOf(parse_flange, "flange", ("KF 40", "ISO-K 160", "CF 100"))]
SpeciesName = Annotated[str, NameOf(resolve_species, "gas", ("argon", "Ar", "N2", "helium"))]
VapourName = Annotated[str, NameOf(resolve_vapour, "vapour", ("water", "ethanol", "acetone"))]
MaterialName = Annotated[
    str, NameOf(resolve_material, "material", ("stainless_steel", "aluminium", "fkm"))
]


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class SurfaceIn(_Shape):
    """A surface that gives off gas."""

    material: MaterialName
    area: Area
    condition: Condition | None = None


class ChamberIn(_Shape):
    """The vessel to be pumped; only the volume is needed."""

    volume: Volume
    temperature: Temperature | None = None
    port: PortName | None = None
    surfaces: Annotated[list[SurfaceIn], Field(max_length=50)] | None = None
    leak_rate: Leak | None = None


class LineIn(_Shape):
    """A run of tube; a missing bore means the bore of the flange it starts from."""

    length: Length | None = None
    bore: Bore | None = None
    bends: Bends | None = None


class GasIn(_Shape):
    """Process gas let into the chamber."""

    species: SpeciesName
    flow: Flow


class VapourIn(_Shape):
    """Vapour given off by the work."""

    substance: VapourName
    rate: Rate


class WetGoodsIn(_Shape):
    """Goods that are dried; the rate is what heat and diffusion supply, where that is known."""

    substance: VapourName
    mass: Mass
    temperature: GoodsTemperature | None = None
    area: Area | None = None
    drying_time: Span | None = None
    rate: Rate | None = None


class ProcessIn(_Shape):
    """What happens at pressure."""

    pressure: Pressure | None = None
    gas: Annotated[list[GasIn], Field(max_length=20)] | None = None
    vapour: Annotated[list[VapourIn], Field(max_length=20)] | None = None
    wet_goods: Annotated[list[WetGoodsIn], Field(max_length=10)] | None = None


class DutyIn(_Shape):
    """How the system is worked."""

    cycles_per_day: CyclesPerDay | None = None
    time_at_pressure: Span | None = None
    days_per_year: DaysPerYear | None = None
    shift: Shift | None = None
    vent_time: Span | None = None
    venting: Venting | None = None


class UtilitiesIn(_Shape):
    """What the site offers."""

    cooling_water: bool | None = None
    three_phase: bool | None = None
    mains_voltage: Mains | None = None


class CommercialIn(_Shape):
    """What the offer is judged by."""

    currency: Currency | None = None
    horizon_years: HorizonYears | None = None
    energy_price_per_kwh: EnergyPrice | None = None
    budget: Budget | None = None


class InquiryIn(_Shape):
    """The inquiry as typed; only ``chamber.volume`` and ``target_pressure`` are needed."""

    title: Title | None = None
    application: Application | None = None
    chamber: ChamberIn
    line: LineIn | None = None
    rough_line: LineIn | None = None
    foreline: LineIn | None = None
    target_pressure: Pressure
    pump_down_time: Span | None = None
    process: ProcessIn | None = None
    duty: DutyIn | None = None
    cleanliness: Cleanliness | None = None
    hazards: Annotated[list[Hazard], Field(max_length=20)] | None = None
    utilities: UtilitiesIn | None = None
    commercial: CommercialIn | None = None
    limit: Annotated[int, Field(ge=1, le=50)] | None = None
