"""The shapes of the JSON API's answers; the names are a promise to outside programs."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, PlainSerializer, WithJsonSchema

from server.fit.results import MarginKey, MarginVerdict, Role, StackVerdict
from server.quoting.desk.lines import LineChoice
from server.web.api_base import Number, Out
from server.web.api_day import DayOut
from server.web.api_envelope import EnvelopeOut
from server.web.api_vapour import DryingOut, PartialPressureOut, VapourPathOut

Money = Annotated[
    Decimal,
    PlainSerializer(lambda amount: format(amount, "f"), return_type=str),
    WithJsonSchema({"type": "string", "pattern": r"^-?[0-9]+(\.[0-9]+)?$"}),
]
"""An exact amount as a decimal string."""


class FaultOut(Out):
    """One fault: the field's path, what was typed, what is wrong, what would be accepted."""

    field: str
    typed: str
    message: str
    accepted: str


class Errors(Out):
    """Why a request was refused, one entry per fault."""

    errors: list[FaultOut]


class CatalogIdentityOut(Out):
    """Which catalogue an answer rests on."""

    name: str
    version: str


class AssumptionOut(Out):
    """A default that was used, and why."""

    field: str
    value: str
    reason: str


class CountsOut(Out):
    """How many combinations were looked at."""

    considered: int
    fit: int
    marginal: int
    rejected: Mapping[str, int]


class PartOut(Out):
    """One part of a stack."""

    role: Role
    sku: str
    name: str
    kind: str
    quantity: int
    note: str
    place: str


class MarginOut(Out):
    """Capability against requirement for one limit."""

    key: MarginKey
    required: Number
    available: Number
    unit: str
    ratio: Number
    threshold: Number
    verdict: MarginVerdict
    explanation: str


class StateOut(Out):
    """A steady state."""

    chamber_pressure_pa: Number
    inlet_pressure_pa: Number
    foreline_pressure_pa: Number
    throughput_pa_m3_s: Number
    effective_speed_m3_s: Number
    partial_pressures_pa: Mapping[str, Number]
    partials: list[PartialPressureOut]


class PhaseOut(Out):
    """One phase of a pump-down."""

    name: str
    start_s: Number
    end_s: Number
    note: str


class PumpDownOut(Out):
    """Pump-down to the target; null times are never reached."""

    time_s: Number
    p10_s: Number
    p50_s: Number
    p90_s: Number
    probability_in_time: Number
    probability_reached: float
    crossover_pressure_pa: Number
    curve: list[tuple[Number, Number]]
    curve_p10: list[tuple[Number, Number]]
    curve_p90: list[tuple[Number, Number]]
    foreline_curve: list[tuple[Number, Number, Number]]
    phases: list[PhaseOut]
    later_time_s: Number
    later_phases: list[PhaseOut]


class BaseSpreadOut(Out):
    """Base pressure of the plausible systems; null where one has no steady pressure."""

    base_p10_pa: Number
    base_p50_pa: Number
    base_p90_pa: Number
    probability_at_target: float
    systems: int


class CostOut(Out):
    """Money over the horizon."""

    currency: str
    purchase: Money
    energy_per_year: Money
    consumables_per_year: Money
    total_over_horizon: Money


class WorkingOut(Out):
    """One line of the calculation."""

    key: str
    name: str
    symbol: str
    formula: str
    inputs: Mapping[str, Number | str]
    value: Number | str
    unit: str
    source: str
    section: str


class RemedyOut(Out):
    """The smallest single change that turns a failing margin into a passing one."""

    margin: MarginKey
    change: str
    from_value: Number = Field(serialization_alias="from")
    to_value: Number = Field(serialization_alias="to")
    unit: str
    text: str
    stack_title: str
    also: list[MarginKey]
    """Other failing margins that the same change brings to their thresholds."""
    breaks: list[MarginKey]
    """Margins that passed before and fall below their thresholds by it."""
    solves: bool
    """Whether the stack passes every margin with this change alone."""
    settings: list[tuple[str, str]]
    """Fields and what to type there, rounded to the safe side."""


class StackOut(Out):
    """One stack, judged."""

    rank: int
    verdict: StackVerdict
    title: str
    parts: list[PartOut]
    margins: list[MarginOut]
    states: Mapping[str, StateOut]
    pump_down: PumpDownOut | None
    cost: CostOut
    rank_reason: str
    weakest: MarginKey | None
    flags: list[str]
    workings: list[WorkingOut]
    remedies: list[RemedyOut]
    day: DayOut | None
    base_spread: BaseSpreadOut | None
    vapour_path: list[VapourPathOut]
    drying: list[DryingOut]
    envelope: EnvelopeOut | None


class BestOfKindOut(Out):
    """The best stack with one kind of pump on the chamber, whatever its rank."""

    kind: str
    rank: int
    verdict: StackVerdict
    title: str
    purchase: Money
    total_over_horizon: Money
    currency: str


class AdviceOut(Out):
    """The whole answer to an inquiry."""

    token: str
    """Name under which it is kept: ``GET /api/v1/advice/{token}``."""
    created_at: datetime
    title: str
    catalog: CatalogIdentityOut
    assumptions: list[AssumptionOut]
    counts: CountsOut
    stacks: list[StackOut]
    remedies: list[RemedyOut]
    ranking_rule: str
    engine_version: str
    best_by_kind: list[BestOfKindOut]


class ItemOut(BaseModel):
    """One item that can be sold; further fields by its type, named with their SI unit."""

    model_config = ConfigDict(extra="allow")

    sku: str
    name: str
    type: str
    price: Money


class CatalogOut(BaseModel):
    """The catalogue without cost prices."""

    catalog: CatalogIdentityOut
    currency: str
    items: list[ItemOut]


class UpkeepLineOut(Out):
    """One thing used up: packs of one SKU over the horizon, and why."""

    group: str
    sku: str
    name: str
    pieces: int
    of_which_first: int
    unit_price: Money
    total: Money
    reason: str


class DueOut(Out):
    """Upkeep of a pump that is due on a day."""

    day: date
    what: str
    pump: str
    sku: str
    label: str
    quantity: int
    part_sku: str
    why: str


class RefusedRowOut(Out):
    """A row of a pasted table that could not be used: its line, its cells, what is wrong."""

    number: int
    cells: list[str]
    faults: list[FaultOut]


class ConsumablesOut(Out):
    """What pumps use up over a period."""

    catalog: CatalogIdentityOut
    currency: str
    horizon_years: float
    assumptions: list[AssumptionOut]
    lines: list[UpkeepLineOut]
    total: Money
    as_of: date
    due: list[DueOut]
    refused: list[RefusedRowOut]


class PartyOut(Out):
    """Seller or customer."""

    name: str
    address: str
    contact: str
    email: str


class QuoteLineOut(Out):
    """One line of an offer."""

    group: str
    sku: str
    name: str
    quantity: int
    unit_price: Money
    total: Money
    lead_time_days: int
    note: str
    choice: LineChoice
    discount_percent: Money
    tax_rate_percent: Money | None
    from_stock: int


class TaxLineOut(Out):
    """The tax of one rate."""

    rate_percent: Money
    base: Money
    tax: Money


class TextsOut(Out):
    """The paragraphs under the sums."""

    payment: str
    delivery: str
    warranty: str
    validity: str


class DangerousGoodsOut(Out):
    """Lines that travel under the rules for dangerous goods."""

    un_number: str
    name: str
    hazard_class: str
    packing_group: str
    skus: list[str]


class CautionOut(Out):
    """A caution and what it concerns."""

    about: str
    text: str


class QuoteOut(Out):
    """An issued offer."""

    number: str
    created_at: datetime
    valid_until: date
    seller: PartyOut
    customer: PartyOut
    reference: str
    title: str
    stack_title: str
    currency: str
    lines: list[QuoteLineOut]
    net: Money
    tax_rate_percent: Money
    tax: Money
    total: Money
    lead_time_days: int
    margins: list[MarginOut]
    flags: list[str]
    cautions: list[CautionOut]
    assumptions: list[AssumptionOut]
    notes: str
    catalog_version: str
    advice_token: str
    stack_rank: int
    revision: int
    discount_percent: Money
    discount: Money
    freight: Money
    taxes: list[TaxLineOut]
    price_list: str
    texts: TextsOut
    rounding: str
    dangerous_goods: list[DangerousGoodsOut]
    export_hints: list[str]
    locale: str
