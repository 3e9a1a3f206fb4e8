"""The margin of vapour: what traps, condensers and gas ballast take of what the work gives off."""

from __future__ import annotations

import numpy as np

from server.catalog.items import CapturePump, Trap
from server.fit.candidates import Back, Front
from server.fit.case import Case, Ledger, ledger
from server.fit.front_states import process_time_s
from server.fit.inlet import is_caught
from server.fit.loads import PUMP_K
from server.fit.requirements import Requirements
from server.physics.arrays import FloatArray
from server.physics.ballast import Ballast, vapour_carried_pa_m3_s
from server.physics.constants import GAS_CONSTANT_J_MOL_K
from server.physics.species import SPECIES
from server.physics.vapour import SATURATION, saturation_pressure_pa


def vapour(case: Case) -> Ledger | None:
    """Vapour that trap, condenser or gas ballast takes ÷ vapour load.

    Several vapours share trap and ballast: the shares of the load in what could be taken of each
    alone add up, and the margin is one over their sum.
    """
    share: FloatArray | None = None
    whole = 0.0
    for substance, rate in case.loads.vapour_kg_s.items():
        if rate <= 0.0 or substance not in SATURATION:
            continue
        trapped = _trapped_kg_s(case, substance)
        # what a trap holds never gets to the pump: its capacity counts, not the gas ballast
        alone = np.where(trapped > 0.0, trapped, _carried_kg_s(case, substance))
        part = rate / np.maximum(alone, 1e-300)
        share = part if share is None else share + part
        whole += rate
    if share is None:
        return None
    ratio = np.where(share > 0.0, 1.0 / np.where(share > 0.0, share, 1.0), np.inf)
    # a capture pump keeps the vapour: how long is a matter of its life, see `duty`
    keeps = np.array([[isinstance(front.pump, CapturePump)] for front in case.fronts])
    applies = np.where(keeps, np.nan, ratio) if case.fronts else ratio
    return ledger(whole, whole * ratio, applies)


def working_time_per_day_s(requirements: Requirements) -> float:
    """Return how long vapour comes off in a day."""
    duty = requirements.duty
    return min(duty.cycles_per_day * duty.time_at_pressure_s, 86_400.0)


def _trapped_kg_s(case: Case, substance: str) -> FloatArray:
    """Rate at which traps take a day's vapour between two defrosts, shape (F or 1, B)."""
    time = working_time_per_day_s(case.requirements)
    per_second = 1.0 / time if time > 0.0 else 0.0
    backs = np.array(
        [[_holds(back.trap, substance, case.requirements) * per_second for back in case.backs]]
    )
    if case.states.inlet is None:
        return backs
    fronts = np.array(
        [[_holds(front.trap, substance, case.requirements) * per_second] for front in case.fronts]
    )
    best: FloatArray = np.maximum(fronts, backs)
    return best


def vapour_route(case: Case, front: Front | None, back: Back) -> str:
    """Say in a sentence where a stack's vapour goes."""
    for substance in case.loads.vapour_kg_s:
        for trap in (front.trap if front else None, back.trap):
            if _holds(trap, substance, case.requirements) > 0.0 and trap is not None:
                grams = f"{trap.capacity_kg * 1000:.0f} g"
                return (
                    f"{trap.name} holds it: {grams} until it must be defrosted, once a day at most."
                )
    if back.backing.ballast_m3_s > 0.0:
        return f"Run {back.backing.name} warm and with its gas ballast open."
    return "The pump has no gas ballast: the gas pumped with the vapour carries it out."


def _holds(trap: Trap | None, substance: str, requirements: Requirements) -> float:
    if trap is None or not is_caught(substance, trap, requirements):
        return 0.0
    return trap.capacity_kg


def _carried_kg_s(case: Case, substance: str) -> FloatArray:
    """Vapour that passes the backing pump uncondensed, shape (1, B)."""
    model = SATURATION[substance]
    exhaust = np.array([back.backing.exhaust_k for back in case.backs])
    below = exhaust < model.high_k
    saturation = np.full(exhaust.shape, np.inf)
    saturation[below] = saturation_pressure_pa(substance, exhaust[below])
    valve = np.array([back.backing.exhaust_valve_pa for back in case.backs])
    ballast = Ballast(
        flow_m3_s=np.array([back.backing.ballast_m3_s for back in case.backs]),
        saturation_pa=saturation,
        exhaust_pa=valve,
        ambient_vapour_pa=AMBIENT_WATER_PA if substance == "water" else 0.0,
    )
    permanent = sum(
        flow
        for gas, flow in case.loads.running_pa_m3_s(process_time_s(case.requirements)).items()
        if gas not in SATURATION
    )
    carried = vapour_carried_pa_m3_s(ballast, permanent)
    per_throughput = SPECIES[substance].molar_mass_kg_mol / (GAS_CONSTANT_J_MOL_K * PUMP_K)
    result: FloatArray = np.asarray(carried * per_throughput)[np.newaxis]
    return result


AMBIENT_WATER_PA = 1_170.0
"""Water in the ballast air: 20 °C, 50 % relative humidity (half of 2 339 Pa, IAPWS)."""
