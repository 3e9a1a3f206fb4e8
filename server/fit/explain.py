"""Margins of one stack in words: numbers in the trade's units, and what they mean."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.catalog.items import OIL_SEALED_KINDS, CapturePump, PumpKind, TurboPump, VapourPump
from server.fit.candidates import Back, Front
from server.fit.case import Ledger
from server.fit.cost_table import CostTable
from server.fit.cycle_times import room_s
from server.fit.evaluation import Judged
from server.fit.habits import lowest_asked_pa, stands_idle
from server.fit.margin_vapour import vapour_route
from server.fit.results import Margin, MarginKey, MarginVerdict
from server.fit.settled import SettledState
from server.fit.thresholds import BURST_S, ROUNDING, RULES, VANE_CLEAN_ROUGHING_PA
from server.physics.arrays import IntArray
from server.units import Dimension, format_duration, format_quantity


@dataclass(frozen=True)
class Spot:
    """One combination of a judged field."""

    judged: Judged
    front_row: int
    back_row: int

    @property
    def front(self) -> Front | None:
        """Its front; None for a rough stack."""
        return self.judged.case.field.fronts[self.front_row]

    @property
    def back(self) -> Back:
        """Its back."""
        return self.judged.case.field.backs[self.back_row]

    def at(self, values: np.ndarray | float) -> float:
        """Return the entry of an array that broadcasts to (fronts, backs)."""
        if isinstance(values, float | int):
            return float(values)
        return float(values.item(self._place(values.shape)))

    @property
    def alone(self) -> tuple[IntArray, IntArray]:
        """Its front and its back as the only combination of a list."""
        return np.array([self.front_row]), np.array([self.back_row])

    @property
    def place(self) -> IntArray:
        """Its place among the combinations whose pump-down was followed, shape (1,)."""
        return self.judged.days.places(*self.alone)

    def _place(self, shape: tuple[int, ...]) -> tuple[int, ...]:
        if len(shape) == 2:
            return self.front_row if shape[0] > 1 else 0, self.back_row if shape[1] > 1 else 0
        return (self.back_row if shape[0] > 1 else 0,) if shape else ()

    @cached_property
    def cost(self) -> CostTable:
        """Its entry in the table of costs."""
        table = self.judged.cost
        columns = (table.purchase, table.energy_per_year, table.consumables, table.open_joints)
        return CostTable(*(np.asarray(column[self._place(column.shape)]) for column in columns))

    def limits(self, load_pa_m3_s: Mapping[str, float]) -> tuple[float, float, float]:
        """Return the limits of its front for what its trap lets by of a load.

        Largest throughput, and tolerable foreline pressure without load and at full load.
        """
        alone = self.judged.case.states.alone
        assert alone is not None  # noqa: S101 (asked for stacks with a front only)
        found, row = alone.limits(load_pa_m3_s), self.front_row
        return (
            found.largest_pa_m3_s.item(row),
            found.no_load_pa.item(row),
            found.full_load_pa.item(row),
        )


@dataclass(frozen=True)
class Said:
    """What a sentence is made of: the two numbers of a margin, and the stack."""

    required: float
    available: float
    spot: Spot


def margins_of(spot: Spot) -> tuple[Margin, ...]:
    """Return the margins of a stack that apply, in the order of the keys."""
    found = []
    for key in MarginKey:
        ledger = spot.judged.ledgers.get(key)
        if ledger is not None and not math.isnan(ratio := spot.at(ledger.ratio)):
            found.append(_margin(key, ledger, ratio, spot))
    return tuple(found)


def _margin(key: MarginKey, ledger: Ledger, ratio: float, spot: Spot) -> Margin:
    rule = RULES[key]
    if ratio >= rule.threshold - ROUNDING:
        verdict = MarginVerdict.PASS
    elif ratio >= 1.0 - ROUNDING:
        verdict = MarginVerdict.MARGINAL
    else:
        verdict = MarginVerdict.FAIL
    required, available = spot.at(ledger.required), spot.at(ledger.available)
    currency = spot.judged.case.requirements.commercial.currency
    return Margin(
        key=key,
        required=required,
        available=available,
        unit=currency if key is MarginKey.BUDGET else rule.unit,
        ratio=ratio,
        threshold=rule.threshold,
        verdict=verdict,
        explanation=_SENTENCES[key](Said(required, available, spot)),
    )


def pressure(value_pa: float) -> str:
    """Return a pressure in the trade's unit, or words where there is none."""
    if not math.isfinite(value_pa):
        return "no steady pressure"
    return format_quantity(value_pa, Dimension.PRESSURE)


def flow(value_pa_m3_s: float) -> str:
    """Return a throughput in the trade's unit."""
    return format_quantity(value_pa_m3_s, Dimension.THROUGHPUT)


def duration(value_s: float) -> str:
    """Return a time as people say it, or ``never``."""
    return format_duration(value_s) if math.isfinite(value_s) else "never"


def _ultimate(said: Said) -> str:
    if not math.isfinite(said.available):
        return "The gas load alone is more than the stack carries: there is no base pressure."
    return (
        f"After a day of pumping the chamber stands at {pressure(said.available)}; "
        f"{pressure(said.required)} is asked for."
    )


def _process_pressure(said: Said) -> str:
    if not math.isfinite(said.available):
        return "The process gas is more than the stack carries at any pressure."
    return (
        f"Under the process load the chamber stands at {pressure(said.available)}; "
        f"{pressure(said.required)} is asked for."
    )


def reaching_load(spot: Spot, state: SettledState) -> dict[str, float]:
    """Return the load that reaches a stack's high-vacuum pump, what its trap holds taken off."""
    inlet = spot.judged.case.states.inlet
    if inlet is None:
        return dict(state.load_pa_m3_s)
    row = inlet.row_of_front[spot.front_row]
    beyond = inlet.beyond_trap(state.load_pa_m3_s)
    return {gas: float(flow[row]) for gas, flow in beyond.items()}


def resting_at_work_pa(spot: Spot) -> float:
    """Return the pressure in a stack's chamber without load while the process runs.

    From the state of the process where there is one, else from that at base; what stands over the
    cold walls of the process is counted.
    """
    states = spot.judged.case.states
    state = states.process
    if state is not None and math.isfinite(chamber := spot.at(state.chamber_pa)):
        return max(chamber - sum(spot.at(part) for part in state.partial_pa.values()), 0.0)
    if states.inlet is None or states.inlet_at_work is None:
        return float(states.backs_at_work.over_pa[spot.back_row])
    more = states.inlet_at_work.over_pa - states.inlet.over_pa
    return spot.at(states.offset_pa) + float(more[spot.front_row])


def _throughput(said: Said) -> str:
    front = said.spot.front
    sentence = (
        f"The stack carries up to {flow(said.available)}; the process brings {flow(said.required)}."
    )
    state = said.spot.judged.case.states.process
    if front is None or state is None:
        return sentence
    own = said.spot.limits(state.load_pa_m3_s)[0]
    if said.available < own * (1.0 - 1e-6):
        sentence += f" The foreline sets this limit: the pump alone could carry {flow(own)}."
    asked = said.spot.judged.case.requirements.process.pressure_pa
    if asked:
        speed = format_quantity(said.available / asked, Dimension.SPEED, "L/s")
        sentence += f" At {pressure(asked)} the chamber therefore sees at most {speed}."
    return sentence


def _foreline(said: Said) -> str:
    if not math.isfinite(said.required):
        return "The backing pump cannot carry the load at any pressure."
    sentence = (
        f"The foreline stands at {pressure(said.required)}; at this load up to "
        f"{pressure(said.available)} is tolerable."
    )
    if (
        said.available < said.required
        and said.spot.front is not None
        and isinstance(said.spot.front.pump, VapourPump)
    ):
        sentence += " The pump stalls: its speed is gone and its fluid goes into the chamber."
    return sentence


def _inlet(said: Said) -> str:
    if not math.isfinite(said.required):
        return "The load is more than the pump carries: there is no steady inlet pressure."
    return (
        f"The pump's inlet stands at {pressure(said.required)} while the process runs; it takes "
        f"{pressure(said.available)} continuously."
    )


def _crossover(said: Said) -> str:
    front = said.spot.front
    what = "the high-vacuum pump may take over"
    if front is not None and isinstance(front.pump, TurboPump):
        what = "the turbomolecular pump may be started"
    asked = said.spot.judged.case.requirements
    if lowest_asked_pa(asked) >= said.available or (front and stands_idle(front, asked)):
        lowest = pressure(lowest_asked_pa(asked))
        return (
            f"The work stays at or above {lowest}: roughing alone does it, this pump stands idle."
        )
    sentence = (
        f"Roughing reaches {pressure(said.required)}; {what} below {pressure(said.available)}."
    )
    if front is not None and isinstance(front.pump, VapourPump):
        sentence += f" The gas burst that follows is over within {duration(BURST_S)}."
    oily = said.spot.back.backing.kind in OIL_SEALED_KINDS and said.spot.back.trap is None
    if oily and said.spot.back.booster is None and said.available < VANE_CLEAN_ROUGHING_PA:
        sentence += (
            f" Below {pressure(VANE_CLEAN_ROUGHING_PA)} a bare oil-sealed pump sends oil up the "
            "rough line: change over promptly, or fit a trap."
        )
    return sentence


def _pump_down(said: Said) -> str:
    if not math.isfinite(said.available):
        return "The target pressure is not reached within a fortnight."
    takes, allowed = duration(said.available), duration(said.required)
    return f"The target is reached after {takes}; {allowed} is allowed."


def _vapour(said: Said) -> str:
    load = format_quantity(said.required, Dimension.MASS_RATE)
    spot = said.spot
    way = vapour_route(spot.judged.case, spot.front_row, spot.back_row)
    if math.isinf(said.available):
        return f"The vapour load is {load}; the exhaust is hot enough that nothing condenses. {way}"
    takes = format_quantity(said.available, Dimension.MASS_RATE)
    return f"The vapour load is {load}; {takes} can be taken. {way}"


def _duty(said: Said) -> str:
    front = said.spot.front
    if (
        front is not None
        and isinstance(front.pump, CapturePump)
        and said.available != room_s(said.spot.judged.case.requirements.duty)
    ):
        what = "until it is full"
        if front.pump.kind is PumpKind.SPUTTER_ION:
            what = "until it is spent"
        life, wanted = duration(said.available), duration(said.required)
        return f"The pump holds gas for {life} {what}; {wanted} is wanted."
    return f"{_work(said)} {_shift(said)}"


def _work(said: Said) -> str:
    """Say how long the cycles of a day take."""
    days = said.spot.judged.days
    duty = days.case.requirements.duty
    if math.isinf(said.required):
        return "A cycle does not end, since its target is not reached."
    if not duty.repeats:
        return f"A cycle takes {duration(said.required)}, start and venting included."
    place = said.spot.place
    first, later = (
        duration(float(each[place][0])) for each in (days.needs.first_s, days.needs.later_s)
    )
    takes = f"the first cycle of a day takes {first} and each later one {later}"
    if first == later:
        takes = f"each cycle takes {first}"
    return (
        f"Start and venting included, {takes}: {duration(said.required)} for "
        f"{duty.cycles_per_day:g} cycles."
    )


def _shift(said: Said) -> str:
    """Say how much time there is."""
    duty = said.spot.judged.case.requirements.duty
    if duty.cycles_per_day < 1.0:
        return f"From one to the next there are {duration(said.available)} of shifts."
    return f"The shift is {duration(said.available)}."


def _backstreaming(said: Said) -> str:
    return (
        f"About {said.available:.1e} kg/(m²·s) of fluid goes towards the chamber; for this "
        f"cleanliness {said.required:.1e} kg/(m²·s) is taken as allowed."
    )


def _fluid(said: Said) -> str:
    runs = format_quantity(said.required, Dimension.TEMPERATURE)
    stands = format_quantity(said.available, Dimension.TEMPERATURE)
    return f"The boiler runs at {runs}; the fluid stands {stands}."


def _utilities(said: Said) -> str:
    return _refusal(said.spot, MarginKey.UTILITIES) or "The site offers what the pumps need."


def _compatibility(said: Said) -> str:
    if said.spot.at(said.spot.judged.case.open_joints):
        return "The catalogue has no parts for one of the joints of this stack."
    return _refusal(said.spot, MarginKey.COMPATIBILITY) or "Gas, cleanliness and pumps go together."


def _refusal(spot: Spot, key: MarginKey) -> str:
    parts = (spot.front, spot.back)
    reasons = [p.refusal.reason for p in parts if p and p.refusal and p.refusal.key is key]
    return " ".join(reasons)


def _budget(said: Said) -> str:
    currency = said.spot.judged.case.requirements.commercial.currency
    costs, limit = f"{said.available:,.2f} {currency}", f"{said.required:,.2f} {currency}"
    return f"The parts cost {costs}; the budget is {limit}."


_SENTENCES: Mapping[MarginKey, Callable[[Said], str]] = {
    MarginKey.ULTIMATE: _ultimate,
    MarginKey.PROCESS_PRESSURE: _process_pressure,
    MarginKey.THROUGHPUT: _throughput,
    MarginKey.FORELINE: _foreline,
    MarginKey.INLET: _inlet,
    MarginKey.CROSSOVER: _crossover,
    MarginKey.PUMP_DOWN: _pump_down,
    MarginKey.VAPOUR: _vapour,
    MarginKey.DUTY: _duty,
    MarginKey.BACKSTREAMING: _backstreaming,
    MarginKey.FLUID: _fluid,
    MarginKey.UTILITIES: _utilities,
    MarginKey.COMPATIBILITY: _compatibility,
    MarginKey.BUDGET: _budget,
}
