"""The night and the energy of a stack: standing by against switching off, kWh by what pumps do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from server.catalog.items import Fluid, PumpKind
from server.fit.day_course import Segment, seconds_by_state
from server.fit.day_results import NightChoice, Overnight, PumpEnergy, PumpState
from server.fit.explain import Spot, duration
from server.fit.fluid_use import exposure_of, fluid_life
from server.fit.habits import Habits, Stop, back_draws, front_draws, pays_to_stop
from server.fit.running import DAY_S, HOURS_PER_YEAR
from server.physics.duty import break_even_idle_s
from server.units import Dimension, format_quantity

J_PER_KWH = 3.6e6
_HOUR_S = 3600.0


def choice_of(habits: Habits, stop: Stop, gap_s: float) -> Overnight:
    """Return what to do overnight, by energy; capture pumps stay on whatever it says."""
    if gap_s <= 0.0:
        return Overnight.NO_GAP
    if habits.nonstop or not pays_to_stop(stop, gap_s):
        return Overnight.STAY_ON
    return Overnight.SWITCH_OFF


def night_of(
    spot: Spot, habits: Habits, stop: Stop, choice: Overnight, gap_s: float
) -> NightChoice:
    """Return the choice of the night with its numbers.

    Parameters
    ----------
    spot : Spot
        The stack.
    habits : Habits
        How its pumps are worked.
    stop : Stop
        What one stop and start takes.
    choice : Overnight
        What is done.
    gap_s : float
        From the end of the work to the next switching on. [s]
    """
    duty = spot.judged.case.requirements.duty
    fluid = habits.front.fluid if habits.front is not None else None
    changes = 0.0
    if fluid is not None:
        changes = gap_s / _HOUR_S * duty.days_per_year / _life_h(spot, fluid)
    idle_w, energy_j, start_s = float(stop.idle_w), float(stop.energy_j), float(stop.start_s)
    # a capture pump must be cold when the day begins; others start within it
    pause_s = gap_s if habits.nonstop else gap_s + start_s
    found = NightChoice(
        choice=choice,
        gap_s=gap_s,
        pause_s=pause_s,
        idle_power_w=idle_w,
        restart_energy_j=energy_j,
        break_even_s=float(break_even_idle_s(idle_w, energy_j)),
        stop_s=float(stop.stop_s),
        start_s=start_s,
        idle_kwh=idle_w * pause_s / J_PER_KWH,
        restart_kwh=energy_j / J_PER_KWH,
        fluid_changes_per_year=changes,
        text="",
    )
    return replace(found, text=_text(found, habits))


def _life_h(spot: Spot, fluid: Fluid) -> float:
    requirements = spot.judged.case.requirements
    return fluid_life(fluid, requirements.duty, exposure_of(requirements)).hours


def _text(night: NightChoice, habits: Habits) -> str:
    if night.choice is Overnight.NO_GAP:
        return "The work goes on day and night: the pumps stay on."
    gap = duration(night.gap_s)
    if night.break_even_s == 0.0:
        return f"Switch off overnight: a start costs nothing, {gap} of running do."
    costs = (
        f"Standing by takes {_kwh(night.idle_kwh)} in the {duration(night.pause_s)} until the "
        f"pumps must be ready again; switching off and starting takes {_kwh(night.restart_kwh)}, "
        f"as much as {duration(night.break_even_s)} of standing by."
    )
    if habits.nonstop:
        return f"{costs} {_why_nonstop(habits, night)}"
    if night.choice is Overnight.SWITCH_OFF:
        fluid = ""
        if night.fluid_changes_per_year >= 0.05:
            fluid = (
                " Left hot every night, its fluid would need "
                f"{night.fluid_changes_per_year:.2g} changes more a year."
            )
        return f"Switch off overnight. {costs}{fluid}"
    if night.gap_s < night.stop_s:
        return f"Leave it on: cooling down takes {duration(night.stop_s)}, the gap is {gap}."
    return f"Leave it on overnight. {costs}"


def _why_nonstop(habits: Habits, night: NightChoice) -> str:
    if habits.front is not None and habits.front.pump.kind is PumpKind.SPUTTER_ION:
        return "Leave the pump on all the same: it alone keeps the chamber under vacuum."
    return (
        "Leave the pump cold all the same: warm, it gives back all it holds, and regeneration and "
        f"cooling take {duration(night.stop_s + night.start_s)}. For longer breaks switch it off."
    )


def _kwh(kwh: float) -> str:
    return format_quantity(kwh * J_PER_KWH, Dimension.ENERGY, "kWh")


def energy_of(
    spot: Spot, habits: Habits, segments: Sequence[Segment], cycles_shown: int
) -> tuple[PumpEnergy, ...]:
    """Return the energy of every pump and trap of a stack, each at its stated power.

    Parameters
    ----------
    spot : Spot
        The stack.
    habits : Habits
        How its pumps are worked.
    segments : sequence of Segment
        A whole working day.
    cycles_shown : int
        Cycles in that day, of which the duty may have fewer or more on average. [-]
    """
    duty = spot.judged.case.requirements.duty
    # pumps that only rough run as often as the chamber is opened, not every day alike
    share = duty.cycles_per_day / cycles_shown if habits.nonstop and cycles_shown else 1.0
    idle_hours = max(0.0, HOURS_PER_YEAR - duty.days_per_year * DAY_S / _HOUR_S)
    hours = [seconds_by_state(segments, backing=backing) for backing in (False, True)]
    found = []
    draws = [(item, False) for item in front_draws(habits)]
    for item, with_backing in draws + [(item, True) for item in back_draws(spot.back)]:
        kwh = {
            state: seconds * item.power_w / J_PER_KWH
            for state, seconds in hours[with_backing].items()
        }
        day = kwh[PumpState.WARMING] + kwh[PumpState.WORKING] + kwh[PumpState.STANDING_BY]
        year = day * duty.days_per_year * (share if with_backing else 1.0)
        if habits.nonstop and not with_backing:
            year += idle_hours * item.power_w / 1000.0
        found.append(
            PumpEnergy(
                item.sku,
                item.name,
                item.power_w,
                kwh[PumpState.WARMING],
                kwh[PumpState.WORKING],
                kwh[PumpState.STANDING_BY],
                year,
            )
        )
    return tuple(found)
