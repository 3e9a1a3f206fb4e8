"""Stores in memory and an engine that answers from a drawer, for tests of what is around them."""

from __future__ import annotations

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
from server.errors import NotFound, UnknownName
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
from server.quoting.order import Party
from server.quoting.ports import QuoteHeading, heading_of
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


@dataclass
class MemoryQuoteStore:
    """Satisfies ``quoting.ports.QuoteStore``."""

    kept: dict[str, Quote] = field(default_factory=dict)

    def issue(self, draft: Quote) -> Quote:
        """Number and keep a draft."""
        year = draft.created_at.year
        serial = sum(quote.created_at.year == year for quote in self.kept.values()) + 1
        issued = draft.numbered(quote_number(year, serial))
        self.kept[issued.number] = issued
        return issued

    def get(self, number: str) -> Quote:
        """Return a quote or raise ``NotFound``."""
        if number not in self.kept:
            raise NotFound(f"There is no quote “{number}”.")
        return self.kept[number]

    def recent(self, count: int) -> tuple[QuoteHeading, ...]:
        """Return the newest headings."""
        newest = sorted(self.kept.values(), key=lambda q: (q.created_at, q.number), reverse=True)
        return tuple(heading_of(quote) for quote in newest[:count])
