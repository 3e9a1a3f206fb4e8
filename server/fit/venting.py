"""What opening the chamber between two cycles of a day does to its surfaces."""

from __future__ import annotations

from functools import lru_cache

from server.fit.requirements import Duty
from server.fit.thresholds import HUMIDITY
from server.physics.arrays import FloatArray
from server.physics.duty import after_venting, refilled_share
from server.physics.gasload import GasLoad


@lru_cache(maxsize=64)
def refilled_by_venting(duty: Duty) -> float:
    """Return the share of the surfaces' water sites that one venting of the duty fills."""
    return float(refilled_share(duty.vent_time_s, HUMIDITY[duty.venting]))


def pumped_before_s(first_s: FloatArray, duty: Duty) -> FloatArray:
    """Return how long a chamber was under vacuum in the first cycle of a day. [s].

    Parameters
    ----------
    first_s : array, shape (n,)
        First pump-downs. [s]
    duty : Duty
        Time at pressure.
    """
    return first_s + duty.time_at_pressure_s


def load_of_later_cycles(load: GasLoad, first_s: FloatArray, duty: Duty) -> GasLoad:
    """Return the gas load of the pump-downs that follow the first of a day.

    Parameters
    ----------
    load : GasLoad
        Of fresh surfaces; n candidates.
    first_s : array, shape (n,)
        First pump-downs, finite. [s]
    duty : Duty
        Time at pressure, and how the chamber is opened.
    """
    return after_venting(load, refilled_by_venting(duty), pumped_before_s(first_s, duty))
