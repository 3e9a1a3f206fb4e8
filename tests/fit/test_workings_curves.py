"""Plain numbers read from the engine's tables: the same as the engine's arrays give."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.catalog.arrays import GRID
from server.fit.inlet import conductance_rows
from server.fit.loads import PUMP_K
from server.fit.workings.curves import Curve, Leaving, at_exits, balance, passages
from server.physics.arrays import FloatArray
from server.physics.line import Line, Tube, line_conductance_m3_s
from server.physics.species import SPECIES
from server.physics.speedtable import SpeedTable, lookup
from server.physics.steady import steady_state

LN_RANGE = (math.log(GRID.low_pa), math.log(GRID.high_pa))
tables = st.tuples(
    st.floats(1e-4, 10.0),  # speed [m³/s]
    st.floats(1e-8, 1.0),  # ultimate pressure [Pa]
    st.floats(0.1, 1e5),  # pressure above which the throughput stays [Pa]
    st.integers(0, GRID.count // 3),  # nodes at the top without any speed
)


def speeds(kind: tuple[float, float, float, int]) -> FloatArray:
    """Speeds of a pump on the grid: none below its ultimate pressure, none above its largest."""
    speed, ultimate, knee, dead = kind
    pressure = GRID.pressure_pa
    net = speed * np.maximum(1.0 - ultimate / pressure, 0.0) * np.minimum(1.0, knee / pressure)
    net[GRID.count - dead :] = 0.0
    return np.asarray(net)


@given(kind=tables, ln_pressure=st.floats(*LN_RANGE))
def test_a_curve_reads_what_the_table_says(
    kind: tuple[float, float, float, int], ln_pressure: float
) -> None:
    table = SpeedTable(GRID, speeds(kind)[np.newaxis])
    pressure = min(math.exp(ln_pressure), GRID.high_pa)
    curve = Curve.of(table, 0)
    assert curve.at(pressure) == pytest.approx(float(lookup(table, 0, pressure)), rel=1e-9)
    assert curve.at(GRID.low_pa / 10) == table.speed_m3_s[0, 0]
    assert math.isnan(curve.at(math.nan))


@given(kind=tables, ln_flow=st.floats(math.log(1e-12), math.log(1e3)))
def test_a_pump_carries_its_flow_where_a_curve_says(
    kind: tuple[float, float, float, int], ln_flow: float
) -> None:
    curve, flow = Curve(speeds(kind)), math.exp(ln_flow)
    found = curve.pressure_of_flow_pa(flow)
    if not math.isnan(found):
        assert curve.at(found) * found == pytest.approx(flow, rel=1e-6)


@given(
    kinds=st.tuples(tables, tables),
    ln_flows=st.tuples(st.floats(-30.0, 6.0), st.floats(-30.0, 6.0)),
    offset=st.sampled_from([0.0, 1e-7, 0.3]),
    absent=st.booleans(),
)
def test_one_pump_settles_where_the_engine_settles_a_field(
    kinds: tuple[tuple[float, float, float, int], tuple[float, float, float, int]],
    ln_flows: tuple[float, float],
    offset: float,
    absent: bool,
) -> None:
    """The engine's root (physics.steady) is checked against scipy in its own tests."""
    rows = [speeds(kind) for kind in kinds]
    load = {"air": math.exp(ln_flows[0]), "argon": 0.0 if absent else math.exp(ln_flows[1])}
    names = tuple(load)
    engine = steady_state(
        load,
        {gas: SpeedTable(GRID, row[np.newaxis]) for gas, row in zip(names, rows, strict=True)},
        [0],
        offset_pa=offset,
    )
    found = balance(load, {gas: Curve(row) for gas, row in zip(names, rows, strict=True)}, offset)
    wanted = float(engine.pressure_pa[0])
    assert math.isnan(found.pressure_pa) == math.isnan(wanted)
    if not math.isnan(wanted):
        assert found.pressure_pa == pytest.approx(wanted, rel=1e-9)
        for gas, row in zip(names, rows, strict=True):
            part = float(engine.partial_pa[gas][0])
            # where speed dies, a hair of pressure is much of a partial pressure
            near = [Curve(row).at(wanted * (1.0 + hair)) for hair in (-1e-12, 1e-12)]
            if load[gas] > 0.0 and near[0] < (1.0 - 1e-7) * near[1]:
                continue
            assert found.partial_pa[gas] == pytest.approx(part, rel=1e-6)


def test_a_passage_is_the_mean_of_the_conductance_between_two_pressures() -> None:
    run = Line((Tube(0.4, 0.1, 1),))
    (through,) = passages([(run, "argon")])
    for low, high in ((1e-4, 1e-3), (0.05, 0.9), (3.0, 3.1), (20.0, 900.0)):
        pressure = np.linspace(low, high, 2001)
        fine = line_conductance_m3_s(run, pressure, PUMP_K, SPECIES["argon"])
        mean = float(np.trapezoid(fine, pressure)) / (high - low)
        # linear in p between nodes 1/16 of a decade apart
        assert through.between(high, low) == pytest.approx(mean, rel=1e-3)
        assert through.between(low, high) == through.between(high, low)
    nodes = conductance_rows([run], "argon")[0]
    node = GRID.count // 2
    here = float(GRID.pressure_pa[node])
    assert through.between(here, here) == pytest.approx(nodes[node], rel=1e-9)
    # a line without parts: no resistance worth a number
    (free,) = passages([(Line(()), "argon")])
    assert free.between(1.0, 2.0) >= 0.999e9


@given(kinds=st.lists(tables, min_size=1, max_size=4), ln_pressure=st.floats(*LN_RANGE))
def test_a_gas_leaves_each_line_where_the_pump_takes_what_the_line_brings(
    kinds: list[tuple[float, float, float, int]], ln_pressure: float
) -> None:
    """S(p₂)·p₂ = C·(p − p₂), for lines that are solved together as for one alone."""
    chamber = min(math.exp(ln_pressure), 1e5)
    runs = [Line((Tube(0.2 + number, 0.05, 1),)) for number in range(len(kinds))]
    asked = [
        Leaving(through, Curve(speeds(kind)), chamber)
        for through, kind in zip(passages([(run, "argon") for run in runs]), kinds, strict=True)
    ]
    for one, found in zip(asked, at_exits(asked), strict=True):
        assert 0.0 < found.pressure_pa <= chamber * (1.0 + 1e-12)
        assert found.speed_m3_s == pytest.approx(one.speeds.at(found.pressure_pa), rel=1e-6)
        brought = found.conductance_m3_s * (chamber - found.pressure_pa)
        taken = found.speed_m3_s * found.pressure_pa
        # two flows that nearly cancel are known to a share of each
        assert brought == pytest.approx(
            taken, rel=1e-6, abs=1e-9 * found.conductance_m3_s * chamber
        )
        (alone,) = at_exits([one])
        assert alone.pressure_pa == pytest.approx(found.pressure_pa, rel=1e-12)
