"""Every margin against hand calculation and facts of the trade."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import constants

from server.catalog.items import (
    Cooling,
    PumpKind,
    SpeedCurve,
    TrapKind,
)
from server.fit.bounds import hopeful_fronts
from server.fit.candidates import fields_of
from server.fit.costs import Purse
from server.fit.evaluation import judge
from server.fit.explain import Spot, margins_of
from server.fit.loads import loads_of
from server.fit.results import MarginKey
from server.fit.states import HighVacuumStates
from tests.fit.benches import a_cryopump, judged_bench, numbers, only_stack, wet
from tests.fit.engine_cases import BENCH, Stack, a_bench, a_jet, a_rougher, inquiry, stack_of
from tests.fit.stock import a_fluid, a_trap, a_turbo_pump

MTORR_PA = constants.torr / 1000
TORR_L_S = constants.torr * 1e-3


# --- a 65 L/s vapour-jet pump with a 2.5 L/s backing pump: common practice, no source -------------

FLUID = a_fluid("FLUID", "90.00", 65e-6)


def the_trade_pair(flow_torr_l_s: float) -> Stack:
    gas = [{"species": "air", "flow": f"{flow_torr_l_s * TORR_L_S} Pa*m3/s"}]
    process = {"pressure": f"{100 * MTORR_PA} Pa", "gas": gas}
    return only_stack(a_jet(), a_rougher(), FLUID, process=process)


def test_at_the_foreline_limit_the_backing_pump_carries_1_25_torr_l_s() -> None:
    # 500 mTorr × 2.5 L/s = 1.25 Torr·L/s, though the jets alone would carry 65 L/s × 100 mTorr
    _, carried, _ = numbers(the_trade_pair(1.0), MarginKey.THROUGHPUT)
    assert carried == pytest.approx(1.25 * TORR_L_S, rel=2e-3)


def test_at_100_mtorr_the_chamber_sees_12_5_l_s_not_65() -> None:
    _, carried, _ = numbers(the_trade_pair(1.0), MarginKey.THROUGHPUT)
    assert carried / (100 * MTORR_PA) == pytest.approx(12.5e-3, rel=2e-3)


def test_the_throughput_margin_says_what_the_backing_pump_allows() -> None:
    assert the_trade_pair(1.0).ratio("throughput") == pytest.approx(1.25, rel=2e-3)
    assert the_trade_pair(2.5).ratio("throughput") == pytest.approx(0.5, rel=2e-3)


def test_the_foreline_is_the_limit_with_a_cold_trap_and_without() -> None:
    # 66.66 Pa × 2.5 L/s, of whatever gas gets there
    trap = replace(a_trap("COLD", "KF 50", TrapKind.NITROGEN_TRAP), surface_k=77.35)
    gas = [{"species": "argon", "flow": "0.05 Pa*m3/s"}]
    process = {"gas": gas, **wet("0.1 g/h")}
    judged = judged_bench(a_jet(), a_rougher(), FLUID, trap, process=process)
    assert {front.trap is None for front in judged.case.fronts} == {True, False}
    for row in range(len(judged.case.fronts)):
        _, carried, _ = numbers(stack_of(judged, row, 0), MarginKey.THROUGHPUT)
        assert carried == pytest.approx(66.66 * 2.5e-3, rel=5e-3)


def test_beyond_that_the_foreline_fails_and_the_stack_with_it() -> None:
    within, beyond = the_trade_pair(1.0), the_trade_pair(1.3)
    # 1.0 Torr·L/s ÷ 2.5 L/s = 400 mTorr of 500; 1.3 gives 520
    assert within.ratio("foreline") == pytest.approx(500 / 400, rel=2e-3)
    assert beyond.ratio("foreline") == pytest.approx(500 / 520, rel=2e-3)
    assert beyond.judged.fails[0, 0]


def test_it_takes_no_more_than_100_mtorr_at_the_inlet() -> None:
    # with a 15 times larger backing pump the foreline holds: 8 Torr·L/s ÷ 65 L/s = 123 mTorr
    gas = [{"species": "air", "flow": f"{8 * TORR_L_S} Pa*m3/s"}]
    stack = only_stack(a_jet(), a_rougher(37.5e-3), FLUID, process={"gas": gas})
    # it carries 6.5 Torr·L/s at most, whatever the pressure: 8 leave no state at all
    assert stack.ratio("inlet") < 1.0
    gas = [{"species": "air", "flow": f"{5 * TORR_L_S} Pa*m3/s"}]
    stack = only_stack(a_jet(), a_rougher(37.5e-3), FLUID, process={"gas": gas})
    assert stack.ratio("inlet") == pytest.approx(100 / (5000 / 65), rel=3e-3)


# --- one by one ----------------------------------------------------------------------------------


def test_process_pressure_is_asked_over_predicted() -> None:
    stack = the_trade_pair(1.0)
    # 1 Torr·L/s ÷ 65 L/s = 15.4 mTorr in the chamber, asked for 100
    assert stack.ratio("process_pressure") == pytest.approx(100 * 65 / 1000, rel=3e-3)


def test_inlet_is_what_the_pump_stands_over_what_is_there() -> None:
    # 5 Torr·L/s ÷ 65 L/s = 10.26 Pa, of 13.33 Pa
    gas = [{"species": "air", "flow": f"{5 * TORR_L_S} Pa*m3/s"}]
    stack = only_stack(a_jet(), a_rougher(37.5e-3), FLUID, process={"gas": gas})
    there, stands, ratio = numbers(stack, MarginKey.INLET)
    assert there == pytest.approx(5 * TORR_L_S / 0.065, rel=3e-3)
    assert stands == pytest.approx(13.33)
    assert ratio == pytest.approx(stands / there)


def test_a_pump_behind_a_line_sees_less_than_the_chamber() -> None:
    gas = [{"species": "nitrogen", "flow": "0.05 Pa*m3/s"}]
    line = {"length": "1 m", "bends": 0, "bore": "50 mm"}
    stack = only_stack(a_jet(), a_rougher(37.5e-3), FLUID, process={"gas": gas}, line=line)
    there, _, _ = numbers(stack, MarginKey.INLET)
    assert there == pytest.approx(0.05 / 0.065, rel=3e-3)
    assert stack.judged.case.states.process is not None
    assert stack.judged.case.states.process.chamber_pa[0, 0] > 1.5 * there


def test_a_front_that_no_back_can_help_is_counted_under_what_it_misses_by_most() -> None:
    # 8 Torr·L/s of the 6.5 that the jets carry; the base pressure is fine
    gas = [{"species": "air", "flow": f"{8 * TORR_L_S} Pa*m3/s"}]
    states = judged_bench(a_jet(), a_rougher(37.5e-3), FLUID, process={"gas": gas}).case.states
    assert isinstance(states, HighVacuumStates)
    hopeful, missed = hopeful_fronts(states.alone, 3)
    assert (list(hopeful), missed) == ([], {"throughput": 3})
    # at 1e-6 Pa asked of a pump that ends at 1e-5 Pa the base pressure is further off than that
    states = judged_bench(
        a_jet(), a_rougher(37.5e-3), FLUID, process={"gas": gas}, target_pressure="1e-6 Pa"
    ).case.states
    assert isinstance(states, HighVacuumStates)
    assert hopeful_fronts(states.alone, 2)[1] == {"ultimate": 2}


def test_a_pump_with_a_limit_is_judged_by_it_beside_one_without() -> None:
    limited = replace(a_rougher(largest_inlet_pa=500.0), sku="LIMITED")
    judged = judged_bench(a_rougher(), limited, target_pressure="100 Pa",
                          chamber__leak_rate="1 Pa*m3/s")  # fmt: skip
    assert len(judged.case.backs) == 2
    for column, back in enumerate(judged.case.backs):
        ratio = stack_of(judged, 0, column).ratio("inlet")
        # 1 Pa·m³/s ÷ 2.5 L/s = 400 Pa
        wanted = 500.0 / 400.0 if back.backing.sku == "LIMITED" else np.nan
        assert ratio == pytest.approx(wanted, rel=2e-3, nan_ok=True)
    without = judged_bench(a_rougher(), target_pressure="100 Pa")
    assert MarginKey.INLET not in without.ledgers


def test_the_foreline_is_judged_at_the_worse_of_base_and_process() -> None:
    # 0.1 Pa·m³/s of argon against 0.01 of leak: 40 + 4 Pa against 4 Pa of 66.66 Pa
    gas = [{"species": "argon", "flow": "0.1 Pa*m3/s"}]
    leaky = {"chamber__leak_rate": "0.01 Pa*m3/s"}
    stack = only_stack(a_jet(), a_rougher(), FLUID, process={"gas": gas}, **leaky)
    there, stands, ratio = numbers(stack, MarginKey.FORELINE)
    assert there == pytest.approx(44.0, rel=3e-3)
    assert stands == pytest.approx(66.66)
    assert ratio == pytest.approx(66.66 / 44.0, rel=3e-3)


def test_ultimate_is_target_over_base_pressure() -> None:
    stack = only_stack(a_jet(), a_rougher(), FLUID)
    # by hand: steel 5.7e-6 × 0.01 ÷ 24 h of water, ÷ 65 L/s, on top of the pump's own 1e-5 Pa
    # (the fluid's 10^(14.4 − 6500/298.15) = 4e-8 Pa is less)
    base = 1e-5 + 5.7e-6 * 0.01 / 24 / 0.065
    required, available, ratio = numbers(stack, MarginKey.ULTIMATE)
    assert required == pytest.approx(1e-2)
    assert available == pytest.approx(base, rel=2e-3)
    assert ratio == pytest.approx(1e-2 / base, rel=2e-3)


def test_a_fluid_of_high_vapour_pressure_spoils_the_base_pressure_and_a_cold_trap_saves_it() -> (
    None
):
    # 10^(12 − 4500/T) Pa: 8.1e-4 Pa at 25 °C, next to nothing at 77 K
    volatile = replace(FLUID, vapour_pressure_a=12.0, vapour_pressure_b_k=4500.0)
    trap = replace(a_trap("COLD", "KF 50", TrapKind.NITROGEN_TRAP), surface_k=77.35)
    judged = judged_bench(a_jet(), a_rougher(), volatile, trap)
    base = judged.case.states.base.chamber_pa[:, 0]
    by_trap = {front.trap is not None: base[row] for row, front in enumerate(judged.case.fronts)}
    assert by_trap[False] == pytest.approx(10 ** (12 - 4500 / 298.15), rel=0.01)
    assert by_trap[True] == pytest.approx(1e-5, rel=0.05)


def test_crossover_is_limit_over_what_roughing_reaches() -> None:
    # leak 0.05 Pa·m³/s ÷ 2.5 L/s = 20 Pa; the limit: half of 66.66 Pa in the foreline
    stack = only_stack(a_jet(), a_rougher(), FLUID, chamber__leak_rate="0.05 Pa*m3/s")
    floor, limit, ratio = numbers(stack, MarginKey.CROSSOVER)
    assert floor == pytest.approx(20.0, rel=0.01)
    assert limit == pytest.approx(33.33, rel=1e-6)
    assert ratio == pytest.approx(limit / floor)


def test_a_chamber_that_roughing_cannot_bring_down_fails() -> None:
    stack = only_stack(a_jet(), a_rougher(ultimate_pa=40.0), FLUID)
    assert stack.ratio("crossover") < 1.0
    assert stack.judged.fails[0, 0]


def test_pump_down_is_time_allowed_over_predicted() -> None:
    stack = only_stack(a_jet(), a_rougher(), FLUID, pump_down_time="20 min")
    # by hand: 0.1/2.5e-3·ln(101325/27.8) = 328 s to the crossover (1.2 below 33.3 Pa), then the
    # burst at no more than 0.1667 Pa·m³/s: 0.1·(27.8 − 2.56)/0.1667 = 15 s, then 0.1/0.065·ln(256)
    # = 8.5 s to 1e-2 Pa
    by_hand = 328.0 + 15.1 + 8.5
    assert stack.ratio("pump_down") == pytest.approx(1200 / by_hand, rel=0.01)


def test_no_time_asked_for_no_margin() -> None:
    assert np.isnan(only_stack(a_jet(), a_rougher(), FLUID).ratio("pump_down"))


def test_the_days_cycles_must_fit_into_the_shift() -> None:
    duty = {"cycles_per_day": 4, "time_at_pressure": "100 min", "shift": "8 h"}
    stack = only_stack(a_jet(), a_rougher(), FLUID, duty=duty)
    needed, room, ratio = numbers(stack, MarginKey.DUTY)
    assert room == pytest.approx(8 * 3600.0)
    # four times 328 s of roughing, 24 s to the target, 100 min, 12 min open (a tenth of a cycle's
    # share of the shift); 7 min of warm-up in the morning, roughing beside it
    assert needed == pytest.approx(4 * (328.0 + 23.6 + 6000 + 720) + 420 - 328, rel=2e-4)
    assert ratio == pytest.approx(room / needed)


def test_backstreaming_is_allowed_over_predicted_and_a_trap_cuts_it() -> None:
    jet = a_jet(backstreaming_kg_m2_s=1e-6)
    trap = a_trap("BAFFLE", "KF 50")
    judged = judged_bench(jet, a_rougher(), FLUID, trap)
    rate = {
        front.trap is not None: judged.ledgers[MarginKey.BACKSTREAMING].available[row, 0]
        for row, front in enumerate(judged.case.fronts)
    }
    assert rate == {False: pytest.approx(1e-6), True: pytest.approx(0.05e-6)}


def test_fluid_is_what_it_stands_over_boiler_temperature() -> None:
    stack = only_stack(a_jet(), a_rougher(), FLUID)
    boiler, stands, ratio = numbers(stack, MarginKey.FLUID)
    assert (boiler, stands) == (535.0, 560.0)
    assert ratio == pytest.approx(560 / 535)


def test_budget_is_set_against_the_purchase_price() -> None:
    stack = only_stack(a_jet(), a_rougher(), FLUID, commercial={"budget": "5000"})
    asked, price, ratio = numbers(stack, MarginKey.BUDGET)
    assert asked == 5000.0
    # pumps 1900 + 1200 and one container of fluid 90 at least; small parts come on top
    assert price >= 3190.0
    assert ratio == pytest.approx(5000.0 / price)


def test_money_is_shown_in_its_currency_and_a_yes_or_no_without_unit() -> None:
    stack = only_stack(a_jet(), a_rougher(), FLUID, commercial={"budget": "5000"})
    units = {m.key: m.unit for m in margins_of(Spot(stack.judged, stack.row, stack.column))}
    assert units[MarginKey.BUDGET] == "EUR"
    assert units[MarginKey.ULTIMATE] == "Pa"
    assert {key for key, unit in units.items() if not unit} == {
        MarginKey.UTILITIES,
        MarginKey.COMPATIBILITY,
    }


# --- capture pumps -------------------------------------------------------------------------------


def test_a_cryopump_lives_as_long_as_its_capacity_lasts() -> None:
    # 20 sccm = 0.03625 Pa·m³/s for 6 of 24 h: 5480 Pa·m³ a week; twice that is two weeks
    duty = {"cycles_per_day": 2, "time_at_pressure": "3 h", "shift": "9 h"}
    process = {"gas": [{"species": "nitrogen", "flow": "20 sccm"}]}
    weekly = 20 * 1.8124e-3 * 0.25 * 7 * 86_400
    stack = only_stack(a_cryopump(1.2 * weekly), a_rougher(), duty=duty, process=process)
    assert numbers(stack, MarginKey.DUTY)[2] == pytest.approx(1.2, rel=1e-3)


def test_a_cryopump_has_no_foreline_and_keeps_the_vapour() -> None:
    stack = only_stack(a_cryopump(1e5), a_rougher(), process=wet("3 g/h"))
    assert np.isnan(stack.ratio("foreline"))
    assert np.isnan(stack.ratio("vapour"))
    assert stack.ratio("throughput") == pytest.approx(1.0 / 0.11275, rel=2e-3)


def test_a_turbo_that_roughs_for_a_capture_pump_must_stand_its_own_foreline() -> None:
    turbo = replace(
        a_turbo_pump(),
        cooling=Cooling.AIR,
        tolerable_foreline_pa=25.0,
        compression={"nitrogen": 1e8},
        curves=(SpeedCurve("nitrogen", (1e-6, 1.0), (0.2, 0.1)),),
    )
    ion = replace(a_cryopump(1e5), kind=PumpKind.SPUTTER_ION, start_pressure_pa=1e-2)
    target = {"target_pressure": "1e-5 Pa"}

    def ratio(ultimate_pa: float) -> float:
        requirements = inquiry(BENCH, **target)
        catalog = a_bench(ion, turbo, a_rougher(ultimate_pa=ultimate_pa))
        field = next(
            field
            for field in fields_of(requirements, catalog)
            if field.fronts[0] is not None and field.fronts[0].pump.kind is PumpKind.SPUTTER_ION
        )
        purse = Purse(requirements, catalog)
        judged = judge(field, loads_of(requirements), requirements, catalog, purse)
        return stack_of(judged, 0, 0).ratio("foreline")

    # next to no load: the backing pump's ultimate pressure, up to a node (15 %) above
    assert 25.0 / 5.0 / 1.16 < ratio(5.0) <= 25.0 / 5.0
    assert ratio(50.0) < 1.0


def test_helium_is_pumped_with_its_own_curve_and_compression() -> None:
    turbo = replace(
        a_turbo_pump(),
        cooling=Cooling.AIR,
        compression={"nitrogen": 1e10, "helium": 1e3},
        curves=(
            SpeedCurve("nitrogen", (1e-8, 1.0), (0.2, 0.2)),
            SpeedCurve("helium", (1e-8, 1.0), (0.1, 0.1)),
        ),
    )
    flows = {"nitrogen": 0.2, "helium": 0.1}
    for gas, speed in flows.items():
        process = {"gas": [{"species": gas, "flow": "0.01 Pa*m3/s"}]}
        stack = only_stack(turbo, a_rougher(), process=process)
        state = stack.judged.case.states.process
        assert state is not None
        # by hand: Q/S plus p_fore/K₀ of that gas, p_fore = Q/S_b (plus the pump's own 1e-7 Pa)
        compression = {"nitrogen": 1e10, "helium": 1e3}[gas]
        by_hand = 0.01 / speed + 0.01 / 2.5e-3 / compression + 1e-7
        assert state.chamber_pa[0, 0] == pytest.approx(by_hand, rel=3e-3), gas
