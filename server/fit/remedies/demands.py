"""What the customer may change about the chamber, the work and the money."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

from server.fit.candidates import Back, Front
from server.fit.evacuation import HORIZON_S
from server.fit.loads import loads_of
from server.fit.remedies.matters import Change, Matter, Settings
from server.fit.remedies.safe_side import rounded, shown
from server.fit.requirements import Process, Requirements, VapourLoad
from server.physics.constants import ATMOSPHERE_PA
from server.units import Dimension

TIGHT_PA_M3_S = 1e-7
"""1e-6 mbar·L/s, called very tight for a chamber with elastomer seals (from memory)."""

LARGEST_RELAXATION = 1000.0
"""Beyond three decades of pressure, load or money it is another inquiry, not a remedy."""

LONGEST_SHIFT_S = 86_400.0

SHORTEST_VENT_S = 60.0
"""Hardly anything is let in, taken out and put in sooner: common practice, no source."""


def leak_rate(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    """Seal leaks."""
    now = asked.chamber.leak_pa_m3_s
    if now <= TIGHT_PA_M3_S:
        return None

    def typed(value: float) -> str:
        return rounded(value, Dimension.THROUGHPUT, up=False)

    def say(value: float) -> str:
        before = shown(now, Dimension.THROUGHPUT)
        return f"Find and seal leaks: at most {typed(value)} instead of {before}."

    return Change(
        Matter.LEAK_RATE, "Pa m3/s", now, TIGHT_PA_M3_S,
        lambda value: replace(asked, chamber=replace(asked.chamber, leak_pa_m3_s=value)),
        say, _in_field(Matter.LEAK_RATE, typed),
    )  # fmt: skip


def _in_field(matter: Matter, typed: Callable[[float], str]) -> Callable[[float], Settings]:
    """Return what to type where a change has a field of its own."""
    return lambda value: ((matter.value, typed(value)),)


def pump_down_time(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    """Allow more time."""
    now = asked.pump_down_time_s
    if now is None or now >= HORIZON_S:
        return None

    def typed(value: float) -> str:
        return rounded(value, Dimension.TIME, up=True)

    def say(value: float) -> str:
        before = shown(now, Dimension.TIME)
        return f"Allow at least {typed(value)} for the pump-down instead of {before}."

    return Change(
        Matter.PUMP_DOWN_TIME, "s", now, HORIZON_S,
        lambda value: replace(asked, pump_down_time_s=value),
        say, _in_field(Matter.PUMP_DOWN_TIME, typed),
    )  # fmt: skip


def _relaxed(pressure_pa: float) -> float:
    """Return how far a pressure may be relaxed: a vacuum ends at the atmosphere."""
    return max(pressure_pa, min(pressure_pa * LARGEST_RELAXATION, ATMOSPHERE_PA))


def target(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    """Ask for less vacuum."""
    now = asked.target_pressure_pa

    def typed(value: float) -> str:
        return rounded(value, Dimension.PRESSURE, up=True)

    def say(value: float) -> str:
        return f"Accept a target of {typed(value)} instead of {shown(now, Dimension.PRESSURE)}."

    return Change(
        Matter.TARGET, "Pa", now, _relaxed(now),
        lambda value: replace(asked, target_pressure_pa=value),
        say, _in_field(Matter.TARGET, typed),
    )  # fmt: skip


def process_pressure(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    """Run the process at a higher pressure."""
    now = asked.process.pressure_pa
    if now is None:
        return None

    def typed(value: float) -> str:
        return rounded(value, Dimension.PRESSURE, up=True)

    def say(value: float) -> str:
        before = shown(now, Dimension.PRESSURE)
        return f"Run the process at {typed(value)} or above instead of {before}."

    return Change(
        Matter.PROCESS_PRESSURE, "Pa", now, _relaxed(now),
        lambda value: replace(asked, process=replace(asked.process, pressure_pa=value)),
        say, _in_field(Matter.PROCESS_PRESSURE, typed),
    )  # fmt: skip


def process_load(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    """Let in less gas and dry less at a time, all in proportion."""
    now = sum(loads_of(asked).process_pa_m3_s.values())
    if now <= 0.0:
        return None

    def say(value: float) -> str:
        least = _typed_loads(asked.process, value / now)
        before = _shown_loads(asked.process)
        parts = [f"{new} of {name} instead of {old}" for (name, new), old in zip(
            least, before, strict=True)]  # fmt: skip
        share = math.floor(1000.0 * value / now) / 10.0
        rest = "" if len(parts) == 1 else f" ({share:g} % of each)"
        return f"Let in or dry off less at a time: at most {_listed(parts)}{rest}."

    def settings(value: float) -> Settings:
        typed = [text for _, text in _typed_loads(asked.process, value / now)]
        return tuple(zip(typed_paths(asked.process), typed, strict=True))

    return Change(
        Matter.PROCESS_LOAD, "Pa m3/s", now, now / LARGEST_RELAXATION,
        lambda value: replace(asked, process=scaled(asked.process, value / now)),
        say, settings,
    )  # fmt: skip


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def typed_paths(process: Process) -> list[str]:
    """Return where each gas and vapour is typed; of wet goods the mass of a batch."""
    paths = [f"process.gas.{row}.flow" for row in range(len(process.gas))]
    steady = [load for load in process.vapour if load.goods is None]
    paths += [f"process.vapour.{row}.rate" for row in range(len(steady))]
    wet = len(process.vapour) - len(steady)
    return paths + [f"process.wet_goods.{row}.mass" for row in range(wet)]


def _typed_loads(process: Process, factor: float) -> list[tuple[str, str]]:
    """Return each gas and vapour with what is left of it."""
    gases = [
        (gas.species, rounded(gas.flow_mol_s * factor, Dimension.GAS_FLOW, up=False))
        for gas in process.gas
    ]
    return gases + [
        (load.substance, rounded(value * factor, dimension, up=False))
        for load in process.vapour
        for value, dimension in (_amount(load),)
    ]


def _shown_loads(process: Process) -> list[str]:
    gases = [shown(gas.flow_mol_s, Dimension.GAS_FLOW) for gas in process.gas]
    return gases + [shown(*_amount(load)) for load in process.vapour]


def _amount(load: VapourLoad) -> tuple[float, Dimension]:
    """Return what is typed of a vapour: its rate, or the mass of wet goods."""
    if load.goods is None:
        return load.rate_kg_s, Dimension.MASS_RATE
    return load.goods.mass_kg, Dimension.MASS


def scaled(process: Process, factor: float) -> Process:
    """Return the process with all its gas and vapour multiplied; wet goods in smaller batches."""
    return replace(
        process,
        gas=tuple(replace(gas, flow_mol_s=gas.flow_mol_s * factor) for gas in process.gas),
        vapour=tuple(_scaled_vapour(load, factor) for load in process.vapour),
    )


def _scaled_vapour(load: VapourLoad, factor: float) -> VapourLoad:
    goods = load.goods
    batch = None if goods is None else replace(goods, mass_kg=goods.mass_kg * factor)
    return replace(load, rate_kg_s=load.rate_kg_s * factor, goods=batch)


def cycles(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    """Plan fewer cycles a day."""
    now = asked.duty.cycles_per_day
    if now <= 1.0:
        return None

    def typed(value: float) -> str:
        return f"{math.floor(value + 1e-9)}"

    def say(value: float) -> str:
        word = "cycle" if typed(value) == "1" else "cycles"
        return f"Plan at most {typed(value)} {word} a day instead of {now:g}."

    return Change(
        Matter.CYCLES, "", now, 1.0,
        lambda value: replace(asked, duty=replace(asked.duty, cycles_per_day=value)),
        say, lambda value: ((Matter.CYCLES.value, typed(value)), *_kept_of_a_cycle(asked)),
    )  # fmt: skip


def _kept_of_a_cycle(asked: Requirements) -> Settings:
    """Return what to type so that times which were a share of the shift stay as they are."""
    duty = asked.duty
    times = (
        ("duty.time_at_pressure", duty.time_at_pressure_s), ("duty.vent_time", duty.vent_time_s),
    )  # fmt: skip
    assumed = {assumption.field for assumption in asked.assumptions}
    return tuple(
        (field, rounded(value, Dimension.TIME, up=False))
        for field, value in times
        if field in assumed
    )


def vent_time(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    """Open the chamber for less time."""
    now = asked.duty.vent_time_s
    if now <= SHORTEST_VENT_S:
        return None

    def typed(value: float) -> str:
        return rounded(value, Dimension.TIME, up=False)

    def say(value: float) -> str:
        before = shown(now, Dimension.TIME)
        return f"Vent, unload and load within {typed(value)} instead of {before}."

    return Change(
        Matter.VENT_TIME, "s", now, SHORTEST_VENT_S,
        lambda value: replace(asked, duty=replace(asked.duty, vent_time_s=value)),
        say, _in_field(Matter.VENT_TIME, typed),
    )  # fmt: skip


def shift(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    """Let the pumps work longer a day."""
    now = asked.duty.shift_s
    if now >= LONGEST_SHIFT_S:
        return None

    def typed(value: float) -> str:
        return rounded(value, Dimension.TIME, up=True)

    def say(value: float) -> str:
        before = shown(now, Dimension.TIME)
        return f"Let the pumps work {typed(value)} a day instead of {before}."

    return Change(
        Matter.SHIFT, "s", now, LONGEST_SHIFT_S,
        lambda value: replace(asked, duty=replace(asked.duty, shift_s=value)),
        say, lambda value: ((Matter.SHIFT.value, typed(value)), *_kept_of_a_cycle(asked)),
    )  # fmt: skip


def budget(asked: Requirements, _front: Front | None, _back: Back) -> Change | None:
    """Spend more."""
    limit = asked.commercial.budget
    if limit is None or limit <= 0:
        return None
    now, currency = float(limit), asked.commercial.currency

    def apply(value: float) -> Requirements:
        return replace(asked, commercial=replace(asked.commercial, budget=Decimal(repr(value))))

    def say(value: float) -> str:
        return f"Raise the budget from {now:,.2f} to {math.ceil(value):,} {currency}."

    return Change(
        Matter.BUDGET, currency, now, now * LARGEST_RELAXATION, apply,
        say, _in_field(Matter.BUDGET, lambda value: f"{math.ceil(value)}"),
    )  # fmt: skip
