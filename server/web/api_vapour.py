"""What a pressure consists of, where vapour goes and what dries, as the JSON API answers it."""

from __future__ import annotations

from server.web.api_base import Number, Out


class PartialPressureOut(Out):
    """One row of what the chamber's pressure consists of; rows add up to it."""

    what: str
    load_pa_m3_s: Number
    speed_m3_s: Number
    pressure_pa: Number
    share: Number
    at_rest: bool
    note: str


class VapourPathOut(Out):
    """Where one vapour goes in a day; what is held, kept, carried out and stays adds up."""

    substance: str
    enters_kg_s: Number
    enters_kg_per_day: Number
    front_trap: str
    front_trap_passes_pa: Number
    held_by_front_trap_kg_per_day: Number
    back_trap: str
    back_trap_passes_pa: Number
    held_by_back_trap_kg_per_day: Number
    kept_by_pump_kg_per_day: Number
    carried_out_kg_per_day: Number
    stays_in_pump_kg_per_day: Number
    carried_share: Number
    defrost_after_s: Number


class DryingOut(Out):
    """How wet goods dry on a stack; a null time: never."""

    substance: str
    mass_kg: Number
    goods_temperature_k: Number
    saturation_pa: Number
    chamber_pressure_pa: Number
    partial_pressure_pa: Number
    rate_kg_s: Number
    drying_time_s: Number
    asked_s: Number
    limited_by: str
    heat_w: Number
    text: str
