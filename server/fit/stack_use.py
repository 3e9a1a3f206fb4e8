"""How the pumps of a stack are used: all while the stack is on, or only to rough."""

from __future__ import annotations

from dataclasses import replace

from server.fit.fluid_use import exposure_of
from server.fit.front_states import process_time_s
from server.fit.requirements import Requirements
from server.fit.running import Use, roughing_s_per_day


def use_of(requirements: Requirements, horizon_years: float) -> Use:
    """Return how pumps that are needed all the time are used."""
    return Use(requirements.duty, horizon_years, exposure_of(requirements))


def only_roughing(use: Use, requirements: Requirements) -> Use:
    """Return the use of pumps that are shut off once a capture pump has taken over.

    Counted for the whole pump-down time allowed: an upper bound of roughing and run-up.
    """
    run = roughing_s_per_day(requirements.duty, process_time_s(requirements))
    return replace(use, run_s_per_day=run)
