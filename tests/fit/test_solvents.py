"""Every vapour with a saturation curve goes through the whole engine; solvents spare no pump."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import pytest

from server.catalog.compatibility import VAPOUR_TRAPS, solvents_allow
from server.catalog.items import BackingPump, PumpKind, TrapPlace
from server.catalog.words import SOLVENTS
from server.fit.advice import advise
from server.fit.results import StackAdvice
from server.physics.species import SPECIES
from server.physics.vapour import SATURATION
from tests.fit.engine_cases import demo_catalog, inquiry

EVAPORATOR: dict[str, Any] = {
    "application": "distillation",
    "chamber": {"volume": "5 L", "leak_rate": "1e-3 mbar*L/s"},
    "target_pressure": "5 mbar",
    "utilities": {"cooling_water": True, "three_phase": True},
    "limit": 3,
}
# No liquids at a laboratory's bath: asked for as a vapour of the work.
GASES = {"ammonia", "carbon_dioxide"}


def test_every_condensable_substance_is_a_species() -> None:
    assert set(SATURATION) <= set(SPECIES)
    assert set(SATURATION) >= SOLVENTS


@cache
def asked_for(substance: str) -> tuple[StackAdvice, ...]:
    process: dict[str, Any] = {"pressure": "20 mbar"}
    if substance in GASES:
        process["vapour"] = [{"substance": substance, "rate": "20 g/h"}]
    else:
        goods = {"substance": substance, "mass": "50 g", "temperature": "40 degC"}
        process["wet_goods"] = [goods]
    return advise(inquiry(EVAPORATOR, process=process), demo_catalog()).stacks


@pytest.mark.parametrize("substance", sorted(SATURATION))
def test_each_vapour_is_advised_on_with_its_numbers(substance: str) -> None:
    stacks = asked_for(substance)
    assert stacks
    for stack in stacks:
        process = stack.states["process"]
        assert math.isfinite(process.chamber_pressure_pa)
        parts = {row.what: row for row in process.partials}
        assert parts[substance].pressure_pa > 0.0
        total = sum(row.pressure_pa for row in process.partials)
        assert total == pytest.approx(process.chamber_pressure_pa, rel=1e-5)
        (way,) = stack.vapour_path
        assert way.substance == substance
        assert [row.substance for row in stack.drying] == (
            [] if substance in GASES else [substance]
        )
        for row in stack.drying:
            assert row.drying_time_s * row.rate_kg_s == pytest.approx(row.mass_kg)


@pytest.mark.parametrize("substance", sorted(SOLVENTS))
def test_no_stack_lets_a_solvent_into_a_pump_that_does_not_stand_it(substance: str) -> None:
    catalog = demo_catalog()
    for stack in asked_for(substance):
        (sku,) = (part.sku for part in stack.parts if part.role == "backing_pump")
        pump = catalog.items[sku]
        assert isinstance(pump, BackingPump)
        resistant = pump.kind is PumpKind.DIAPHRAGM_CHEMISTRY or "corrosive" in pump.prepared_for
        traps = {part.kind for part in stack.parts if part.place == TrapPlace.FORELINE}
        assert resistant or traps & {kind.value for kind in VAPOUR_TRAPS}, stack.title


@pytest.mark.parametrize("substance", sorted(SOLVENTS))
def test_bare_pumps_are_refused_solvents_unless_they_are_chemistry_resistant(
    substance: str,
) -> None:
    for pump in demo_catalog().of_type(BackingPump):
        allowed = solvents_allow(pump, {substance}).allowed
        stands = pump.kind is PumpKind.DIAPHRAGM_CHEMISTRY or "corrosive" in pump.prepared_for
        assert allowed == stands, pump.sku
