"""Operating card of a stack with a vapour-jet pump or vapour booster.

The order backing pump → cooling → heater, cleaning with acetone and then isopropanol, and filling
to the cold mark are common practice with no published source; times and limits are the pump's data.
"""

from __future__ import annotations

from server.catalog.items import SILICONE_FLUIDS, Cooling, FluidKind, ValveRole, VapourPump
from server.fit.fluid_use import exposure_of, fluid_life, volume_text
from server.quoting.card import (
    BACKSTREAM_PA,
    CardLimit,
    CardSection,
    CardStack,
    CardStep,
    booster_steps,
    celsius,
    cooling_step,
    fill_steps,
    liquid,
    pressure,
    stop_backing_steps,
    stop_booster_steps,
    trap_care_steps,
    trap_steps,
)
from server.units import format_duration


def vapour_sections(card: CardStack, pump: VapourPump) -> tuple[CardSection, ...]:
    """Return the sections for a vapour-jet pump, in the order they are needed."""
    return (
        CardSection("fill", "Before the first start", _fill(card, pump)),
        CardSection("start", "Start", _start(card, pump)),
        CardSection("chamber", "Pump the chamber down", _chamber(card, pump)),
        CardSection("vent", "Open the chamber between runs", _vent(pump)),
        CardSection("stop", "Stop", _stop(card, pump)),
        CardSection("fluid", "Fluid change, strip-down and cleaning", _fluid(card, pump)),
        CardSection("failures", "When something fails", _failures(pump), ordered=False),
    )


def vapour_limits(pump: VapourPump) -> tuple[CardLimit, ...]:
    """Return the limits of a vapour-jet pump."""
    rows = [
        ("Foreline at no load, at most", pump.tolerable_foreline_no_load_pa),
        ("Foreline at full load, at most", pump.tolerable_foreline_full_load_pa),
    ]
    if pump.largest_inlet_pa is not None:
        rows.append(("Inlet, continuous, at most", pump.largest_inlet_pa))
    limits = [CardLimit(pump.name, name, value, "Pa", pressure(value)) for name, value in rows]
    temperatures = (
        ("Boiler in operation, about", pump.boiler_k),
        ("Temperature switch opens at", pump.temperature_switch_k),
        ("Air may be let in below", pump.vent_below_k),
    )
    limits += [CardLimit(pump.name, name, k, "K", celsius(k)) for name, k in temperatures]
    return tuple(limits)


def _fluid_name(card: CardStack) -> str:
    return liquid(card.fluid) if card.fluid is not None else "its fluid"


def _cooling_word(pump: VapourPump) -> str:
    return {Cooling.WATER: "cooling water", Cooling.AIR: "fan"}.get(pump.cooling, "cooling")


def _fill(card: CardStack, pump: VapourPump) -> tuple[CardStep, ...]:
    return (
        CardStep(
            f"Fill the boiler with {volume_text(pump.charge_m3)} of {_fluid_name(card)}, to the "
            f"{pump.charge_cold_mark}, while the pump is cold."
        ),
        CardStep(
            f"When the pump runs, the level stands at the {pump.charge_hot_mark}. Never fill or "
            "drain a hot pump."
        ),
        *fill_steps(card),
        CardStep("Test the interlocks: each of them must switch the heater off."),
    )


def _start(card: CardStack, pump: VapourPump) -> tuple[CardStep, ...]:
    fore = pressure(pump.tolerable_foreline_no_load_pa)
    backing = card.backing.name if card.backing is not None else "the backing pump"
    valves = "Close the isolation valve and the vent valve"
    if ValveRole.ROUGHING in card.valves:
        valves = "Close the isolation valve, the roughing valve and the vent valve"
    cooling = cooling_step(pump)
    steps = [
        CardStep(f"{valves}; open the foreline valve."),
        CardStep(f"Switch {backing} on.", None, f"foreline below {fore}"),
        *booster_steps(card.booster),
    ]
    if cooling is not None:
        steps.append(cooling)
    steps.append(
        CardStep(
            f"Switch the heater on. The {_cooling_word(pump)} runs whenever the heater does.",
            pump.warm_up_s,
            f"ready for work after {format_duration(pump.warm_up_s)}, the boiler at about "
            f"{celsius(pump.boiler_k)}",
        )
    )
    steps += trap_steps(card.traps)
    steps.append(CardStep("Once running, the pump may run without a break within its limits."))
    return tuple(steps)


def _chamber(card: CardStack, pump: VapourPump) -> tuple[CardStep, ...]:
    fore = pressure(pump.tolerable_foreline_no_load_pa)
    at = _crossover_text(card, pump)
    steps = [
        CardStep(
            "Close the vent valve and the foreline valve, then open the roughing valve.",
            None,
            f"chamber at {at}; if the foreline rises to {fore} meanwhile, go back to it first",
        )
    ]
    if card.rough_by_oil:
        steps.append(
            CardStep(
                f"Do not stay on the roughing line below about {pressure(BACKSTREAM_PA)}: oil "
                "vapour of the backing pump wanders into the chamber."
            )
        )
    steps += [
        CardStep(
            "Close the roughing valve and open the foreline valve.", None, f"foreline below {fore}"
        ),
        CardStep(f"Open the isolation valve slowly: the foreline must stay below {fore}."),
    ]
    return tuple(steps)


def _crossover_text(card: CardStack, pump: VapourPump) -> str:
    if card.crossover_pa is not None:
        return f"the crossover pressure of {pressure(card.crossover_pa)}"
    if pump.largest_inlet_pa is not None:
        return f"or below the pump's largest inlet pressure of {pressure(pump.largest_inlet_pa)}"
    return f"or below {pressure(pump.knee_pa)}"


def _vent(pump: VapourPump) -> tuple[CardStep, ...]:
    return (
        CardStep("Close the isolation valve; check that it is closed."),
        CardStep("Let air or dry nitrogen into the chamber by the vent valve."),
        CardStep(
            "The pump stays hot on its backing pump meanwhile. For long breaks weigh the "
            f"{format_duration(pump.warm_up_s)} of warm-up against the heater's energy."
        ),
    )


def _stop(card: CardStack, pump: VapourPump) -> tuple[CardStep, ...]:
    cooling = _cooling_word(pump)
    return (
        CardStep("Close the isolation valve."),
        CardStep("Switch the heater off. Backing pump and cooling go on running."),
        CardStep(
            f"Leave the {cooling} running after the heater.",
            pump.cooling_after_stop_s,
            f"at least {format_duration(pump.cooling_after_stop_s)}",
        ),
        CardStep(
            f"Let no air in before the boiler is below {celsius(pump.vent_below_k)}.",
            pump.cool_down_s,
            f"about {format_duration(pump.cool_down_s)} after the heater went off",
        ),
        *trap_care_steps(card.traps),
        CardStep("Close the foreline valve."),
        *stop_booster_steps(card),
        *stop_backing_steps(card),
        CardStep(f"Switch the {cooling} off last."),
    )


def _fluid(card: CardStack, pump: VapourPump) -> tuple[CardStep, ...]:
    steps = []
    if card.fluid is not None:
        life = fluid_life(card.fluid, card.requirements.duty, exposure_of(card.requirements))
        why = f" ({', '.join(life.reasons)})" if life.reasons else ""
        steps.append(
            CardStep(
                f"Change the fluid about every {life.hours:.0f} h of running in this service{why}; "
                "sooner when it is dark or thick or the base pressure rises."
            )
        )
    steps += [
        CardStep(
            f"Stop the pump as above, let it cool below {celsius(pump.vent_below_k)}, lock the "
            "supply out, take the pump off and drain it."
        ),
        CardStep("Lift the jets out; note how they stand, for they must go back the same way."),
        *_cleaning(card),
        CardStep("Put new seals in. Leave no lint, finger marks or solvent behind."),
        CardStep(
            f"Fill {volume_text(pump.charge_m3)} to the {pump.charge_cold_mark} and pump the "
            "fluid's dissolved gas off cold before heating."
        ),
    ]
    return tuple(steps)


def _cleaning(card: CardStack) -> tuple[CardStep, ...]:
    kind = card.fluid.kind if card.fluid is not None else None
    if kind is FluidKind.PERFLUOROPOLYETHER:
        return (
            CardStep(
                "Clean body and jets with the fluorinated solvent that the fluid's safety sheet "
                "names: acetone and alcohols do not dissolve perfluoropolyether."
            ),
        )
    warning = " Ethanol does not cut silicone fluid." if kind in SILICONE_FLUIDS else ""
    return (
        CardStep(f"Clean body and jets with acetone until the wipes stay clean.{warning}"),
        CardStep("Rinse with isopropanol and let everything dry completely."),
    )


def _failures(pump: VapourPump) -> tuple[CardStep, ...]:
    fore = pressure(pump.tolerable_foreline_no_load_pa)
    cooling = _cooling_word(pump)
    water = pump.cooling is Cooling.WATER
    shock = " Do not send cold water into a hot, dry coil." if water else ""
    return (
        CardStep(
            "Power fails: close the isolation valve and the foreline valve, heater switch to off. "
            "When the power is back, begin again with the start order."
        ),
        CardStep(
            f"The {cooling} fails: heater off, isolation valve closed, backing pump on until the "
            f"pump is cold.{shock}"
        ),
        CardStep(
            f"The foreline rises above {fore}: close the isolation valve at once and switch the "
            "heater off; find the leak or the fault of the backing pump."
        ),
        CardStep(
            "Air has rushed into the hot pump: heater off, valves closed, keep people away; change "
            "the fluid and clean the pump before the next start."
        ),
    )
