"""The operating card of a stack: orders with times, fill, cleaning, limits, failures, cautions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from server.catalog.items import (
    CapturePump,
    Catalog,
    RootsBooster,
    TurboPump,
    ValveRole,
    VapourPump,
)
from server.errors import OutOfRange
from server.fit.requirements import Requirements
from server.fit.results import StackAdvice
from server.quoting.card import CardLimit, CardSection, CardStack, OperatingCard, card_stack
from server.quoting.card_capture import capture_limits, capture_sections
from server.quoting.card_day import day_section
from server.quoting.card_rough import backing_care, backing_limits, booster_limits, rough_sections
from server.quoting.card_turbo import turbo_limits, turbo_sections
from server.quoting.card_vapour import vapour_limits, vapour_sections
from server.quoting.cautions import cautions_for


def operating_card(
    stack: StackAdvice, requirements: Requirements, catalog: Catalog
) -> OperatingCard:
    """Return the operating card of a stack.

    Parameters
    ----------
    stack : StackAdvice
        The stack; its pump-down names the crossover pressure.
    requirements : Requirements
        Duty and hazards.
    catalog : Catalog
        The pumps' data.

    Raises
    ------
    UnknownName
        When the catalogue no longer has one of the parts.
    OutOfRange
        When the stack has no pump.
    """
    card = card_stack(stack, requirements, catalog)
    sections = (*_sections(card), *day_section(stack.day))
    pumps = [pump for pump in (card.high_vacuum, card.booster, card.backing) if pump is not None]
    return OperatingCard(
        title=requirements.title,
        stack_title=stack.title,
        pumps=tuple(pump.name for pump in pumps),
        sections=sections,
        limits=tuple(_limits(card)),
        supplied=card.supplied,
        flags=(*stack.flags, *_missing_valves(card, sections)),
        cautions=cautions_for(stack.parts, requirements, catalog),
        catalog_version=catalog.version,
    )


VALVE_WORDS: Mapping[ValveRole, str] = {
    ValveRole.ISOLATION: "the isolation valve",
    ValveRole.ROUGHING: "the roughing valve",
    ValveRole.FORELINE: "the foreline valve",
    ValveRole.VENT: "the vent valve",
}
"""How the orders name the valves of a stack; valves built into a pump are named with the pump."""


def valves_named(sections: Iterable[CardSection]) -> frozenset[ValveRole]:
    """Return the valves that the orders of a card call for."""
    text = " ".join(step.text for section in sections for step in section.steps).lower()
    return frozenset(role for role, words in VALVE_WORDS.items() if words in text)


def _missing_valves(card: CardStack, sections: Iterable[CardSection]) -> tuple[str, ...]:
    """Return a sentence for each valve that the orders need and the parts do not have."""
    lacking = sorted(valves_named(sections) - card.valves)
    return tuple(
        f"The orders need {VALVE_WORDS[role]}, which is not among the parts: provide it before "
        "the first start."
        for role in lacking
    )


def _sections(card: CardStack) -> tuple[CardSection, ...]:
    main = card.high_vacuum
    if main is None:
        if card.backing is None:
            raise OutOfRange("A stack without a pump has no operating card.")
        return rough_sections(card, card.backing)
    if isinstance(main, VapourPump):
        sections = vapour_sections(card, main)
    elif isinstance(main, TurboPump):
        sections = turbo_sections(card, main)
    elif isinstance(main, CapturePump):
        sections = capture_sections(card, main)
    else:
        raise OutOfRange(f"{main.name} cannot stand in the place of a high-vacuum pump.")
    if card.backing is None:
        return sections
    care = backing_care(card, card.backing)
    return (*sections, CardSection("backing_care", "Care of the backing pump", care, ordered=False))


def _limits(card: CardStack) -> Iterable[CardLimit]:
    if isinstance(card.high_vacuum, VapourPump):
        yield from vapour_limits(card.high_vacuum)
    elif isinstance(card.high_vacuum, TurboPump):
        yield from turbo_limits(card.high_vacuum)
    elif isinstance(card.high_vacuum, CapturePump):
        yield from capture_limits(card.high_vacuum)
    if isinstance(card.booster, RootsBooster):
        yield from booster_limits(card.booster)
    elif isinstance(card.booster, TurboPump):
        yield from turbo_limits(card.booster)
    if card.backing is not None:
        yield from backing_limits(card.backing)
