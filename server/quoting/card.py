"""The records of an operating card, and what its sections are made from."""

from __future__ import annotations

import re
from dataclasses import dataclass

from server.catalog.items import (
    OIL_SEALED_KINDS,
    BackingPump,
    Catalog,
    Cooling,
    Fluid,
    Pump,
    RootsBooster,
    Trap,
    TrapKind,
    Valve,
    ValveRole,
)
from server.fit.fluid_use import exposure_of, first_charge_supplied, volume_text
from server.fit.requirements import Requirements
from server.fit.results import Part, Role, StackAdvice
from server.quoting.cautions import Caution
from server.quoting.stack_items import stack_items
from server.units import Dimension, format_quantity

# Oil-sealed pumps backstream below about this pressure without a trap (Hablanian; O'Hanlon).
BACKSTREAM_PA = 10.0

# An oil pump warms up on gas ballast for about this long: common practice, from memory.
BALLAST_S = 1800.0


@dataclass(frozen=True)
class CardStep:
    """One step: what to do, how long it takes, what to wait for."""

    text: str
    wait_s: float | None = None
    wait_for: str = ""


@dataclass(frozen=True)
class CardSection:
    """Steps under one heading; numbered where their order matters."""

    key: str
    title: str
    steps: tuple[CardStep, ...]
    ordered: bool = True


@dataclass(frozen=True)
class CardLimit:
    """A limit of a pump: value in SI, and as people read it."""

    pump: str
    name: str
    value: float
    unit: str
    shown: str


@dataclass(frozen=True)
class OperatingCard:
    """The page that goes with a stack."""

    title: str
    stack_title: str
    pumps: tuple[str, ...]
    sections: tuple[CardSection, ...]
    limits: tuple[CardLimit, ...]
    supplied: tuple[Part, ...]
    flags: tuple[str, ...]
    cautions: tuple[Caution, ...]
    catalog_version: str

    def section(self, key: str) -> CardSection | None:
        """Return a section by its key, None where the card has none."""
        return next((section for section in self.sections if section.key == key), None)


@dataclass(frozen=True)
class CardStack:
    """What the sections are made from."""

    stack: StackAdvice
    requirements: Requirements
    high_vacuum: Pump | None
    booster: Pump | None
    backing: BackingPump | None
    fluid: Fluid | None
    oil: Fluid | None
    traps: tuple[Trap, ...]
    valves: frozenset[ValveRole]
    supplied: tuple[Part, ...]

    @property
    def crossover_pa(self) -> float | None:
        """Pressure of the switch to the high-vacuum pump, where the pump-down knows it. [Pa]."""
        return None if self.stack.pump_down is None else self.stack.pump_down.crossover_pressure_pa

    @property
    def rough_by_oil(self) -> bool:
        """An oil-sealed pump roughs the chamber without anything that stops its vapour."""
        stops = {TrapKind.FORELINE_SORPTION, TrapKind.NITROGEN_TRAP, TrapKind.REFRIGERATED_TRAP}
        oil = self.backing is not None and self.backing.kind in OIL_SEALED_KINDS
        return oil and not any(trap.kind in stops for trap in self.traps)


def card_stack(stack: StackAdvice, requirements: Requirements, catalog: Catalog) -> CardStack:
    """Look up what the card of a stack is made from.

    Raises
    ------
    UnknownName
        When the catalogue no longer has one of the parts.
    """
    items = stack_items(stack.parts, catalog, exposure_of(requirements))
    backing = items.pump_of(Role.BACKING_PUMP)
    valves = [catalog.items.get(part.sku) for part in stack.parts if part.role is Role.VALVE]
    return CardStack(
        stack=stack,
        requirements=requirements,
        high_vacuum=items.pump_of(Role.HIGH_VACUUM_PUMP),
        booster=items.pump_of(Role.BOOSTER),
        backing=backing if isinstance(backing, BackingPump) else None,
        fluid=items.fluid_of(Role.HIGH_VACUUM_PUMP),
        oil=items.fluid_of(Role.BACKING_PUMP),
        traps=items.traps,
        valves=frozenset(valve.role for valve in valves if isinstance(valve, Valve)),
        supplied=items.supplied,
    )


def pressure(value_pa: float) -> str:
    """Return a pressure as the card shows it."""
    return format_quantity(value_pa, Dimension.PRESSURE, digits=2)


def celsius(value_k: float) -> str:
    """Return a temperature in whole degrees Celsius."""
    return f"{value_k - 273.15:.0f} °C"


def liquid(fluid: Fluid) -> str:
    """Return a fluid's name without the size of its container."""
    return re.sub(r",\s*[\d.]+\s*(mL|L|cm³|cm3)$", "", fluid.name)


def fill_steps(card: CardStack) -> list[CardStep]:
    """Return what to do before any first start: supplied parts, and the oil of a sealed pump."""
    steps = []
    if card.supplied:
        names = "; ".join(f"{part.quantity} × {part.name}" for part in card.supplied)
        steps.append(CardStep(f"Find what came with the pumps and fit or keep it: {names}."))
    if card.backing is not None and card.oil is not None and card.backing.oil_charge_m3 > 0:
        own = ""
        if first_charge_supplied(card.backing, card.oil.kind):
            own = " (the first charge comes with the pump)"
        steps.append(
            CardStep(
                f"Fill {card.backing.name} with {volume_text(card.backing.oil_charge_m3)} of "
                f"{liquid(card.oil)}{own}; the level stands between the marks while the pump is "
                "still."
            )
        )
    return steps


def cooling_step(pump: Pump) -> CardStep | None:
    """Return the step that sets a pump's cooling going; None where it needs none."""
    if pump.cooling is Cooling.WATER:
        flow = f" of at least {pump.cooling_water_m3_s * 60_000:.2g} L/min"
        shown = flow if pump.cooling_water_m3_s > 0 else ""
        return CardStep(f"Open the cooling water of {pump.name} and check its flow{shown}.")
    if pump.cooling is Cooling.AIR:
        return CardStep(f"Check that the fan of {pump.name} runs and nothing blocks its air.")
    return None


def booster_steps(booster: Pump | None) -> list[CardStep]:
    """Return how a Roots booster is started; nothing where there is none."""
    if not isinstance(booster, RootsBooster):
        return []
    if booster.bypass_valve:
        text = f"Switch {booster.name} on together with the backing pump; its bypass limits it."
        return [CardStep(text)]
    at = pressure(booster.cut_in_pa)
    return [CardStep(f"Switch {booster.name} on.", None, f"only once its inlet is below {at}")]


def trap_steps(traps: tuple[Trap, ...]) -> list[CardStep]:
    """Return how traps and baffles are made ready."""
    steps = []
    for trap in traps:
        if trap.kind is TrapKind.NITROGEN_TRAP:
            steps.append(
                CardStep(f"Fill {trap.name} slowly with liquid nitrogen, once it is under vacuum.")
            )
        elif trap.kind is TrapKind.REFRIGERATED_TRAP:
            cold = celsius(trap.surface_k)
            steps.append(CardStep(f"Switch {trap.name} on.", None, f"surface at about {cold}"))
        elif trap.cooling is Cooling.WATER:
            steps.append(CardStep(f"Open the cooling water of {trap.name}."))
    return steps


def trap_care_steps(traps: tuple[Trap, ...]) -> list[CardStep]:
    """Return how traps are defrosted or emptied at the end of the work."""
    steps = []
    for trap in traps:
        held = _held(trap)
        if trap.kind in {TrapKind.NITROGEN_TRAP, TrapKind.REFRIGERATED_TRAP}:
            steps.append(
                CardStep(
                    f"Let {trap.name} warm up behind closed valves, pumped or vented but never "
                    f"shut in, and drain it before it is full.{held}"
                )
            )
        elif trap.kind is TrapKind.CONDENSER:
            steps.append(CardStep(f"Empty the receiver of {trap.name} before it is full.{held}"))
    return steps


def sorbent_steps(traps: tuple[Trap, ...]) -> list[CardStep]:
    """Return the care of sorption traps, which no stop of the pumps calls for."""
    return [
        CardStep(f"Renew or bake out the filling of {trap.name} before it is full.{_held(trap)}")
        for trap in traps
        if trap.kind is TrapKind.FORELINE_SORPTION
    ]


def _held(trap: Trap) -> str:
    if trap.capacity_kg <= 0:
        return ""
    return f" It holds about {format_quantity(trap.capacity_kg, Dimension.MASS, digits=2)}."


def stop_booster_steps(card: CardStack) -> list[CardStep]:
    """Return how the pump between high-vacuum and backing pump is stopped."""
    if card.booster is None:
        return []
    return [CardStep(f"Switch {card.booster.name} off and let it run down.")]


def stop_backing_steps(card: CardStack) -> list[CardStep]:
    """Return how the backing pump is stopped last, and vented."""
    if card.backing is None:
        return []
    text = f"Switch {card.backing.name} off and let air into its inlet side"
    if card.backing.kind in OIL_SEALED_KINDS:
        text += ", so that its oil does not climb into the line"
    return [CardStep(f"{text}.")]
