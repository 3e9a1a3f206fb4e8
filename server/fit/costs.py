"""Purchase and running cost of every combination, as sums of small tables in minor units (cents).

A stack's price is the price of its front, its back and the joints between them, so sums are exact
without forming a single combination. Every amount of a component is rounded once, to the minor
unit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from server.catalog.flanges import Flange
from server.catalog.items import Catalog, Filter, Item, Pump, Trap, TurboPump
from server.fit.assembly import (
    Assembly,
    backing_assembly,
    foreline_assembly,
    inlet_assembly,
    roughing_assembly,
)
from server.fit.candidates import Back, Field, Front
from server.fit.instruments import gauge_assembly, interlock_assembly, vent_assembly
from server.fit.money import minor_digits, round_money
from server.fit.requirements import LineRun, Requirements
from server.fit.upkeep import UpkeepLine, Use, energy_kwh_per_year, exposure_of, upkeep_lines

Minor = NDArray[np.int64]

BOOSTER_JOINT = LineRun(0.0, None, 0)
"""A booster is bolted straight onto its backing pump."""


@dataclass(frozen=True)
class CostTable:
    """Costs of a field in minor units; shapes broadcast to (fronts, backs)."""

    purchase: Minor
    energy_per_year: Minor
    consumables: Minor
    """Over the horizon, without what is bought with the pumps."""
    open_joints: NDArray[np.bool_]

    def total(self, horizon_years: float) -> Minor:
        """Return purchase, energy and consumables over the horizon."""
        energy = np.rint(self.energy_per_year * horizon_years).astype(np.int64)
        return np.asarray(self.purchase + energy + self.consumables)


@dataclass(frozen=True)
class ComponentCost:
    """Purchase, energy per year and consumables over the horizon of a front or a back."""

    amounts: tuple[int, int, int]
    is_open: bool


class Purse:
    """Prices fronts, backs and joints of one inquiry; equal things are priced once."""

    def __init__(self, requirements: Requirements, catalog: Catalog) -> None:
        self.requirements = requirements
        self.catalog = catalog
        self.use = Use(
            requirements.duty,
            requirements.commercial.horizon_years,
            exposure_of(requirements),
        )
        self._scale = Decimal(10) ** minor_digits(catalog.currency)
        self._assemblies: dict[object, Assembly] = {}
        self._upkeep: dict[object, tuple[UpkeepLine, ...]] = {}

    def table(self, field: Field) -> CostTable:
        """Return the costs of a field."""
        backs = [self.back_cost(back, field) for back in field.backs]
        fronts = [self.front_cost(front) for front in field.fronts]
        joints, gaps = self._joints(field)
        fixed = self._minor(self.shared_assembly().price)
        front_sum = np.array([cost.amounts for cost in fronts], dtype=np.int64)
        back_sum = np.array([cost.amounts for cost in backs], dtype=np.int64)
        both = front_sum[:, np.newaxis, :] + back_sum[np.newaxis, :, :]
        open_front = np.array([cost.is_open for cost in fronts])[:, np.newaxis]
        open_back = np.array([cost.is_open for cost in backs])[np.newaxis, :]
        return CostTable(
            purchase=both[..., 0] + joints + fixed,
            energy_per_year=both[..., 1],
            consumables=both[..., 2],
            open_joints=open_front | open_back | gaps,
        )

    def front_cost(self, front: Front | None) -> ComponentCost:
        """Return the cost of a front: pump, fluid, trap and the parts to the chamber."""
        if front is None:
            return ComponentCost((0, 0, 0), is_open=False)
        assembly = self.front_assembly(front)
        grade = front.fluid.grade if front.fluid else None
        return self._component((front.pump,), assembly, {front.pump.sku: grade}, front.trap)

    def back_cost(self, back: Back, field: Field) -> ComponentCost:
        """Return the cost of a back with its own parts."""
        pumps: tuple[Pump, ...] = (back.backing,)
        if back.booster is not None:
            pumps = (back.backing, back.booster)
        assembly = self.back_assembly(back, rough=field.fronts == (None,))
        grade = back.oil.grade if back.oil else None
        return self._component(pumps, assembly, {back.backing.sku: grade}, back.trap)

    def front_assembly(self, front: Front) -> Assembly:
        """Return the parts from the chamber to a high-vacuum pump, and its interlocks."""
        line, port = self.requirements.line, self.requirements.chamber.port
        key = ("front", front.pump.sku, front.trap.sku if front.trap else "")
        return self._once(
            key,
            lambda: (
                inlet_assembly(port, front.pump, front.trap, line, self.catalog)
                + interlock_assembly(front.pump, self.catalog)
            ),
        )

    def back_assembly(self, back: Back, *, rough: bool) -> Assembly:
        """Return the parts of a back; for a rough stack its line to the chamber as well."""
        key = ("back", back.skus, rough)
        return self._once(key, lambda: self._make_back(back, rough=rough))

    def _make_back(self, back: Back, *, rough: bool) -> Assembly:
        asked = self.requirements
        parts = backing_assembly(
            back.backing, asked.hazards, asked.cleanliness, self.catalog, back.trap
        )
        parts += interlock_assembly(back.backing, self.catalog)
        if back.booster is not None and back.booster.outlet is not None:
            entry = back.backing.inlet if back.trap is None else back.trap.inlet
            parts += foreline_assembly(
                back.booster.outlet, entry, BOOSTER_JOINT, back.booster.kind,
                self.catalog, back.booster.supplied,
            )  # fmt: skip
            parts += interlock_assembly(back.booster, self.catalog)
        if rough:
            parts += self.roughing(back, asked.chamber.port, shared=False)
        return parts

    def roughing(self, back: Back, port: Flange | None, *, shared: bool) -> Assembly:
        """Return the rough line of a back, from the chamber's port or one of the line's size."""
        asked, inlet = self.requirements, back.entry
        return self._once(
            ("rough", port, inlet, shared),
            lambda: roughing_assembly(port, inlet, asked.rough_line, self.catalog, shared=shared),
        )

    def joint_assembly(self, front: Front, back: Back) -> Assembly:
        """Return what stands between a high-vacuum pump and its back: foreline and rough line.

        A turbomolecular pump is roughed through itself; capture pumps have no foreline.
        """
        pump, inlet = front.pump, back.entry
        parts = Assembly()
        if pump.outlet is not None:
            key = ("foreline", pump.outlet, pump.kind, pump.supplied, inlet)
            outlet = pump.outlet
            parts += self._once(
                key,
                lambda: foreline_assembly(
                    outlet,
                    inlet,
                    self.requirements.foreline,
                    pump.kind,
                    self.catalog,
                    pump.supplied,
                ),
            )
        if not isinstance(pump, TurboPump):
            # The high-vacuum pump takes the chamber's port; the rough line has its own.
            parts += self.roughing(back, None, shared=pump.outlet is not None)
        return parts

    def shared_assembly(self) -> Assembly:
        """Return what every stack of the inquiry has: chamber gauges and the vent valve."""
        lowest = self.requirements.target_pressure_pa
        return self._once(
            "shared", lambda: gauge_assembly(lowest, self.catalog) + vent_assembly(self.catalog)
        )

    def stack_assembly(self, front: Front | None, back: Back) -> Assembly:
        """Return all parts around the pumps of one stack."""
        parts = self.shared_assembly() + self.back_assembly(back, rough=front is None)
        if front is not None:
            parts = self.front_assembly(front) + self.joint_assembly(front, back) + parts
        return parts

    def _joints(self, field: Field) -> tuple[Minor, NDArray[np.bool_]]:
        """Price and gaps of the joints of all combinations: one count for each pump and inlet."""
        inlets: dict[Flange, int] = {}
        columns = [inlets.setdefault(back.entry, len(inlets)) for back in field.backs]
        first = [columns.index(number) for number in range(len(inlets))]
        known: dict[str, tuple[list[int], list[bool]]] = {}
        prices = np.zeros((len(field.fronts), len(inlets)), dtype=np.int64)
        gaps = np.zeros((len(field.fronts), len(inlets)), dtype=np.bool_)
        for row, front in enumerate(field.fronts):
            if front is None:
                continue
            if front.pump.sku not in known:
                joints = [self.joint_assembly(front, field.backs[column]) for column in first]
                known[front.pump.sku] = (
                    [self._minor(parts.price) for parts in joints],
                    [bool(parts.open_joints) for parts in joints],
                )
            prices[row], gaps[row] = known[front.pump.sku]
        return prices[:, columns], gaps[:, columns]

    def _component(
        self,
        pumps: Sequence[Pump],
        assembly: Assembly,
        grades: dict[str, str | None],
        trap: Trap | None,
    ) -> ComponentCost:
        purchase = assembly.price + sum((pump.price for pump in pumps), Decimal(0))
        duty, price = self.requirements.duty, self.requirements.commercial.energy_price_per_kwh
        energy = sum(energy_kwh_per_year(pump, duty) for pump in pumps)
        energy += energy_kwh_per_year(trap, duty) if trap is not None else 0.0
        consumables = Decimal(0)
        fitted = fitted_items(assembly)
        for pump in pumps:
            # filters and traps of an assembly belong to the pump it was made for, the first one
            own = fitted if pump is pumps[0] else ()
            lines = self.upkeep(pump, grades.get(pump.sku), own)
            purchase += sum((line.first_total for line in lines), Decimal(0))
            consumables += sum((line.total - line.first_total for line in lines), Decimal(0))
        paid = round_money(Decimal(energy) * price, self.catalog.currency)
        amounts = (self._minor(purchase), self._minor(paid), self._minor(consumables))
        return ComponentCost(amounts, is_open=bool(assembly.open_joints))

    def fitted(self, pump: Pump, front: Front | None, back: Back) -> tuple[Item, ...]:
        """Return the filters and traps that are counted with a pump of a stack."""
        if front is not None and pump.sku == front.pump.sku:
            return fitted_items(self.front_assembly(front))
        if pump.sku == back.backing.sku:
            return fitted_items(self.back_assembly(back, rough=front is None))
        return ()

    def upkeep(
        self, pump: Pump, grade: str | None, fitted: tuple[Item, ...]
    ) -> tuple[UpkeepLine, ...]:
        """Return what a pump of a stack uses up over the horizon."""
        key = (pump.sku, grade, tuple(item.sku for item in fitted))
        if key not in self._upkeep:
            self._upkeep[key] = upkeep_lines(
                pump, self.use, self.catalog, fluid_grade=grade, fitted=fitted
            )
        return self._upkeep[key]

    def _minor(self, amount: Decimal) -> int:
        return int((round_money(amount, self.catalog.currency) * self._scale).to_integral_exact())

    def money(self, minor: int) -> Decimal:
        """Return minor units as an amount."""
        return round_money(Decimal(minor) / self._scale, self.catalog.currency)

    def _once(self, key: object, make: Callable[[], Assembly]) -> Assembly:
        if key not in self._assemblies:
            self._assemblies[key] = make()
        return self._assemblies[key]


def fitted_items(assembly: Assembly) -> tuple[Item, ...]:
    """Return the filters and traps of an assembly, whose elements and fillings are used up."""
    return tuple(part.item for part in assembly.parts if isinstance(part.item, Filter | Trap))
