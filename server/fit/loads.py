"""The gas that must be pumped, species by species, from the requirements.

All throughputs are stated at ``PUMP_K``: the gas cools or warms to room temperature in the line
before it reaches a pump. A chamber at another temperature holds less or more of it, which
``Loads.volume_m3`` accounts for. Transpiration between hot chamber and cold line is neglected.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from server.fit.requirements import Requirements, Seal
from server.physics.arrays import FloatArray
from server.physics.constants import ATMOSPHERE_PA
from server.physics.gas import throughput_from_mass_rate_pa_m3_s, throughput_pa_m3_s
from server.physics.gasload import GasLoad, permeation_pa_m3_s
from server.physics.outgassing import OutgassingRow, outgassing_rate_pa_m_s, outgassing_row
from server.physics.species import SPECIES

PUMP_K = 293.15
"""Temperature of the gas in lines and pumps. [K]"""

AIR = "air"

ROOM_WATER_PA = 1_170.0
"""Water in the air of the room: 20 °C, 50 % relative humidity (half of 2 339 Pa, IAPWS). [Pa]"""


@dataclass(frozen=True)
class SurfaceSource:
    """One surface: its published row, its area and what it gives off at one hour."""

    row: OutgassingRow
    area_m2: float
    amplitude_pa_m3_s: float


@dataclass(frozen=True)
class Loads:
    """Gas loads of one inquiry.

    Leak and permeation flow always, ``process_pa_m3_s`` only while the process runs; surfaces
    decay with the time since pumping began.
    """

    species: tuple[str, ...]
    volume_m3: float
    leak_pa_m3_s: float
    surfaces: tuple[SurfaceSource, ...]
    process_pa_m3_s: Mapping[str, float]
    vapour_kg_s: Mapping[str, float]
    permeation_pa_m3_s: Mapping[str, float] = field(default_factory=dict)
    _base: dict[float, dict[str, float]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @property
    def lasting(self) -> tuple[str, ...]:
        """The species that flow with or without a process, air among them."""
        given_off = {surface.row.species for surface in self.surfaces}
        return tuple(
            gas
            for gas in self.species
            if gas == AIR or gas in given_off or gas in self.permeation_pa_m3_s
        )

    def base_pa_m3_s(self, time_s: float) -> dict[str, float]:
        """Return the load per species without process gas, ``time_s`` after pumping began."""
        if time_s not in self._base:
            self._base[time_s] = self._base_pa_m3_s(time_s)
        return dict(self._base[time_s])

    def _base_pa_m3_s(self, time_s: float) -> dict[str, float]:
        load: dict[str, float] = dict.fromkeys(self.species, 0.0)
        load[AIR] += self.leak_pa_m3_s
        for gas, throughput in self.permeation_pa_m3_s.items():
            load[gas] += throughput
        for surface in self.surfaces:
            rate = float(outgassing_rate_pa_m_s(surface.row, time_s))
            load[surface.row.species] += rate * surface.area_m2
        return load

    def running_pa_m3_s(self, time_s: float) -> dict[str, float]:
        """Return the load per species while the process runs."""
        load = self.base_pa_m3_s(time_s)
        for name, throughput in self.process_pa_m3_s.items():
            load[name] += throughput
        return load

    @property
    def has_process(self) -> bool:
        """Whether the process lets in gas or vapour."""
        return any(throughput > 0.0 for throughput in self.process_pa_m3_s.values())

    def weighted(self, weight: Mapping[str, FloatArray]) -> GasLoad:
        """Return the whole load as one gas, each species multiplied by a weight.

        Parameters
        ----------
        weight : mapping of species to array, shape (n,)
            S_air/S_species of each candidate: an air load that raises the pressure as much. [-]
        """
        rows = len(next(iter(weight.values())))
        constant = self.leak_pa_m3_s * weight[AIR]
        for gas, throughput in self.permeation_pa_m3_s.items():
            constant = constant + throughput * weight[gas]
        amplitude = np.empty((rows, len(self.surfaces)))
        for column, surface in enumerate(self.surfaces):
            amplitude[:, column] = surface.amplitude_pa_m3_s * weight[surface.row.species]
        alpha = np.array([surface.row.alpha for surface in self.surfaces])
        return GasLoad(constant, amplitude, alpha)


def loads_of(requirements: Requirements) -> Loads:
    """Return the gas loads of an inquiry."""
    chamber = requirements.chamber
    surfaces = tuple(
        SurfaceSource(row, surface.area_m2, row.q1_pa_m_s * surface.area_m2)
        for surface in chamber.surfaces
        for row in (outgassing_row(surface.material, surface.condition.value),)
    )
    process: dict[str, float] = defaultdict(float)
    vapour: dict[str, float] = defaultdict(float)
    for gas in requirements.process.gas:
        process[gas.species] += float(throughput_pa_m3_s(gas.flow_mol_s, PUMP_K))
    for load in requirements.process.vapour:
        molar_mass = SPECIES[load.substance].molar_mass_kg_mol
        process[load.substance] += float(
            throughput_from_mass_rate_pa_m3_s(load.rate_kg_s, molar_mass, PUMP_K)
        )
        vapour[load.substance] += load.rate_kg_s
    permeation = _permeation_pa_m3_s(chamber.seals)
    found = {AIR, *process, *permeation, *(surface.row.species for surface in surfaces)}
    return Loads(
        species=tuple(sorted(found, key=lambda name: (name != AIR, name))),
        volume_m3=chamber.volume_m3 * PUMP_K / chamber.temperature_k,
        leak_pa_m3_s=chamber.leak_pa_m3_s,
        surfaces=surfaces,
        process_pa_m3_s=dict(process),
        vapour_kg_s=dict(vapour),
        permeation_pa_m3_s=permeation,
    )


OUTSIDE_PA: Mapping[str, float] = MappingProxyType(
    {AIR: ATMOSPHERE_PA - ROOM_WATER_PA, "water": ROOM_WATER_PA}
)
"""The room's air and its moisture, which seals let through. [Pa]"""


def seal_throughput_pa_m3_s(seal: Seal, gas: str) -> float:
    """Return what comes through a seal from the room; constants at 23 °C, to a factor of two.

    Parameters
    ----------
    seal : Seal
        Material and size.
    gas : str
        One of ``OUTSIDE_PA``.
    """
    return float(permeation_pa_m3_s(seal.material, gas, seal.area_m2, seal.path_m, OUTSIDE_PA[gas]))


def _permeation_pa_m3_s(seals: Iterable[Seal]) -> dict[str, float]:
    through: dict[str, float] = defaultdict(float)
    for seal in seals:
        for gas in OUTSIDE_PA:
            through[gas] += seal_throughput_pa_m3_s(seal, gas)
    return dict(through)
