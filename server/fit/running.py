"""How long the pumps of a stack run in a year, and the electrical energy that takes."""

from __future__ import annotations

import math
from dataclasses import dataclass

from server.catalog.items import CAPTURE_KINDS, Pump, PumpKind, Trap, VapourPump
from server.errors import OutOfRange
from server.fit.fluid_use import NO_EXPOSURE, Exposure
from server.fit.requirements import Duty

_HOURS_PER_YEAR = 8766.0
_DAY_S = 86_400.0
_SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True)
class Use:
    """How pumps are used over the horizon."""

    duty: Duty
    horizon_years: float
    exposure: Exposure = NO_EXPOSURE
    installed: bool = False
    """The pumps stand there already: no first charge, and their age is not known."""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.horizon_years) and self.horizon_years > 0):
            raise OutOfRange("Consumables are counted over a time above zero.")

    def hours(self, kind: PumpKind) -> float:
        """Return the running hours of a pump over the horizon. [h]."""
        return running_hours_per_year(self.duty, kind) * self.horizon_years

    def replacements(self, kind: PumpKind, every_hours: float) -> int:
        """Return how often a part of a pump is replaced within the horizon.

        New parts last their whole life first; the age of installed ones is not known, so that the
        first replacement may be due at once.
        """
        lives = math.ceil(round(self.hours(kind) / every_hours, 9))
        return lives if self.installed else max(0, lives - 1)


def running_hours_per_year(duty: Duty, kind: PumpKind | None = None) -> float:
    """Return how long a pump runs in a year.

    Parameters
    ----------
    duty : Duty
        The pumps run for the shift, or longer where the day's cycles need it.
    kind : PumpKind or None
        Cryo- and sputter-ion pumps stay at work day and night.

    Returns
    -------
    float
        Hours per year. [h]

    Raises
    ------
    OutOfRange
        When the day's cycles do not fit into a day.
    """
    if kind in CAPTURE_KINDS:
        return _HOURS_PER_YEAR
    day_s = max(duty.shift_s, duty.cycles_per_day * duty.time_at_pressure_s)
    if day_s > _DAY_S:
        raise OutOfRange(
            f"{duty.cycles_per_day:g} cycles of {duty.time_at_pressure_s / 3600:g} h at pressure do"
            " not fit into one day."
        )
    return day_s / _SECONDS_PER_HOUR * duty.days_per_year


def energy_kwh_per_year(pump: Pump | Trap, duty: Duty) -> float:
    """Return the electrical energy of a pump or a trap in a year, warm-up included.

    Parameters
    ----------
    pump : Pump or Trap
        Counted at its stated power: an upper bound for motors, near the truth for heaters.
    duty : Duty
        Where the pump stands still overnight, every working day begins with a warm-up.

    Returns
    -------
    float
        Energy. [kWh]
    """
    hours = running_hours_per_year(duty, pump.kind if isinstance(pump, Pump) else None)
    if isinstance(pump, VapourPump):
        starts = duty.days_per_year if hours < 24.0 * duty.days_per_year else 1.0
        hours += starts * pump.warm_up_s / _SECONDS_PER_HOUR
    return pump.power_w * hours / 1000.0
