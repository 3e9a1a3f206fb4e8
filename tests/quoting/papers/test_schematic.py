"""The picture of a stack."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree as ET

from server.fit.results import Part, Role
from server.quoting.papers.schematic import Schematic, Station, Symbol, schematic_of, schematic_svg
from tests.quoting.stacks import part, stock, vapour_stack

STOCK = stock()


def drawn(*parts: Part) -> Schematic:
    return schematic_of(parts, STOCK, lambda role: str(role).replace("_", " "))


def texts(schematic: Schematic) -> list[str]:
    root = ET.fromstring(schematic_svg(schematic))  # noqa: S314  # our own picture
    return [str(node.text) for node in root.iter("{http://www.w3.org/2000/svg}text")]


def test_the_gas_passes_the_parts_in_their_order() -> None:
    stack = drawn(*vapour_stack().parts)
    assert [station.symbol for station in stack.stations] == [
        Symbol.CHAMBER, Symbol.VALVE, Symbol.PUMP, Symbol.VALVE, Symbol.PUMP, Symbol.FILTER,
    ]  # fmt: skip
    assert stack.roughing is not None
    assert stack.stations[stack.roughing_ends - 1].word == "foreline valve"


def test_each_number_stands_once_and_each_word_below_its_symbol() -> None:
    stack = drawn(*vapour_stack().parts)
    said = texts(stack)
    numbers = [text for text in said if text.isdigit()]
    assert sorted(numbers, key=int) == [str(i + 1) for i in range(len(stack.numbered))]
    assert all(station.word in said for station in stack.stations)


def test_a_backing_pump_alone_has_no_way_around() -> None:
    stack = drawn(part(Role.BACKING_PUMP, "VANE"))
    assert len(stack.stations) == 2
    assert stack.roughing is None
    assert "roughing" not in stack.alt


def test_a_valve_the_catalogue_lost_is_left_out() -> None:
    lost = Part(Role.VALVE, "GONE", "Gone", "valve", 1)
    assert drawn(lost, part(Role.BACKING_PUMP, "VANE")) == drawn(part(Role.BACKING_PUMP, "VANE"))


def test_a_word_with_markup_stays_text() -> None:
    stack = drawn(part(Role.BACKING_PUMP, "VANE"))
    odd = replace(stack, stations=(*stack.stations, Station(Symbol.TRAP, "<b>&", "x")))
    assert "<b>&" in texts(odd)
