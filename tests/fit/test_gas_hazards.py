"""Hazards that gases bring by themselves: by class, by share, and in the choice of pumps."""

from __future__ import annotations

from typing import Any

import pytest

from server.catalog.items import BackingPump
from server.fit.advice import advise
from server.fit.inquiry import read_inquiry
from tests.fit.engine_cases import demo_catalog

SHORTEST: dict[str, Any] = {"chamber": {"volume": "100 L"}, "target_pressure": "0.1 mbar"}


@pytest.mark.parametrize(
    ("process", "raised"),
    [
        # GHS, from memory: ammonia H221, H314, H331; carbon monoxide H220, H331; methanol H301–H331
        ({"gas": [{"species": "ammonia", "flow": "20 sccm"}]}, {"flammable", "toxic", "corrosive"}),
        ({"gas": [{"species": "carbon_monoxide", "flow": "5 sccm"}]}, {"flammable", "toxic"}),
        ({"vapour": [{"substance": "methanol", "rate": "5 g/h"}]}, {"toxic"}),
        ({"vapour": [{"substance": "ammonia", "rate": "5 g/h"}]},
         {"flammable", "toxic", "corrosive"}),
        # solvents are judged by what stands their vapour, not as flammable gas
        ({"vapour": [{"substance": "ethanol", "rate": "5 g/h"}]}, set()),
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
