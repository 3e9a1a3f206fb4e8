"""Hazards that gases bring by themselves: by class, by share, and in the choice of pumps."""

from __future__ import annotations

from typing import Any

import chemicals
import pytest

from server.catalog.items import BackingPump, PumpKind
from server.fit.advice import advise
from server.fit.gas_hazards import HAZARDS_OF_SPECIES, LOWER_FLAMMABLE_LIMIT
from server.fit.inquiry import read_inquiry
from server.fit.requirements import Hazard
from server.quoting.cautions import cautions_for
from server.web.summary import asked_in_words
from tests.fit.engine_cases import demo_catalog

SHORTEST: dict[str, Any] = {"chamber": {"volume": "100 L"}, "target_pressure": "0.1 mbar"}


@pytest.mark.parametrize(
    ("process", "raised"),
    [
        # GHS, from memory: ammonia H221, H314, H331; carbon monoxide H220, H331
        ({"gas": [{"species": "ammonia", "flow": "20 sccm"}]}, {"flammable", "toxic", "corrosive"}),
        ({"gas": [{"species": "carbon_monoxide", "flow": "5 sccm"}]}, {"flammable", "toxic"}),
        ({"vapour": [{"substance": "ammonia", "rate": "5 g/h"}]},
         {"flammable", "toxic", "corrosive"}),
        ({"gas": [{"species": "argon", "flow": "20 sccm"}]}, set()),
        # hydrogen burns from 4 % in air, methane from 4.4 % (IEC 60079-20-1, from memory): forming
        # gas of 3 % does not, nor does 2 % of methane; 3 % and 2 % together do (Le Chatelier)
        ({"gas": [{"species": "hydrogen", "flow": "3 sccm"},
                  {"species": "nitrogen", "flow": "97 sccm"}]}, set()),
        ({"gas": [{"species": "hydrogen", "flow": "5 sccm"},
                  {"species": "nitrogen", "flow": "95 sccm"}]}, {"flammable"}),
        ({"gas": [{"species": "methane", "flow": "2 sccm"},
                  {"species": "nitrogen", "flow": "98 sccm"}]}, set()),
        ({"gas": [{"species": "hydrogen", "flow": "3 sccm"},
                  {"species": "methane", "flow": "2 sccm"},
                  {"species": "nitrogen", "flow": "95 sccm"}]}, {"flammable"}),
    ],
)  # fmt: skip
def test_a_gas_raises_its_hazards_by_itself(process: dict[str, Any], raised: set[str]) -> None:
    read = read_inquiry({**SHORTEST, "process": process})
    assert {hazard.value for hazard in read.hazards} == raised
    ((value, reason),) = [(a.value, a.reason) for a in read.assumptions if a.field == "hazards"]
    assert set(value.split(", ")) == (raised or {"none"})
    assert ("treated as such" in reason) is bool(raised & {"toxic", "corrosive"})
    named = read_inquiry({**SHORTEST, "process": process, "hazards": sorted(raised)})
    assert named.hazards == read.hazards
    noted = any(entry.field == "hazards" for entry in named.assumptions)
    assert noted is not bool(raised)


@pytest.mark.parametrize(
    ("process", "judged", "by_vapour"),
    [
        # solvents are judged by what stands their vapour; GHS, from memory: ethanol, acetone and
        # most others H225, methanol H301–H331 as well, dichloromethane and dimethyl sulfoxide none
        ({"vapour": [{"substance": "ethanol", "rate": "5 g/h"}]}, set(), {"flammable"}),
        ({"vapour": [{"substance": "methanol", "rate": "5 g/h"}]}, {"toxic"}, {"flammable"}),
        ({"wet_goods": [{"substance": "acetone", "mass": "50 g", "temperature": "20 degC"}]},
         set(), {"flammable"}),
        ({"vapour": [{"substance": "dichloromethane", "rate": "5 g/h"}]}, set(), set()),
        ({"vapour": [{"substance": "water", "rate": "5 g/h"}]}, set(), set()),
        # 1 g/h of acetone (58.08 g/mol) is 6.43 sccm: 2 % of 320 sccm, below its 2.5 % in air
        ({"gas": [{"species": "nitrogen", "flow": "320 sccm"}],
          "vapour": [{"substance": "acetone", "rate": "1 g/h"}]}, set(), set()),
        # and 3 % of 214 sccm
        ({"gas": [{"species": "nitrogen", "flow": "208 sccm"}],
          "vapour": [{"substance": "acetone", "rate": "1 g/h"}]}, set(), {"flammable"}),
        # a gas that burns by itself is judged as such, whatever vapour comes with it
        ({"gas": [{"species": "hydrogen", "flow": "20 sccm"}],
          "vapour": [{"substance": "ethanol", "rate": "1 g/h"}]}, {"flammable"}, set()),
    ],
)  # fmt: skip
def test_a_solvent_vapour_is_told_and_left_to_what_stands_it(
    process: dict[str, Any], judged: set[str], by_vapour: set[str]
) -> None:
    read = read_inquiry({**SHORTEST, "process": process})
    assert {hazard.value for hazard in read.hazards} == judged
    assert {hazard.value for hazard in read.vapour_hazards} == by_vapour
    (noted,) = [entry for entry in read.assumptions if entry.field == "hazards"]
    assert set(noted.value.split(", ")) == (judged | by_vapour or {"none"})
    assert ("stand the vapour" in noted.reason) is bool(by_vapour)
    # named, it is judged as the flammable gas that the customer may know of
    named = read_inquiry({**SHORTEST, "process": process, "hazards": ["flammable"]})
    assert Hazard.FLAMMABLE in named.hazards
    assert not named.vapour_hazards


def test_lower_flammable_limits_are_those_of_the_standard() -> None:
    """IEC 60079-20-1:2010, through the library chemicals."""
    for gas, limit in LOWER_FLAMMABLE_LIMIT.items():
        wanted = chemicals.LFL(CASRN=CAS[gas], method="IEC 60079-20-1 (2010)")
        assert limit == pytest.approx(wanted, rel=1e-6), gas
    burns = {name for name, found in HAZARDS_OF_SPECIES.items() if Hazard.FLAMMABLE in found}
    assert burns == set(LOWER_FLAMMABLE_LIMIT)


CAS = {
    "hydrogen": "1333-74-0",
    "methane": "74-82-8",
    "carbon_monoxide": "630-08-0",
    "ammonia": "7664-41-7",
    "acetic_acid": "64-19-7",
    "acetone": "67-64-1",
    "acetonitrile": "75-05-8",
    "ethanol": "64-17-5",
    "ethyl_acetate": "141-78-6",
    "isopropanol": "67-63-0",
    "methanol": "67-56-1",
    "n_hexane": "110-54-3",
    "tetrahydrofuran": "109-99-9",
    "toluene": "108-88-3",
}


def test_a_solvent_is_warned_of_and_still_pumped_by_a_resistant_diaphragm_pump() -> None:
    """Chemistry-resistant diaphragm pumps pump evaporators (common practice, no source)."""
    catalog = demo_catalog()
    asked = {
        "application": "distillation",
        "chamber": {"volume": "5 L"},
        "target_pressure": "20 mbar",
        "process": {"vapour": [{"substance": "ethanol", "rate": "20 g/h"}]},
    }
    read = read_inquiry(asked)
    stack = next(
        stack
        for stack in advise(read, catalog).stacks
        if any(part.kind == PumpKind.DIAPHRAGM_CHEMISTRY.value for part in stack.parts)
    )
    assert "Flammable gas or vapour" in {
        one.about for one in cautions_for(stack.parts, read, catalog)
    }
    assert "flammable" in asked_in_words(read)


def test_ammonia_is_not_left_to_an_ordinary_oil_sealed_pump() -> None:
    """A vane pump in hydrocarbon oil was offered where nobody said that ammonia is corrosive."""
    catalog = demo_catalog()
    power = {"cooling_water": True, "three_phase": True, "mains_voltage": "400 V"}
    process = {"gas": [{"species": "ammonia", "flow": "20 sccm"}]}
    found = advise(read_inquiry({**SHORTEST, "process": process, "utilities": power}), catalog)
    offered = {part.sku for stack in found.stacks for part in stack.parts}
    pumps = [pump for pump in catalog.of_type(BackingPump) if pump.sku in offered]
    assert pumps
    assert all("corrosive" in pump.prepared_for for pump in pumps)
    without = advise(read_inquiry({**SHORTEST, "utilities": power}), catalog)
    assert without.counts.fit > found.counts.fit
