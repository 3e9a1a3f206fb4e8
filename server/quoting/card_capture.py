"""Operating card of a stack with a cryo- or sputter-ion pump."""

from __future__ import annotations

from server.catalog.items import CapturePump, PumpKind, TurboPump
from server.quoting.card import (
    BACKSTREAM_PA,
    CardLimit,
    CardSection,
    CardStack,
    CardStep,
    booster_steps,
    cooling_step,
    fill_steps,
    pressure,
    stop_backing_steps,
    stop_booster_steps,
    trap_care_steps,
    trap_steps,
)
from server.quoting.card_turbo import turbo_start_steps
from server.units import format_duration


def capture_sections(card: CardStack, pump: CapturePump) -> tuple[CardSection, ...]:
    """Return the sections for a cryo- or sputter-ion pump, in the order they are needed."""
    cryo = pump.kind is PumpKind.CRYO
    sections = [
        CardSection("start", "Start", _start_cryo(card, pump) if cryo else _start_ion(card, pump)),
        CardSection("chamber", "Pump the chamber down", _chamber(card, pump)),
        CardSection("vent", "Open the chamber between runs", _vent()),
        CardSection("stop", "Stop", _stop_cryo(card, pump) if cryo else _stop_ion(card)),
    ]
    fill = tuple(fill_steps(card))
    if fill:
        sections.insert(0, CardSection("fill", "Before the first start", fill))
    if cryo:
        sections.append(CardSection("regeneration", "Regeneration", _regeneration(pump)))
    sections.append(CardSection("failures", "When something fails", _failures(pump), ordered=False))
    return tuple(sections)


def capture_limits(pump: CapturePump) -> tuple[CardLimit, ...]:
    """Return the limits of a capture pump: pressures, and the gas it holds."""
    rows = [("Start or crossover, at most", pump.start_pressure_pa)]
    if pump.largest_inlet_pa is not None:
        rows.append(("Inlet, continuous, at most", pump.largest_inlet_pa))
    limits = [CardLimit(pump.name, name, value, "Pa", pressure(value)) for name, value in rows]
    limits += [
        CardLimit(
            pump.name, f"Holds of {gas.replace('_', ' ')}", held, "Pa·m³", f"{held:.3g} Pa·m³"
        )
        for gas, held in pump.capacity_pa_m3.items()
    ]
    return tuple(limits)


def _rough_steps(card: CardStack, *, wait_for: str) -> list[CardStep]:
    backing = card.backing.name if card.backing is not None else "the roughing pump"
    steps = [
        CardStep(f"Switch {backing} on.", None, wait_for),
        *booster_steps(card.booster),
        *trap_steps(card.traps),
    ]
    if isinstance(card.booster, TurboPump):
        steps += turbo_start_steps(card.booster)
    return steps


def _start_cryo(card: CardStack, pump: CapturePump) -> tuple[CardStep, ...]:
    cooling = cooling_step(pump)
    at = pressure(pump.start_pressure_pa)
    return (
        CardStep("Close the isolation valve and the vent valve; check the relief valve is free."),
        *_rough_steps(card, wait_for=f"the pump itself is roughed to {at} or below"),
        CardStep("Close the cryopump's own roughing valve: it is sealed off from now on."),
        *((cooling,) if cooling is not None else ()),
        CardStep(
            f"Switch the compressor of {pump.name} on.",
            pump.cool_down_s,
            f"working temperature after about {format_duration(pump.cool_down_s)}",
        ),
    )


def _start_ion(card: CardStack, pump: CapturePump) -> tuple[CardStep, ...]:
    at = pressure(pump.start_pressure_pa)
    return (
        CardStep("Close the vent valve and open the way from the pump to the roughing line."),
        *_rough_steps(card, wait_for=f"pump and chamber on their way to {at}"),
        CardStep(
            f"Switch the high voltage of {pump.name} on below {at}.",
            pump.cool_down_s,
            f"started after about {format_duration(pump.cool_down_s)}: the current falls and stays "
            "low",
        ),
        CardStep("Close the roughing valve, then stop the roughing pumps."),
    )


def _chamber(card: CardStack, pump: CapturePump) -> tuple[CardStep, ...]:
    at = card.crossover_pa if card.crossover_pa is not None else pump.start_pressure_pa
    steps = [
        CardStep(
            "With the isolation valve closed, rough the chamber by the roughing valve.",
            None,
            f"chamber at the crossover pressure of {pressure(at)}",
        )
    ]
    if card.rough_by_oil:
        steps.append(
            CardStep(
                f"Do not stay on the roughing line below about {pressure(BACKSTREAM_PA)}: the "
                "pump's oil vapour wanders back and covers the cold or active surfaces."
            )
        )
    steps.append(CardStep("Close the roughing valve, then open the isolation valve."))
    return tuple(steps)


def _vent() -> tuple[CardStep, ...]:
    return (
        CardStep("Close the isolation valve; check that it is closed. The pump goes on running."),
        CardStep("Let dry nitrogen or air into the chamber by the vent valve."),
    )


def _stop_cryo(card: CardStack, pump: CapturePump) -> tuple[CardStep, ...]:
    return (
        CardStep("Close the isolation valve and keep it closed until the pump is regenerated."),
        CardStep(
            f"Switch the compressor of {pump.name} off. What it holds comes free as it warms up: "
            "the relief valve and its line stay open to a safe place."
        ),
        *trap_care_steps(card.traps),
        *stop_booster_steps(card),
        *stop_backing_steps(card),
    )


def _stop_ion(card: CardStack) -> tuple[CardStep, ...]:
    return (
        CardStep("Close the isolation valve and leave the pump under vacuum."),
        CardStep(
            "Switch the high voltage off; wait for its indicator before unplugging, and earth."
        ),
        *trap_care_steps(card.traps),
        *stop_booster_steps(card),
        *stop_backing_steps(card),
    )


def _regeneration(pump: CapturePump) -> tuple[CardStep, ...]:
    return (
        CardStep("Regenerate before the capacity below is used up, or when the pump gets warmer."),
        CardStep("Close the isolation valve and switch the compressor off."),
        CardStep(
            "Warm the pump up with dry nitrogen, the exhaust led to a safe place.",
            pump.regeneration_s,
            f"the whole regeneration takes about {format_duration(pump.regeneration_s)}",
        ),
        CardStep("Rough the pump, see that its pressure holds, and start it as above."),
    )


def _failures(pump: CapturePump) -> tuple[CardStep, ...]:
    if pump.kind is PumpKind.CRYO:
        return (
            CardStep(
                "Power or cooling fails: close the isolation valve. If the pump has become warm, "
                "regenerate it before it is used again."
            ),
            CardStep("Air has rushed in: close the isolation valve, keep the relief valve free."),
        )
    return (
        CardStep(
            "Power fails: nothing opens by itself. Start again only below "
            f"{pressure(pump.start_pressure_pa)}; otherwise rough first."
        ),
        CardStep("Current stays high: leak or full pump. Switch off before it overheats."),
    )
