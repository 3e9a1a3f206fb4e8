"""Wet goods as people type them: gaps filled and listed, contradictions refused beside the cell."""

from __future__ import annotations

from typing import Any

import pytest

from server.errors import InvalidInquiry
from server.fit.inquiry import read_inquiry
from server.fit.requirements import Requirements, VapourLoad, WetGoods


def asked(*goods: dict[str, Any], **duty: Any) -> Requirements:
    return read_inquiry(
        {
            "chamber": {"volume": "200 L"},
            "target_pressure": "1 mbar",
            "process": {"wet_goods": list(goods)},
            "duty": {"time_at_pressure": "5 h", **duty},
        }
    )


def faults_of(*goods: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(InvalidInquiry) as raised:
        asked(*goods)
    return {fault.field: fault.message for fault in raised.value.faults}


def test_goods_dry_within_the_time_at_pressure_unless_told_otherwise() -> None:
    found = asked({"substance": "water", "mass": "1.8 kg"})
    goods = WetGoods(1.8, pytest.approx(293.15), None, 5 * 3600.0)  # type: ignore[arg-type]
    assert found.process.vapour == (VapourLoad("water", pytest.approx(1e-4), goods),)  # type: ignore[arg-type]
    listed = {note.field for note in found.assumptions}
    names = ("temperature", "area", "drying_time")
    assert {f"process.wet_goods.0.{name}" for name in names} <= listed


def test_a_stated_rate_is_the_supply_and_sets_the_time_when_none_is_asked_for() -> None:
    found = asked({"substance": "ethanol", "mass": "1 kg", "rate": "0.5 kg/h"}).process.vapour[0]
    assert found.rate_kg_s == pytest.approx(0.5 / 3600)
    assert found.goods is not None
    assert found.goods.drying_time_s == pytest.approx(7200.0)


def test_everything_stated_is_taken_as_stated_and_nothing_is_listed() -> None:
    row = {
        "substance": "H2O", "mass": "2 kg", "temperature": "40 degC", "area": "0.5 m2",
        "drying_time": "4 h", "rate": "600 g/h",
    }  # fmt: skip
    found = asked(row)
    load = found.process.vapour[0]
    assert load.goods == WetGoods(2.0, pytest.approx(313.15), 0.5, 14400.0)  # type: ignore[arg-type]
    assert load.rate_kg_s == pytest.approx(0.6 / 3600)
    assert not any(note.field.startswith("process.wet_goods") for note in found.assumptions)


@pytest.mark.parametrize(
    ("row", "field", "says"),
    [
        ({"drying_time": "1 h", "rate": "100 g/h"}, "drying_time", "20 h"),
        ({"drying_time": "9 h"}, "drying_time", "5 h only"),
        ({"temperature": "200 degC", "substance": "ammonia"}, "temperature", "of ammonia is known"),
    ],
)  # fmt: skip
def test_contradictions_are_refused_beside_their_cell(
    row: dict[str, Any], field: str, says: str
) -> None:
    found = faults_of({"substance": "water", "mass": "2 kg", **row})
    assert says in found[f"process.wet_goods.0.{field}"]


def test_no_surface_evaporates_faster_than_into_perfect_vacuum() -> None:
    """Water at 20 °C: 0.0583·17.54 Torr·√(18.02/293.15) = 0.2535 g/(cm²·s) [DUSHMAN-1962].

    The coefficient 0.0583 g/(cm²·s·Torr)·√K·√(mol/g) is from memory.
    """
    per_cm2_kg_h = 0.0583 * 17.54 * (18.015 / 293.15) ** 0.5 * 3.6
    for share, refused in ((1.02, True), (0.98, False)):
        row = {
            "substance": "water", "mass": "1 g", "area": "1 cm2",
            "rate": f"{share * per_cm2_kg_h} kg/h",
        }  # fmt: skip
        if refused:
            found = faults_of({**row, "temperature": "20 degC"})
            assert "perfect vacuum" in found["process.wet_goods.0.area"]
        else:
            assert asked({**row, "temperature": "20 degC"}).process.vapour


def test_faults_of_several_rows_come_together() -> None:
    bad = {"substance": "water", "mass": "1 kg", "rate": "1 g/h", "drying_time": "1 h"}
    found = faults_of(bad, {"substance": "water", "mass": "1 kg"}, bad)
    assert set(found) == {f"process.wet_goods.{row}.drying_time" for row in (0, 2)}


@pytest.mark.parametrize("mass", ["0 kg", "-1 kg", "2 L", ""])
def test_a_mass_that_is_none_is_refused(mass: str) -> None:
    assert "process.wet_goods.0.mass" in faults_of({"substance": "water", "mass": mass})
