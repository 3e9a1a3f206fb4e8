"""What forelines let pumps carry, by a calculation of its own: scipy's roots, integrals by sums."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from server.catalog.arrays import GRID
from server.fit.geometry import foreline, outlet_of
from server.fit.loads import AIR, PUMP_K
from server.fit.states import HighVacuumStates
from server.physics.line import Line, line_conductance_m3_s
from server.physics.species import SPECIES
from tests.fit.engine_cases import COATER, Judgement, judged_demo

CLEAR = 0.999
"""Below this share of a pump's own largest throughput it is the foreline that sets the limit."""


@pytest.fixture(scope="module")
def coater() -> Judgement:
    return judged_demo(COATER)


def pressure_at_back(speed_m3_s: np.ndarray, flow: float, highest_pa: float) -> float:
    """Where S·p is the flow, S linear in ln p between the nodes of a table."""

    def excess(ln_p: float) -> float:
        return float(np.exp(ln_p) * np.interp(ln_p, GRID.ln_pressure, speed_m3_s)) - flow

    return float(np.exp(brentq(excess, np.log(GRID.low_pa), np.log(highest_pa), xtol=1e-12)))


def pressure_before(line: Line, exit_pa: float, flow: float) -> float:
    """Where ∫ C dp from the exit on is the flow: every short piece of a line carries C·dp."""
    nodes = np.geomspace(exit_pa, 1e4, 4001)
    between = np.minimum(line_conductance_m3_s(line, nodes, PUMP_K, SPECIES[AIR]), 1e9)
    carried = np.cumsum((between[1:] + between[:-1]) / 2 * np.diff(nodes))
    return float(np.interp(flow, np.append(0.0, carried), nodes))


def test_a_pump_carries_what_brings_its_outlet_to_the_tolerable_pressure(
    coater: Judgement,
) -> None:
    checked = {"by the foreline": 0, "by the pump": 0}
    for judged in coater.judged:
        states = judged.case.states
        if not isinstance(states, HighVacuumStates):
            continue
        limits, table = states.alone.limits({AIR: 1.0}), states.backing.at_inlet[AIR]
        seen = set()
        for row, front in enumerate(states.fronts):
            outlet = outlet_of(front.pump, states.backing.catalog)
            if outlet is None or front.pump.sku in seen:
                continue
            seen.add(front.pump.sku)
            own, no_load, full_load = (
                float(term[row])
                for term in (limits.largest_pa_m3_s, limits.no_load_pa, limits.full_load_pa)
            )
            for column in range(0, len(states.backs), 9):
                flow = float(states.burst_pa_m3_s[row, column])
                if flow < 1e-3 * own:  # a back at rest: any small flow brings it there
                    continue
                line = foreline(outlet, states.backs[column], coater.requirements)
                at_back = pressure_at_back(table.speed_m3_s[column], flow, no_load)
                at_outlet = pressure_before(line, at_back, flow)
                tolerable = no_load - (no_load - full_load) * flow / own
                if flow < CLEAR * own:
                    assert at_outlet == pytest.approx(tolerable, rel=5e-3), front.pump.sku
                    checked["by the foreline"] += 1
                else:
                    assert at_outlet <= tolerable * (1 + 5e-3), front.pump.sku
                    checked["by the pump"] += 1
    assert min(checked.values()) > 20, checked
