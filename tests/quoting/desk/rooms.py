"""A desk in memory, people who act at it, and a clock that can be set."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from server.catalog.items import Catalog
from server.errors import NotFound
from server.fit.choice import StackChoice
from server.fit.requirements import Requirements
from server.fit.results import Advice, StackAdvice
from server.quoting.desk.actors import Actor, Role
from server.quoting.desk.case import CustomerAnswer, QuoteCase
from server.quoting.desk.revision import Basis
from server.quoting.desk.use_cases import DeskRoom, Seen, create_draft
from tests.fakes import MemoryQuoteDesk
from tests.quoting.stacks import order, requirements, stock, vapour_stack

ENGINEER = Actor("E. Engineer", Role.SALES_ENGINEER)
MANAGER = Actor("M. Manager", Role.SALES_MANAGER)
ADMIN = Actor("A. Admin", Role.ADMINISTRATOR)
CUSTOMER = Actor("C. Customer", Role.CUSTOMER)

START = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


class SameStack:
    """An engine that judges every choice as the stack made by hand."""

    ENGINE_VERSION = "2"

    def advise(self, requirements: Requirements, catalog: Catalog) -> Advice:
        raise NotImplementedError

    def check(
        self, _requirements: Requirements, _catalog: Catalog, choice: StackChoice
    ) -> StackAdvice:
        assert choice.high_vacuum_pump == "VJ"
        assert choice.backing_pump == "VANE"
        return replace(vapour_stack(), rank_reason="judged again")


@dataclass
class TwoCatalogs:
    """Today's catalogue and the one before."""

    now: Catalog = field(default_factory=stock)
    before: Catalog = field(default_factory=stock)

    def current(self) -> Catalog:
        return self.now

    def version(self, version: str) -> Catalog:
        for catalog in (self.before, self.now):
            if catalog.version == version:
                return catalog
        raise NotFound(version)


@dataclass
class Clock:
    """Stands still until it is moved."""

    time: datetime = START

    def __call__(self) -> datetime:
        return self.time

    def pass_days(self, days: float) -> None:
        self.time += timedelta(days=days)


@dataclass
class Bench:
    """A room with its parts at hand."""

    desk: MemoryQuoteDesk = field(default_factory=MemoryQuoteDesk)
    catalogs: TwoCatalogs = field(default_factory=TwoCatalogs)
    clock: Clock = field(default_factory=Clock)

    @property
    def room(self) -> DeskRoom:
        return DeskRoom(self.desk, self.catalogs, SameStack(), self.clock)

    def begin(self, actor: Actor = ENGINEER, **changes: object) -> QuoteCase:
        basis = Basis(requirements(), vapour_stack(), self.catalogs.before.version, "1")
        wanted = order(created_at=self.clock.time, **changes)
        return create_draft(actor, self.room, basis, wanted)


def seen(case: QuoteCase) -> Seen:
    return Seen(case.number, case.version)


def said(*, accepted: bool = True, name: str = "C. Customer") -> CustomerAnswer:
    return CustomerAnswer(accepted, name, START)
