"""Workings of a working day: venting, foreline, cold start, cycles, night and energy."""

from __future__ import annotations

from collections.abc import Iterator

from server.fit.day_results import Day, ForelineHold, NightChoice, PumpEnergy
from server.fit.requirements import Duty
from server.fit.results import PumpDown, Working
from server.fit.thresholds import HUMIDITY
from server.fit.workings.bench import CATALOG, INQUIRY, PRACTICE, Law, cite, line
from server.physics.duty import FULL_EXPOSURE_S

SECTION = "A working day"


def day_lines(day: Day, duty: Duty, pump_down: PumpDown) -> Iterator[Working]:
    """Yield the lines behind a working day.

    Parameters
    ----------
    day : Day
        The day.
    duty : Duty
        How the system is worked.
    pump_down : PumpDown
        First and later pump-downs.
    """
    yield _refilled(day, duty)
    yield line(
        SECTION, "later-pump-down", "Later pump-downs",
        Law("t_later", "V·dp/dt = −S·p + Q, surfaces q = q₁·[s·(t/1 h)^−α + (1 − s)·(t₁/1 h)^−α]",
            "s", f"as the first pump-down; share s: {PRACTICE}"),
        {"s": day.refilled_share, "t₁, pumped before [s]": pump_down.time_s
         + duty.time_at_pressure_s, "first pump-down [s]": pump_down.time_s},
        pump_down.later_time_s,
    )  # fmt: skip
    if day.hold is not None:
        yield from _held(day.hold)
    yield _cold_start(day, pump_down)
    yield from _cycles(day, duty)
    yield from _night(day.night)
    for number, part in enumerate(day.energy, 1):
        yield _energy(number, part, duty)


def _refilled(day: Day, duty: Duty) -> Working:
    law = Law(
        "s", "s = min(1, h·√(t_open/t_full))", "",
        f"{PRACTICE}; uptake grows more slowly than exposure: {cite('LI-1994')}",
    )  # fmt: skip
    inputs = {
        "h, against room air": HUMIDITY[duty.venting],
        "t_open [s]": duty.vent_time_s,
        "t_full [s]": FULL_EXPOSURE_S,
    }
    return line(SECTION, "refilled", "Water sites filled by one venting", law, inputs,
                day.refilled_share)  # fmt: skip


def _held(hold: ForelineHold) -> Iterator[Working]:
    inputs = {
        "V [m³]": hold.volume_m3,
        "p_tol [Pa]": hold.tolerable_pa,
        "p₀, as its valve closes [Pa]": hold.start_pa,
        "Q of pump and walls [Pa·m³/s]": hold.throughput_pa_m3_s,
        "roughing takes [s]": hold.needed_s,
    }
    law = Law("t_hold", "t = V·(p_tol − p₀)/Q", "s", "mass balance of the closed foreline")
    yield line(SECTION, "foreline-hold", "The closed foreline holds for", law, inputs, hold.hold_s)


def _cold_start(day: Day, pump_down: PumpDown) -> Working:
    law = Law(
        "t_cold",
        "t_cold = t_wait + t_rough + t_rest; t_wait: the foreline is pumped first, then what the "
        "warm-up takes beyond roughing (all of it where it begins after roughing), and pauses",
        "s",
        CATALOG,
    )
    rough_end_s, end_s = pump_down.phases[0].end_s, pump_down.phases[-1].end_s
    inputs = {
        "t_wait [s]": day.cold_start_s - end_s,
        "t_rough [s]": rough_end_s,
        "t_rest, from roughing to the target [s]": end_s - rough_end_s,
    }
    name = "From everything off to the target"
    return line(SECTION, "cold-start", name, law, inputs, day.cold_start_s)


def _cycles(day: Day, duty: Duty) -> Iterator[Working]:
    law = Law(
        "t_day", "t_day = t_first + (n − 1)·t_later, of less than one cycle a day t_first", "s",
        INQUIRY,
    )  # fmt: skip
    cycles = {
        "n, cycles a day": duty.cycles_per_day,
        "t_first [s]": day.first_cycle_s,
        "t_later [s]": day.later_cycle_s,
        "at pressure, in each [s]": duty.time_at_pressure_s,
        "chamber open, in each [s]": duty.vent_time_s,
    }
    yield line(SECTION, "day-needs", "What the cycles of a day take", law, cycles, day.needed_s)
    if day.cycles_that_fit is None:
        return
    law = Law("n", "n = 1 + ⌊(t_shift − t_first)/t_later⌋, 0 if t_first > t_shift", "", INQUIRY)
    inputs = {
        "t_shift [s]": day.shift_s,
        "t_first [s]": day.first_cycle_s,
        "t_later [s]": day.later_cycle_s,
    }
    yield line(SECTION, "cycles-that-fit", "Cycles that fit into the shift", law, inputs,
               float(day.cycles_that_fit))  # fmt: skip


def _night(night: NightChoice) -> Iterator[Working]:
    law = Law(
        "t*", "t* = E_restart/P_idle, E_restart = Σ P·t of what runs to stop and to start again",
        "s", "conservation of energy; time has no price in it",
    )  # fmt: skip
    inputs = {
        "E_restart [J]": night.restart_energy_j,
        "P_idle [W]": night.idle_power_w,
        "pause, until ready again [s]": night.pause_s,
        "cool-down or regeneration [s]": night.stop_s,
        "warm-up or run-up [s]": night.start_s,
    }
    yield line(SECTION, "break-even", "Standing by pays up to", law, inputs, night.break_even_s)


def _energy(number: int, part: PumpEnergy, duty: Duty) -> Working:
    law = Law(
        "E", "E = P·(t_warming + t_working + t_standing by)", "kWh",
        f"{CATALOG}; {INQUIRY}; the costs count the shift alone",
    )  # fmt: skip
    inputs = {
        "P [W]": part.power_w,
        "warming [kWh]": part.warming_kwh,
        "working [kWh]": part.working_kwh,
        "standing by [kWh]": part.standing_by_kwh,
        "working days": duty.days_per_year,
        "a year [kWh]": part.per_year_kwh,
    }
    return line(SECTION, f"day-energy-{number}", f"Energy of {part.name} on the day", law, inputs,
                part.per_day_kwh)  # fmt: skip
