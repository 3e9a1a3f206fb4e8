"""Which share of a vapour each trap holds while the process runs, and which reaches the pump.

A trap without a capacity of its own holds nothing in the long run: what it takes counts as passed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from server.catalog.items import Trap
from server.fit.case import Case
from server.physics.arrays import FloatArray

Share = TypeVar("Share", FloatArray, float)


@dataclass(frozen=True)
class VapourShares(Generic[Share]):
    """Shares of one vapour; they add up to one."""

    in_front: Share
    """Held by the trap in front of the high-vacuum pump."""
    behind: Share
    """Held by the trap in front of the backing pump."""
    on: Share
    """Reaches the backing pump."""


def field_shares(case: Case, substance: str) -> VapourShares[FloatArray]:
    """Return the shares of a vapour of the process in all combinations, (F or 1, B) each."""
    states = case.states
    state = states.process
    assert state is not None  # noqa: S101 (asked for vapours of the process)
    load = state.load_pa_m3_s
    shape = (len(case.field.fronts), len(case.backs))
    in_front, behind = np.zeros(shape), np.zeros(shape)
    for mask, reaching in states.reaching(load):
        arriving = reaching[substance]
        past = states.backing.beyond_trap(reaching)[substance]
        in_front[mask] = (load[substance] - arriving) / load[substance]
        behind[mask] = (arriving - past) / load[substance]
    lasting = np.array([[_lasts(front.trap if front else None)] for front in case.field.fronts])
    in_front *= lasting
    behind *= np.array([_lasts(back.trap) for back in case.backs])
    return VapourShares(in_front, behind, np.maximum(1.0 - in_front - behind, 0.0))


def stack_shares(
    case: Case, front_row: int, back_row: int, load_pa_m3_s: Mapping[str, float]
) -> Mapping[str, VapourShares[float]]:
    """Return the shares of every gas of a load in one combination.

    Parameters
    ----------
    case : Case
        The field.
    front_row, back_row : int
        The combination's place in it.
    load_pa_m3_s : mapping of float
        What flows into the chamber. [Pa m3/s]
    """
    states, reaching = case.states, dict(load_pa_m3_s)
    if states.inlet is not None:
        row = int(states.inlet.row_of_front[front_row])
        beyond = states.inlet.beyond_trap(load_pa_m3_s)
        reaching = {gas: float(flow[row]) for gas, flow in beyond.items()}
    past = states.backing.beyond_trap(reaching)
    front, back = case.field.fronts[front_row], case.backs[back_row]
    before, after = _lasts(front.trap if front else None), _lasts(back.trap)
    found = {}
    for gas, flow in load_pa_m3_s.items():
        if flow > 0.0:
            in_front = before * (flow - reaching[gas]) / flow
            behind = after * (reaching[gas] - float(past[gas][back_row])) / flow
            found[gas] = VapourShares(in_front, behind, max(1.0 - in_front - behind, 0.0))
    return found


def _lasts(trap: Trap | None) -> float:
    return 1.0 if trap is not None and trap.capacity_kg > 0.0 else 0.0
