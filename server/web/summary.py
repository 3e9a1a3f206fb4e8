"""A few words for a whole record: what was asked, which way the gas goes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from server.catalog.items import TrapPlace
from server.fit.requirements import Cleanliness, Process, Requirements, VapourLoad
from server.fit.results import Part, Role
from server.units import Dimension, format_quantity
from server.web.formatting import duration, quantity
from server.web.words import sentence, words

_PUMPS: Final = frozenset({Role.HIGH_VACUUM_PUMP, Role.BOOSTER, Role.BACKING_PUMP})


@dataclass(frozen=True)
class Stage:
    """One station of the gas on its way out."""

    role: str
    name: str
    pump: bool


def stages_of(parts: Sequence[Part]) -> tuple[Stage, ...]:
    """Return the way of the gas from the chamber to the exhaust.

    Parameters
    ----------
    parts : sequence of Part
        Of one stack.

    Returns
    -------
    tuple of Stage
        Traps and pumps only, without valves and lines.
    """
    traps = [part for part in parts if part.role in {Role.TRAP, Role.BAFFLE}]
    above = [part for part in traps if part.place == TrapPlace.HIGH_VACUUM]
    behind = [part for part in traps if part.place != TrapPlace.HIGH_VACUUM]
    by_role = {role: [part for part in parts if part.role is role] for role in _PUMPS}
    way = [
        *above,
        *by_role[Role.HIGH_VACUUM_PUMP],
        *by_role[Role.BOOSTER],
        *behind,
        *by_role[Role.BACKING_PUMP],
    ]
    return tuple(
        Stage(sentence(words(part.role)), _name(part), part.role in _PUMPS) for part in way
    )


def _name(part: Part) -> str:
    return f"{part.quantity} × {part.name}" if part.quantity > 1 else part.name


def asked_in_words(requirements: Requirements) -> str:
    """Return what was asked for in one line.

    Parameters
    ----------
    requirements : Requirements
        As read.

    Returns
    -------
    str
        Volume, target, time, process and what else narrows the choice.
    """
    told = [
        f"{quantity(requirements.chamber.volume_m3, 'm3')} to "
        f"{quantity(requirements.target_pressure_pa, 'Pa')}"
    ]
    if requirements.pump_down_time_s is not None:
        told[0] += f" in {duration(requirements.pump_down_time_s)}"
    told += _process(requirements.process)
    if requirements.cleanliness is not Cleanliness.TOLERANT:
        told.append(words(requirements.cleanliness))
    told += [words(hazard) for hazard in sorted(requirements.hazards | requirements.vapour_hazards)]
    return "; ".join(told)


def _process(process: Process) -> list[str]:
    told = []
    if process.pressure_pa is not None:
        told.append(f"process at {quantity(process.pressure_pa, 'Pa')}")
    told += [
        f"{words(gas.species)} {format_quantity(gas.flow_mol_s, Dimension.GAS_FLOW)}"
        for gas in process.gas
    ]
    told += [_vapour(vapour) for vapour in process.vapour]
    return told


def _vapour(vapour: VapourLoad) -> str:
    name = words(vapour.substance)
    if vapour.goods is None:
        return f"{name} vapour {format_quantity(vapour.rate_kg_s, Dimension.MASS_RATE)}"
    return (
        f"{quantity(vapour.goods.mass_kg, 'kg')} of {name} to dry off within "
        f"{duration(vapour.goods.drying_time_s)}"
    )
