"""Stacks bolt together, and their cards call for nothing that is not among their parts.

Walks everything the demo catalogue can return: a stack's parts are those of its front, its back
and the joint between them, so all of these are walked instead of every pair of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from server.catalog.flanges import parse_flange
from server.catalog.items import (
    OIL_SEALED_KINDS,
    VAPOUR_KINDS,
    Catalog,
    Cooling,
    Filter,
    FilterRole,
    Interlock,
    InterlockGuard,
    SuppliedFor,
    Valve,
    ValveRole,
    VapourPump,
)
from server.catalog.tables import load_catalog
from server.fit.candidates import Back, Field, Front, fields_of
from server.fit.costs import Purse
from server.fit.kit import Assembly
from server.fit.requirements import Cleanliness, Hazard, Requirements, Utilities
from server.fit.results import Part, Role
from server.paths import Folder, folder
from server.quoting.card import OperatingCard
from server.quoting.operating_card import VALVE_WORDS, operating_card, valves_named
from tests.quoting.stacks import a_stack, requirements

SITE = Utilities(cooling_water=True, three_phase=True, mains_v=230)
ASKED = [
    replace(requirements(), utilities=SITE),
    replace(
        requirements(),
        utilities=SITE,
        chamber=replace(requirements().chamber, port=parse_flange("CF 160")),
        cleanliness=Cleanliness.LOW_OIL,
        hazards=frozenset({Hazard.PARTICULATES}),
        target_pressure_pa=1e-6,
    ),
    replace(requirements(), utilities=SITE, target_pressure_pa=50.0),
]


@pytest.fixture(scope="module")
def demo() -> Catalog:
    return load_catalog(folder(Folder.CATALOG_DEMO))


@pytest.fixture(scope="module", params=range(len(ASKED)))
def purse(demo: Catalog, request: pytest.FixtureRequest) -> Purse:
    return Purse(ASKED[request.param], demo)


def usable(purse: Purse) -> Iterator[Field]:
    for field in fields_of(purse.requirements, purse.catalog):
        fronts = tuple(f for f in field.fronts if f is None or f.refusal is None)
        backs = tuple(b for b in field.backs if b.refusal is None)
        if fronts and backs:
            yield Field(fronts, backs)


def test_no_stack_has_an_open_joint(purse: Purse) -> None:
    assert purse.shared_assembly().open_joints == ()
    for field in usable(purse):
        rough = field.fronts == (None,)
        for back in field.backs:
            assert purse.back_assembly(back, rough=rough).open_joints == (), back.skus
        entries = {back.entry: back for back in field.backs}
        for front in field.fronts:
            if front is not None:
                assert purse.front_assembly(front).open_joints == (), front.pump.sku
                for back in entries.values():
                    parts = purse.joint_assembly(front, back)
                    assert parts.open_joints == (), (front.pump.sku, back.skus)


def samples(purse: Purse) -> Iterator[tuple[Front | None, Back]]:
    """One stack for each kind of pumps, booster and trap that can stand together."""
    seen = set()
    for field in usable(purse):
        for front in field.fronts:
            for back in field.backs:
                key = (
                    front and (front.pump.kind, front.pump.cooling, front.trap and front.trap.kind),
                    back.backing.kind,
                    back.booster and back.booster.kind,
                    back.trap and back.trap.kind,
                )
                if key not in seen:
                    seen.add(key)
                    yield front, back


def valves_of(parts: Assembly) -> set[ValveRole]:
    return {part.item.role for part in parts.parts if isinstance(part.item, Valve)}


def card_of(front: Front | None, back: Back, parts: Assembly, purse: Purse) -> OperatingCard:
    pumps = [Part(Role.BACKING_PUMP, back.backing.sku, back.backing.name, "", 1)]
    if front is not None:
        pumps.append(Part(Role.HIGH_VACUUM_PUMP, front.pump.sku, front.pump.name, "", 1))
        if front.fluid is not None:
            pumps.append(Part(Role.FLUID, front.fluid.sku, front.fluid.name, "", 1))
    if back.booster is not None:
        pumps.append(Part(Role.BOOSTER, back.booster.sku, back.booster.name, "", 1))
    placed = [Part(p.role, p.item.sku, p.item.name, "", p.quantity, p.note) for p in parts.parts]
    return operating_card(a_stack(*pumps, *placed), purse.requirements, purse.catalog)


def test_cards_and_parts_name_the_same_valves_gauges_and_traps(purse: Purse) -> None:
    count = 0
    for front, back in samples(purse):
        count += 1
        parts = purse.stack_assembly(front, back)
        card = card_of(front, back, parts, purse)
        where = (front and front.pump.sku, back.skus)
        assert valves_named(card.sections) == valves_of(parts), where
        assert not any("not among the parts" in flag for flag in card.flags), where
        text = " ".join(f"{s.text} {s.wait_for}" for c in card.sections for s in c.steps)
        gauges = [part.note for part in parts.parts if part.role is Role.GAUGE]
        assert any("chamber pressure" in note for note in gauges), where
        if "foreline below" in text or "foreline stays" in text or "foreline rises" in text:
            assert any("foreline pressure" in note for note in gauges), where
        for part in parts.parts:
            if part.role is Role.TRAP:
                assert part.item.name in text, (where, part.item.name)
    assert count >= 8


def test_interlocks_and_filters_are_what_the_kinds_want(purse: Purse) -> None:
    for front, back in samples(purse):
        parts = purse.stack_assembly(front, back)
        guards = {p.item.guard for p in parts.parts if isinstance(p.item, Interlock)}
        if front is not None and front.pump.kind in VAPOUR_KINDS:
            assert InterlockGuard.FORELINE_PRESSURE in guards
            switch = front.pump.brings(SuppliedFor.TEMPERATURE_SWITCH)
            assert switch or InterlockGuard.TEMPERATURE in guards
            assert isinstance(front.pump, VapourPump)
        high = None if front is None else front.pump
        pumps = [pump for pump in (high, back.backing, back.booster) if pump is not None]
        if any(pump.cooling is Cooling.WATER for pump in pumps):
            assert InterlockGuard.COOLING_FLOW in guards
        watching = [p.item.flange for p in parts.parts if isinstance(p.item, Interlock)]
        for flange in (each for each in watching if each is not None):
            joints = [p.note for p in parts.parts if p.role is Role.LINE]
            assert any(f"joint at {flange}" in note for note in joints), flange
        filters = {p.item.role for p in parts.parts if isinstance(p.item, Filter)}
        if back.backing.kind in OIL_SEALED_KINDS:
            own = back.backing.brings(SuppliedFor.EXHAUST_FILTER)
            assert own or FilterRole.EXHAUST_MIST in filters
        if Hazard.PARTICULATES in purse.requirements.hazards:
            own = back.backing.brings(SuppliedFor.INLET_FILTER)
            assert own or FilterRole.INLET_DUST in filters


def test_valves_a_stack_does_not_have_are_said_to_be_missing(demo: Catalog) -> None:
    asked: Requirements = ASKED[0]
    purse = Purse(asked, demo)
    front, back = next((f, b) for f, b in samples(purse) if f and f.pump.kind in VAPOUR_KINDS)
    full = purse.stack_assembly(front, back)
    kept = tuple(
        p
        for p in full.parts
        if not (isinstance(p.item, Valve) and p.item.role is ValveRole.FORELINE)
    )
    card = card_of(front, back, Assembly(kept), purse)
    missing = [flag for flag in card.flags if "not among the parts" in flag]
    assert len(missing) == 1
    assert VALVE_WORDS[ValveRole.FORELINE] in missing[0]
