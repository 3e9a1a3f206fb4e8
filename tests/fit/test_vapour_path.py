"""Where vapour goes: what enters is held, kept, carried out or stays, as the margin has it."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from server.catalog.items import CapturePump, TrapKind
from server.fit.explain import Spot
from server.fit.results import MarginKey
from server.fit.vapour_path import vapour_path_of
from server.fit.vapour_results import VapourPath
from server.physics.vapour import saturation_pressure_pa
from tests.fit.engine_cases import COATER, demo_catalog, inquiry, judge_all

DAY: dict[str, Any] = {
    "chamber": {"volume": "100 L", "leak_rate": "1e-4 Pa*m3/s"},
    "target_pressure": "1e-2 mbar",
    "process": {"pressure": "1 mbar", "vapour": [{"substance": "water", "rate": "100 g/h"}]},
    "duty": {"cycles_per_day": 2, "time_at_pressure": "3 h"},
    "utilities": {"cooling_water": True, "three_phase": True},
}
TWO = [{"substance": "water", "rate": "60 g/h"}, {"substance": "ethanol", "rate": "40 g/h"}]


@cache
def shown(name: str) -> list[tuple[Spot, tuple[VapourPath, ...]]]:
    asked = {
        "one": inquiry(DAY),
        "two": inquiry(DAY, process__vapour=TWO),
        "high": inquiry(COATER),
    }[name]
    found = []
    for field in judge_all(asked, demo_catalog()).judged:
        rows, columns = field.worst_share.shape
        for place in range(0, rows * columns, max(1, rows * columns // 60)):
            spot = Spot(field, place // columns, place % columns)
            found.append((spot, vapour_path_of(spot)))
    return found


@pytest.mark.parametrize("name", ["one", "two", "high"])
def test_what_enters_is_held_kept_carried_out_or_stays(name: str) -> None:
    for _, ways in shown(name):
        for way in ways:
            goes = (
                way.held_by_front_trap_kg_per_day
                + way.kept_by_pump_kg_per_day
                + way.held_by_back_trap_kg_per_day
                + way.carried_out_kg_per_day
                + way.stays_in_pump_kg_per_day
            )
            assert goes == pytest.approx(way.enters_kg_per_day)
            assert min(way.carried_out_kg_per_day, way.stays_in_pump_kg_per_day) >= 0.0


def test_a_day_is_the_rate_over_the_hours_at_pressure() -> None:
    """100 g/h for 2 × 3 h."""
    assert all(ways[0].enters_kg_per_day == pytest.approx(0.6) for _, ways in shown("one"))


def test_a_trap_is_full_after_its_capacity_over_what_it_takes() -> None:
    seen = 0
    for spot, (way,) in shown("one"):
        if way.back_trap and not way.front_trap:
            assert spot.back.trap is not None
            caught = way.enters_kg_s * way.held_by_back_trap_kg_per_day / way.enters_kg_per_day
            assert way.defrost_after_s == pytest.approx(spot.back.trap.capacity_kg / caught)
            expected = saturation_pressure_pa("water", spot.back.trap.surface_k)
            assert way.back_trap_passes_pa == pytest.approx(float(expected))
            seen += 1
        elif not way.front_trap:
            assert way.defrost_after_s is None
    assert seen > 3


@pytest.mark.parametrize("name", ["one", "two"])
def test_without_traps_the_pump_keeps_vapour_where_and_only_where_the_margin_is_below_one(
    name: str,
) -> None:
    seen = set()
    for spot, ways in shown(name):
        if any(way.front_trap or way.back_trap for way in ways):
            continue
        if any(way.kept_by_pump_kg_per_day for way in ways):
            continue
        ratio = spot.at(spot.judged.ledgers[MarginKey.VAPOUR].ratio)
        stays = sum(way.stays_in_pump_kg_per_day for way in ways)
        day = sum(way.enters_kg_per_day for way in ways)
        assert (stays > 1e-9 * day) == (ratio < 1.0 - 1e-9)
        # what the ballast cannot carry stays: the margin itself is the share carried out
        assert 1.0 - stays / day == pytest.approx(min(ratio, 1.0), abs=1e-9)
        seen.add(ratio < 1.0)
    assert seen == {True, False}


def test_behind_a_trap_only_what_it_lets_by_reaches_the_oil() -> None:
    for spot, (way,) in shown("one"):
        if not way.back_trap or way.front_trap:
            continue
        reaching = way.carried_out_kg_per_day + way.stays_in_pump_kg_per_day
        speed = max(point for curve in spot.back.backing.curves for point in curve.speed_m3_s)
        assert way.back_trap_passes_pa is not None
        # M·p·S/(R·T) for 6 h
        most = 18.015e-3 * way.back_trap_passes_pa * speed / (8.314 * 293.15) * 6 * 3600
        assert reaching <= most * 1.001


def test_a_cold_trap_in_front_takes_all_of_the_water_and_fills_by_it() -> None:
    """Ice at the temperature of boiling nitrogen has next to no pressure (IAPWS R14-08)."""
    seen = 0
    for spot, (way,) in shown("high"):
        trap = spot.front.trap if spot.front else None
        if trap is None or trap.kind is not TrapKind.NITROGEN_TRAP:
            continue
        assert way.front_trap == trap.name
        # 3 g/h over 6 × 45 min
        assert way.held_by_front_trap_kg_per_day == pytest.approx(3e-3 * 4.5, rel=1e-6)
        assert way.defrost_after_s == pytest.approx(trap.capacity_kg / (3e-3 / 3600), rel=1e-6)
        # nothing is left for a trap behind it
        assert (way.back_trap, way.back_trap_passes_pa) == ("", None)
        seen += spot.back.trap is not None
    assert seen


@pytest.mark.parametrize("name", ["one", "two", "high"])
def test_what_a_trap_lets_by_is_said_of_a_trap_that_takes_vapour_and_of_no_other(name: str) -> None:
    for _, ways in shown(name):
        for way in ways:
            assert (way.front_trap == "") == (way.front_trap_passes_pa is None)
            assert (way.back_trap == "") == (way.back_trap_passes_pa is None)
            assert (way.front_trap or way.back_trap) or way.defrost_after_s is None


def test_a_capture_pump_keeps_it_all() -> None:
    seen = 0
    for spot, ways in shown("high"):
        if spot.front is not None and isinstance(spot.front.pump, CapturePump):
            (way,) = ways
            assert way.carried_out_kg_per_day == way.stays_in_pump_kg_per_day == 0.0
            assert way.carried_share is None
            seen += 1
    assert seen


def test_wet_goods_count_their_mass_once_a_cycle() -> None:
    goods = [{"substance": "water", "mass": "150 g", "temperature": "40 degC", "rate": "100 g/h"}]
    asked = inquiry(DAY, process__vapour=None, process__wet_goods=goods)
    field = judge_all(asked, demo_catalog()).judged[0]
    # two cycles of 150 g, not 2 × 3 h of 100 g/h
    assert vapour_path_of(Spot(field, 0, 0))[0].enters_kg_per_day == pytest.approx(0.3)
