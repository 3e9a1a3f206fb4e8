"""Hazards that the gases of a process bring by themselves, whether or not the inquiry names them.

Classes follow the Globally Harmonized System (United Nations, GHS; which species has which from
memory). Solvent vapours are flammable liquids: what stands them is judged vapour by vapour in
``catalog.compatibility.solvents_allow``, and the usual resistant diaphragm pumps would be refused
as flammable gas is; only that they are toxic counts here. The cautions name all of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
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
    {"hydrogen": 0.040, "methane": 0.044, "carbon_monoxide": 0.109, "ammonia": 0.15}
)
"""Share in air by volume from which a gas burns; IEC 60079-20-1, from memory."""

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
    # Le Chatelier's rule: shares over their limits add up
    burning = {
        name: part / LOWER_FLAMMABLE_LIMIT[name]
        for name, part in present.items()
        if name in LOWER_FLAMMABLE_LIMIT
    }
    if sum(burning.values()) > 1.0:
        names = " and ".join(SPECIES[name].name for name in burning)
        verb = "is" if len(burning) == 1 else "are"
        yield (
            Hazard.FLAMMABLE,
            f"{names} {verb} flammable: there is enough to burn when it meets air",
        )


def read_hazards(
    typed: Iterable[Hazard] | None, process: Process, filler: Filler
) -> frozenset[Hazard]:
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
    if reasons:
        said = dict.fromkeys(reason for found in reasons.values() for reason in found)
        filler.note("hazards", ", ".join(reasons), "; ".join(said))
    elif not named:
        filler.note("hazards", "none", "no hazard was named: tell us what the gas can do")
    return named | frozenset(reasons)
