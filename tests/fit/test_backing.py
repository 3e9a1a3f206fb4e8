"""Backs and forelines, against the line solved part by part and a root finder."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from server.catalog.arrays import GRID
from server.catalog.flanges import parse_flange
from server.catalog.items import Catalog, Cooling, SpeedCurve, TrapKind, TrapPlace
from server.fit.backing import back_tables
from server.fit.candidates import Back
from server.fit.foreline import Foreline, ForelineRuns
from server.fit.geometry import Outlet, foreline
from server.physics.line import upstream_pressure_pa
from server.physics.pumps import tolerable_foreline_pa
from server.physics.species import SPECIES
from tests.fit.engine_cases import BENCH, a_bench, a_rougher, inquiry
from tests.fit.stock import a_trap, a_turbo_pump

ROUGHER = a_rougher()
TURBO = replace(
    a_turbo_pump(),
    cooling=Cooling.AIR,
    start_pressure_pa=100.0,
    curves=(SpeedCurve("nitrogen", (1e-6, 1.0), (0.2, 0.2)),),
)
CATALOG = a_bench(ROUGHER, TURBO)
PLAIN = Back(ROUGHER, None, None, None, None)
KF16, KF25 = parse_flange("KF 16"), parse_flange("KF 25")
HOSE = {"length": "1 m", "bends": 1}


def node_at(pressure_pa: float) -> int:
    return int(np.argmin(np.abs(GRID.pressure_pa - pressure_pa)))


def forelines(catalog: Catalog = CATALOG, back: Back = PLAIN, **changes: Any) -> Foreline:
    requirements = inquiry(BENCH, **changes)
    tables = back_tables([back], ("air", "argon"), requirements, catalog)
    return Foreline(
        ForelineRuns([Outlet(KF16, None), Outlet(KF25, None)], [back], requirements), tables.inlet
    )


@pytest.mark.parametrize("throughput", [1e-4, 1e-3, 0.02, 0.3])
def test_foreline_pressure_is_that_of_the_back_and_the_drop_of_the_line(throughput: float) -> None:
    found = forelines(foreline=HOSE).pressure_pa({"air": throughput})
    # by hand at the back: Q = S·(p − p_ult) with 2.5 L/s; then the line, part by part, with inertia
    at_back = throughput / 2.5e-3 + 1e-3
    requirements = inquiry(BENCH, foreline=HOSE)
    for row, outlet in enumerate((KF16, KF25)):
        line = foreline(Outlet(outlet, None), PLAIN, requirements)
        expected = float(
            upstream_pressure_pa(line, throughput, at_back, 293.15, SPECIES["nitrogen"])
        )
        assert found[row, 0] == pytest.approx(expected, rel=0.02)


def test_without_foreline_the_pump_sees_the_back() -> None:
    found = forelines().pressure_pa({"air": 0.02, "argon": 0.03})
    assert found == pytest.approx(np.full((2, 1), 0.05 / 2.5e-3 + 1e-3), rel=2e-3)


def test_a_load_no_pump_carries_has_no_foreline_pressure() -> None:
    assert np.isnan(forelines().pressure_pa({"air": 1e4})).all()


@settings(max_examples=25)
@given(
    largest=st.floats(1e-3, 5.0),
    no_load=st.floats(5.0, 500.0),
    share=st.floats(0.3, 1.0),
    length=st.sampled_from(["0 m", "0.5 m", "3 m"]),
)
def test_the_largest_throughput_is_where_the_foreline_becomes_intolerable(
    largest: float, no_load: float, share: float, length: str
) -> None:
    lines = forelines(foreline={"length": length, "bends": 0})
    limits = (np.array([largest]), np.array([no_load]), np.array([share * no_load]))
    found = float(lines.largest_throughput_pa_m3_s({"air": 1.0}, np.array([0]), *limits)[0, 0])

    def spare(flow: float) -> float:
        tolerable = float(tolerable_foreline_pa(flow, largest, no_load, share * no_load))
        return tolerable - float(lines.pressure_pa({"air": flow})[0, 0])

    assert found <= largest * (1 + 1e-12)
    if found < largest * (1 - 1e-9):
        by_scipy = brentq(spare, 1e-9, largest, xtol=1e-12)
        assert found == pytest.approx(by_scipy, rel=1e-4)
    else:
        assert spare(largest * (1 - 1e-9)) >= -1e-6 * no_load


def test_a_longer_foreline_carries_less() -> None:
    limits = (np.array([10.0]), np.array([50.0]), np.array([40.0]))
    carried = [
        float(
            forelines(foreline={"length": length, "bends": 0}).largest_throughput_pa_m3_s(
                {"air": 1.0}, np.array([0]), *limits
            )[0, 0]
        )
        for length in ("0 m", "0.5 m", "2 m", "8 m")
    ]
    assert carried == sorted(carried, reverse=True)
    assert carried[-1] < 0.9 * carried[0]


def test_while_vapour_is_pumped_the_ballast_is_open() -> None:
    ballast = (
        SpeedCurve("air", (1.0, 1.1e5), (2.5e-3, 2.5e-3)),
        SpeedCurve("air", (1.0, 1.1e5), (2.0e-3, 2.0e-3), with_ballast=True),
    )
    pump = replace(ROUGHER, curves=ballast, ballast_m3_s=1e-4, ultimate_ballast_pa=5.0)
    back, catalog = replace(PLAIN, backing=pump), a_bench(pump)

    def at_100_pa(**changes: Any) -> tuple[float, float]:
        tables = back_tables([back], ("air",), inquiry(BENCH, **changes), catalog)
        node = node_at(100.0)
        return (
            float(tables.at_inlet["air"].speed_m3_s[0, node]),
            float(tables.at_work({}).inlet.each["air"].speed_m3_s[0, node]),
        )

    wet = {"process": {"vapour": [{"substance": "water", "rate": "1 g/h"}]}}
    assert at_100_pa() == pytest.approx((2.5e-3, 2.5e-3), rel=1e-3)
    assert at_100_pa(**wet) == pytest.approx((2.5e-3, 2.0e-3 * 0.95), rel=0.01)


def test_a_condenser_pumps_the_vapour_it_holds() -> None:
    trap = a_trap("COLD", "KF 25", TrapKind.NITROGEN_TRAP, TrapPlace.FORELINE)
    trap = replace(trap, surface_k=77.35)
    process = {"vapour": [{"substance": "water", "rate": "1 g/h"}]}
    requirements, catalog = inquiry(BENCH, process=process), a_bench(ROUGHER, trap)
    backs = [PLAIN, replace(PLAIN, trap=trap)]
    tables = back_tables(backs, ("air", "water"), requirements, catalog)
    at_work = tables.at_work({"air": 0.0, "water": 0.04})
    water = at_work.inlet.each["water"].speed_m3_s[:, node_at(10.0)]
    air = at_work.inlet.each["air"].speed_m3_s[:, node_at(10.0)]
    assert water[0] == pytest.approx(2.5e-3, rel=0.01)
    assert water[1] > 20 * water[0]
    assert air[1] == air[0]


def test_a_turbo_in_front_helps_from_its_start_pressure_down() -> None:
    back = replace(PLAIN, booster=TURBO)
    tables = back_tables([back], ("air",), inquiry(BENCH), CATALOG)
    speed, pressure = tables.at_inlet["air"].speed_m3_s[0], GRID.pressure_pa
    own, rest = 0.2, TURBO.ultimate_pa
    turbo = (pressure > rest) & (pressure < 0.9)
    assert speed[turbo] == pytest.approx(own * (1.0 - rest / pressure[turbo]), rel=1e-6)
    assert not speed[pressure < rest].any()
    assert speed[pressure > 101.0] == pytest.approx(2.5e-3, rel=1e-3)
    alone = tables.behind_turbo["air"].speed_m3_s[0]
    assert alone[pressure > 1.0] == pytest.approx(2.5e-3, rel=1e-2)


def test_roughing_at_the_chamber_is_behind_the_rough_line() -> None:
    run = {"length": "2 m", "bore": "16 mm", "bends": 2}
    free = back_tables([PLAIN], ("air",), inquiry(BENCH), CATALOG).at_chamber["air"]
    throttled = back_tables([PLAIN], ("air",), inquiry(BENCH, rough_line=run), CATALOG).at_chamber[
        "air"
    ]
    assert np.all(throttled.speed_m3_s <= free.speed_m3_s * (1 + 1e-9))
    node = node_at(1.0)
    assert throttled.speed_m3_s[0, node] < 0.5 * free.speed_m3_s[0, node]
