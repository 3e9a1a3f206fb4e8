"""Bounds of validity: one bad entry refuses a whole array; what stands on the bound is taken."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from server.errors import OutOfRange
from server.physics.ballast import Ballast
from server.physics.boosters import gas_compression
from server.physics.conductance import annulus_conductance_m3_s, orifice_conductance_m3_s
from server.physics.duty import after_venting, break_even_idle_s, refilled_share
from server.physics.gas import gas_state, species
from server.physics.gasload import (
    GasLoad,
    air_in_leakage_kg_s,
    gas_given_off_pa_m3,
    permeation_pa_m3_s,
)
from server.physics.holding import hold_isolated
from server.physics.line import Line, Tube, line_states, upstream_pressure_pa
from server.physics.line_table import LineTable
from server.physics.outgassing import surface_decay
from server.physics.pumps import (
    burst_crossover_pressure_pa,
    compression_ratio,
    load_share,
    tolerable_foreline_pa,
)
from server.physics.rotor import compression_at_foreline
from server.physics.speedtable import LogGrid, SpeedTable, log_grid, lookup, tabulate
from server.physics.vapour import saturation_pressure_pa

AIR = species("air")
STATE = gas_state(AIR, 293.15)
HELIUM = species("helium")
GRID = log_grid(1.0, 1e5)
TABLE = SpeedTable(GRID, np.ones((1, GRID.count)))
TUBE = Line((Tube(1.0, 0.05),))
ONE = np.array([1.0])

BAD: dict[str, Callable[[], object]] = {
    "ballast flow": lambda: Ballast(np.array([1.0, -1.0]), 1e4),
    "ballast saturation": lambda: Ballast(1.0, np.array([1e4, -1.0])),
    "exhaust valve": lambda: Ballast(1.0, 1e4, np.array([2e5, 1e5])),
    "moist ballast": lambda: Ballast(1.0, 1e4, ambient_vapour_pa=np.array([0.0, 101325.0])),
    "booster compression": lambda: gas_compression([40.0, 0.99], 1.0, HELIUM),
    "opening": lambda: orifice_conductance_m3_s(STATE, [1e-3, 0.0], 10.0, 1.0),
    "backward flow": lambda: orifice_conductance_m3_s(STATE, 1e-3, [10.0, 1.0], [1.0, 10.0]),
    "annulus core": lambda: annulus_conductance_m3_s(STATE, ([0.01, 0.0], 0.02), 1.0, 2.0, 1.0),
    "annulus full": lambda: annulus_conductance_m3_s(STATE, ([0.01, 0.02], 0.02), 1.0, 2.0, 1.0),
    "annulus length": lambda: annulus_conductance_m3_s(
        STATE, (0.01, 0.02), np.array([1.0, 0.0]), 2.0, 1.0
    ),
    "open for less than no time": lambda: refilled_share([1.0, -1.0], 1.0),
    "gas too damp": lambda: refilled_share(1.0, [0.5, 1.01]),
    "gas too dry": lambda: refilled_share(1.0, [0.5, -0.01]),
    "sites above one": lambda: after_venting(GasLoad(0.0, ONE, ONE), np.array([0.5, 1.01]), 1e3),
    "sites below none": lambda: after_venting(GasLoad(0.0, ONE, ONE), np.array([0.5, -0.1]), 1e3),
    "power": lambda: break_even_idle_s([1.0, -1.0], 1.0),
    "energy": lambda: break_even_idle_s(1.0, [1.0, -1.0]),
    "load": lambda: GasLoad(np.array([1.0, -1.0])),
    "amplitude": lambda: GasLoad(0.0, np.array([1.0, -1.0]), np.array([1.0, 1.0])),
    "exponent": lambda: GasLoad(0.0, np.array([1.0, 1.0]), np.array([1.0, -1.0])),
    "endless load": lambda: GasLoad(np.array([1.0, np.inf])),
    "exponents missing": lambda: GasLoad(0.0, np.array([1.0, 1.0]), ONE),
    "interval backwards": lambda: gas_given_off_pa_m3(GasLoad(1.0), [0.0, 5.0], [1.0, 4.0]),
    "interval too early": lambda: gas_given_off_pa_m3(GasLoad(1.0), [0.0, -1.0], 1.0),
    "leaking volume": lambda: air_in_leakage_kg_s([1.0, 0.0], 1e3),
    "leaking at less than nothing": lambda: air_in_leakage_kg_s(1.0, [1e3, -1.0]),
    "leaking above the atmosphere": lambda: air_in_leakage_kg_s(1.0, [1e3, 101326.0]),
    "way through a seal": lambda: permeation_pa_m3_s("fkm", "helium", 1.0, [1e-3, 0.0], 1e5),
    "volume held": lambda: hold_isolated([1.0, 0.0], GasLoad(1.0), 0.0, 0.0, 1.0),
    "flow of a line": lambda: upstream_pressure_pa(TUBE, [1.0, -1.0], 0.0, 293.15, AIR),
    "endless flow": lambda: upstream_pressure_pa(TUBE, [1.0, np.inf], 0.0, 293.15, AIR),
    "parts without flow": lambda: line_states(TUBE, 0.0, 1.0, 293.15, AIR),
    "pressures of a line": lambda: LineTable([TUBE], [1.0, -1.0]),
    "endless pressure": lambda: LineTable([TUBE], [1.0, np.inf]),
    "surface clock": lambda: surface_decay([1.0, -1.0], 1.0),
    "foreline rises with load": lambda: tolerable_foreline_pa(1.0, 2.0, 50.0, [40.0, 51.0]),
    "largest throughput": lambda: load_share({"air": 1.0}, {"air": [1.0, 0.0]}),
    "share of a load": lambda: load_share({"air": [1.0, -1.0]}, {"air": 1.0}),
    "burst": lambda: burst_crossover_pressure_pa([1.0, 0.0], 1.0),
    "burst volume": lambda: burst_crossover_pressure_pa(1.0, [1.0, 0.0]),
    "start pressure": lambda: burst_crossover_pressure_pa(1.0, 1.0, [1.0, 0.0]),
    "rotor compression": lambda: compression_at_foreline([2.0, 0.9], 1.0, 1.0),
    "rotor foreline": lambda: compression_at_foreline(2.0, [1.0, -1.0], 1.0),
    "rotor tolerable": lambda: compression_at_foreline(2.0, 1.0, [1.0, 0.0]),
    "points of compression": lambda: compression_ratio([1.0, 2.0], [9.0], 1.0),
    "points of compression in rows": lambda: compression_ratio([[1.0, 2.0]], [[9.0, 8.0]], 1.0),
    "no points": lambda: compression_ratio([], [], 1.0),
    "point at no pressure": lambda: compression_ratio([0.0, 1.0], [9.0, 8.0], 1.0),
    "equal points": lambda: compression_ratio([1.0, 1.0], [9.0, 8.0], 1.0),
    "compression of points": lambda: compression_ratio([1.0, 2.0], [9.0, 0.9], 1.0),
    "grid of one node": lambda: LogGrid(1.0, 2.0, 1),
    "grid upside down": lambda: LogGrid(2.0, 1.0, 9),
    "grid of no pressure": lambda: log_grid(0.0, 1.0),
    "table of one row": lambda: SpeedTable(GRID, np.ones(GRID.count)),
    "table of another grid": lambda: SpeedTable(GRID, np.ones((1, GRID.count + 1))),
    "endless speed": lambda: SpeedTable(GRID, np.full((1, GRID.count), np.inf)),
    "speed below zero": lambda: SpeedTable(GRID, np.append(np.ones(GRID.count - 1), -1.0)[None]),
    "curve of other length": lambda: tabulate([1.0, 10.0], [1.0], GRID),
    "curve in rows": lambda: tabulate([[1.0, 10.0]], [[1.0, 1.0]], GRID),
    "curve at no pressure": lambda: tabulate([0.0, 10.0], [1.0, 1.0], GRID),
    "curve that turns": lambda: tabulate([1.0, 10.0, 10.0], [1.0, 1.0, 1.0], GRID),
    "curve below zero": lambda: tabulate([1.0, 10.0, 100.0], [1.0, 1.0, -1.0], GRID),
    "endless curve": lambda: tabulate([1.0, 10.0, 100.0], [1.0, 1.0, np.inf], GRID),
    "curve of one speed": lambda: tabulate([1.0, 10.0], [0.0, 1.0], GRID),
    "hole in a curve": lambda: tabulate([1.0, 5.0, 10.0, 20.0], [1.0, 0.0, 1.0, 1.0], GRID),
    "below the grid": lambda: lookup(TABLE, [0, 0], [10.0, 0.9]),
    "above the grid": lambda: lookup(TABLE, [0, 0], [10.0, 1.1e5]),
    "hotter than critical": lambda: saturation_pressure_pa("water", [300.0, 700.0]),
}


@pytest.mark.parametrize("what", list(BAD))
def test_one_bad_entry_refuses_the_array(what: str) -> None:
    with pytest.raises(OutOfRange):
        BAD[what]()


def test_the_bounds_themselves_are_valid() -> None:
    """Nothing flows, is open, fills or burns where the number is the smallest that makes sense."""
    assert np.all(Ballast(0.0, 0.0, 101325.0, 101325.0, 0.0).exhaust_pa == 101325.0)
    assert gas_compression(1.0, 0.0, HELIUM) == pytest.approx(1.0)
    assert refilled_share(0.0, [0.0, 1.0]) == pytest.approx([0.0, 0.0])
    assert float(break_even_idle_s(1.0, 0.0)) == 0.0
    assert float(gas_given_off_pa_m3(GasLoad(1.0), 5.0, 5.0)) == 0.0
    assert float(air_in_leakage_kg_s(1.0, 101325.0)) == pytest.approx(0.98 / 3600.0)
    assert float(air_in_leakage_kg_s(1.0, 0.0)) == pytest.approx(0.12 / 3600.0)
    assert float(upstream_pressure_pa(TUBE, 0.0, 7.0, 293.15, AIR)) == pytest.approx(7.0)
    assert np.all(LineTable([TUBE], [0.0]).conductance_m3_s(293.15, AIR) > 0.0)
    assert float(surface_decay(0.0, 1.0)) == float(surface_decay(60.0, 1.0))
    assert float(tolerable_foreline_pa(1.0, 2.0, 50.0, 50.0)) == 50.0
    assert float(load_share({"air": 0.0}, {"air": 1.0})) == 0.0
    assert float(compression_at_foreline(1.0, 0.0, 1.0)) == 1.0
    assert compression_ratio([1.0], [1.0], [0.1, 1.0, 10.0]) == pytest.approx([1.0, 1.0, 1.0])
    assert lookup(TABLE, [0, 0], [GRID.low_pa, GRID.high_pa]) == pytest.approx([1.0, 1.0])
    assert LogGrid(1.0, 2.0, 2).pressure_pa == pytest.approx([1.0, 2.0])


def test_a_venting_that_fills_nothing_or_everything() -> None:
    load = GasLoad(0.0, ONE, ONE)
    for share in (0.0, 1.0):
        assert after_venting(load, share, 3600.0).constant_pa_m3_s == pytest.approx(1.0 - share)
