"""Operating card of a rough-vacuum stack: backing pump, with or without a booster."""

from __future__ import annotations

from server.catalog.items import OIL_SEALED_KINDS, BackingPump, RootsBooster
from server.fit.fluid_use import exposure_of, fluid_life
from server.quoting.card import (
    BALLAST_S,
    CardLimit,
    CardSection,
    CardStack,
    CardStep,
    booster_steps,
    celsius,
    cooling_step,
    fill_steps,
    pressure,
    sorbent_steps,
    stop_backing_steps,
    stop_booster_steps,
    trap_care_steps,
    trap_steps,
)
from server.units import format_duration


def rough_sections(card: CardStack, pump: BackingPump) -> tuple[CardSection, ...]:
    """Return the sections for a rough-vacuum stack, in the order they are needed."""
    sections = [
        CardSection("start", "Start and pump the chamber down", _start(card, pump)),
        CardSection("stop", "Stop and open the chamber", _stop(card, pump)),
        CardSection("care", "Care", backing_care(card, pump), ordered=False),
        CardSection("failures", "When something fails", _failures(pump), ordered=False),
    ]
    fill = tuple(fill_steps(card))
    if fill:
        sections.insert(0, CardSection("fill", "Before the first start", fill))
    return tuple(sections)


def backing_limits(pump: BackingPump) -> tuple[CardLimit, ...]:
    """Return the limits of a backing pump."""
    limits = []
    if pump.largest_inlet_pa is not None:
        value = pump.largest_inlet_pa
        limits.append(
            CardLimit(pump.name, "Inlet, continuous, at most", value, "Pa", pressure(value))
        )
    limits.append(
        CardLimit(
            pump.name, "Gas at the exhaust, about", pump.exhaust_k, "K", celsius(pump.exhaust_k)
        )
    )
    return tuple(limits)


def booster_limits(booster: RootsBooster) -> tuple[CardLimit, ...]:
    """Return the limits of a Roots booster."""
    rows = (
        ("Pressure difference, at most", booster.largest_difference_pa),
        ("Switch on below", booster.cut_in_pa),
    )
    return tuple(
        CardLimit(booster.name, name, value, "Pa", pressure(value)) for name, value in rows
    )


def backing_care(card: CardStack, pump: BackingPump) -> tuple[CardStep, ...]:
    """Return the care of a backing pump: oil, filters, service."""
    steps = []
    if card.oil is not None and pump.oil_charge_m3 > 0:
        life = fluid_life(card.oil, card.requirements.duty, exposure_of(card.requirements))
        why = f" ({', '.join(life.reasons)})" if life.reasons else ""
        steps.append(
            CardStep(
                f"Change the oil of {pump.name}, warm and standing still, about every "
                f"{life.hours:.0f} h of running in this service{why}; sooner when it is dark, "
                "cloudy or thin."
            )
        )
    steps.append(
        CardStep(f"Have {pump.name} serviced every {pump.service_hours:.0f} h of running.")
    )
    return (*steps, *sorbent_steps(card.traps))


def _has_vapour(card: CardStack) -> bool:
    return bool(card.requirements.process.vapour)


def _start(card: CardStack, pump: BackingPump) -> tuple[CardStep, ...]:
    steps = [CardStep("Close the roughing valve and the vent valve.")]
    for cooled in (pump, card.booster):
        step = cooling_step(cooled) if cooled is not None else None
        if step is not None:
            steps.append(step)
    steps.append(CardStep(f"Switch {pump.name} on; never close or throttle its exhaust."))
    if _has_vapour(card) and pump.ballast_m3_s > 0:
        steps.append(
            CardStep(
                "Open the gas ballast and let the pump warm up before any vapour reaches it; leave "
                "the ballast open while vapour comes.",
                BALLAST_S,
                f"about {format_duration(BALLAST_S)}",
            )
        )
    target = pressure(card.requirements.target_pressure_pa)
    steps += [
        *trap_steps(card.traps),
        CardStep("Open the roughing valve."),
        *booster_steps(card.booster),
        CardStep("Let the chamber pump down.", None, f"chamber at the target of {target}"),
    ]
    return tuple(steps)


def _stop(card: CardStack, pump: BackingPump) -> tuple[CardStep, ...]:
    steps = [CardStep("Close the roughing valve.")]
    steps += stop_booster_steps(card)
    if _has_vapour(card) and pump.ballast_m3_s > 0:
        what = "its oil" if pump.kind in OIL_SEALED_KINDS else "the pump"
        steps.append(
            CardStep(
                f"Let the pump run on with gas ballast until {what} is free of condensate.",
                BALLAST_S,
                f"about {format_duration(BALLAST_S)}",
            )
        )
    steps += [
        CardStep("Let air or dry nitrogen into the chamber by the vent valve."),
        *trap_care_steps(card.traps),
        *stop_backing_steps(card),
    ]
    return tuple(steps)


def _failures(pump: BackingPump) -> tuple[CardStep, ...]:
    oil = pump.kind in OIL_SEALED_KINDS
    back = "oil or air flows back" if oil else "air flows back"
    return (
        CardStep(f"Power fails: close the roughing valve at once, or {back} into the chamber."),
        CardStep("Cooling fails or the pump runs hot: close the roughing valve and switch it off."),
        CardStep("The exhaust is blocked: switch off at once; check the exhaust filter."),
    )
