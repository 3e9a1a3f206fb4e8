"""Stores in memory and an engine that answers from a drawer, for tests of what is around them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from decimal import Decimal
from math import inf

from server.catalog.flanges import Flange, FlangeSystem
from server.catalog.items import (
    Catalog,
    Cooling,
    Item,
    Pump,
    PumpKind,
    SpeedCurve,
    Valve,
    ValveRole,
)
from server.errors import Conflict, NotFound, UnknownName
from server.fit.choice import StackChoice
from server.fit.inquiry import read_inquiry
from server.fit.ports import AdviceHeading, SavedAdvice
from server.fit.requirements import Requirements
from server.fit.results import (
    Advice,
    CatalogIdentity,
    Cost,
    Counts,
    Margin,
    MarginKey,
    MarginVerdict,
    Part,
    PhaseSpan,
    PumpDown,
    Remedy,
    Role,
    SpeedPlot,
    StackAdvice,
    StackVerdict,
    State,
    Working,
)
from server.quoting.desk.actors import Actor
from server.quoting.desk.actors import Role as DeskRole
from server.quoting.desk.case import Event, QuoteCase
from server.quoting.desk.outbox import OutboxMessage
from server.quoting.desk.ports import QuoteHeading, QuotePage, QuoteQuery
from server.quoting.desk.revision import Basis, Revision
from server.quoting.desk.states import QuoteState
from server.quoting.desk.use_cases import stale
from server.quoting.order import Party
from server.quoting.quote import LineGroup, Quote, QuoteLine, quote_number


def small_catalog(version: str = "v-one") -> Catalog:
    """Return a catalogue of one pump and one valve, invented."""
    priced = {"mass_kg": 20.0, "stock": 1, "lead_time_days": 7}
    pump = Pump(
        sku="T-PUMP",
        name="Scroll pump, small",
        price=Decimal("3100.00"),
        cost_price=Decimal("2077.77"),
        kind=PumpKind.SCROLL,
        inlet=Flange(FlangeSystem.KF, 25),
        ultimate_pa=1.0,
        mains_voltages=(230,),
        phases=1,
        power_w=400.0,
        cooling=Cooling.AIR,
        noise_dba=55.0,
        service_hours=8000.0,
        curves=(SpeedCurve("air", (1.0, 10.0, 1e5), (0.0, 2e-3, 3e-3)),),
        **priced,  # type: ignore[arg-type]
    )
    valve = Valve(
        sku="T-VALVE",
        name="Angle valve KF 25",
        price=Decimal("210.50"),
        cost_price=Decimal("133.31"),
        role=ValveRole.ROUGHING,
        flange=Flange(FlangeSystem.KF, 25),
        molecular_conductance_m3_s=0.014,
        equivalent_bore_m=0.025,
        equivalent_length_m=0.1,
        operation="manual",
        **priced,  # type: ignore[arg-type]
    )
    items: dict[str, Item] = {pump.sku: pump, valve.sku: valve}
    return Catalog(name="test", currency="EUR", version=version, note="invented", items=items)


def a_stack(rank: int = 1) -> StackAdvice:
    """Return a stack with every kind of field, some of them without bound."""
    margin = Margin(
        MarginKey.ULTIMATE, 1.0, inf, "Pa", inf, 1.5, MarginVerdict.PASS, "far below what is asked"
    )
    return StackAdvice(
        rank=rank,
        verdict=StackVerdict.FITS,
        title="Scroll pump, small",
        parts=(Part(Role.BACKING_PUMP, "T-PUMP", "Scroll pump, small", "scroll", 1),),
        margins=(margin,),
        states={"base": State(1.0, 0.9, None, 1e-3, 1e-3, {"air": 1.0})},
        pump_down=PumpDown(
            time_s=inf,
            p10_s=100.0,
            p90_s=inf,
            probability_in_time=None,
            crossover_pressure_pa=None,
            curve=((0.0, 101325.0), (60.0, 10.0)),
            curve_p10=(),
            curve_p90=(),
            foreline_curve=(),
            phases=(PhaseSpan("roughing", 0.0, 60.0, ""),),
        ),
        cost=Cost("EUR", Decimal("3100.00"), Decimal("80.10"), Decimal("0.00"), Decimal("3340.30")),
        rank_reason="the only one",
        weakest=MarginKey.ULTIMATE,
        flags=(),
        speed_plots=(SpeedPlot("air", (1.0,), (1e-3,), (1e-3,)),),
        workings=(
            Working(
                "v", "volume", "V", "V", {"V [m3]": 0.05, "note": "x"}, 0.05, "m3", "S1", "Chamber"
            ),
        ),
        remedies=(Remedy(MarginKey.PUMP_DOWN, "line.bore", 0.01, 0.02, "m", "a wider line"),),
    )


def an_advice(requirements: Requirements, catalog: Catalog) -> Advice:
    """Return an advice of one stack on given requirements."""
    return Advice(
        catalog=CatalogIdentity(catalog.name, catalog.version),
        assumptions=requirements.assumptions,
        counts=Counts(3, 1, 0, {"ultimate": 2}),
        stacks=(a_stack(),),
        remedies=(),
        ranking_rule="cheapest over the horizon first",
        engine_version="test",
    )


def a_saved_advice(name: str = "token-1", minute: int = 0, version: str = "v-one") -> SavedAdvice:
    """Return a saved advice."""
    inquiry = {
        "chamber": {"volume": "50 L"},
        "target_pressure": "1e-2 mbar",
        "title": f"No {minute}",
    }
    requirements = read_inquiry(inquiry)
    return SavedAdvice(
        token=name,
        created_at=datetime(2026, 3, 1, 12, minute, tzinfo=UTC),
        title=requirements.title,
        inquiry=inquiry,
        requirements=requirements,
        advice=an_advice(requirements, small_catalog(version)),
    )


class FakeEngine:
    """Answers every inquiry with the same stack; knows the SKUs of the catalogue."""

    ENGINE_VERSION = "test"

    def advise(self, requirements: Requirements, catalog: Catalog) -> Advice:
        """Return one stack."""
        return an_advice(requirements, catalog)

    def check(
        self, requirements: Requirements, catalog: Catalog, choice: StackChoice
    ) -> StackAdvice:
        """Return the stack when the pump is known."""
        if choice.backing_pump not in {None, *catalog.items}:
            raise UnknownName("item", str(choice.backing_pump), sorted(catalog.items))
        return replace(a_stack(), rank_reason=requirements.title)


@dataclass
class MemoryAdviceStore:
    """Satisfies ``fit.ports.AdviceStore``."""

    kept: dict[str, SavedAdvice] = field(default_factory=dict)

    def add(self, saved: SavedAdvice) -> None:
        """Keep an advice."""
        self.kept[saved.token] = saved

    def get(self, token: str) -> SavedAdvice:
        """Return an advice or raise ``NotFound``."""
        if token not in self.kept:
            raise NotFound("There is no saved advice under this link.")
        return self.kept[token]

    def recent(self, count: int) -> tuple[AdviceHeading, ...]:
        """Return the newest headings."""
        newest = sorted(self.kept.values(), key=lambda saved: saved.created_at, reverse=True)
        return tuple(
            AdviceHeading(
                s.token, s.created_at, s.title, s.advice.counts.fit, s.advice.counts.marginal
            )
            for s in newest[:count]
        )


@dataclass
class MemoryCatalogStore:
    """Satisfies ``fit.ports.CatalogStore``."""

    catalog: Catalog = field(default_factory=small_catalog)

    def current(self) -> Catalog:
        """Return the catalogue."""
        return self.catalog

    def version(self, version: str) -> Catalog:
        """Return the catalogue or raise ``NotFound``."""
        if version != self.catalog.version:
            raise NotFound(f"Catalogue version {version} is not kept here.")
        return self.catalog


def a_draft(customer: str = "Institute of Thin Films", year: int = 2026, minute: int = 0) -> Quote:
    """Return a draft of one line."""
    price = Decimal("3100.00")
    line = QuoteLine(
        LineGroup.PUMPS, "T-PUMP", "Scroll pump, small", 1, price, price, 7, "backs and roughs"
    )
    return Quote(
        number="",
        created_at=datetime(year, 3, 1, 12, minute, tzinfo=UTC),
        valid_until=date(year, 3, 31),
        seller=Party("Demo Vacuum Supplies"),
        customer=Party(customer, "1 Long Lane\nTown", "A. Person", "a.person@example.org"),
        reference="R-7",
        title="Oven",
        stack_title="Scroll pump, small",
        currency="EUR",
        lines=(line,),
        net=price,
        tax_rate_percent=Decimal(19),
        tax=Decimal("589.00"),
        total=Decimal("3689.00"),
        lead_time_days=7,
        margins=a_stack().margins,
        flags=("gas ballast",),
        cautions=(),
        assumptions=(),
        notes="",
        catalog_version="v-one",
    )


def a_case(
    customer: str = "Institute of Thin Films", year: int = 2026, minute: int = 0
) -> QuoteCase:
    """Return a new draft of one line, not kept yet."""
    content = a_draft(customer, year, minute)
    actor = Actor("A. Seller", DeskRole.SALES_ENGINEER)
    basis = Basis(a_saved_advice().requirements, a_stack(), "v-one", "test")
    costs = (Decimal("2077.77"),)
    first = Revision("", 1, content, basis, costs, actor, content.created_at)
    event = Event(content.created_at, actor, "begun")
    return QuoteCase("", 0, (first,), (QuoteState.DRAFT,), (event,))


@dataclass
class MemoryQuoteDesk:
    """Satisfies ``quoting.desk.ports.QuoteDesk``."""

    kept: dict[str, QuoteCase] = field(default_factory=dict)
    messages: list[OutboxMessage] = field(default_factory=list)

    def open_case(self, case: QuoteCase, messages: Sequence[OutboxMessage] = ()) -> QuoteCase:
        """Number and keep a new quote."""
        year = case.created_at.year
        serial = sum(each.created_at.year == year for each in self.kept.values()) + 1
        opened = case.numbered(quote_number(year, serial))
        self.kept[opened.number] = opened
        self.messages += messages
        return opened

    def get(self, number: str) -> QuoteCase:
        """Return a quote or raise ``NotFound``."""
        if number not in self.kept:
            raise NotFound(f"There is no quote “{number}”.")
        return self.kept[number]

    def save(
        self, case: QuoteCase, seen_version: int, messages: Sequence[OutboxMessage] = ()
    ) -> QuoteCase:
        """Keep a changed quote, or raise ``Conflict``."""
        kept = self.get(case.number)
        if kept.version != seen_version:
            raise Conflict(stale(kept))
        self.kept[case.number] = saved = case.saved_after(seen_version)
        self.messages += messages
        return saved

    def search(self, query: QuoteQuery, today: date) -> QuotePage:
        """Look through everything."""
        found = [case for case in self.kept.values() if _is_wanted(case, query, today)]
        found.sort(key=lambda case: (case.created_at, case.number), reverse=True)
        sums: dict[str, Decimal] = {}
        for case in found:
            content = case.current.content
            sums[content.currency] = sums.get(content.currency, Decimal(0)) + content.total
        start = (query.page - 1) * query.page_size
        shown = tuple(_heading(each, today) for each in found[start : start + query.page_size])
        return QuotePage(shown, len(found), query.page, query.page_size, sums)


def _is_wanted(case: QuoteCase, query: QuoteQuery, today: date) -> bool:
    content, heading = case.current.content, _heading(case, today)
    who = content.customer
    texts = (
        case.number, who.name, who.contact, who.email, content.reference, content.title,
        content.stack_title,
    )  # fmt: skip
    text = " / ".join(texts).casefold()
    day = case.created_at.date()
    return (
        all(word in text for word in query.text.casefold().split())
        and query.customer.casefold() in who.name.casefold()
        and (not query.states or heading.state in query.states)
        and (query.since or day) <= day <= (query.until or day)
        and (query.least is None or content.total >= query.least)
        and (query.largest is None or content.total <= query.largest)
        and query.currency in {"", content.currency}
    )


def _heading(case: QuoteCase, today: date) -> QuoteHeading:
    content = case.current.content
    return QuoteHeading(
        number=case.number,
        revision=case.current.revision,
        state=case.state_of(case.current.revision, today),
        customer=content.customer.name,
        title=content.title,
        reference=content.reference,
        currency=content.currency,
        total=content.total,
        created_at=case.created_at,
        changed_at=case.changed_at,
        valid_until=content.valid_until,
    )
