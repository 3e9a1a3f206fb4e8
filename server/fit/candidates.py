"""The combinations that are looked at: fronts × backs, and what rules out a part by itself.

A *front* is the high-vacuum pump with its fluid and trap, a *back* the backing pump with its
booster. Every limit that a front or a back breaks on its own is found once for it, not once for
each of the hundreds of combinations it stands in.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

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

    @property
    def skus(self) -> tuple[str, str, str]:
        """Backing pump, booster and trap by SKU, empty where there is none."""
        return (
            self.backing.sku,
            self.booster.sku if self.booster else "",
            self.trap.sku if self.trap else "",
        )

    @property
    def entry(self) -> Flange:
        """The flange at which a line meets the back: that of its trap, or of its pump."""
        if self.trap is not None and self.booster is None:
            return self.trap.inlet
        return self.inlet_pump.inlet

    @property
    def line_trap_sku(self) -> str:
        """SKU of the trap that stands in the line to the back, empty without one."""
        return "" if self.trap is None or self.booster is not None else self.trap.sku

    @property
    def inlet_pump(self) -> BackingPump | RootsBooster | TurboPump:
        """The pump whose inlet flange the foreline or rough line meets."""
        return self.booster or self.backing


@dataclass(frozen=True)
class Field:
    """A rectangle of combinations: every front with every back (no front: rough-vacuum stacks)."""

    fronts: tuple[Front | None, ...]
    backs: tuple[Back, ...]

    @property
    def size(self) -> int:
        """How many combinations it holds."""
        return len(self.fronts) * len(self.backs)


def fields_of(requirements: Requirements, catalog: Catalog) -> tuple[Field, ...]:
    """Return every combination to be considered, as rectangles.

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
    plain = _backs(requirements, catalog, (None, *catalog.of_type(RootsBooster)))
    with_turbo = _backs(requirements, catalog, catalog.of_type(TurboPump))
    fields = (Field(others, plain), Field(ion, with_turbo), Field((None,), plain))
    return tuple(field for field in fields if field.size)


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
    boosters: Iterable[RootsBooster | TurboPump | None],
) -> tuple[Back, ...]:
    made = []
    for backing in catalog.of_type(BackingPump):
        oils = compatibility.oils_for(backing, catalog)
        oil = usual_fill(backing, oils, requirements, catalog)
        for booster in boosters:
            for trap in _line_traps(backing, booster, requirements, catalog):
                made.append(_back(backing, booster, trap, oil, requirements, catalog))
    return tuple(made)


def _line_traps(
    backing: BackingPump,
    booster: RootsBooster | TurboPump | None,
    requirements: Requirements,
    catalog: Catalog,
) -> tuple[Trap | None, ...]:
    """No trap, or each cold trap or condenser at least as wide as the inlet, where vapour comes."""
    if booster is not None or not requirements.process.vapour:
        return (None,)
    wide = 0.95 * backing.inlet.bore_m
    return (
        None,
        *(
            trap
            for trap in catalog.of_type(Trap)
            if trap.place is TrapPlace.FORELINE
            and trap.kind in COLD_TRAPS
            and trap.inlet.bore_m >= wide
        ),
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
    return _back(backing, booster, trap, oil, requirements, catalog)


def _back(
    backing: BackingPump,
    booster: RootsBooster | TurboPump | None,
    trap: Trap | None,
    oil: Fluid | None,
    requirements: Requirements,
    catalog: Catalog,
) -> Back:
    oily = backing.kind in OIL_SEALED_KINDS
    if trap is None and oily and requirements.cleanliness is Cleanliness.LOW_OIL:
        trap = sorption_trap(backing.inlet, catalog)
    traps = () if trap is None else (trap,)
    refusal = _refusal(backing, oil, traps, requirements)
    if refusal is None:
        refusal = _water_refusal(trap, requirements)
    if refusal is None and booster is not None:
        refusal = _refusal(booster, None, (), requirements)
    return Back(backing, booster, trap, oil, refusal)


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
