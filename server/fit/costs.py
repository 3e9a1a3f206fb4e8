"""Purchase and running cost of every combination, as sums of small tables in minor units (cents).

A stack's price is the price of its front, its back and the joints between them, so sums are exact
without forming a single combination. Every amount of a component is rounded once, to the minor
unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.catalog.flanges import Flange
from server.catalog.items import CapturePump, Catalog, Item, Pump, Trap, TurboPump
from server.fit.alike import Groups
from server.fit.assembly import (
    Assembly,
    backing_assembly,
    foreline_assembly,
    inlet_assembly,
    roughing_assembly,
)
from server.fit.candidates import Back, Field, Front
from server.fit.cost_table import CostParts, CostTable, Joints, Minor
from server.fit.instruments import gauge_assembly, interlock_assembly, vent_assembly
from server.fit.memory import memory_of
from server.fit.money import minor_digits, round_money
from server.fit.requirements import LineRun, Requirements
from server.fit.running import Use, energy_kwh_per_year
from server.fit.stack_use import only_roughing, use_of
from server.fit.upkeep import UpkeepLine, upkeep_lines
from server.physics.arrays import BoolArray, IntArray

BOOSTER_JOINT = LineRun(0.0, None, 0)
"""A booster is bolted straight onto its backing pump."""


@dataclass(frozen=True)
class ComponentCost:
    """Purchase, energy per year and consumables over the horizon of a front or a back."""

    amounts: tuple[int, int, int]
    is_open: bool


@dataclass(frozen=True)
class OwnCost:
    """What pumps cost with their first fill, and in minor units their energy and later upkeep."""

    purchase: Decimal
    energy_per_year: int
    consumables: int


class Purse:
    """Prices fronts, backs and joints of an inquiry; what an earlier one priced is remembered."""

    def __init__(
        self, requirements: Requirements, catalog: Catalog, use: Use | None = None
    ) -> None:
        self.requirements = requirements
        self.catalog = catalog
        self.use = use or use_of(requirements, requirements.commercial.horizon_years)
        self._scale = Decimal(10) ** minor_digits(catalog.currency)
        self._memory = memory_of(catalog)
        energy_price = requirements.commercial.energy_price_per_kwh
        fitting = (requirements.hazards, requirements.cleanliness)
        self._use_number = self._memory.number(self.use)
        self._terms_number = self._memory.number((self._use_number, energy_price, fitting))
        at_inlet = (requirements.chamber.port, requirements.line)
        self._inlet_number = self._memory.number(("inlet", *at_inlet))
        self._rough_number = self._memory.number(
            ("rough", requirements.chamber.port, requirements.rough_line)
        )
        self._joint_number = self._memory.number(
            ("joint", requirements.foreline, requirements.rough_line)
        )

    def behind(self, front: Front | None) -> Purse:
        """Return the purse for the pumps behind a front: behind a capture pump they only rough."""
        return self._roughing if front and isinstance(front.pump, CapturePump) else self

    @cached_property
    def _roughing(self) -> Purse:
        return Purse(self.requirements, self.catalog, only_roughing(self.use, self.requirements))

    def table(self, field: Field, wanted: BoolArray | None = None) -> CostTable:
        """Return the costs of a field.

        Parameters
        ----------
        field : Field
            Fronts and backs.
        wanted : array of bool, shape (fronts, backs)
            Combinations whose costs are read; left out: all. Fronts and backs that stand in none of
            them are not priced, and count as free.
        """
        return self.parts(field, wanted).table()

    def parts(self, field: Field, wanted: BoolArray | None = None) -> CostParts:
        """Return what the costs of a field are made of; parameters as those of ``table``."""
        shape = (len(field.fronts), len(field.backs))
        asked = np.ones(shape, dtype=np.bool_) if wanted is None else wanted
        rows, columns = (np.nonzero(asked.any(axis=axis))[0] for axis in (1, 0))
        fronts = [self.front_cost(field.fronts[row]) for row in rows]
        captures = np.array([self.behind(front) is not self for front in field.fronts])
        front_sum, open_front = _spread(fronts, rows, shape[0])
        back_sum, open_back = self._back_costs(field, columns)
        alone = back_sum
        if captures[rows].any():
            alone, _ = self._roughing._back_costs(field, columns)
        return CostParts(
            fronts=front_sum + np.array([self._minor(self.shared_assembly().price), 0, 0]),
            backs=np.stack([back_sum, alone]),
            behind=captures.astype(np.intp),
            open_fronts=open_front,
            open_backs=open_back,
            joints=self._joints(field, rows, columns),
        )

    def _back_costs(self, field: Field, columns: IntArray) -> tuple[Minor, NDArray[np.bool_]]:
        """Amounts and gaps of some backs of a field, none for the others."""
        backs = [self.back_cost(field.backs[column], field) for column in columns]
        return _spread(backs, columns, len(field.backs))

    def front_cost(self, front: Front | None) -> ComponentCost:
        """Return the cost of a front: pump, fluid, trap and the parts to the chamber."""
        if front is None:
            return ComponentCost((0, 0, 0), is_open=False)
        grade = front.fluid.grade if front.fluid else None

        def price() -> ComponentCost:
            grades = {front.pump.sku: grade}
            return self._component((front.pump,), self.front_assembly(front), grades, front.trap)

        key = ("front cost", front.skus, grade, self._inlet_number, self._terms_number)
        return self._memory.once(key, price)

    def back_cost(self, back: Back, field: Field) -> ComponentCost:
        """Return the cost of a back with its own parts."""
        rough = field.fronts == (None,)
        grade = back.oil.grade if back.oil else None

        def price() -> ComponentCost:
            pumps: tuple[Pump, ...] = (back.backing,)
            if back.booster is not None:
                pumps = (back.backing, back.booster)
            assembly = self.back_assembly(back, rough=rough)
            return self._component(pumps, assembly, {back.backing.sku: grade}, back.trap)

        line = self._rough_number if rough else None
        key = ("back cost", back.skus, grade, line, self._terms_number)
        return self._memory.once(key, price)

    def front_assembly(self, front: Front) -> Assembly:
        """Return the parts from the chamber to a high-vacuum pump, and its interlocks."""
        line, port = self.requirements.line, self.requirements.chamber.port
        key = ("front", front.skus, self._inlet_number)
        return self._memory.once(
            key,
            lambda: (
                inlet_assembly(port, front.pump, front.trap, line, self.catalog)
                + self._interlocks(front.pump)
            ),
        )

    def _interlocks(self, pump: Pump) -> Assembly:
        return self._memory.once(
            ("interlocks", pump.sku), lambda: interlock_assembly(pump, self.catalog)
        )

    def back_assembly(self, back: Back, *, rough: bool) -> Assembly:
        """Return the parts of a back; for a rough stack its line to the chamber as well."""
        asked = self.requirements
        line = (asked.chamber.port, asked.rough_line) if rough else None
        key = ("back", back.skus, line, asked.hazards, asked.cleanliness)
        return self._memory.once(key, lambda: self._make_back(back, rough=rough))

    def _make_back(self, back: Back, *, rough: bool) -> Assembly:
        asked = self.requirements
        parts = backing_assembly(
            back.backing, asked.hazards, asked.cleanliness, self.catalog, back.trap
        )
        parts += self._interlocks(back.backing)
        if back.booster is not None and back.booster.outlet is not None:
            entry = back.backing.inlet if back.trap is None else back.trap.inlet
            parts += foreline_assembly(
                back.booster.outlet, entry, BOOSTER_JOINT, back.booster.kind,
                self.catalog, back.booster.supplied,
            )  # fmt: skip
            parts += self._interlocks(back.booster)
        if rough:
            parts += self.roughing(back, asked.chamber.port, shared=False)
        return parts

    def roughing(self, back: Back, port: Flange | None, *, shared: bool) -> Assembly:
        """Return the rough line of a back, from the chamber's port or one of the line's size."""
        asked, inlet = self.requirements, back.entry
        return self._memory.once(
            ("rough", port, inlet, shared, asked.rough_line),
            lambda: roughing_assembly(port, inlet, asked.rough_line, self.catalog, shared=shared),
        )

    def joint_assembly(self, front: Front, back: Back) -> Assembly:
        """Return what stands between a high-vacuum pump and its back: foreline and rough line.

        A turbomolecular pump is roughed through itself; capture pumps have no foreline.
        """
        pump, inlet = front.pump, back.entry
        parts = Assembly()
        if pump.outlet is not None:
            outlet, run = pump.outlet, self.requirements.foreline
            parts += self._memory.once(
                ("foreline", outlet, pump.kind, pump.supplied, inlet, run),
                lambda: foreline_assembly(
                    outlet, inlet, run, pump.kind, self.catalog, pump.supplied
                ),
            )
        if not isinstance(pump, TurboPump):
            # The high-vacuum pump takes the chamber's port; the rough line has its own.
            parts += self.roughing(back, None, shared=pump.outlet is not None)
        return parts

    def shared_assembly(self) -> Assembly:
        """Return what every stack of the inquiry has: chamber gauges and the vent valve."""
        lowest = self.requirements.target_pressure_pa
        return self._memory.once(
            ("shared", lowest),
            lambda: gauge_assembly(lowest, self.catalog) + vent_assembly(self.catalog),
        )

    def stack_assembly(self, front: Front | None, back: Back) -> Assembly:
        """Return all parts around the pumps of one stack."""
        parts = self.shared_assembly() + self.back_assembly(back, rough=front is None)
        if front is not None:
            parts = self.front_assembly(front) + self.joint_assembly(front, back) + parts
        return parts

    def _joints(self, field: Field, rows: IntArray, columns: IntArray) -> Joints:
        """Price and gaps of the joints of combinations: one count for each pump and inlet."""
        fronts, backs = [field.fronts[row] for row in rows], [field.backs[col] for col in columns]
        pumps = Groups.by(front.pump.sku if front else None for front in fronts)
        inlets = Groups.by(back.entry for back in backs)
        # the last row and column stand for combinations that nobody asks for
        pump_of = np.full(len(field.fronts), len(pumps.first))
        inlet_of = np.full(len(field.backs), len(inlets.first))
        pump_of[rows], inlet_of[columns] = pumps.of, inlets.of
        prices = np.zeros((len(pumps.first) + 1, len(inlets.first) + 1), dtype=np.int64)
        gaps = np.zeros(prices.shape, dtype=np.bool_)
        for row, pump in enumerate(pumps.first):
            for column, inlet in enumerate(inlets.first):
                place = row, column
                prices[place], gaps[place] = self._joint(fronts[pump], backs[inlet])
        return Joints(prices, gaps, pump_of, inlet_of)

    def _joint(self, front: Front | None, back: Back) -> tuple[int, bool]:
        if front is None:
            return 0, False
        key = ("joint", front.pump.sku, back.entry, self._joint_number)

        def price() -> tuple[int, bool]:
            parts = self.joint_assembly(front, back)
            return self._minor(parts.price), bool(parts.open_joints)

        return self._memory.once(key, price)

    def _component(
        self,
        pumps: Sequence[Pump],
        assembly: Assembly,
        grades: dict[str, str | None],
        trap: Trap | None,
    ) -> ComponentCost:
        own = self._own_cost(pumps, assembly.fitted, grades, trap)
        purchase = self._minor(own.purchase + assembly.price)
        return ComponentCost(
            (purchase, own.energy_per_year, own.consumables), is_open=bool(assembly.open_joints)
        )

    def _own_cost(
        self,
        pumps: Sequence[Pump],
        fitted: tuple[Item, ...],
        grades: dict[str, str | None],
        trap: Trap | None,
    ) -> OwnCost:
        """Return what pumps cost by themselves, whatever joins them."""
        skus = (*(pump.sku for pump in pumps), "", *(item.sku for item in fitted))
        key = ("own cost", skus, *grades.values(), trap.sku if trap else "", self._terms_number)
        return self._memory.once(key, lambda: self._add_up(pumps, fitted, grades, trap))

    def _add_up(
        self,
        pumps: Sequence[Pump],
        fitted: tuple[Item, ...],
        grades: dict[str, str | None],
        trap: Trap | None,
    ) -> OwnCost:
        purchase = sum((pump.price for pump in pumps), Decimal(0))
        energy = sum(self._energy_kwh(pump) for pump in pumps)
        energy += self._energy_kwh(trap) if trap is not None else 0.0
        consumables = Decimal(0)
        for pump in pumps:
            # filters and traps of an assembly belong to the pump it was made for, the first one
            first, later = self._upkeep_price(
                pump, grades.get(pump.sku), fitted if pump is pumps[0] else ()
            )
            purchase += first
            consumables += later
        price = self.requirements.commercial.energy_price_per_kwh
        return OwnCost(purchase, self._minor(Decimal(energy) * price), self._minor(consumables))

    def _energy_kwh(self, item: Pump | Trap) -> float:
        """Energy of a pump or trap in a year."""
        duty, run = self.use.duty, self.use.run_s_per_day
        key = ("energy", item.sku, self._use_number)
        return self._memory.once(key, lambda: energy_kwh_per_year(item, duty, run))

    def _upkeep_price(
        self, pump: Pump, grade: str | None, fitted: tuple[Item, ...]
    ) -> tuple[Decimal, Decimal]:
        """Price of what is bought with a pump, and of what it uses up later."""
        key = ("upkeep price", pump.sku, grade, self._use_number, *(item.sku for item in fitted))

        def add() -> tuple[Decimal, Decimal]:
            lines = self.upkeep(pump, grade, fitted)
            first = sum((line.first_total for line in lines), Decimal(0))
            return first, sum((line.total for line in lines), Decimal(0)) - first

        return self._memory.once(key, add)

    def fitted(self, pump: Pump, front: Front | None, back: Back) -> tuple[Item, ...]:
        """Return the filters and traps that are counted with a pump of a stack."""
        if front is not None and pump.sku == front.pump.sku:
            return self.front_assembly(front).fitted
        if pump.sku == back.backing.sku:
            return self.back_assembly(back, rough=front is None).fitted
        return ()

    def upkeep(
        self, pump: Pump, grade: str | None, fitted: tuple[Item, ...]
    ) -> tuple[UpkeepLine, ...]:
        """Return what a pump of a stack uses up over the horizon."""
        key = ("upkeep", pump.sku, grade, self._use_number, *(item.sku for item in fitted))
        return self._memory.once(
            key,
            lambda: upkeep_lines(pump, self.use, self.catalog, fluid_grade=grade, fitted=fitted),
        )

    def _minor(self, amount: Decimal) -> int:
        return int((round_money(amount, self.catalog.currency) * self._scale).to_integral_exact())

    def money(self, minor: int) -> Decimal:
        """Return minor units as an amount."""
        return round_money(Decimal(minor) / self._scale, self.catalog.currency)


def _spread(
    costs: Sequence[ComponentCost], places: IntArray, count: int
) -> tuple[Minor, NDArray[np.bool_]]:
    """Amounts and gaps of components at their places among ``count``; none at the others."""
    amounts, is_open = np.zeros((count, 3), dtype=np.int64), np.zeros(count, dtype=np.bool_)
    if len(costs):
        amounts[places] = [cost.amounts for cost in costs]
        is_open[places] = [cost.is_open for cost in costs]
    return amounts, is_open
