"""How long the pumps of a stack run in a year, and the electrical energy that takes."""

from __future__ import annotations

import math
from dataclasses import dataclass

from server.catalog.items import CAPTURE_KINDS, Pump, PumpKind, Trap
from server.errors import OutOfRange
from server.fit.fluid_use import NO_EXPOSURE, Exposure
from server.fit.requirements import Duty

HOURS_PER_YEAR = 8766.0
DAY_S = 86_400.0
_SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True)
class Use:
    """How pumps are used over the horizon."""

    duty: Duty
    horizon_years: float
    exposure: Exposure = NO_EXPOSURE
    installed: bool = False
    """The pumps stand there already: no first charge, and their age is not known."""
    run_s_per_day: float | None = None
    """How long pumps that are not needed all day run, as in ``running_hours_per_year``."""
    hours_since_service: float | None = None
    """What installed pumps have run since everything on them was last renewed; None: not known."""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.horizon_years) and self.horizon_years > 0):
            raise OutOfRange("Consumables are counted over a time above zero.")
        since = self.hours_since_service
        if since is not None and not (math.isfinite(since) and since >= 0):
            raise OutOfRange("Hours since the last service are a number from zero upwards.")

    def hours(self, kind: PumpKind) -> float:
        """Return the running hours of a pump over the horizon. [h]."""
        return running_hours_per_year(self.duty, kind, self.run_s_per_day) * self.horizon_years

    def replacements(self, kind: PumpKind, every_hours: float) -> int:
        """Return how often a part of a pump is replaced within the horizon."""
        left = self.hours(kind) - self.first_due_hours(every_hours)
        return max(0, math.ceil(round(left / every_hours, 9)))

    def first_due_hours(self, every_hours: float) -> float:
        """Return the running hours from now until a part is first replaced. [h].

        New parts last their whole life. The age of installed ones is what has run since the last
        service; where that is not known, the first replacement may be due at once.
        """
        if not self.installed:
            return every_hours
        if self.hours_since_service is None:
            return 0.0
        return max(0.0, every_hours - self.hours_since_service)

    def due_hours(self, kind: PumpKind, every_hours: float) -> tuple[float, ...]:
        """Return the running hours from now at which a part is replaced. [h]."""
        first = self.first_due_hours(every_hours)
        return tuple(
            first + number * every_hours for number in range(self.replacements(kind, every_hours))
        )


def running_hours_per_year(
    duty: Duty, kind: PumpKind | None = None, run_s_per_day: float | None = None
) -> float:
    """Return how long a pump is on in a year.

    Parameters
    ----------
    duty : Duty
        The pumps are on for the shift, warm-up included, or longer where the cycles need it.
    kind : PumpKind or None
        Cryo- and sputter-ion pumps stay at work day and night.
    run_s_per_day : float or None
        For pumps that are not needed all the time: those that only rough for a capture pump, see
        ``roughing_s_per_day``. It goes before what the kind says. [s]

    Returns
    -------
    float
        Hours per year. [h]

    Raises
    ------
    OutOfRange
        When the day's cycles, or the time given, do not fit into a day.
    """
    if run_s_per_day is not None:
        if not 0.0 <= run_s_per_day <= DAY_S:
            raise OutOfRange("A pump runs between no and 24 hours a day.")
        return run_s_per_day / _SECONDS_PER_HOUR * duty.days_per_year
    if kind in CAPTURE_KINDS:
        return HOURS_PER_YEAR
    return on_s_per_day(duty) / _SECONDS_PER_HOUR * duty.days_per_year


def on_s_per_day(duty: Duty) -> float:
    """Return how long the pumps of a stack are on in a day: the shift, or what the cycles need.

    Raises
    ------
    OutOfRange
        When the day's cycles do not fit into a day.
    """
    day_s = max(duty.shift_s, duty.cycles_per_day * duty.time_at_pressure_s)
    if day_s > DAY_S:
        raise OutOfRange(
            f"{duty.cycles_per_day:g} cycles of {duty.time_at_pressure_s / 3600:g} h at pressure do"
            " not fit into one day."
        )
    return day_s


def roughing_s_per_day(duty: Duty, rough_s: float) -> float:
    """Return how long pumps run a day that are shut off once a capture pump has taken over.

    Parameters
    ----------
    duty : Duty
        Cycles a day, fewer than one for chambers that are seldom opened.
    rough_s : float
        Roughing of one cycle, run-up of a roughing turbo included. [s]

    Returns
    -------
    float
        Time a day, on average; where roughing takes as long as the stack is on, they run all that
        time. [s]
    """
    return min(duty.cycles_per_day * rough_s, on_s_per_day(duty))


def energy_kwh_per_year(pump: Pump | Trap, duty: Duty, run_s_per_day: float | None = None) -> float:
    """Return the electrical energy of a pump or a trap in a year.

    Parameters
    ----------
    pump : Pump or Trap
        Counted at its stated power while it is on: an upper bound for motors, near the truth for
        heaters, whose warm-up is part of the time they are on.
    duty : Duty
        How long pumps are on.
    run_s_per_day : float or None
        As in ``running_hours_per_year``. [s]

    Returns
    -------
    float
        Energy. [kWh]
    """
    kind = pump.kind if isinstance(pump, Pump) else None
    return pump.power_w * running_hours_per_year(duty, kind, run_s_per_day) / 1000.0
