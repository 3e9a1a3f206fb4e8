"""Letters of our own invention, in several styles, and what may be read in them."""

from __future__ import annotations

import string
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import InvalidInquiry
from server.fit.inquiry import read_inquiry
from server.fit.letter.reader import LONGEST_LETTER, read_letter
from server.fit.letter.records import Found, LetterReading, NotUsed

COATER = """Subject: New mirror coater

Dear team,

we are planning a small sputter coater for mirrors. The chamber holds about 180 litres and has an
ISO-K 160 port at the back. We would like to reach 2e-5 mbar in 25 minutes. During coating the
pressure is 5e-3 mbar with 20 sccm of argon; the substrates give off roughly 3 g/h of water. We do
6 runs a day, each run takes 45 min, 220 days per year, in a 9 h shift. Inner walls: 2.6 m2
stainless steel, unbaked, plus 200 cm2 of FKM seals. Cooling water is available, but no three-phase
power, only 230 V outlets. Traces of oil are ok. Our budget is EUR 30,000 and we pay 0.24 EUR/kWh.
We already own a 12 m3/h vane pump. The leak rate was measured as 2e-5 mbar l/s.

Kind regards
"""

LISTED = """Hi,
need a quote for a vacuum system:
- Vessel: 4 cu ft
- Base pressure: 5 x 10^-6 Torr
- Pump down: < 30 min from atmosphere
- Process: 50 mTorr, 100 sccm N2 and 20 sccm O2
- Flange: CF 100
- Power: 208 V, 3-phase available
- Must be oil-free
- Line: 16 in long, 6 in. ID, one elbow
- 24/7 operation
Thanks!
"""

CHATTY = """Good morning, our vacuum oven, inside 60 x 50 x 70 cm, dries electrode foils at
0.5 mbar. They lose 400 g/h of an additive and 30 g/h water. It should get down to 1 mbar within
half an hour. The shelves are at 80 °C. Nothing corrosive, non-toxic, but some dust. It does not
need to be oil-free. Please answer in 5 days. > not a quotation
> the old offer was for 300 L and 1e-3 mbar
"""

GLASS = """Hello, glass bell jar 450 mm in diameter, 600 mm high; ultimate 1×10⁻⁶ mbar, twice a day,
each for 2 h 30 min. Air flow 0.5 slm. The chamber is open for 10 minutes between runs. No cooling
water. We can spend up to 15k€."""

WRITTEN = {
    "coater": (
        COATER,
        {
            "title": "New mirror coater",
            "application": "coating",
            "chamber.volume": "180 litres",
            "chamber.port": "ISO-K 160",
            "target_pressure": "2e-5 mbar",
            "pump_down_time": "25 minutes",
            "process.pressure": "5e-3 mbar",
            "process.gas.0.species": "argon",
            "process.gas.0.flow": "20 sccm",
            "process.vapour.0.substance": "water",
            "process.vapour.0.rate": "3 g/h",
            "duty.cycles_per_day": "6",
            "duty.time_at_pressure": "45 min",
            "duty.days_per_year": "220",
            "duty.shift": "9 h",
            "chamber.surfaces.0.material": "stainless_steel",
            "chamber.surfaces.0.area": "2.6 m2",
            "chamber.surfaces.0.condition": "unbaked",
            "chamber.surfaces.1.material": "fkm",
            "chamber.surfaces.1.area": "200 cm2",
            "utilities.cooling_water": "yes",
            "utilities.three_phase": "no",
            "utilities.mains_voltage": "230 V",
            "cleanliness": "low_oil",
            "commercial.budget": "30000",
            "commercial.currency": "EUR",
            "commercial.energy_price_per_kwh": "0.24",
            "chamber.leak_rate": "2e-5 mbar l/s",
        },
        {"12 m3/h"},
    ),
    "list in US units": (
        LISTED,
        {
            "chamber.volume": "4 cu ft",
            "target_pressure": "5 x 10^-6 Torr",
            "pump_down_time": "30 min",
            "process.pressure": "50 mTorr",
            "process.gas.0.species": "nitrogen",
            "process.gas.0.flow": "100 sccm",
            "process.gas.1.species": "oxygen",
            "process.gas.1.flow": "20 sccm",
            "chamber.port": "CF 100",
            "utilities.mains_voltage": "208 V",
            "utilities.three_phase": "yes",
            "cleanliness": "oil_free",
            "line.length": "16 in",
            "line.bore": "6 in",
            "line.bends": "1",
            "duty.shift": "24 h",
            "duty.days_per_year": "365",
        },
        set(),
    ),
    "chatty": (
        CHATTY,
        {
            "application": "drying_oven",
            "chamber.volume": "210 L",  # 0.6 m × 0.5 m × 0.7 m
            "process.pressure": "0.5 mbar",
            "process.vapour.0.substance": "water",
            "process.vapour.0.rate": "30 g/h",
            "target_pressure": "1 mbar",
            "pump_down_time": "30 min",
            "chamber.temperature": "80 °C",
            "hazards": "particulates",
        },
        {"400 g/h", "oil-free", "> the old offer was for 300 L and 1e-3 mbar"},
    ),
    "glass": (
        GLASS,
        {
            "chamber.volume": "95.43 L",  # π/4 × 0.45² × 0.6 m³
            "target_pressure": "1×10⁻⁶ mbar",
            "duty.cycles_per_day": "2",
            "duty.time_at_pressure": "2 h 30 min",
            "process.gas.0.species": "air",
            "process.gas.0.flow": "0.5 slm",
            "duty.vent_time": "10 minutes",
            "utilities.cooling_water": "no",
            "commercial.budget": "15000",
            "commercial.currency": "EUR",
        },
        set(),
    ),
}


def cells(reading: LetterReading) -> dict[str, str]:
    return {each.field: each.value for each in reading.found}


def placed(reading: LetterReading) -> list[Found | NotUsed]:
    return [*reading.found, *reading.not_used]


@pytest.mark.parametrize("name", WRITTEN)
def test_a_letter_is_read_and_nothing_is_invented(name: str) -> None:
    text, expected, unused = WRITTEN[name]
    reading = read_letter(text)
    assert cells(reading) == expected
    assert {each.words for each in reading.not_used} == unused


@pytest.mark.parametrize("name", WRITTEN)
def test_what_was_found_is_an_inquiry(name: str) -> None:
    reading = read_letter(WRITTEN[name][0])
    assert reading.missing == ()
    requirements = read_inquiry(reading.requirements)
    assert requirements.chamber.volume_m3 > 0
    assert "chamber.volume" not in {each.field for each in requirements.assumptions}


@pytest.mark.parametrize("name", WRITTEN)
def test_words_stand_in_the_letter_where_they_are_said_to(name: str) -> None:
    reading = read_letter(WRITTEN[name][0])
    for each in placed(reading):
        assert " ".join(reading.text[each.start : each.end].split()) == each.words


@pytest.mark.parametrize(
    ("text", "words", "reason"),
    [
        ("Base pressure between 1e-6 and 5e-6 mbar.", "5e-6 mbar", "a range"),
        ("We want to reach 1e-6 to 1e-5 mbar.", "1e-5 mbar", "a range"),
        ("Each run takes 2-3 h.", "3 h", "a range"),
        ("Base pressure in the low 10^-6 mbar range.", "10^-6 mbar", "whole decade"),
        ("Reach the e-6 mbar range.", "e-6 mbar", "whole decade"),
        ("Reach 10-6 mbar.", "6 mbar", "superscript"),
        ("The chamber has 1,500 L.", "1,500 L", "may mean"),
        ("Reach -0.9 barg in the tank.", "-0.9 barg", "absolute pressure"),
        ("We have a pump of 65 m3/h.", "65 m3/h", "pumping speed"),
        ("It loses 2 kg of water.", "2 kg", "without a time"),
        ("Nitrogen is let in, and 5 g/h of something.", "5 g/h", "No gas or vapour"),
        ("A flow of 4 g/h of argon.", "4 g/h of argon", "does not condense"),
        ("A quantity of 12 mbar.", "12 mbar", "not clear"),
        ("The port is CF 137.", "CF 137", "No flange"),
        ("The foreline ends at KF 40.", "KF 40", "not clear"),
        ("The tank holds 3e9 L.", "3e9 L", "largest value"),
        ("Sputter coating and leak testing in one chamber.", "Sputter", "Several kinds"),
    ],
)
def test_what_cannot_be_taken_is_said_and_left_out(text: str, words: str, reason: str) -> None:
    reading = read_letter(text)
    (unused,) = [each for each in reading.not_used if each.words == words]
    assert reason in unused.reason
    assert not any(words.lower() == each.words.lower() for each in reading.found)


@pytest.mark.parametrize(
    ("text", "field", "value"),
    [
        ("No corrosive gases, nothing toxic, dust-free.", "hazards", None),
        ("The gas is toxic.", "hazards", "toxic"),
        ("It need not be oil-free.", "cleanliness", None),
        ("We want a dry pump.", "cleanliness", "oil_free"),
        ("Oil vapour is no problem.", "cleanliness", "tolerant"),
        ("We have no cooling water.", "utilities.cooling_water", "no"),
        ("There is chilled water on site.", "utilities.cooling_water", "yes"),
        ("Cooling water costs money.", "utilities.cooling_water", None),
        ("Single phase only, 115 V mains.", "utilities.three_phase", "no"),
        ("Offer for a vacuum pump set with delivery in 6 weeks.", "pump_down_time", None),
        ("We evacuate the vessel within 20 min.", "pump_down_time", "20 min"),
        ("We pump 3 in the chamber and 5 at home.", "line.length", None),
        ("From air at 1013 mbar down to 0.1 mbar.", "target_pressure", "0.1 mbar"),
        ("Three batches per day.", "duty.cycles_per_day", "3"),
        ("The foreline is 2 m long, 40 mm bore.", "foreline.bore", "40 mm"),
        ("The roughing line is 3 m long with two bends.", "rough_line.bends", "2"),
        ("Our budget is 12.500 EUR.", "commercial.budget", "12500"),
        ("Ar at 15 sccm during the process.", "process.gas.0.species", "argon"),
    ],
)
def test_small_words_matter(text: str, field: str, value: str | None) -> None:
    assert cells(read_letter(text)).get(field) == value


def test_of_two_statements_the_first_is_taken_and_the_other_named() -> None:
    reading = read_letter("Target pressure 1e-5 mbar. The ultimate pressure should be 1e-6 mbar.")
    assert cells(reading)["target_pressure"] == "1e-5 mbar"
    (other,) = reading.not_used
    assert (other.words, "already" in other.reason) == ("1e-6 mbar", True)


def test_the_same_statement_twice_is_no_contradiction() -> None:
    twice = read_letter("The chamber has 80 L. Again: chamber 80 L, 20 sccm argon, 20 sccm argon.")
    assert twice.not_used == ()
    assert len(twice.requirements["process"]["gas"]) == 1  # type: ignore[index]


def test_what_is_needed_and_not_said_is_named() -> None:
    reading = read_letter("Please call me.")
    assert reading.found == ()
    assert reading.missing == ("chamber.volume", "target_pressure")


@pytest.mark.parametrize("text", ["", " \n ", "x" * (LONGEST_LETTER + 1)])
def test_no_letter_and_too_long_a_letter_are_refused(text: str) -> None:
    with pytest.raises(InvalidInquiry) as refused:
        read_letter(text)
    assert refused.value.faults[0].field == "text"


HEAP = (
    "chamber pressure reach 5 1e-6 mbar L 20 sccm argon - to and ; . , in min 10 ^ x : € k 3 h EUR "
    "budget no oil m2 steel > “ KF 40 °C % e-"
)


@given(
    st.lists(
        st.sampled_from(HEAP.split()),
        max_size=40,
    )
)
def test_any_heap_of_words_is_read_and_its_words_are_the_letter_s(heap: list[str]) -> None:
    text = " ".join(heap) or "x"
    if not text.strip():
        return
    reading = read_letter(text)
    for each in placed(reading):
        assert " ".join(text[each.start : each.end].split()) == each.words
    # whatever was found is accepted by the inquiry, but for the two that are needed
    if not reading.missing:
        read_inquiry({**reading.requirements, "commercial": {}, "duty": {}})


@given(st.text(string.printable + "µ×⁻⁶°€½–“’", max_size=200))
def test_any_text_is_read_without_a_fault(text: str) -> None:
    if text.strip():
        read_letter(text)


@pytest.mark.parametrize(
    "piece", ["1", "1.", "1 ", "1e", "x10^", "m/", "1 m/s ", "a ", "> ", "€1,"]
)
def test_hostile_letters_are_read_in_time(piece: str) -> None:
    text = (piece * LONGEST_LETTER)[:LONGEST_LETTER]
    began = time.process_time()
    read_letter(text)
    assert time.process_time() - began < 2.0
