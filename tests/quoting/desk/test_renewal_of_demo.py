"""On the same catalogue and engine, an offer of the demo worked out again is the same offer."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from server.catalog.items import Catalog, TrapPlace
from server.catalog.tables import load_catalog
from server.fit import advice
from server.fit.choice import StackChoice, choice_of
from server.fit.inquiry import read_inquiry
from server.fit.results import Part, Role
from server.paths import Folder, folder
from server.quoting.desk.actors import Actor
from server.quoting.desk.actors import Role as DeskRole
from server.quoting.desk.changes import unit_costs
from server.quoting.desk.renewal import differences_today, renewed
from server.quoting.desk.revision import Basis, Revision
from server.quoting.drafting import draft_quote
from server.quoting.order import Party, QuoteOrder
from server.web.examples import EXAMPLES

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
SELLER = Actor("A. Seller", DeskRole.SALES_ENGINEER)


@pytest.fixture(scope="module")
def demo() -> Catalog:
    return load_catalog(folder(Folder.CATALOG_DEMO))


@pytest.mark.parametrize("example", list(EXAMPLES))
def test_nothing_differs_today(demo: Catalog, example: str) -> None:
    requirements = read_inquiry(EXAMPLES[example])
    stacks = advice.advise(requirements, demo).stacks
    assert stacks
    order = QuoteOrder(Party("Lab"), Party("Seller"), NOW, tax_rate_percent=Decimal(19))
    for stack in stacks[:2]:
        content = draft_quote(stack, requirements, demo, order)
        basis = Basis(requirements, stack, demo.version, advice.ENGINE_VERSION)
        costs = unit_costs(content.lines, demo, {})
        offered = Revision("Q-2026-0001", 1, content, basis, costs, SELLER, NOW)
        assert differences_today(offered, demo, advice, NOW) == ()
        assert renewed(offered, demo, advice, NOW).content.lines == content.lines


def test_a_choice_is_read_off_the_parts() -> None:
    def part(role: Role, sku: str, place: str = "") -> Part:
        return Part(role, sku, sku, "", 1, place=place)

    parts = [
        part(Role.HIGH_VACUUM_PUMP, "VJ"), part(Role.BOOSTER, "R"), part(Role.BACKING_PUMP, "B"),
        part(Role.FLUID, "F"), part(Role.OIL, "O"), part(Role.VALVE, "V"),
        part(Role.BAFFLE, "T1", TrapPlace.HIGH_VACUUM), part(Role.TRAP, "T2", TrapPlace.FORELINE),
    ]  # fmt: skip
    assert choice_of(parts) == StackChoice("VJ", "R", "B", "F", "T1", "T2")
