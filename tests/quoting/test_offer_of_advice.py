"""What the engine advises is what the quote offers: same parts, same money."""

from __future__ import annotations

import pytest

from server.catalog.items import Catalog
from server.catalog.tables import load_catalog
from server.fit.advice import advise
from server.fit.inquiry import read_inquiry
from server.fit.requirements import Requirements
from server.fit.results import Advice
from server.paths import Folder, folder
from server.quoting.consumables import later_lines, stack_consumables
from server.quoting.drafting import draft_quote
from server.quoting.operating_card import operating_card
from tests.quoting.stacks import order

# The example of the programs' contract, and a vessel that a roughing pump serves.
COATER = {
    "title": "Mirror coater, 180 L",
    "chamber": {"volume": "180 L", "temperature": "22 degC", "port": "ISO-K 160"},
    "line": {"length": "0.4 m", "bore": None, "bends": 1},
    "target_pressure": "2e-5 mbar",
    "utilities": {"cooling_water": True, "three_phase": False, "mains_voltage": "230 V"},
}
OVEN = {"title": "Drying oven", "chamber": {"volume": "60 L"}, "target_pressure": "2 mbar"}


@pytest.fixture(scope="module")
def demo() -> Catalog:
    return load_catalog(folder(Folder.CATALOG_DEMO))


@pytest.fixture(scope="module", params=[COATER, OVEN], ids=["coater", "oven"])
def advised(request: pytest.FixtureRequest, demo: Catalog) -> tuple[Requirements, Advice]:
    requirements = read_inquiry(request.param, currency=demo.currency)
    return requirements, advise(requirements, demo)


def test_the_net_sum_of_the_quote_is_the_purchase_price_of_the_advice(
    demo: Catalog, advised: tuple[Requirements, Advice]
) -> None:
    requirements, advice = advised
    assert advice.stacks
    for stack in advice.stacks:
        assert draft_quote(stack, requirements, demo, order()).net == stack.cost.purchase


def test_every_stack_has_a_card_and_its_first_fill_once(
    demo: Catalog, advised: tuple[Requirements, Advice]
) -> None:
    requirements, advice = advised
    for stack in advice.stacks:
        card = operating_card(stack, requirements, demo)
        assert {"start", "stop", "failures"} <= {section.key for section in card.sections}
        lines = stack_consumables(stack.parts, requirements, demo, 3.0)
        sold = {part.sku: part.quantity for part in stack.parts}
        for line in lines:
            if line.of_which_first:
                assert sold[line.sku] == line.of_which_first
        assert all(line.of_which_first == 0 for line in later_lines(lines))
