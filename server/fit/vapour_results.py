"""Where vapour goes, what dries when, and what a pressure consists of: parts of the answer."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PartialPressure:
    """One row of what a chamber's pressure consists of; the rows add up to it.

    A row ``at_rest`` is there without load: no gas flow and no speed belong to it.
    """

    what: str
    """Species key, or words for what is there at rest."""
    load_pa_m3_s: float
    speed_m3_s: float | None
    """At the chamber, load ÷ partial pressure."""
    pressure_pa: float
    share: float
    at_rest: bool = False
    note: str = ""


@dataclass(frozen=True)
class VapourPath:
    """Where one vapour goes in a day.

    What enters = held by the front trap + kept by a capture pump + held by the back trap + carried
    out + stays in the pump.
    """

    substance: str
    enters_kg_s: float
    enters_kg_per_day: float
    front_trap: str
    """Name of the trap in front of the high-vacuum pump that holds it, else empty."""
    front_trap_passes_pa: float | None
    """Vapour pressure over what that trap holds."""
    held_by_front_trap_kg_per_day: float
    back_trap: str
    """Name of the trap in front of the backing pump that holds it, else empty."""
    back_trap_passes_pa: float | None
    held_by_back_trap_kg_per_day: float
    kept_by_pump_kg_per_day: float
    """Stays in a cryopump or sputter-ion pump; nothing reaches the backing pump then."""
    carried_out_kg_per_day: float
    """Leaves the backing pump's exhaust uncondensed."""
    stays_in_pump_kg_per_day: float
    """Condenses in the backing pump: in its oil, or in its chambers where it runs dry."""
    carried_share: float | None
    """Of what reaches the backing pump; None where nothing does."""
    defrost_after_s: float | None
    """Time with vapour until the first trap that holds it is full; None without such a trap."""


@dataclass(frozen=True)
class Drying:
    """How wet goods dry on one stack."""

    substance: str
    mass_kg: float
    goods_temperature_k: float
    saturation_pa: float
    """Vapour pressure of the goods: the chamber's share of it cannot be higher while wet."""
    chamber_pressure_pa: float
    """Whole pressure while the goods are wet."""
    partial_pressure_pa: float
    """Part of it that is this vapour."""
    rate_kg_s: float
    drying_time_s: float
    asked_s: float
    limited_by: str
    """``supply``: heat and diffusion; ``pumping``: the stack draws no more from wet goods."""
    heat_w: float
    """Heat that keeps the goods at their temperature meanwhile."""
    text: str
