"""One entry per margin key: what is required, what is available, their ratio, field-wide.

Every function takes the field's `Case` and returns a `Ledger`, or None where the margin does not
apply. Arrays broadcast to (fronts, backs). A ratio of 1 just works; `thresholds.RULES` says what
passes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from server.catalog.items import CapturePump, PumpKind, TurboPump, VapourPump
from server.fit.candidates import Back, Front
from server.fit.case import Case, Ledger, ledger, quotient
from server.fit.cycle_times import Days, room_s
from server.fit.front_states import process_time_s
from server.fit.habits import lowest_asked_pa, stands_idle
from server.fit.margin_vapour import vapour, working_time_per_day_s
from server.fit.requirements import Requirements
from server.fit.results import MarginKey
from server.fit.thresholds import (
    ALLOWED_BACKSTREAMING_KG_M2_S,
    SMALLEST_REGENERATION_INTERVAL_S,
)
from server.physics.arrays import FloatArray
from server.physics.pumps import capture_life_s


def ultimate(case: Case) -> Ledger:
    """Target ÷ predicted base pressure, a day after pumping began, without process gas."""
    target, base = case.requirements.target_pressure_pa, case.states.base.chamber_pa
    return ledger(target, base, quotient(target, base))


def process_pressure(case: Case) -> Ledger | None:
    """Pressure the process asks for ÷ predicted chamber pressure under its gas load."""
    asked, state = case.requirements.process.pressure_pa, case.states.process
    if asked is None or state is None:
        return None
    return ledger(asked, state.chamber_pa, quotient(asked, state.chamber_pa))


def throughput(case: Case) -> Ledger | None:
    """Largest throughput of pump and foreline ÷ gas load of the process."""
    state, capacity = case.states.process, case.states.capacity_pa_m3_s
    if state is None or capacity is None:
        return None
    load = state.reaching_pa_m3_s
    return ledger(load, capacity, quotient(capacity, load))


def foreline(case: Case) -> Ledger | None:
    """Tolerable foreline pressure ÷ foreline pressure, at the worse of base and process load."""
    if not case.fronts:
        return None
    worst: Ledger | None = None
    for state in (case.states.base, case.states.process):
        if state is None or state.foreline_pa is None or state.tolerable_pa is None:
            continue
        ratio = quotient(state.tolerable_pa, state.foreline_pa)
        tolerable = np.broadcast_to(state.tolerable_pa, ratio.shape)
        now = Ledger(state.foreline_pa, tolerable, ratio)
        worst = now if worst is None else _worse(worst, now)
    if worst is None:
        return None
    unbacked = np.array([[front.pump.outlet is None] for front in case.fronts])
    roughing = turbo_roughing(case)
    return Ledger(
        np.where(unbacked, roughing.required, worst.required),
        np.where(unbacked, roughing.available, worst.available),
        np.where(unbacked, roughing.ratio, worst.ratio),
    )


def turbo_roughing(case: Case) -> Ledger:
    """Judge the foreline of a turbo pump that roughs for a capture pump; NaN for other backs."""
    boosters = [back.booster for back in case.backs]
    tolerable = np.array(
        [[b.tolerable_foreline_pa if isinstance(b, TurboPump) else np.nan for b in boosters]]
    )
    found = case.states.behind_turbo_pa
    behind = np.full(tolerable.shape, np.nan) if found is None else found
    ratio = np.where(np.isnan(tolerable), np.nan, quotient(tolerable, behind))
    return Ledger(behind, tolerable, ratio)


def _worse(one: Ledger, other: Ledger) -> Ledger:
    take = other.ratio < one.ratio
    return Ledger(
        np.where(take, other.required, one.required),
        np.where(take, other.available, one.available),
        np.where(take, other.ratio, one.ratio),
    )


def inlet(case: Case) -> Ledger | None:
    """Largest continuous inlet pressure ÷ inlet pressure while the process runs."""
    state = case.states.process or case.states.base
    if case.fronts:
        limits = np.array([[front.pump.largest_inlet_pa or np.nan] for front in case.fronts])
    else:
        limits = np.array(
            [
                [
                    back.backing.largest_inlet_pa or np.nan if back.booster is None else np.nan
                    for back in case.backs
                ]
            ]
        )
    if np.isnan(limits).all():
        return None
    ratio = np.where(np.isnan(limits), np.nan, quotient(limits, state.inlet_pa))
    return ledger(state.inlet_pa, limits, ratio)


def crossover(case: Case) -> Ledger | None:
    """Highest pressure for the crossover ÷ lowest pressure that roughing reaches.

    0 where the work never gets below the crossover: such a high-vacuum pump would stand idle.
    """
    limit, floor = case.states.crossover_limit_pa, case.states.rough_floor_pa
    if limit is None or floor is None:
        return None
    idle = np.array([[stands_idle(front, case.requirements)] for front in case.fronts])
    idle = idle | (lowest_asked_pa(case.requirements) >= limit)
    return ledger(floor, limit, np.where(idle, 0.0, quotient(limit, floor)))


def pump_down(days: Days) -> Ledger | None:
    """Time allowed ÷ predicted time to the target."""
    return pump_down_in(days.case, days.spread(days.evacuation.time_s))


def pump_down_in(case: Case, time_s: FloatArray) -> Ledger | None:
    """Return the margin of the pump-down for times of a field."""
    allowed = case.requirements.pump_down_time_s
    return None if allowed is None else ledger(allowed, time_s, quotient(allowed, time_s))


def duty(days: Days) -> Ledger | None:
    """Shift ÷ the day's cycles, or a capture pump's life ÷ the life asked for: the worse."""
    return duty_in(days.case, days.spread(days.needs.needed_s))


def duty_in(case: Case, needed: FloatArray) -> Ledger:
    """Return the margin of the duty for the time [s] that the cycles of a day take in a field."""
    room = room_s(case.requirements.duty)
    worst = ledger(needed, np.full(needed.shape, room), quotient(room, needed))
    lives = np.array([[capture_life_margin_s(front, case)] for front in case.fronts])
    if lives.size == 0 or np.isnan(lives).all():
        return worst
    wanted = np.array([[wanted_life_s(front, case.requirements)] for front in case.fronts])
    ratio = np.where(np.isnan(lives), np.inf, lives / wanted)
    take = ratio < worst.ratio
    return Ledger(
        np.where(take, wanted, worst.required),
        np.where(take, lives, worst.available),
        np.where(take, ratio, worst.ratio),
    )


def wanted_life_s(front: Front, requirements: Requirements) -> float:
    """Return how long a capture pump should hold gas: a week (cryo), the horizon (sputter-ion)."""
    if front.pump.kind is PumpKind.SPUTTER_ION:
        return requirements.commercial.horizon_years * 365.25 * 86_400.0
    return SMALLEST_REGENERATION_INTERVAL_S


def capture_life_margin_s(front: Front, case: Case) -> float:
    """Return how long until a capture pump is full of its first gas; NaN for other pumps."""
    pump = front.pump
    if not isinstance(pump, CapturePump):
        return np.nan
    base = case.loads.base_pa_m3_s(process_time_s(case.requirements))
    on = working_time_per_day_s(case.requirements) / 86_400.0
    lives = [
        float(
            capture_life_s(
                pump.capacity_pa_m3.get(gas, pump.capacity_pa_m3.get("nitrogen", 0.0)), mean
            )
        )
        for gas, flow in base.items()
        for mean in (flow + case.loads.process_pa_m3_s.get(gas, 0.0) * on,)
    ]
    return min(lives, default=np.inf)


def backstreaming(case: Case) -> Ledger | None:
    """Oil backstreaming allowed ÷ predicted, for vapour-jet pumps and vapour boosters."""
    allowed = ALLOWED_BACKSTREAMING_KG_M2_S.get(case.requirements.cleanliness)
    rates = np.array(
        [
            [
                front.pump.backstreaming_kg_m2_s
                * (front.trap.backstreaming_factor if front.trap else 1.0)
                if isinstance(front.pump, VapourPump)
                else np.nan
            ]
            for front in case.fronts
        ]
    )
    if allowed is None or rates.size == 0 or np.isnan(rates).all():
        return None
    return ledger(allowed, rates, np.where(np.isnan(rates), np.nan, allowed / rates))


def fluid(case: Case) -> Ledger | None:
    """Temperature the fluid stands ÷ boiler temperature."""
    boiler = np.array(
        [
            [front.pump.boiler_k if isinstance(front.pump, VapourPump) else np.nan]
            for front in case.fronts
        ]
    )
    if boiler.size == 0 or np.isnan(boiler).all():
        return None
    stands = np.array(
        [[front.fluid.largest_boiler_k if front.fluid else np.nan] for front in case.fronts]
    )
    return ledger(boiler, stands, stands / boiler)


def utilities(case: Case) -> Ledger:
    """1 where the site offers what the pumps need, else 0."""
    return _yes_or_no(case, MarginKey.UTILITIES)


def compatibility(case: Case) -> Ledger:
    """1 where gas, cleanliness and pumps go together and every joint closes, else 0."""
    pumps = _yes_or_no(case, MarginKey.COMPATIBILITY)
    both = np.where(case.open_joints, 0.0, pumps.ratio)
    return ledger(1.0, both, both)


def _yes_or_no(case: Case, key: MarginKey) -> Ledger:
    def allowed(part: Front | Back | None) -> float:
        return 0.0 if part and part.refusal and part.refusal.key is key else 1.0

    fronts = np.array([[allowed(front)] for front in case.field.fronts])
    backs = np.array([[allowed(back) for back in case.backs]])
    both = fronts * backs
    return ledger(1.0, both, both)


def budget(case: Case) -> Ledger | None:
    """Budget ÷ purchase price."""
    limit = case.requirements.commercial.budget
    if limit is None:
        return None
    return ledger(float(limit), case.purchase, quotient(float(limit), case.purchase))


UNPRICED_MARGINS: Mapping[MarginKey, Callable[[Case], Ledger | None]] = {
    MarginKey.ULTIMATE: ultimate,
    MarginKey.PROCESS_PRESSURE: process_pressure,
    MarginKey.THROUGHPUT: throughput,
    MarginKey.FORELINE: foreline,
    MarginKey.INLET: inlet,
    MarginKey.CROSSOVER: crossover,
    MarginKey.VAPOUR: vapour,
    MarginKey.BACKSTREAMING: backstreaming,
    MarginKey.FLUID: fluid,
    MarginKey.UTILITIES: utilities,
}
"""Margins that need neither prices nor a pump-down."""

PRICED_MARGINS: Mapping[MarginKey, Callable[[Case], Ledger | None]] = {
    MarginKey.COMPATIBILITY: compatibility,
    MarginKey.BUDGET: budget,
}
"""Margins that need the parts list and its price, but no pump-down."""

STEADY_MARGINS = {**UNPRICED_MARGINS, **PRICED_MARGINS}
"""Margins that need no pump-down."""

TIMED_MARGINS: Mapping[MarginKey, Callable[[Days], Ledger | None]] = {
    MarginKey.PUMP_DOWN: pump_down,
    MarginKey.DUTY: duty,
}
"""Margins that need the pump-downs of every combination, shape (F, B)."""
