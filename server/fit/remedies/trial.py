"""One combination judged again and again, with one thing changed each time."""

from __future__ import annotations

import math

import numpy as np

from server.catalog.items import Catalog
from server.fit.backing import BackTables, back_tables
from server.fit.candidates import COLD_TRAPS, Field
from server.fit.costs import Purse
from server.fit.evaluation import ALL_MARGINS, How, Judged, judge
from server.fit.explain import Spot
from server.fit.inlet import InletTables, inlet_tables
from server.fit.loads import Loads, loads_of
from server.fit.margins import TIMED_MARGINS
from server.fit.present import title_of
from server.fit.requirements import Requirements
from server.fit.results import MarginKey
from server.fit.thresholds import ROUNDING, RULES


class Trial:
    """One combination and its inquiry; tables that a change leaves alone are made once."""

    def __init__(self, spot: Spot, requirements: Requirements, catalog: Catalog) -> None:
        self.front, self.back = spot.front, spot.back
        self.title = title_of(spot)
        self.requirements = requirements
        self.catalog = catalog
        self.field = Field((spot.front,), (spot.back,))
        self.purse = Purse(requirements, catalog)
        self._cost = self.purse.table(self.field)
        self._inlets: dict[object, InletTables | None] = {}
        self._backings: dict[object, BackTables] = {}
        self._now = self._judge(requirements)
        self._tried: dict[tuple[Requirements, MarginKey], float] = {}

    @property
    def now(self) -> Judged:
        """The combination as it is asked for, pump-down included."""
        return self._now

    @property
    def purchase(self) -> float:
        """What it costs to buy, in the catalogue's currency."""
        return float(self._now.case.purchase[0, 0])

    def failing(self) -> dict[MarginKey, float]:
        """Return every margin below its threshold, as a share of the threshold."""
        shares = {key: share_of(self._now, key) for key in self._now.ledgers}
        return {key: share for key, share in shares.items() if share < 1.0 - ROUNDING}

    def share(self, key: MarginKey, requirements: Requirements) -> float:
        """Return a margin ÷ its threshold for a changed inquiry; inf where it no longer applies."""
        if (requirements, key) not in self._tried:
            # margins that need the pump-down share the work of following it
            keys = frozenset(TIMED_MARGINS) if key in TIMED_MARGINS else frozenset({key})
            judged = self._judge(requirements, keys)
            self._tried |= {(requirements, known): share_of(judged, known) for known in keys}
        return self._tried[requirements, key]

    def _judge(
        self, requirements: Requirements, only: frozenset[MarginKey] = ALL_MARGINS
    ) -> Judged:
        loads = loads_of(requirements)
        how = How(
            follow_all=True,
            only=only,
            cost=self._cost,
            inlet=self._inlet(loads, requirements),
            backing=self._backing(loads, requirements),
        )
        return judge(self.field, loads, requirements, self.catalog, self.purse, how)

    def _inlet(self, loads: Loads, requirements: Requirements) -> InletTables | None:
        trap = self.front.trap if self.front else None
        key: tuple[object, ...] = (loads.species, requirements.line, requirements.chamber.port)
        if trap is not None and trap.kind in COLD_TRAPS:
            key = (*key, asked_pa(requirements))
        if key not in self._inlets:
            self._inlets[key] = inlet_tables(
                self.field.fronts, loads.species, requirements, self.catalog
            )
        return self._inlets[key]

    def _backing(self, loads: Loads, requirements: Requirements) -> BackTables:
        key: tuple[object, ...] = (loads.species, requirements.rough_line)
        if self.back.trap is not None and self.back.trap.kind in COLD_TRAPS:
            key = (*key, asked_pa(requirements))
        if key not in self._backings:
            self._backings[key] = back_tables(
                self.field.backs, loads.species, requirements, self.catalog
            )
        return self._backings[key]


def asked_pa(requirements: Requirements) -> float:
    """Return the pressure [Pa] at which a cold trap must hold vapour."""
    return requirements.process.pressure_pa or requirements.target_pressure_pa


def share_of(judged: Judged, key: MarginKey) -> float:
    """Return a margin of a single combination ÷ its threshold; inf where it does not apply."""
    ledger = judged.ledgers.get(key)
    ratio = math.nan if ledger is None else float(np.broadcast_to(ledger.ratio, (1, 1))[0, 0])
    return math.inf if math.isnan(ratio) else ratio / RULES[key].threshold
