"""Hazards that the gases of a process bring by themselves, whether or not the inquiry names them.

Classes follow the Globally Harmonized System (United Nations, GHS; which species has which from
memory). Solvents are flammable liquids. That their vapour can burn is raised, told and warned of,
but which pumps stand it is judged vapour by vapour in ``catalog.compatibility.solvents_allow``:
judged as flammable gas too, the resistant diaphragm pumps made for solvents would be refused.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from server.catalog.words import SOLVENTS
from server.fit.defaults import Filler
from server.fit.requirements import Hazard, Process
from server.physics.species import SPECIES

HAZARDS_OF_SPECIES: Mapping[str, frozenset[Hazard]] = MappingProxyType(
    {
        "ammonia": frozenset({Hazard.FLAMMABLE, Hazard.TOXIC, Hazard.CORROSIVE}),
        "acetic_acid": frozenset({Hazard.FLAMMABLE, Hazard.CORROSIVE}),
        "carbon_monoxide": frozenset({Hazard.FLAMMABLE, Hazard.TOXIC}),
        "methanol": frozenset({Hazard.FLAMMABLE, Hazard.TOXIC}),
        **dict.fromkeys(
            (
                "acetone",
                "acetonitrile",
                "ethanol",
                "ethyl_acetate",
                "hydrogen",
                "isopropanol",
                "methane",
                "n_hexane",
                "tetrahydrofuran",
                "toluene",
            ),
            frozenset({Hazard.FLAMMABLE}),
        ),
    }
)
"""Hazard classes of the species by GHS, from memory: H220–H225 flammable, H301–H331 toxic, H314
corrosive. Oxygen counts by its share."""

LOWER_FLAMMABLE_LIMIT: Mapping[str, float] = MappingProxyType(
    {
        "hydrogen": 0.040,
        "methane": 0.044,
        "carbon_monoxide": 0.109,
        "ammonia": 0.15,
        "acetic_acid": 0.040,
        "acetone": 0.025,
        "acetonitrile": 0.030,
        "ethanol": 0.031,
        "ethyl_acetate": 0.020,
        "isopropanol": 0.020,
        "methanol": 0.060,
        "n_hexane": 0.010,
        "tetrahydrofuran": 0.015,
        "toluene": 0.010,
    }
)
"""Share in air by volume from which a gas or vapour burns; IEC 60079-20-1:2010."""

OXYGEN_RICH_SHARE = 0.25
"""Oxygen in a gas above which it counts as oxygen-rich: the usual limit of the trade, 25 % by
volume (some take 21 or 23.5 %); PNEUROP, BCGA and EIGA guidance, from memory."""

_OXYGEN_IN: Mapping[str, float] = MappingProxyType({"oxygen": 1.0, "air": 0.2095})


def shares(process: Process) -> dict[str, float]:
    """Return the share of each gas and vapour in what the process gives off, by volume."""
    amounts: dict[str, float] = {}
    for gas in process.gas:
        amounts[gas.species] = amounts.get(gas.species, 0.0) + gas.flow_mol_s
    for load in process.vapour:
        flow_mol_s = load.rate_kg_s / SPECIES[load.substance].molar_mass_kg_mol
        amounts[load.substance] = amounts.get(load.substance, 0.0) + flow_mol_s
    whole = sum(amounts.values())
    return {name: amount / whole for name, amount in amounts.items() if amount > 0.0}


def oxygen_share(process: Process) -> float:
    """Return the share of oxygen in the process gas, by volume; vapours may condense before."""
    whole = sum(gas.flow_mol_s for gas in process.gas)
    oxygen = sum(gas.flow_mol_s * _OXYGEN_IN.get(gas.species, 0.0) for gas in process.gas)
    return oxygen / whole if whole > 0.0 else 0.0


def hazards_brought(process: Process) -> frozenset[Hazard]:
    """Return every hazard class of what flows, however little of it: what people must be told."""
    species = [gas.species for gas in process.gas] + [load.substance for load in process.vapour]
    found = frozenset[Hazard]().union(
        *(HAZARDS_OF_SPECIES.get(name, frozenset()) for name in species)
    )
    rich = oxygen_share(process) > OXYGEN_RICH_SHARE
    return found | {Hazard.OXYGEN_RICH} if rich else found


def _raised(process: Process) -> Iterator[tuple[Hazard, str]]:
    """Yield the hazards that the choice of pumps must reckon with, each with its reason."""
    rich = oxygen_share(process)
    if rich > OXYGEN_RICH_SHARE:
        yield (
            Hazard.OXYGEN_RICH,
            f"the process gas holds {rich:.0%} oxygen: above 25 % only "
            "perfluorinated fluids or pumps made for oxygen are safe",
        )
    present = shares(process)
    for name in present:
        classes = HAZARDS_OF_SPECIES.get(name, frozenset())
        for hazard in (Hazard.TOXIC, Hazard.CORROSIVE):
            if hazard in classes and (hazard is Hazard.TOXIC or name not in SOLVENTS):
                yield hazard, f"{SPECIES[name].name} is {hazard.value}: treated as such"
    gases = _burning({name: part for name, part in present.items() if name not in SOLVENTS})
    if gases:
        yield Hazard.FLAMMABLE, f"{gases} flammable: there is enough to burn when it meets air"


def _raised_by_vapour(process: Process) -> Iterator[tuple[Hazard, str]]:
    """Yield the hazards that solvent vapours bring, alone or with the gases, each with its reason.

    A mixture is taken as it flows: where a trap holds the vapour, what is thawed out of it burns.
    """
    present = shares(process)
    burning = _burning(present)
    if burning and SOLVENTS.intersection(present):
        yield (
            Hazard.FLAMMABLE,
            f"{burning} flammable where air comes to it: keep air and sparks away and lead the "
            "exhaust out; pumps are chosen by whether they stand the vapour",
        )


def _burning(present: Mapping[str, float]) -> str:
    """Name what makes a mixture one that burns in air; empty where it does not.

    Le Chatelier's rule: shares over their limits add up.
    """
    shares_of_limit = {
        name: part / LOWER_FLAMMABLE_LIMIT[name]
        for name, part in present.items()
        if name in LOWER_FLAMMABLE_LIMIT
    }
    if sum(shares_of_limit.values()) <= 1.0:
        return ""
    names = " and ".join(SPECIES[name].name for name in shares_of_limit)
    return f"{names} {'is' if len(shares_of_limit) == 1 else 'are'}"


@dataclass(frozen=True)
class Hazards:
    """What the gas of an inquiry can do."""

    judged: frozenset[Hazard]
    """Named, or brought by gases: every pump is judged by them."""
    by_vapour: frozenset[Hazard]
    """Brought by solvent vapours alone: told and warned of."""


def read_hazards(typed: Iterable[Hazard] | None, process: Process, filler: Filler) -> Hazards:
    """Return the hazards of a process: those named, and those its gases bring, which are listed.

    Parameters
    ----------
    typed : iterable of Hazard or None
        The hazards named.
    process : Process
        Its gases and vapours.
    filler : Filler
        Lists what was assumed.
    """
    named = frozenset(typed or ())
    reasons: dict[Hazard, list[str]] = {}
    for hazard, reason in _raised(process):
        if hazard not in named:
            reasons.setdefault(hazard, []).append(reason)
    judged = named | frozenset(reasons)
    by_vapour = {
        hazard: reason for hazard, reason in _raised_by_vapour(process) if hazard not in judged
    }
    if reasons or by_vapour:
        listed = (reason for found in reasons.values() for reason in found)
        said = dict.fromkeys((*listed, *by_vapour.values()))
        filler.note("hazards", ", ".join((*reasons, *by_vapour)), "; ".join(said))
    elif not named:
        filler.note("hazards", "none", "no hazard was named: tell us what the gas can do")
    return Hazards(judged, frozenset(by_vapour))
