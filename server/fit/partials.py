"""What the pressure in the chamber of a shown stack consists of, row by row."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping

from server.catalog.items import TurboPump, VapourPump
from server.fit.loads import AIR
from server.fit.vapour_results import PartialPressure
from server.fit.workings.bench import Bench, Settled
from server.physics.species import SPECIES

_UNSEEN = 1e-7
"""Rows at rest below this share of the pressure are left out: rounding of the solution."""


def partials_of(bench: Bench, state: Settled) -> tuple[PartialPressure, ...]:
    """Return the rows that add up to the chamber's pressure; empty where there is none.

    Parameters
    ----------
    bench : Bench
        The stack.
    state : Settled
        Its base or process state.
    """
    chamber_pa, parts = state.chamber_pa, state.partial_pa
    if not math.isfinite(chamber_pa):
        return ()
    without_load = chamber_pa - sum(parts.values())
    if bench.front is None:
        rows = list(_rough_rows(bench, state))
        rest = list(_rough_rest(bench, without_load))
    else:
        rows = [_gas_row(gas, state, part) for gas, part in parts.items() if part > 0.0]
        rest = list(_high_vacuum_rest(bench, state, without_load))
    seen = [row for row in rest if row.pressure_pa > _UNSEEN * chamber_pa]
    return tuple(_with_share(row, chamber_pa) for row in (*rows, *seen))


def _gas_row(gas: str, state: Settled, pressure_pa: float) -> PartialPressure:
    load = state.load_pa_m3_s[gas]
    return PartialPressure(gas, load, load / pressure_pa, pressure_pa, 0.0)


def _rest_row(what: str, pressure_pa: float, note: str = "") -> PartialPressure:
    return PartialPressure(what, 0.0, None, pressure_pa, 0.0, at_rest=True, note=note)


def _with_share(row: PartialPressure, chamber_pa: float) -> PartialPressure:
    return PartialPressure(
        row.what,
        row.load_pa_m3_s,
        row.speed_m3_s,
        row.pressure_pa,
        row.pressure_pa / chamber_pa,
        row.at_rest,
        row.note,
    )


def _rough_rows(bench: Bench, state: Settled) -> Iterator[PartialPressure]:
    """Yield the gases, and what the backing pump lets stand at its final pressure.

    Its net speed dies there because air comes back, not because it pumps other gases less: of each
    gas Q/S of the gross speed stands in the chamber, the rest of Q/S_net is that air. A vapour
    that a trap holds knows nothing of it.
    """
    driven = max(1.0 - bench.chamber_speeds(AIR, state).rest_pa / state.chamber_pa, 0.0)
    leaking = 0.0
    for gas, part in state.partial_pa.items():
        own = part if bench.is_held_by_back(gas, state) else part * driven
        leaking += part - own
        if own > 0.0:
            yield _gas_row(gas, state, own)
    if leaking > _UNSEEN * state.chamber_pa:
        name = bench.back.backing.name
        yield _rest_row(f"final pressure of {name}", leaking, "air that leaks back through it")


def _rough_rest(bench: Bench, pressure_pa: float) -> Iterator[PartialPressure]:
    if bench.back.trap is not None and bench.process is not None:
        names = _names(bench.process, bench.is_held_by_back)
        yield _rest_row(f"vapour over {bench.back.trap.name}", pressure_pa, names)


def _names(state: Settled, is_held: Callable[[str, Settled], bool]) -> str:
    """Name the vapours that a trap holds."""
    return " and ".join(SPECIES[gas].name for gas in state.gases if is_held(gas, state))


def _high_vacuum_rest(
    bench: Bench, state: Settled, pressure_pa: float
) -> Iterator[PartialPressure]:
    """Yield the pump's own pressure, what comes back through a rotor, what a cold trap lets by."""
    front = bench.front
    if front is None:
        return
    own = min(bench.resting_pa, pressure_pa)
    if isinstance(front.pump, VapourPump) and front.fluid is not None:
        fluid = front.fluid.kind.replace("_", " ")
        by_fluid = own > front.pump.ultimate_pa
        note = f"vapour of its fluid, {fluid}" if by_fluid else f"light fractions of its {fluid}"
        yield _rest_row(f"final pressure of {front.pump.name}", own, note)
    else:
        note = "its own surfaces, mostly hydrogen once it is baked"
        yield _rest_row(f"final pressure of {front.pump.name}", own, note)
    least = _UNSEEN * state.chamber_pa
    over = state.over_trap_pa
    if front.trap is not None and over > least:
        yield _rest_row(f"vapour over {front.trap.name}", over, _names(state, bench.is_held))
    left = pressure_pa - own - over
    if left > least and isinstance(front.pump, TurboPump):
        back = {gas: behind / k for gas, (behind, k) in bench.back_diffusion(state).items()}
        yield _rest_row("back through the rotor from the foreline", left, _leading(back))


def _leading(parts_pa: Mapping[str, float]) -> str:
    """Return the gases that make up most of it, such as ``hydrogen 80 %, water 19 %``."""
    total = sum(parts_pa.values())
    if total <= 0.0:
        return ""
    ordered = sorted(parts_pa.items(), key=lambda item: -item[1])
    return ", ".join(
        f"{SPECIES[gas].name} {part / total:.0%}".replace("%", " %")
        for gas, part in ordered
        if part >= 0.05 * total
    )
