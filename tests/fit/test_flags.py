"""What a customer is told besides the margins: common practice, no source."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from server.catalog.items import Cooling, FluidKind, SpeedCurve, TrapKind, TrapPlace
from server.fit.candidates import fields_of
from server.fit.costs import Purse
from server.fit.evaluation import How, judge
from server.fit.explain import Spot
from server.fit.flags import flags_of
from server.fit.loads import loads_of
from tests.fit.engine_cases import BENCH, a_bench, a_jet, a_rougher, inquiry
from tests.fit.stock import a_fluid, a_trap, a_turbo_pump

SILICONE = a_fluid("SILICONE", "90.00", 65e-6)
ETHER = replace(SILICONE, sku="ETHER", grade="ether", kind=FluidKind.POLYPHENYL_ETHER)


def told(*items: Any, **changes: Any) -> str:
    """What is said of the first stack of a bench."""
    asked, catalog = inquiry(BENCH, **changes), a_bench(*items)
    field = fields_of(asked, catalog)[0]
    purse = Purse(asked, catalog)
    judged = judge(field, loads_of(asked), asked, catalog, purse, How(follow_all=True))
    return " ".join(flags_of(Spot(judged, 0, len(field.backs) - 1)))


@pytest.mark.parametrize("work", ["optics", "coating", "analyser", "surface_science"])
def test_silicone_is_flagged_where_its_deposits_matter(work: str) -> None:
    jet = replace(a_jet(), fluid_kinds=(SILICONE.kind, ETHER.kind))
    said = told(jet, a_rougher(), SILICONE, application=work, cleanliness="tolerant")
    assert "electrons or plasma turn it into a film" in said
    clean = told(jet, a_rougher(), ETHER, application=work, cleanliness="tolerant")
    assert "silicone" not in clean


def test_elsewhere_silicone_is_named_without_alarm() -> None:
    said = told(a_jet(), a_rougher(), SILICONE, application="degassing")
    assert "is a silicone" in said
    assert "electrons" not in said


def test_a_vapour_jet_pump_is_told_to_need_its_warm_up() -> None:
    jet = replace(a_jet(), warm_up_s=420.0)
    assert "From cold the pump needs 7 min to be ready" in told(jet, a_rougher(), SILICONE)


def test_a_turbo_is_roughed_through() -> None:
    curve = SpeedCurve("nitrogen", (1e-4, 0.1, 1.0), (0.06, 0.06, 0.03))
    turbo = replace(a_turbo_pump(), curves=(curve,), compression={"nitrogen": 1e8, "water": 1e6})
    assert "roughed through the turbomolecular pump" in told(turbo, a_rougher())


def test_liquid_nitrogen_brings_its_caution_and_when_the_trap_is_full() -> None:
    trap = replace(
        a_trap("COLD", "KF 25", TrapKind.NITROGEN_TRAP, TrapPlace.FORELINE),
        surface_k=77.3,
        capacity_kg=0.3,
        cooling=Cooling.NONE,
        nitrogen_use_m3_s=1e-7,
    )
    wet = {"pressure": "100 Pa", "vapour": [{"substance": "water", "rate": "100 g/h"}]}
    said = told(a_rougher(), trap, target_pressure="10 Pa", process=wet)
    assert "liquid nitrogen displaces breathing air" in said
    # by hand: 300 g at 100 g/h
    assert "full after 3 h of vapour load" in said
