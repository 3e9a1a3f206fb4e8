"""A full advice made by hand, to drive pages with: invented numbers that hang together."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

from server.catalog.items import Catalog
from server.errors import UnknownName
from server.fit.choice import StackChoice
from server.fit.day_results import (
    Day,
    DayPhase,
    DaySpan,
    ForelineHold,
    NightChoice,
    Overnight,
    PumpEnergy,
    PumpState,
)
from server.fit.requirements import Requirements
from server.fit.results import (
    Advice,
    BaseSpread,
    CatalogIdentity,
    Cost,
    Counts,
    Envelope,
    LargestLoad,
    LoadLimit,
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
    ThroughputMap,
    Working,
)
from server.fit.vapour_results import Drying, PartialPressure, VapourPath


def a_margin(
    key: MarginKey = MarginKey.ULTIMATE,
    ratio: float = 2.0,
    threshold: float = 1.5,
    required: float = 2e-3,
    unit: str = "Pa",
) -> Margin:
    """Return a margin whose verdict follows from its ratio."""
    verdict = MarginVerdict.FAIL if ratio < 1 else MarginVerdict.MARGINAL
    if ratio >= threshold:
        verdict = MarginVerdict.PASS
    available = required * ratio
    return Margin(key, required, available, unit, ratio, threshold, verdict, "Made for a test.")


def a_curve(end_s: float, end_pa: float) -> tuple[tuple[float, float], ...]:
    """Return a pressure that falls by the same share each second."""
    steps = [end_s * i / 40 for i in range(41)]
    rate = math.log(101325.0 / end_pa) / end_s
    return tuple((t, 101325.0 * math.exp(-rate * t)) for t in steps)


def a_pump_down(time_s: float = 1020.0, *, reached: bool = True) -> PumpDown:
    """Return a pump-down with band, foreline and phases."""
    curve = a_curve(time_s, 2e-3)
    return PumpDown(
        time_s=time_s if reached else math.inf,
        p10_s=time_s * 0.8,
        p90_s=time_s * 1.6 if reached else math.inf,
        probability_in_time=0.87,
        crossover_pressure_pa=10.0,
        curve=curve,
        curve_p10=a_curve(time_s * 0.8, 2e-3),
        curve_p90=a_curve(time_s * 1.6, 2e-3),
        foreline_curve=tuple((t, min(p, 30.0) + 1.0, 55.0) for t, p in curve),
        phases=(
            PhaseSpan("roughing", 0.0, 290.0, "through the roughing valve"),
            PhaseSpan("high_vacuum", 290.0, time_s, "after crossover at 0.1 mbar"),
        ),
        p50_s=time_s,
        probability_reached=0.97,
    )


def an_envelope() -> Envelope:
    """Return an envelope whose map is flat from half a pascal on."""
    pressures = tuple(10.0 ** (-3 + i * 0.25) for i in range(17))
    flows = tuple(min(0.4 * p, 0.2) for p in pressures)
    return Envelope(
        gases=("argon", "water"),
        largest_load=LargestLoad(0.2, 0.19, 0.5, LoadLimit.FORELINE, MarginKey.FORELINE),
        load_at_process_pressure=LargestLoad(
            0.08, 0.07, 0.2, LoadLimit.PROCESS_PRESSURE, MarginKey.PROCESS_PRESSURE
        ),
        shortest_time_s=700.0,
        stated_time_s=1020.0,
        lowest_pressure_pa=8e-4,
        clean_pressure_pa=1e-5,
        map=ThroughputMap(pressures, flows, 0.2, (("process", 0.1, 0.04),)),
    )


def a_day() -> Day:
    """Return a day of 24 h with one cycle, a night and an ending that saves something."""
    on, off = PumpState.WORKING, PumpState.OFF
    ends = (
        (DayPhase.WARM_UP, 900.0, PumpState.WARMING, on, "heater on"),
        (DayPhase.AT_PRESSURE, 18_000.0, on, on, ""),
        (DayPhase.COOL_DOWN, 20_000.0, PumpState.COOLING, on, "cooling on"),
        (DayPhase.NIGHT, 86_400.0, off, off, "switched off"),
    )
    starts = (0.0, *(end[1] for end in ends))
    spans = tuple(
        DaySpan(what, start, end, front, back, note)
        for start, (what, end, front, back, note) in zip(starts, ends, strict=False)
    )
    hold = ForelineHold(5e-4, 4e-5, 6.0, 60.0, 675.0, 290.0, 29.2, 0, 0.0, holding_pump=False)
    night = NightChoice(
        Overnight.SWITCH_OFF, 68_400.0, 1500.0, 1.2e6, 800.0, 2000.0, 900.0, 28.9, 0.333, 0.3,
        "Switch off overnight.", 69_300.0,
    )  # fmt: skip
    energy = (PumpEnergy("VAPOURJET-160-W", "Vapour-jet pump", 1000.0, 0.25, 4.75, 0.0, 1100.0),)
    return Day(
        1020.0, 4000.0, 3900.0, 4, 4, 18_000.0, 18_000.0, spans, hold, night, energy,
        5.0, 1100.0, 0.2, ("One backing pump does both.",), 15_700.0,
    )  # fmt: skip


def a_cost() -> Cost:
    """Return a cost whose total is that of three years."""
    purchase, energy, used = Decimal("9840.50"), Decimal("310.20"), Decimal("145.00")
    return Cost("EUR", purchase, energy, used, purchase + 3 * (energy + used))


TITLE = "Vapour-jet pump 160 with two-stage vane pump"


def a_full_stack(rank: int = 1, title: str = TITLE) -> StackAdvice:
    """Return a high-vacuum stack with every part of the record in use."""
    pressures = tuple(10.0 ** (-5 + i * 0.25) for i in range(25))
    speeds = tuple(0.7 / (1.0 + p / 0.5) for p in pressures)
    return StackAdvice(
        rank=rank,
        verdict=StackVerdict.FITS,
        title=title,
        parts=(
            Part(Role.BAFFLE, "BAFFLE-WATER-IK160", "Baffle, water-cooled", "water_baffle", 1, "x"),
            Part(Role.HIGH_VACUUM_PUMP, "VAPOURJET-160-W", "Vapour-jet pump", "vapour_jet", 1),
            Part(Role.BACKING_PUMP, "VANE2-0160", "Rotary vane pump", "vane_two_stage", 1),
            Part(Role.FLUID, "FLUID-PENTAPHENYL-500ML", "Fluid", "pentaphenyl_trisiloxane", 1),
            Part(Role.OIL, "FLUID-VANE-MINERAL-1L", "Vane oil", "mineral", 1),
            Part(Role.VALVE, "GATE-HAND-IK160", "Isolation gate valve", "isolation", 1, "shuts"),
            Part(Role.SUPPLIED, "", "Centring ring of the inlet", "supplied", 1, "keep it"),
        ),
        margins=(
            a_margin(MarginKey.ULTIMATE, 4.2),
            a_margin(MarginKey.PROCESS_PRESSURE, 1.6, 1.3, 0.5),
            a_margin(MarginKey.THROUGHPUT, 12.0, 1.3, 0.04, "Pa m3/s"),
            a_margin(MarginKey.FORELINE, 1.55, 1.3, 35.0),
            a_margin(MarginKey.PUMP_DOWN, 1.47, 1.25, 1020.0, "s"),
            a_margin(MarginKey.BACKSTREAMING, 1.1, 1.5, 1e-9, "kg/s"),
        ),
        states={
            "base": State(
                4.8e-4, 4.1e-4, 2.0, 3.1e-4, 0.31, {"water": 4.1e-4, "nitrogen": 5e-5},
                (
                    PartialPressure("water", 2.6e-4, 0.634, 4.1e-4, 0.854),
                    PartialPressure("nitrogen", 5e-5, 1.0, 5e-5, 0.104),
                    PartialPressure("final pressure of the pump", 0.0, None, 2e-5, 0.042, True,
                                    "light fractions of its mineral"),
                ),
            ),
            "process": State(0.31, 0.27, 22.0, 0.043, 0.14, {"argon": 0.27, "water": 0.04}),
        },
        pump_down=a_pump_down(),
        base_spread=BaseSpread(4e-4, 8e-4, math.inf, 0.93, 512),
        cost=a_cost(),
        rank_reason="Every margin passes, and no other stack that does costs less over 3 years.",
        weakest=MarginKey.BACKSTREAMING,
        flags=("Silicone fluid: its deposits turn to glass under electron bombardment.",),
        speed_plots=(SpeedPlot("nitrogen", pressures, speeds, tuple(s * 0.45 for s in speeds)),),
        workings=(
            Working("area", "Wall area", "A", "A = Σ Aᵢ", {"A steel [m2]": 2.6, "A FKM [m2]": 0.02},
                    2.62, "m2", "as given", "Gas loads"),
            Working("q_out", "Outgassing", "Q", "Q = Σ qᵢ·Aᵢ", {"q steel [Pa m3/(s m2)]": 1e-4},
                    2.6e-4, "Pa m3/s", "DUSHMAN-1962", "Gas loads"),
            Working("p_base", "Base pressure", "p", "p = Q / S", {"Q [Pa m3/s]": 3.1e-4},
                    1e-3, "Pa", "definition of speed", "Steady states"),
        ),
        vapour_path=(
            VapourPath("water", 8.3e-7, 0.0135, "Liquid-nitrogen trap", 1e-15, 0.0130,
                       "", None, 0.0, 0.0, 0.0003, 0.0002, 0.6, 86_400.0),
        ),
        drying=(
            Drying("water", 0.0135, 303.15, 4247.0, 0.31, 0.04, 8.3e-7, 16_200.0, 2700.0,
                   "supply", 2.02, "Heat and diffusion set the pace."),
        ),
        remedies=(
            Remedy(MarginKey.BACKSTREAMING, "trap", 1.0, 0.1, "", "Add a nitrogen trap."),
        ),
        day=a_day(),
        envelope=an_envelope(),
    )  # fmt: skip


def a_failing_stack(rank: int = 2) -> StackAdvice:
    """Return a rough stack that misses its target."""
    return replace(
        a_full_stack(rank, "Scroll pump, 15 m³/h"),
        verdict=StackVerdict.REJECTED,
        parts=(Part(Role.BACKING_PUMP, "SCROLL-0120", "Scroll pump, 15 m³/h", "scroll", 1),),
        margins=(
            a_margin(MarginKey.ULTIMATE, 0.0004),
            a_margin(MarginKey.PUMP_DOWN, 0.0, 1.25, 1500.0, "s"),
        ),
        states={"base": State(1.5, 1.4, None, 3e-4, 2e-4, {"air": 1.5})},
        pump_down=a_pump_down(reached=False),
        weakest=MarginKey.ULTIMATE,
        flags=(),
        remedies=(),
        workings=(),
        day=None,
    )


def a_full_advice(requirements: Requirements, catalog: Catalog, *, fits: bool = True) -> Advice:
    """Return an advice of two stacks, or one in which nothing fits."""
    stacks = (a_full_stack(), a_failing_stack()) if fits else ()
    rejected = {"foreline": 1210, "ultimate": 803, "pump_down": 96}
    return Advice(
        catalog=CatalogIdentity(catalog.name, catalog.version),
        assumptions=requirements.assumptions,
        counts=Counts(sum(rejected.values()) + 2 * fits, int(fits), int(fits), rejected),
        stacks=stacks,
        remedies=(
            Remedy(MarginKey.FORELINE, "foreline.bore", 0.025, 0.04, "m",
                   "A foreline of 40 mm bore instead of 25 mm.", "Vapour-jet pump 250",
                   also=(MarginKey.THROUGHPUT,), breaks=(MarginKey.BUDGET,),
                   settings=(("foreline.bore", "40 mm"),)),
            Remedy(MarginKey.ULTIMATE, "backing", 1.0, 2.0, "", "A second backing pump."),
        ),
        ranking_rule="Stacks that pass every margin come first, by total cost over the horizon.",
        engine_version="by-hand",
    )  # fmt: skip


class HandMadeEngine:
    """Answers with the advice made by hand; nothing fits a chamber above a cubic metre."""

    ENGINE_VERSION = "by-hand"

    def advise(self, requirements: Requirements, catalog: Catalog) -> Advice:
        """Return two stacks or none."""
        return a_full_advice(requirements, catalog, fits=requirements.chamber.volume_m3 <= 1.0)

    def check(
        self, _requirements: Requirements, catalog: Catalog, choice: StackChoice
    ) -> StackAdvice:
        """Return the full stack when every chosen item is known."""
        for sku in (choice.high_vacuum_pump, choice.booster, choice.backing_pump, choice.trap):
            if sku is not None and sku not in catalog.items:
                raise UnknownName("item", sku, sorted(catalog.items)[:5])
        return replace(a_full_stack(rank=0), rank_reason="")
