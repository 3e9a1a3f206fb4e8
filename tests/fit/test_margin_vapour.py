"""The margin of vapour against hand calculation: ballast, condensers, several vapours at once."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from server.catalog.items import Cooling, FluidKind, PumpKind, TrapKind, TrapPlace
from server.fit.evaluation import Judged
from server.fit.explain import Spot, margins_of
from server.fit.results import MarginKey
from tests.fit.benches import judged_bench, numbers, only_stack, wet
from tests.fit.engine_cases import a_rougher, stack_of
from tests.fit.stock import a_trap, an_oil


def a_wet_rougher(exhaust_k: float = 348.15) -> Any:
    """Ballast a tenth of 100 m³/h, exhaust valve at the atmosphere: of checks C1 and C2."""
    speed = 100 / 3600
    return a_rougher(
        speed,
        exhaust_k=exhaust_k,
        exhaust_valve_pa=101_325.0,
        ballast_m3_s=0.1 * speed,
        kind=PumpKind.VANE_TWO_STAGE,
        oil_kinds=(FluidKind.MINERAL,),
    )


OIL = an_oil("OIL", "19.00", 1e-3)


def test_gas_ballast_carries_what_the_checks_c1_and_c2_say() -> None:
    # values.json C1 and C2 (Gaede 1935, PNEUROP 6602): p_W = 6045 Pa, 4.47 kg/h at 20 °C with
    # ps(75 °C) = 38 595 Pa and ballast air of 20 °C, 50 % humidity
    target = {"target_pressure": "100 Pa", "process": wet("2 kg/h")}
    stack = only_stack(a_wet_rougher(), OIL, **target)
    asked, carried, ratio = numbers(stack, MarginKey.VAPOUR)
    assert asked == pytest.approx(2 / 3600)
    assert carried == pytest.approx(4.47 / 3600, rel=5e-3)
    assert ratio == pytest.approx(4.47 / 2, rel=5e-3)


def test_without_ballast_vapour_condenses_in_the_pump() -> None:
    dry = replace(a_wet_rougher(), ballast_m3_s=0.0)
    stack = only_stack(dry, OIL, target_pressure="100 Pa", process=wet("2 kg/h"))
    assert stack.ratio("vapour") < 0.01


def test_a_condenser_takes_a_days_vapour_up_to_its_capacity() -> None:
    cold = a_trap("CONDENSER", "KF 25", TrapKind.REFRIGERATED_TRAP, TrapPlace.FORELINE)
    trap = replace(cold, surface_k=153.15, capacity_kg=1.2, cooling=Cooling.AIR)
    dry = replace(a_wet_rougher(), ballast_m3_s=0.0)
    duty = {"cycles_per_day": 2, "time_at_pressure": "3 h", "shift": "8 h"}
    process = {**wet("100 g/h"), "pressure": "1000 Pa"}
    judged = judged_bench(dry, OIL, trap, target_pressure="500 Pa", process=process, duty=duty)
    found = {back.trap is not None: column for column, back in enumerate(judged.case.backs)}
    # 1.2 kg in 6 h a day: 200 g/h against 100 g/h
    assert stack_of(judged, 0, found[True]).ratio("vapour") == pytest.approx(2.0)
    assert stack_of(judged, 0, found[False]).ratio("vapour") < 1.0


def test_what_passes_a_condenser_is_left_to_the_gas_ballast() -> None:
    """Ice at −55 °C: 2.09 Pa (IAPWS R14-08), which 100 m³/h draw past it, half a trap in between.

    Of 100 g/h, 3.758 Pa·m³/s at 20 °C, that is 1.5 %; the rest fills 1.2 kg in the 6 h of a day.
    """
    cold = a_trap("CONDENSER", "KF 25", TrapKind.REFRIGERATED_TRAP, TrapPlace.FORELINE)
    trap = replace(cold, surface_k=218.15, capacity_kg=1.2, cooling=Cooling.AIR)
    duty = {"cycles_per_day": 2, "time_at_pressure": "3 h", "shift": "8 h"}
    process = {**wet("100 g/h"), "pressure": "1000 Pa"}
    ratios = {}
    for ballast in (0.0, 0.1):
        pump = replace(a_wet_rougher(), ballast_m3_s=ballast * 100 / 3600)
        judged = judged_bench(pump, OIL, trap, target_pressure="500 Pa", process=process, duty=duty)
        column = next(i for i, back in enumerate(judged.case.backs) if back.trap is not None)
        ratios[ballast] = stack_of(judged, 0, column).ratio("vapour")
    share = 2.09 * (100 / 3600) / 3.758
    assert ratios[0.1] == pytest.approx(2.0 / (1.0 - share), rel=1e-3)
    # without ballast, and without any gas, what passes stays in the pump, however little it is
    assert ratios[0.0] < 0.01


def test_two_vapours_share_a_condenser() -> None:
    cold = a_trap("CONDENSER", "KF 25", TrapKind.REFRIGERATED_TRAP, TrapPlace.FORELINE)
    trap = replace(cold, surface_k=153.15, capacity_kg=1.2, cooling=Cooling.AIR)
    dry = replace(a_wet_rougher(), ballast_m3_s=0.0)
    duty = {"cycles_per_day": 2, "time_at_pressure": "3 h", "shift": "8 h"}
    both = [{"substance": "water", "rate": "60 g/h"}, {"substance": "ethanol", "rate": "40 g/h"}]
    process = {"vapour": both, "pressure": "1000 Pa"}
    judged = judged_bench(dry, OIL, trap, target_pressure="500 Pa", process=process, duty=duty)
    column = next(i for i, back in enumerate(judged.case.backs) if back.trap is not None)
    # 360 g and 240 g in 6 h a day fill 0.3 and 0.2 of 1.2 kg
    asked, held, ratio = numbers(stack_of(judged, 0, column), MarginKey.VAPOUR)
    assert asked == pytest.approx(0.1 / 3600)
    assert ratio == pytest.approx(1.2 / (0.36 + 0.24))
    assert held == pytest.approx(2 * asked)


def said_of_vapour(judged: Judged, column: int) -> str:
    return next(
        margin.explanation
        for margin in margins_of(Spot(judged, 0, column))
        if margin.key is MarginKey.VAPOUR
    )


def test_the_way_out_of_vapour_names_the_trap_that_holds_it_and_no_other() -> None:
    cold = a_trap("CONDENSER", "KF 25", TrapKind.REFRIGERATED_TRAP, TrapPlace.FORELINE)
    trap = replace(cold, surface_k=218.15, capacity_kg=1.2, cooling=Cooling.AIR)
    process = {**wet("100 g/h"), "pressure": "1000 Pa"}
    held = judged_bench(a_wet_rougher(), OIL, trap, target_pressure="500 Pa", process=process)
    for column, back in enumerate(held.case.backs):
        text = said_of_vapour(held, column)
        # 2.09 Pa of ice at 218 K (IAPWS R14-08) on 100 m³/h are 1.5 % of 100 g/h
        assert ("Condenser holds 98% of the water: 1200 g" in text) == (back.trap is not None)
        assert "with its gas ballast open" in text
    colder = replace(trap, surface_k=153.15)
    held = judged_bench(a_wet_rougher(), OIL, colder, target_pressure="500 Pa", process=process)
    for column, back in enumerate(held.case.backs):
        text = said_of_vapour(held, column)
        assert ("Condenser holds it: 1200 g" in text) == (back.trap is not None)
        assert ("with its gas ballast open" in text) == (back.trap is None)
    both = [{"substance": "water", "rate": "60 g/h"}, {"substance": "ethanol", "rate": "40 g/h"}]
    process = {"vapour": both, "pressure": "1000 Pa"}
    # 2.09 Pa on 100 m³/h are 2.6 % of 60 g/h of water, 2.255 Pa·m³/s at 20 °C
    for surface, parts in ((trap, "97% of the water and"), (colder, "all of it:")):
        held = judged_bench(
            a_wet_rougher(), OIL, surface, target_pressure="500 Pa", process=process
        )
        column = next(i for i, back in enumerate(held.case.backs) if back.trap is not None)
        # what holds several vapours has one capacity, and is told of once
        assert said_of_vapour(held, column).count(f"Condenser holds {parts}") == 1
        assert said_of_vapour(held, column).count("1200 g") == 1
    process = {**wet("100 g/h"), "pressure": "1000 Pa"}
    # water at 15 °C has 17 mbar: 100 m³/h would draw 47 Pa·m³/s past it, more than 3.76 that come
    warm = replace(trap, surface_k=288.15)
    passed = judged_bench(a_wet_rougher(), OIL, warm, target_pressure="1 Pa", process=process)
    assert any(back.trap is not None for back in passed.case.backs)
    for column in range(len(passed.case.backs)):
        assert "with its gas ballast open" in said_of_vapour(passed, column)


def test_what_a_warm_trap_lets_by_counts_at_a_pump_without_ballast() -> None:
    # ice at 238 K has about 20 Pa (IAPWS R14-08), which 100 m³/h draw past it: 15 % of 100 g/h
    warm = a_trap("CHILLED", "KF 25", TrapKind.REFRIGERATED_TRAP, TrapPlace.FORELINE)
    trap = replace(warm, surface_k=238.15, capacity_kg=5.0)
    dry = replace(a_wet_rougher(), ballast_m3_s=0.0)
    process = {**wet("100 g/h"), "pressure": "1 Pa"}
    judged = judged_bench(dry, OIL, trap, target_pressure="1 Pa", process=process)
    assert all(stack_of(judged, 0, column).ratio("vapour") < 1.0 for column in range(2))
