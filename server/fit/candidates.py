"""The combinations that are looked at: fronts × backs, and what rules out a part by itself.

A *front* is the high-vacuum pump with its fluid and trap, a *back* the backing pump with its
booster. Every limit that a front or a back breaks on its own is found once for it, not once for
each of the hundreds of combinations it stands in.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

from server.catalog import compatibility
from server.catalog.flanges import Flange
from server.catalog.items import (
    OIL_SEALED_KINDS,
    BackingPump,
    CapturePump,
    Catalog,
    Cooling,
    Fluid,
    Pump,
    PumpKind,
    RootsBooster,
    Trap,
    TrapKind,
    TrapPlace,
    TurboPump,
    VapourPump,
)
from server.fit.assembly import sorption_trap
from server.fit.fluid_use import exposure_of, usual_grade
from server.fit.memory import memory_of
from server.fit.requirements import Cleanliness, Requirements
from server.fit.results import MarginKey

HighVacuumPump = VapourPump | TurboPump | CapturePump


@dataclass(frozen=True)
class Refusal:
    """Why a part cannot be used, whatever it is combined with."""

    key: MarginKey
    reason: str


@dataclass(frozen=True)
class Front:
    """High-vacuum pump, its fluid and its trap or baffle."""

    pump: HighVacuumPump
    fluid: Fluid | None
    trap: Trap | None
    refusal: Refusal | None

    @cached_property
    def skus(self) -> tuple[str, str]:
        """Pump and trap by SKU, empty where there is none."""
        return self.pump.sku, self.trap.sku if self.trap else ""


@dataclass(frozen=True)
class Back:
    """What exhausts to atmosphere: backing pump, booster and condenser.

    ``booster`` is a Roots booster, or the turbomolecular pump that brings a chamber down to the
    start pressure of a sputter-ion pump.
    """

    backing: BackingPump
    booster: RootsBooster | TurboPump | None
    trap: Trap | None
    oil: Fluid | None
    refusal: Refusal | None

    @cached_property
    def skus(self) -> tuple[str, str, str]:
        """Backing pump, booster and trap by SKU, empty where there is none."""
        return (
            self.backing.sku,
            self.booster.sku if self.booster else "",
            self.trap.sku if self.trap else "",
        )

    @cached_property
    def entry(self) -> Flange:
        """The flange at which a line meets the back: that of its trap, or of its pump."""
        if self.trap is not None and self.booster is None:
            return self.trap.inlet
        return self.inlet_pump.inlet

    @cached_property
    def line_end(self) -> tuple[Flange, float, str]:
        """What a line to the back ends in: flange, bore of the pump, SKU of a trap in the line."""
        trap = "" if self.trap is None or self.booster is not None else self.trap.sku
        return self.entry, self.inlet_pump.inlet.bore_m, trap

    @property
    def inlet_pump(self) -> BackingPump | RootsBooster | TurboPump:
        """The pump whose inlet flange the foreline or rough line meets."""
        return self.booster or self.backing


class Combination(Protocol):
    """A front with a back, whatever else is known of them."""

    @property
    def front(self) -> Front | None:
        """The front; None for a rough stack."""
        ...

    @property
    def back(self) -> Back:
        """The back."""
        ...


@dataclass(frozen=True)
class Field:
    """A rectangle of combinations: every front with every back (no front: rough-vacuum stacks)."""

    fronts: tuple[Front | None, ...]
    backs: tuple[Back, ...]
    refused: Mapping[str, int] = field(default_factory=dict, compare=False)
    """Combinations that were never formed, by the margin that rules out a part of them."""

    @property
    def size(self) -> int:
        """How many combinations it holds."""
        return len(self.fronts) * len(self.backs)

    @property
    def considered(self) -> int:
        """How many combinations it stands for: those it holds and those never formed."""
        return self.size + sum(self.refused.values())


def fields_of(requirements: Requirements, catalog: Catalog) -> tuple[Field, ...]:
    """Return every combination that no part rules out by itself, as rectangles.

    The others are counted, each once: under its front's reason, else its back's.

    Sputter-ion pumps start below what a backing pump reaches, so they meet backs with a
    turbomolecular pump; all other high-vacuum pumps meet backs with or without a Roots booster.

    What can be combined and what a part breaks by itself depends on the site and the kind of gas
    alone: inquiries that share them share the fields.
    """
    substances = frozenset(load.substance for load in requirements.process.vapour)
    site = (requirements.utilities, requirements.hazards, requirements.cleanliness, substances)
    return memory_of(catalog).once(("fields", *site), lambda: _fields(requirements, catalog))


def _fields(requirements: Requirements, catalog: Catalog) -> tuple[Field, ...]:
    fronts = _fronts(requirements, catalog)
    ion = tuple(front for front in fronts if front.pump.kind is PumpKind.SPUTTER_ION)
    others = tuple(front for front in fronts if front.pump.kind is not PumpKind.SPUTTER_ION)
    plain = _backs(requirements, catalog, catalog.of_type(RootsBooster), alone=True)
    with_turbo = _backs(requirements, catalog, catalog.of_type(TurboPump), alone=False)
    found = (_field(others, plain), _field(ion, with_turbo), _field((None,), plain))
    return tuple(one for one in found if one.considered)


@dataclass(frozen=True)
class _Backs:
    """Backs that can be used, and how many cannot, by the margin that rules them out."""

    usable: tuple[Back, ...]
    refused: Mapping[MarginKey, int]


def _field(fronts: Sequence[Front | None], backs: _Backs) -> Field:
    """Return the usable fronts with the usable backs, the other combinations counted."""
    all_backs = len(backs.usable) + sum(backs.refused.values())
    usable = tuple(front for front in fronts if front is None or front.refusal is None)
    refused: Counter[str] = Counter()
    for front in fronts:
        if front is not None and front.refusal is not None:
            refused[front.refusal.key.value] += all_backs
    for key, count in backs.refused.items():
        refused[key.value] += count * len(usable)
    return Field(usable, backs.usable, +refused)


def _fronts(requirements: Requirements, catalog: Catalog) -> tuple[Front, ...]:
    fronts: list[Front] = []
    for pump in catalog.of_type(Pump):
        if not isinstance(pump, VapourPump | TurboPump | CapturePump):
            continue
        fluids: Iterable[Fluid | None] = (None,)
        if isinstance(pump, VapourPump):
            fluids = grades_for(pump, catalog)
        traps = _inlet_traps(pump, requirements, catalog)
        fronts.extend(
            make_front(pump, fluid, trap, requirements) for fluid in fluids for trap in traps
        )
    return tuple(fronts)


def grades_for(pump: VapourPump, catalog: Catalog) -> tuple[Fluid, ...]:
    """Return one container of each grade that a vapour pump may run with."""
    grades: dict[str, Fluid] = {}
    for fluid in compatibility.fluids_for(pump, catalog):
        grades.setdefault(fluid.grade, fluid)
    return tuple(grades.values())


def _inlet_traps(
    pump: HighVacuumPump, requirements: Requirements, catalog: Catalog
) -> tuple[Trap | None, ...]:
    """Baffles and traps for vapour pumps; for a turbo only a cold trap, where vapour comes."""
    if isinstance(pump, CapturePump):
        return (None,)
    traps = compatibility.traps_for(pump.inlet, catalog, TrapPlace.HIGH_VACUUM)
    if isinstance(pump, TurboPump):
        cold = [trap for trap in traps if trap.kind is TrapKind.NITROGEN_TRAP]
        return (None, *cold) if requirements.process.vapour else (None,)
    return (None, *traps)


def _backs(
    requirements: Requirements,
    catalog: Catalog,
    boosters: Sequence[RootsBooster | TurboPump],
    *,
    alone: bool,
) -> _Backs:
    """Return backing pumps with boosters, and by themselves with traps: each part judged once."""
    made: list[Back] = []
    refused: Counter[MarginKey] = Counter()
    judged = [(booster, _booster_refusal(booster, requirements)) for booster in boosters]
    bare: list[RootsBooster | TurboPump | None] = [None] if alone else []
    bare += [booster for booster, refusal in judged if refusal is None]
    useless = Counter(refusal.key for _, refusal in judged if refusal is not None)
    for backing in catalog.of_type(BackingPump):
        oils = compatibility.oils_for(backing, catalog)
        oil = usual_fill(backing, oils, requirements, catalog)
        trap = _trap_for(backing, None, requirements, catalog)
        refusal = _backing_refusal(backing, oil, trap, requirements)
        if refusal is None:
            made.extend(Back(backing, booster, trap, oil, None) for booster in bare)
            refused.update(useless)
        else:
            refused[refusal.key] += len(bare) + useless.total()
        for trap in _line_traps(backing, requirements, catalog) if alone else ():
            refusal = _backing_refusal(backing, oil, trap, requirements)
            if refusal is None:
                made.append(Back(backing, None, trap, oil, None))
            else:
                refused[refusal.key] += 1
    return _Backs(tuple(made), refused)


def _line_traps(
    backing: BackingPump, requirements: Requirements, catalog: Catalog
) -> tuple[Trap, ...]:
    """Cold traps and condensers at least as wide as the inlet of a pump, where vapour comes."""
    if not requirements.process.vapour:
        return ()
    wide = 0.95 * backing.inlet.bore_m
    return tuple(
        trap
        for trap in catalog.of_type(Trap)
        if trap.place is TrapPlace.FORELINE
        and trap.kind in COLD_TRAPS
        and trap.inlet.bore_m >= wide
    )


COLD_TRAPS = frozenset({TrapKind.NITROGEN_TRAP, TrapKind.REFRIGERATED_TRAP, TrapKind.CONDENSER})
"""Traps that hold vapour on a cold surface."""


def make_front(
    pump: HighVacuumPump, fluid: Fluid | None, trap: Trap | None, requirements: Requirements
) -> Front:
    """Return a front with what rules it out by itself."""
    traps = () if trap is None else (trap,)
    refusal = _refusal(pump, fluid, traps, requirements)
    if refusal is None:
        refusal = _water_refusal(trap, requirements)
    if refusal is None and isinstance(pump, VapourPump) and fluid is not None:
        fits = compatibility.fluid_fits(pump, fluid)
        refusal = None if fits.allowed else Refusal(MarginKey.FLUID, fits.reason)
    return Front(pump, fluid, trap, refusal)


def make_back(
    backing: BackingPump,
    booster: RootsBooster | TurboPump | None,
    trap: Trap | None,
    requirements: Requirements,
    catalog: Catalog,
) -> Back:
    """Return a back with its oil and with what rules it out by itself.

    Where little oil is allowed, an oil-sealed pump gets a sorption trap in front of it.
    """
    oils = compatibility.oils_for(backing, catalog)
    oil = usual_fill(backing, oils, requirements, catalog)
    trap = _trap_for(backing, trap, requirements, catalog)
    refusal = _backing_refusal(backing, oil, trap, requirements)
    return Back(backing, booster, trap, oil, refusal or _booster_refusal(booster, requirements))


def _trap_for(
    backing: BackingPump, wanted: Trap | None, requirements: Requirements, catalog: Catalog
) -> Trap | None:
    """Return the trap of a backing pump: a sorption trap where none is wanted but it needs one."""
    oily = backing.kind in OIL_SEALED_KINDS
    if wanted is None and oily and requirements.cleanliness is Cleanliness.LOW_OIL:
        return sorption_trap(backing.inlet, catalog)
    return wanted


def _backing_refusal(
    backing: BackingPump, oil: Fluid | None, trap: Trap | None, requirements: Requirements
) -> Refusal | None:
    """Return what rules out a backing pump with its trap, whatever booster stands before it."""
    traps = () if trap is None else (trap,)
    return _refusal(backing, oil, traps, requirements) or _water_refusal(trap, requirements)


def _booster_refusal(
    booster: RootsBooster | TurboPump | None, requirements: Requirements
) -> Refusal | None:
    return None if booster is None else _refusal(booster, None, (), requirements)


def _water_refusal(trap: Trap | None, requirements: Requirements) -> Refusal | None:
    if trap is None or trap.cooling is not Cooling.WATER or requirements.utilities.cooling_water:
        return None
    return Refusal(MarginKey.UTILITIES, f"{trap.name} needs cooling water.")


def usual_fill(
    pump: BackingPump | VapourPump,
    fluids: Sequence[Fluid],
    requirements: Requirements,
    catalog: Catalog,
) -> Fluid | None:
    """Return the usual fluid or oil for the gas; where the gas allows none, any, to be refused."""
    hazards = {hazard.value for hazard in requirements.hazards}
    if not any(compatibility.hazards_allow(hazards, pump, fluid).allowed for fluid in fluids):
        return fluids[0] if fluids else None
    grade = usual_grade(pump, exposure_of(requirements), catalog)
    return next(fluid for fluid in fluids if fluid.grade == grade)


def _refusal(
    pump: Pump, fluid: Fluid | None, traps: Sequence[Trap], requirements: Requirements
) -> Refusal | None:
    """Return the first thing that rules a pump out, whatever it is combined with."""
    site = requirements.utilities
    supply = compatibility.supply_allows(
        pump,
        cooling_water=site.cooling_water,
        three_phase=site.three_phase,
        mains_voltage_v=site.mains_v,
    )
    if not supply.allowed:
        return Refusal(MarginKey.UTILITIES, supply.reason)
    substances = {load.substance for load in requirements.process.vapour}
    for rule in (
        compatibility.cleanliness_allows(requirements.cleanliness.value, pump, traps),
        compatibility.hazards_allow((h.value for h in requirements.hazards), pump, fluid),
        compatibility.solvents_allow(pump, substances, traps),
    ):
        if not rule.allowed:
            return Refusal(MarginKey.COMPATIBILITY, rule.reason)
    return None
