"""Operating card of a stack with a turbomolecular pump."""

from __future__ import annotations

from server.catalog.items import OIL_SEALED_KINDS, TurboPump, ValveRole
from server.quoting.card import (
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
from server.units import format_duration


def turbo_sections(card: CardStack, pump: TurboPump) -> tuple[CardSection, ...]:
    """Return the sections for a turbomolecular pump, in the order they are needed."""
    fill = (
        *fill_steps(card),
        CardStep(
            "Fasten the pump at its inlet flange with all clamps or bolts: the rotor demands it."
        ),
    )
    return (
        CardSection("fill", "Before the first start", fill),
        CardSection("start", "Start and pump the chamber down", _start(card, pump)),
        CardSection("stop", "Stop and open the chamber", _stop(card, pump)),
        CardSection("care", "Care", _care(pump), ordered=False),
        CardSection("failures", "When something fails", _failures(card, pump), ordered=False),
    )


def turbo_limits(pump: TurboPump) -> tuple[CardLimit, ...]:
    """Return the limits of a turbomolecular pump."""
    rows = [
        ("Foreline, at most", pump.tolerable_foreline_pa),
        ("Chamber when the rotor is started, at most", pump.start_pressure_pa),
    ]
    if pump.largest_inlet_pa is not None:
        rows.append(("Inlet, continuous, at most", pump.largest_inlet_pa))
    return tuple(CardLimit(pump.name, name, value, "Pa", pressure(value)) for name, value in rows)


def turbo_start_steps(pump: TurboPump) -> list[CardStep]:
    """Return how the rotor is started, once the backing pump runs."""
    at = pressure(pump.start_pressure_pa)
    return [
        CardStep(
            f"Switch {pump.name} on once the chamber is below {at}.",
            pump.run_up_s,
            f"full speed after about {format_duration(pump.run_up_s)}",
        )
    ]


def _start(card: CardStack, pump: TurboPump) -> tuple[CardStep, ...]:
    backing = card.backing.name if card.backing is not None else "the backing pump"
    cooling = cooling_step(pump)
    steps = [CardStep("Close the vent valve.")]
    if cooling is not None:
        steps.append(cooling)
    steps += [
        CardStep(
            f"Switch {backing} on: it roughs the chamber through the still rotor.",
            None,
            f"chamber below {pressure(pump.start_pressure_pa)}",
        ),
        *booster_steps(card.booster),
        *turbo_start_steps(pump),
        *trap_steps(card.traps),
        CardStep(
            f"Let process gas in only at full speed; the foreline stays below "
            f"{pressure(pump.tolerable_foreline_pa)}."
        ),
    ]
    return tuple(steps)


def _stop(card: CardStack, pump: TurboPump) -> tuple[CardStep, ...]:
    steps = [CardStep("Stop the process gas and let the chamber pump out.")]
    if ValveRole.ISOLATION in card.valves:
        steps.append(CardStep("Close the isolation valve."))
    steps += [
        CardStep(f"Switch {pump.name} off{_cut_off(card)}."),
        CardStep(
            "Let dry nitrogen or air in slowly by the vent valve once the rotor has slowed down as "
            "its controller demands (usually to below half speed), so that no oil vapour creeps "
            "up from the foreline."
        ),
        *trap_care_steps(card.traps),
        *stop_booster_steps(card),
        *stop_backing_steps(card),
    ]
    return tuple(steps)


def _care(pump: TurboPump) -> tuple[CardStep, ...]:
    return (
        CardStep(
            f"Have bearings and lubricant renewed every {pump.service_hours:.0f} h of running, by "
            "trained people only."
        ),
        CardStep("Check the splinter screen for broken pieces whenever the chamber is open."),
    )


def _cut_off(card: CardStack) -> str:
    """Return how the backing line is cut off, where the stack has a valve for it."""
    return " and close the foreline valve" if ValveRole.FORELINE in card.valves else ""


def _failures(card: CardStack, pump: TurboPump) -> tuple[CardStep, ...]:
    oil = card.backing is not None and card.backing.kind in OIL_SEALED_KINDS
    back = "oil vapour of the backing pump" if oil else "what stands in the backing line"
    first = "Close the foreline valve and let" if ValveRole.FORELINE in card.valves else "Let"
    return (
        CardStep(
            f"Power fails: the rotor runs down. {first} dry nitrogen or air in by the vent valve "
            f"before it stands still, or {back} reaches the chamber. Start again in the order "
            "above."
        ),
        CardStep("Cooling fails: stop the process gas and the pump; start again when it is cool."),
        CardStep(
            f"The foreline rises above {pressure(pump.tolerable_foreline_pa)}: stop the gas, then "
            "the pump, and look for the leak or the fault of the backing pump."
        ),
        CardStep("Unusual noise or vibration: switch off, let it stand still, do not start again."),
    )
