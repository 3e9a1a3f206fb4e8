"""Pump-downs against an integration of their own: species by species, by scipy's solve_ivp."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from server.catalog.arrays import GRID
from server.catalog.items import SpeedCurve, TurboPump
from server.fit.candidates import fields_of
from server.fit.choice import StackChoice
from server.fit.costs import Purse
from server.fit.crossover import crossover_pressure_pa
from server.fit.evaluation import How, Judged, judge
from server.fit.loads import loads_of
from server.fit.results import MarginKey
from server.physics.constants import ATMOSPHERE_PA
from server.physics.speedtable import SpeedTable
from tests.accuracy import Quantity, agrees
from tests.fit.engine_cases import (
    BENCH,
    COATER,
    Judgement,
    a_bench,
    a_jet,
    a_rougher,
    inquiry,
    judged_demo,
    spot_of,
)
from tests.fit.stock import a_fluid, a_turbo_pump

FLUID = a_fluid("FLUID", "90.00", 65e-6)
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Chamber:
    """V·dpᵢ/dt = Qᵢ(t) − Sᵢ(p)·pᵢ for each species; p = Σ pᵢ + what is there without load."""

    judgement: Judgement
    rtol: float = 1e-9

    @property
    def species(self) -> tuple[str, ...]:
        return self.judgement.loads.species

    def load(self, time_s: float) -> list[float]:
        """Leak and Σ q₁·A·(t/1 h)^−α by species, the surface rate held in the first minute."""
        loads = self.judgement.loads
        flow = dict.fromkeys(self.species, 0.0)
        flow["air"] += loads.leak_pa_m3_s
        for surface in loads.surfaces:
            decay = (max(time_s, 60.0) / 3600.0) ** -surface.row.alpha
            flow[surface.row.species] += surface.row.q1_pa_m_s * surface.area_m2 * decay
        return [flow[gas] for gas in self.species]

    def follow(
        self,
        speeds: list[Floats],
        start: tuple[float, Floats],
        stop: float,
        *,
        resting_pa: float = 0.0,
        most_pa_m3_s: float = np.inf,
        for_s: float = 1e7,
    ) -> tuple[float, Floats]:
        """Pump from a clock and partial pressures down to a pressure, or for a time."""
        volume = self.judgement.loads.volume_m3

        tables = [speed.tolist() for speed in speeds]  # plain floats: a look-up in microseconds

        def rate(time_s: float, partial: Floats) -> list[float]:
            parts = partial.tolist()
            pressure = max(sum(parts) + resting_pa, GRID.low_pa)
            position = (math.log(pressure) - GRID.ln_low) / GRID.step
            cell = min(int(position), GRID.count - 2)
            share = position - cell
            pumped = [
                (table[cell] + (table[cell + 1] - table[cell]) * share) * part
                for table, part in zip(tables, parts, strict=True)
            ]
            held = min(1.0, most_pa_m3_s / max(sum(pumped), 1e-300))
            return [
                (flow - held * out) / volume
                for flow, out in zip(self.load(time_s), pumped, strict=True)
            ]

        def there(_time_s: float, partial: Floats) -> float:
            return float(np.log((partial.sum() + resting_pa) / stop))

        there.terminal = True  # type: ignore[attr-defined]
        found = solve_ivp(
            rate, (start[0], start[0] + for_s), start[1], "LSODA",
            events=there, rtol=self.rtol, atol=1e-9 * stop,
        )  # fmt: skip
        return float(found.t[-1]), found.y[:, -1]


def rows_of(
    tables: Callable[[str], SpeedTable], species: tuple[str, ...], row: int
) -> list[Floats]:
    return [tables(gas).speed_m3_s[row] for gas in species]


def integrated_s(chamber: Chamber, judged: Judged, row: int, column: int) -> float:
    """Time to the target of one high-vacuum combination, phase by phase."""
    states = judged.case.states
    assert states.inlet is not None
    assert states.burst_pa_m3_s is not None
    front = judged.case.fronts[row]
    crossover = float(crossover_pressure_pa(states)[row, column])
    air = np.array([ATMOSPHERE_PA if gas == "air" else 0.0 for gas in chamber.species])
    rough = rows_of(states.backing.at_chamber.__getitem__, chamber.species, column)
    clock, partial = chamber.follow(rough, (0.0, air), crossover)
    if isinstance(front.pump, TurboPump):
        clock, partial = chamber.follow(rough, (clock, partial), 1e-9, for_s=front.pump.run_up_s)
    inlet_row = int(states.inlet.row_of_front[row])
    high = rows_of(states.inlet.at_chamber.__getitem__, chamber.species, inlet_row)
    most = float(states.burst_pa_m3_s[row, column]) if front.pump.outlet else np.inf
    clock, _ = chamber.follow(
        high,
        (clock, partial),
        chamber.judgement.requirements.target_pressure_pa,
        resting_pa=float(states.offset_pa[row, column]),
        most_pa_m3_s=most,
    )
    return clock


def followed(judgement: Judgement) -> list[tuple[Judged, int, int]]:
    """Every high-vacuum combination that came to the target."""
    return [
        (judged, int(row), int(column))
        for judged in judgement.judged
        if judged.case.states.inlet is not None
        for row, column in zip(*np.nonzero(np.isfinite(judged.time_s)), strict=True)
    ]


def test_thirty_stacks_of_the_demo_within_one_per_cent() -> None:
    judgement = judged_demo(COATER)
    chamber, stacks = Chamber(judgement), followed(judgement)
    kinds = set()
    for index in np.linspace(0, len(stacks) - 1, 30).astype(int):
        judged, row, column = stacks[index]
        pump = judged.case.fronts[row].pump
        kinds.add(pump.kind)
        expected = integrated_s(chamber, judged, row, column)
        found = float(judged.time_s[row, column])
        what = f"{pump.sku}, front {row}, back {column}"
        agrees(Quantity.PUMP_DOWN_DEMO, found, expected, source=what)
    assert len(kinds) >= 2


def test_a_dozen_rough_stacks_within_one_per_cent() -> None:
    rough: dict[str, Any] = {
        "title": "Degassing, 1 mbar",
        "application": "degassing",
        "chamber": {"volume": "60 L", "port": "KF 40", "leak_rate": "1e-2 mbar*L/s"},
        "target_pressure": "1 mbar",
        "utilities": {"cooling_water": True, "three_phase": True, "mains_voltage": "230 V"},
    }
    judgement = judged_demo(rough)
    chamber = Chamber(judgement)
    judged = next(j for j in judgement.judged if j.case.states.inlet is None)
    columns = np.nonzero(np.isfinite(judged.time_s[0]))[0]
    air = np.array([ATMOSPHERE_PA if gas == "air" else 0.0 for gas in chamber.species])
    for column in columns[np.linspace(0, len(columns) - 1, 12).astype(int)]:
        tables = judged.case.states.backing.at_chamber
        speeds = rows_of(tables.__getitem__, chamber.species, int(column))
        expected, _ = chamber.follow(speeds, (0.0, air), 100.0)
        agrees(Quantity.PUMP_DOWN_DEMO, float(judged.time_s[0, column]), expected)


def bench(*items: Any, **changes: Any) -> Judged:
    requirements, catalog = inquiry(BENCH, **changes), a_bench(*items)
    field = fields_of(requirements, catalog)[0]
    purse = Purse(requirements, catalog)
    return judge(field, loads_of(requirements), requirements, catalog, purse, How(follow_all=True))


def test_roughing_follows_the_textbook_law() -> None:
    # t = V/S·ln(p₀/p₁): 0.1 m³ at 20 L/s from the atmosphere to 27.8 Pa is 41.0 s (by hand)
    evacuation = bench(a_jet(), a_rougher(20e-3), FLUID).evacuation
    assert evacuation.crossover_pa[0] == pytest.approx(33.33 / 1.2, rel=1e-3)
    assert evacuation.crossover_s[0] == pytest.approx(
        0.1 / 20e-3 * np.log(101_325 / 27.775), rel=5e-3
    )


def test_the_burst_lasts_as_long_as_the_foreline_makes_it() -> None:
    # 2.5 L/s at 66.66 Pa carry 0.1667 Pa·m³/s: from 27.8 Pa down to 2.56 Pa that takes 15.1 s, the
    # rest at 65 L/s 8.5 s; with 37.5 L/s the jets' own 0.87 Pa·m³/s is the limit: 1.7 and 11.0 s
    for speed_m3_s, after_s in ((2.5e-3, 15.1 + 8.5), (37.5e-3, 1.7 + 11.0)):
        judged = bench(a_jet(), a_rougher(speed_m3_s), FLUID)
        roughing = 0.1 / speed_m3_s * np.log(101_325 / 27.775)
        assert judged.time_s[0, 0] == pytest.approx(roughing + after_s, rel=0.01)


def test_a_leak_lengthens_the_burst() -> None:
    # 0.05 Pa·m³/s leave 0.1167 of the foreline's 0.1667: 100 L from 27.78 to 2.564 Pa in 21.61 s;
    # the jets alone take 0.816 Pa·m³/s down to 13.33 Pa, then ln(0.8165/0.1167)·V/S: 1.77 + 2.99 s
    leaky = bench(a_jet(), a_rougher(), FLUID, chamber__leak_rate="0.05 Pa*m3/s").evacuation
    held = leaky.crossover_s[0] - leaky.rough_s[0]
    assert held == pytest.approx(21.61 - 1.77 - 2.99, rel=0.01)


def test_the_burst_is_air_whatever_gas_the_process_has() -> None:
    # what roughing leaves is air: 0.1 m³ from p_x = 417 Pa to the knee 0.5/0.2 = 2.5 Pa at 0.5 Pa·
    # m³/s takes 83 s, though the pump carries five times less of the xenon let in later
    curve = (SpeedCurve("nitrogen", (1e-8, 2.5), (0.2, 0.2)),)
    turbo = replace(
        a_turbo_pump(),
        curves=curve,
        compression={"nitrogen": 1e9, "water": 1e8},
        largest_throughput_pa_m3_s=0.5,
        largest_throughput_by_gas_pa_m3_s={"xenon": 0.1},
        run_up_s=0.0,
        start_pressure_pa=500.0,
    )
    xenon = {"pressure": "1 Pa", "gas": [{"species": "xenon", "flow": "1 sccm"}]}
    plain, with_xenon = (
        bench(turbo, a_rougher(2.5e-3), process=process).evacuation for process in ({}, xenon)
    )
    held = 0.1 * (500 / 1.2 - 2.5) / 0.5
    roughing = 0.1 / 2.5e-3 * np.log(101_325 * 1.2 / 500)
    down = 0.1 / 0.2 * np.log(2.5 / 1e-2)
    assert plain.time_s[0] == pytest.approx(roughing + held + down, rel=0.01)
    assert with_xenon.time_s[0] == pytest.approx(plain.time_s[0], rel=1e-9)


def test_a_turbo_runs_up_while_roughing_goes_on() -> None:
    curve = (SpeedCurve("nitrogen", (1e-8, 1.0), (0.2, 0.2)),)
    turbo = replace(a_turbo_pump(), curves=curve, compression={"nitrogen": 1e9, "water": 1e8})
    evacuation = bench(turbo, a_rougher(2.5e-3)).evacuation
    # from 1000/1.2 Pa three minutes longer: ·exp(−180·2.5e-3/0.1)
    expected = 1000 / 1.2 * np.exp(-180 * 2.5e-3 / 0.1)
    assert evacuation.takeover_pa[0] == pytest.approx(expected, rel=0.02)
    to_start = 0.1 / 2.5e-3 * np.log(101_325 * 1.2 / 1000)
    assert evacuation.crossover_s[0] >= to_start + 180.0 - 0.01 * to_start


def test_a_target_above_the_crossover_is_reached_by_roughing_alone() -> None:
    judged = bench(a_jet(), a_rougher(2.5e-3), FLUID, target_pressure="50 Pa")
    assert judged.time_s[0, 0] == pytest.approx(0.1 / 2.5e-3 * np.log(101_325 / 50), rel=0.01)


def test_a_target_that_is_never_reached_takes_for_ever() -> None:
    assert np.isinf(bench(a_jet(), a_rougher(), FLUID, target_pressure="1e-6 Pa").time_s[0, 0])


@pytest.mark.parametrize("room", [1.05, 1.19, 1.201, 1.22, 1.3, 1.5, 3.0])
def test_roughing_near_its_rest_takes_as_long_as_by_hand(room: float) -> None:
    """V/S·ln((p₀ − p_rest)/(p_x − p_rest)): roughing rests at Q/S of the leak.

    The limit of the crossover is half of the tolerable 66.66 Pa, handed over 1.2 below where
    roughing is followed to there: down to 1.02 times its rest.
    """
    asked = inquiry(
        BENCH, target_pressure="3 Pa", chamber__leak_rate=f"{2.5e-3 * 33.33 / room} Pa*m3/s"
    )
    choice = StackChoice("JET", None, "ROUGHER", "FLUID")
    judged = spot_of(asked, a_bench(a_jet(), a_rougher(), FLUID), choice).judged
    assert judged.ledgers[MarginKey.CROSSOVER].ratio[0, 0] == pytest.approx(room, rel=1e-3)
    handed, rest = 33.33 if room < 1.2 * 1.02 else 33.33 / 1.2, 33.33 / room
    by_hand = 0.1 / 2.5e-3 * math.log((ATMOSPHERE_PA - rest) / (handed - rest))
    assert judged.evacuation.rough_s[0] == pytest.approx(by_hand, rel=1e-3)
