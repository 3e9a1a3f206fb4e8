"""How far each number may be changed: the ends of every search, by hand."""

from __future__ import annotations

from typing import Any

import pytest

from server.fit.choice import StackChoice
from server.fit.remedies.changes import change_of
from server.fit.remedies.matters import Change, Matter
from tests.fit.engine_cases import COATER, inquiry
from tests.fit.remedies.cases import JET, ROUGH, spot_of


def offered(matter: Matter, choice: StackChoice = JET, **changes: Any) -> Change | None:
    asked = inquiry(COATER, **changes)
    spot = spot_of(choice, asked)
    return change_of(matter, asked, spot.front, spot.back)


@pytest.mark.parametrize(
    ("matter", "changes", "now", "far"),
    [
        # 2e-5 mbar·L/s; as tight as 1e-6 mbar·L/s
        (Matter.LEAK_RATE, {}, 2e-6, 1e-7),
        # 25 min; a fortnight is never
        (Matter.PUMP_DOWN_TIME, {}, 1500.0, 1_209_600.0),
        # three decades of pressure, but not above the atmosphere
        (Matter.TARGET, {}, 2e-3, 2.0),
        (Matter.TARGET, {"target_pressure": "5 mbar"}, 500.0, 101_325.0),
        (Matter.PROCESS_PRESSURE, {}, 0.5, 500.0),
        (Matter.PROCESS_PRESSURE, {"process__pressure": "2 mbar"}, 200.0, 101_325.0),
        (Matter.SHIFT, {}, 32_400.0, 86_400.0),
        # a tenth of a sixth of 9 h; a minute is hardly enough
        (Matter.VENT_TIME, {}, 540.0, 60.0),
        (Matter.CYCLES, {}, 6.0, 1.0),
        (Matter.BUDGET, {"commercial__budget": "8000"}, 8000.0, 8_000_000.0),
        # shortened to one bore of its own
        (Matter.LINE_LENGTH, {"line": {"length": "1.2 m", "bore": "60 mm"}}, 1.2, 0.06),
        (Matter.LINE_BENDS, {"line": {"length": "1.2 m", "bends": 3}}, 3.0, 0.0),
    ],
)
def test_a_number_may_move_so_far(
    matter: Matter, changes: dict[str, Any], now: float, far: float
) -> None:
    change = offered(matter, **changes)
    assert change is not None
    assert change.now == pytest.approx(now)
    assert change.far == pytest.approx(far)


def test_less_gas_and_vapour_at_a_time_goes_down_to_a_thousandth() -> None:
    change = offered(Matter.PROCESS_LOAD)
    assert change is not None
    assert change.far == pytest.approx(change.now / 1000.0)


@pytest.mark.parametrize(
    ("matter", "changes"),
    [
        (Matter.LEAK_RATE, {"chamber__leak_rate": "1e-6 mbar*L/s"}),
        (Matter.PUMP_DOWN_TIME, {"pump_down_time": "14 d"}),
        (Matter.SHIFT, {"duty__shift": "24 h"}),
        (Matter.VENT_TIME, {"duty__vent_time": "1 min"}),
        (Matter.CYCLES, {"duty__cycles_per_day": 1}),
        (Matter.BUDGET, {}),
        (Matter.PROCESS_PRESSURE, {"process": None}),
        (Matter.PROCESS_LOAD, {"process": None}),
        (Matter.LINE_BENDS, {"line": {"length": "1.2 m", "bends": 0}}),
        (Matter.LINE_BENDS, {"line": {"length": "0 m", "bends": 2}}),
        (Matter.LINE_LENGTH, {"line": {"length": "60 mm", "bore": "60 mm"}}),
        (Matter.LINE_BORE, {"line": {"length": "0 m", "bore": "60 mm"}}),
    ],
)
def test_what_is_at_its_end_or_not_asked_for_is_not_offered(
    matter: Matter, changes: dict[str, Any]
) -> None:
    assert offered(matter, **changes) is None


def test_a_line_may_become_as_wide_as_the_flange_it_starts_from() -> None:
    narrow = {"length": "1 m", "bore": "60 mm"}
    change = offered(Matter.LINE_BORE, line=narrow)
    port = inquiry(COATER).chamber.port
    assert change is not None
    assert port is not None
    assert change.far == port.bore_m
    full = f"{port.bore_m * 1000.0} mm"
    assert offered(Matter.LINE_BORE, line={"length": "1 m", "bore": full}) is None


def test_without_a_port_the_line_starts_from_the_pumps_inlet() -> None:
    asked = inquiry(COATER, chamber__port=None, line={"length": "1 m", "bore": "60 mm"})
    spot = spot_of(JET, asked)
    assert spot.front is not None
    change = change_of(Matter.LINE_BORE, asked, spot.front, spot.back)
    assert change is not None
    assert change.far == spot.front.pump.inlet.bore_m


def test_a_foreline_may_become_as_wide_as_the_wider_of_its_flanges() -> None:
    asked = inquiry(COATER, foreline={"length": "2 m", "bore": "10 mm"})
    spot = spot_of(JET, asked)
    change = change_of(Matter.FORELINE_BORE, asked, spot.front, spot.back)
    assert change is not None
    assert spot.front is not None
    assert spot.front.pump.outlet is not None
    assert change.far == max(spot.front.pump.outlet.bore_m, spot.back.entry.bore_m)
    usual = offered(Matter.FORELINE_LENGTH, foreline={"length": "2 m"})
    assert usual is not None
    assert usual.far == min(spot.front.pump.outlet.bore_m, spot.back.entry.bore_m)


@pytest.mark.parametrize(
    "matter",
    [Matter.LINE_BORE, Matter.LINE_LENGTH, Matter.LINE_BENDS, Matter.FORELINE_BORE],
)
def test_a_rough_stack_has_neither_foreline_nor_line_to_a_high_vacuum_pump(
    matter: Matter,
) -> None:
    changes = {"line": {"length": "1 m", "bore": "20 mm", "bends": 2}}
    assert offered(matter, ROUGH, target_pressure="1 mbar", **changes) is None
