"""Lines of several parts: composition, the pressure a throughput needs, what the workings show."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from server.errors import OutOfRange
from server.physics.conductance import effective_speed_m3_s, tube_conductance_m3_s
from server.physics.entry_speed import FlowPotential, entry_speed_m3_s
from server.physics.gas import (
    SPECIES,
    Mixture,
    Species,
    gas_state,
    mean_speed_m_s,
    species,
    viscosity_pa_s,
)
from server.physics.line import (
    Line,
    Part,
    Passing,
    Regime,
    Restriction,
    Tube,
    line_conductance_m3_s,
    line_states,
    line_throughput_pa_m3_s,
    molecular_conductance_m3_s,
    regime_of,
    states_of_flows,
    upstream_pressure_pa,
)
from server.physics.speedtable import LogGrid
from server.physics.tube import tube_transmission

T = 293.15
AIR = species("air")
NITROGEN = species("nitrogen")
VALVE = Restriction("gate valve", 1.5, 0.15, 0.1)

bores = st.floats(5e-3, 0.5)
lengths = st.floats(0.02, 5.0)


@st.composite
def lines(draw: st.DrawFn) -> Line:
    parts: list[Part] = []
    for _ in range(draw(st.integers(1, 3))):
        parts.append(Tube(draw(lengths), draw(bores), draw(st.integers(0, 2))))
    return Line(tuple(parts))


def opening(bore: float) -> float:
    return math.pi / 4 * bore**2 * float(mean_speed_m_s(T, NITROGEN.molar_mass_kg_mol)) / 4


@given(length=lengths, bore=bores, cut=st.floats(0.05, 0.95), flow=st.floats(1e-10, 1e2))
def test_a_tube_cut_in_two_is_the_same_tube(
    length: float, bore: float, cut: float, flow: float
) -> None:
    whole = Line((Tube(length, bore),))
    halves = Line((Tube(cut * length, bore), Tube((1 - cut) * length, bore)))
    grid = np.geomspace(1e-6, 1e5, 12)
    one, two = (line_conductance_m3_s(line, grid, T, AIR) for line in (whole, halves))
    assert two == pytest.approx(one, rel=1e-9)
    one, two = (upstream_pressure_pa(line, flow, 1.0, T, AIR, math.inf) for line in (whole, halves))
    assert two == pytest.approx(float(one), rel=1e-9)


@given(length=st.floats(0.1, 5.0), bore=bores, cut=st.floats(0.1, 0.9))
def test_a_part_of_equal_bore_between_costs_its_body_only(
    length: float, bore: float, cut: float
) -> None:
    # Oatley 1957: 1/W − 1 adds up over parts of one bore; against Clausing's exact tube.
    middle = length * 0.2
    through = float(tube_transmission(middle / (bore / 2))) * opening(bore)
    piece = Restriction("piece of the same tube", through, bore, middle)
    line = Line((Tube(cut * length, bore), piece, Tube((1 - cut) * length, bore)))
    exact = opening(bore) * float(tube_transmission(1.2 * length / (bore / 2)))
    # Oatley's rule itself is good to about 6 % for three short pieces.
    assert molecular_conductance_m3_s(line, T, NITROGEN) == pytest.approx(exact, rel=0.06)


def test_a_narrowing_adds_the_difference_of_openings() -> None:
    # Haefer 1980, by hand: 1/C = 1/A₁ + bodies + (1/A₂ − 1/A₁); a widening adds nothing.
    wide, narrow = Tube(0.3, 0.2), Tube(0.4, 0.1)
    bodies = sum(
        (1 / float(tube_transmission(tube.length_m / (tube.bore_m / 2))) - 1) / opening(tube.bore_m)
        for tube in (wide, narrow)
    )
    narrowing = molecular_conductance_m3_s(Line((wide, narrow)), T, NITROGEN)
    assert 1 / narrowing == pytest.approx(1 / opening(0.1) + bodies, rel=1e-9)
    widening = molecular_conductance_m3_s(Line((narrow, wide)), T, NITROGEN)
    # Reciprocity: a line passes the same both ways.
    assert widening == pytest.approx(narrowing, rel=1e-9)


def test_the_opening_of_the_pump_is_not_counted_twice() -> None:
    # Constructed: nitrogen 22 °C, 1000 L/s pump, d = 20 cm, L = 40 cm: 672.7 L/s (Oatley 1957).
    line = Line((Tube(0.4, 0.2),), pump_bore_m=0.2)
    conductance = molecular_conductance_m3_s(line, 295.15, NITROGEN)
    assert effective_speed_m3_s(1.0, conductance) == pytest.approx(0.6727, rel=2e-4)
    plain = molecular_conductance_m3_s(Line((Tube(0.4, 0.2),)), 295.15, NITROGEN)
    assert effective_speed_m3_s(1.0, plain) == pytest.approx(0.5695, rel=2e-4)


@pytest.mark.parametrize("pump_bore", [0.05, 0.1, 0.2, 0.4])
def test_the_correction_never_makes_a_line_negative(pump_bore: float) -> None:
    for parts in ((Tube(0.2, 0.1),), (Tube(0.1, 0.2), Tube(0.1, 0.1)), (Tube(0.1, 0.1), VALVE)):
        corrected = line_conductance_m3_s(Line(parts, pump_bore), [0.0, 1.0, 1e4], T, AIR)
        plain = line_conductance_m3_s(Line(parts), [0.0, 1.0, 1e4], T, AIR)
        assert np.all(corrected > plain)


def test_a_catalogue_element_scales_with_the_root_of_mass() -> None:
    line = Line((VALVE,))
    assert molecular_conductance_m3_s(line, T, NITROGEN) == pytest.approx(1.5, rel=1e-9)
    helium = molecular_conductance_m3_s(line, T, species("helium"))
    assert helium == pytest.approx(1.5 * math.sqrt(28.0134 / 4.002602), rel=1e-6)
    hot = molecular_conductance_m3_s(line, 400.0, NITROGEN)
    assert hot == pytest.approx(1.5 * math.sqrt(400.0 / T), rel=1e-9)


def test_a_catalogue_element_cannot_pass_more_than_its_opening() -> None:
    with pytest.raises(OutOfRange, match="own opening"):
        Restriction("baffle", 1.5, 0.1, 0.1)
    with pytest.raises(OutOfRange, match="conductance of the baffle"):
        Restriction("baffle", math.nan, 0.1, 0.1)
    with pytest.raises(OutOfRange, match="equivalent bore of the baffle"):
        Restriction("baffle", 0.1, 0.0, 0.1)


def test_the_narrowest_and_widest_lines_are_solved() -> None:
    for bore in (1e-4, 10.0):
        for length in (1e-4, 1e4):
            line = Line((Tube(length, bore, 3),))
            for flow in (1e-15, 1.0, 1e9):
                for down in (0.0, 1e-9, 1e6):
                    up = upstream_pressure_pa(line, flow, down, T, AIR, math.inf)
                    assert down <= up < math.inf


@given(line=lines(), pressure=st.floats(0, 1e5))
def test_a_line_is_below_its_tightest_part(line: Line, pressure: float) -> None:
    whole = line_conductance_m3_s(line, pressure, T, AIR)
    for part in line.parts:
        alone = line_conductance_m3_s(Line((part,)), pressure, T, AIR)
        # Against the part with its own opening taken off, as its neighbours may share that.
        body = line_conductance_m3_s(Line((part,), pump_bore_m=part.bore_m), pressure, T, AIR)
        assert whole <= max(float(alone), float(body)) * (1 + 1e-9)


@given(line=lines(), flow=st.floats(1e-9, 1e3), down=st.floats(0, 1e4))
def test_throughput_and_pressure_belong_together(line: Line, flow: float, down: float) -> None:
    up = upstream_pressure_pa(line, flow, down, T, AIR, math.inf)
    assert up >= down
    states = line_states(line, flow, down, T, AIR)
    assert math.fsum(part.share_of_drop for part in states) == pytest.approx(1, rel=1e-9)
    assert states[0].upstream_pa == pytest.approx(float(up), rel=1e-9)
    if up - down > 1e-6 * up:  # else the difference drowns in rounding
        found = line_throughput_pa_m3_s(line, up, down, T, AIR)
        assert found == pytest.approx(flow, rel=1e-6)


@example(line=Line((Tube(1.0, 0.5),)), flow=5e-324, down=0.0, more=1.0)
@given(line=lines(), flow=st.floats(0, 1e3), down=st.floats(0, 1e4), more=st.floats(1.0, 10.0))
def test_more_flow_or_foreline_pressure_never_lowers_the_chamber_pressure(
    line: Line, flow: float, down: float, more: float
) -> None:
    base = upstream_pressure_pa(line, flow, down, T, AIR, math.inf)
    assert upstream_pressure_pa(line, flow * more, down, T, AIR, math.inf) >= base * (1 - 1e-9)
    assert upstream_pressure_pa(line, flow, down * more, T, AIR, math.inf) >= base * (1 - 1e-9)


@given(length=lengths, bore=bores, flow=st.floats(1e-9, 1e2), more=st.floats(1.0, 4.0),
       bends=st.integers(0, 3))  # fmt: skip
def test_less_bore_or_more_length_or_bends_never_lowers_the_chamber_pressure(
    length: float, bore: float, flow: float, more: float, bends: int
) -> None:
    def chamber(length_m: float, bore_m: float, count: int = bends) -> float:
        line = Line((Tube(length_m, bore_m, count),))
        return float(upstream_pressure_pa(line, flow, 0.0, T, AIR, math.inf))

    base = chamber(length, bore)
    assert chamber(length * more, bore) >= base * (1 - 1e-9)
    assert chamber(length, bore / more) >= base * (1 - 1e-9)
    assert chamber(length, bore, bends + 1) >= base * (1 - 1e-9)


def test_no_flow_needs_no_difference_and_too_much_has_no_answer() -> None:
    line = Line((Tube(1.0, 0.016),))
    found = upstream_pressure_pa(line, [0.0, 1e5], [3.0, 1.0], T, AIR)
    assert found[0] == 3.0
    assert math.isinf(found[1])
    # Sonic limit by hand: 0.82·0.685·A·√(RT/M)·2e5 Pa = 6.5 kPa m3/s bounds what can be carried.
    limit = 0.82 * 0.6847 * math.pi * 0.008**2 * math.sqrt(8.314462618 * T / 0.0289655) * 2e5
    assert math.isinf(upstream_pressure_pa(line, limit, 0.0, T, AIR))
    assert upstream_pressure_pa(line, 0.2 * limit, 0.0, T, AIR) < 2e5


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_impossible_questions_are_refused(bad: float) -> None:
    line = Line((Tube(1.0, 0.1),))
    with pytest.raises(OutOfRange, match="gas flow"):
        upstream_pressure_pa(line, bad, 1.0, T, AIR)
    with pytest.raises(OutOfRange, match="pressure"):
        upstream_pressure_pa(line, 1.0, bad, T, AIR)
    with pytest.raises(OutOfRange, match="pressure"):
        line_conductance_m3_s(line, bad, T, AIR)
    with pytest.raises(OutOfRange, match="gas flow"):
        line_states(line, bad, 1.0, T, AIR)
    with pytest.raises(OutOfRange, match="length of the tube"):
        Tube(bad, 0.1)
    with pytest.raises(OutOfRange, match="bore of the hose"):
        Tube(1.0, bad, name="hose")
    with pytest.raises(OutOfRange, match="pump inlet"):
        Line((), bad)


def test_negative_bends_and_empty_lines() -> None:
    with pytest.raises(OutOfRange, match="bends"):
        Tube(1.0, 0.1, -1)
    assert math.isinf(line_conductance_m3_s(Line(()), 1.0, T, AIR))
    assert upstream_pressure_pa(Line(()), 5.0, 2.0, T, AIR) == 2.0
    with pytest.raises(OutOfRange, match="without parts"):
        line_throughput_pa_m3_s(Line(()), 2.0, 1.0, T, AIR)


def test_the_workings_name_every_part_and_its_regime() -> None:
    line = Line((Tube(0.3, 0.16, 1, "manifold"), VALVE, Tube(2.0, 0.025, 2, "hose")))
    low = line_states(line, 1e-7, 1e-4, T, AIR)
    assert [part.name for part in low] == [
        "inlet of the manifold",
        "manifold",
        "narrowing to the gate valve",
        "gate valve",
        "narrowing to the hose",
        "hose",
    ]
    assert {part.regime for part in low} == {Regime.MOLECULAR}
    dense = line_states(line, 100.0, 2e4, T, AIR)
    assert dense[-1].regime is Regime.TURBULENT
    # Reynolds by hand: 4 m/(π D μ) with m = Q M/(R T).
    mass = 100.0 * 0.0289655 / (8.314462618 * T)
    wanted = 4 * mass / (math.pi * 0.025 * gas_state(AIR, T).viscosity_pa_s)
    assert dense[-1].reynolds == pytest.approx(wanted, rel=1e-9)
    assert all(a.downstream_pa == pytest.approx(b.upstream_pa) for a, b in pairwise(dense))


def test_flows_of_different_gases_and_lines_solved_together_are_those_solved_alone() -> None:
    line = Line((Tube(0.3, 0.16, 1, "manifold"), VALVE, Tube(2.0, 0.025, 2, "hose")))
    # no opening at the pump's bore, and fewer parts
    other = Line((Tube(0.4, 0.1, 1, "short"),), pump_bore_m=0.1)
    mixture = Mixture.of_amounts({AIR: 1.0, species("argon"): 3.0})
    flows = [
        Passing(other, 1e-3, 1e-4, AIR),
        Passing(line, 1e-7, 1e-4, AIR),
        Passing(line, 0.3, 2.0, species("hydrogen")),
        Passing(other, 0.3, 2.0, species("hydrogen")),
        Passing(line, 100.0, 2e4, mixture),
    ]
    together = states_of_flows(flows, T)
    for flow, parts in zip(flows, together, strict=True):
        down, gas = flow.downstream_pa, flow.gas
        assert parts == line_states(flow.line, flow.throughput_pa_m3_s, down, T, gas)
        whole = upstream_pressure_pa(flow.line, flow.throughput_pa_m3_s, down, T, gas)
        assert parts[0].upstream_pa == pytest.approx(float(whole), rel=1e-9)
        assert sum(part.share_of_drop for part in parts) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("knudsen", "reynolds", "regime"),
    [(1.0, 0.1, Regime.MOLECULAR), (0.1, 1.0, Regime.TRANSITIONAL), (1e-3, 10.0, Regime.VISCOUS),
     (1e-6, 3000.0, Regime.TURBULENT)],
)  # fmt: skip
def test_regimes(knudsen: float, reynolds: float, regime: Regime) -> None:
    assert regime_of(knudsen, reynolds) is regime


def test_scalar_equals_array_on_a_line() -> None:
    line = Line((Tube(0.5, 0.1, 1), VALVE, Tube(1.0, 0.04)))
    flow = np.geomspace(1e-8, 1e2, 40).reshape(5, 8)
    down = np.geomspace(1e-7, 1e3, 8)
    table = upstream_pressure_pa(line, flow, down, T, AIR, math.inf)
    for i, j in np.ndindex(flow.shape):
        one = upstream_pressure_pa(line, flow[i, j], down[j], T, AIR, math.inf)
        assert table[i, j] == pytest.approx(float(one), rel=1e-9)


@pytest.mark.parametrize(
    ("speed", "bores"),
    [(0.0056, (0.025,)), (0.018, (0.04,)), (0.083, (0.05,)), (0.5, (0.16, 0.1))],
)
def test_the_tabulated_speed_stays_close_to_the_full_solution(
    speed: float, bores: tuple[float, ...]
) -> None:
    # Two separate ways to one answer: the table of small-difference conductances used for many
    # candidates at once knows no inertia and no turbulence, which cost up to 8 % at high pressure.
    grid = LogGrid(1e-6, 2e5, 300)
    line = Line(tuple(Tube(1.0, bore, 1) for bore in bores), pump_bore_m=bores[-1])
    conductance = line_conductance_m3_s(line, grid.pressure_pa, T, AIR)[None]
    lines, first = FlowPotential.of_lines(grid, conductance), np.zeros(1, dtype=np.intp)
    table = entry_speed_m3_s(lines, first, np.full((1, grid.count), speed))[0]
    inlet = grid.pressure_pa[5:-5]
    chamber = upstream_pressure_pa(line, speed * inlet, inlet, T, AIR)
    known = chamber < 1e5
    read = np.exp(np.interp(np.log(chamber[known]), np.log(grid.pressure_pa), np.log(table)))
    full = (speed * inlet / chamber)[known]
    assert np.all(full <= read * 1.02)
    assert read == pytest.approx(full, rel=0.09)
    molecular = chamber[known] < 1e-2
    assert read[molecular] == pytest.approx(full[molecular], rel=5e-3)


def test_a_short_thin_tube_agrees_with_the_tube_function() -> None:
    state = gas_state(AIR, T)
    found = line_throughput_pa_m3_s(Line((Tube(0.1, 0.02),)), 1000.0, 10.0, T, AIR)
    assert found == pytest.approx(
        float(tube_conductance_m3_s(state, 0.01, 0.1, 1000.0, 10.0)) * 990.0, rel=1e-9
    )


@pytest.mark.parametrize("pressure_pa", [0.0, 1.0, 1e3])
def test_a_line_passes_a_mixture_between_its_gases(pressure_pa: float) -> None:
    line = Line((Tube(1.0, 0.025, 2),))
    argon, helium = SPECIES["argon"], SPECIES["helium"]

    def passed(gas: Species | Mixture) -> float:
        return float(line_conductance_m3_s(line, pressure_pa, 293.15, gas))

    # limits: nearly pure is pure
    for pure, other in ((argon, helium), (helium, argon)):
        nearly = Mixture(((pure, 1.0 - 1e-9), (other, 1e-9)))
        assert passed(nearly) == pytest.approx(passed(pure), rel=1e-6)
    half = Mixture(((argon, 0.5), (helium, 0.5)))
    if pressure_pa == 0.0:
        # molecular: by the root of the mean molar mass, (39.948 + 4.0026)/2 = 21.975 g/mol
        by_hand = passed(argon) * math.sqrt(39.948 / 21.975)
        assert passed(half) == pytest.approx(by_hand, rel=1e-4)
    if pressure_pa == 1e3:  # laminar: by viscosity, which slip only touches
        ratio = viscosity_pa_s(argon, 293.15) / viscosity_pa_s(half, 293.15)
        assert passed(half) == pytest.approx(passed(argon) * float(ratio), rel=0.02)
