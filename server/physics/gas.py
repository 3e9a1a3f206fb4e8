"""Properties of dilute gases: speeds, viscosity, mean free path, mixtures, amounts of flow."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.errors import OutOfRange
from server.physics.constants import GAS_CONSTANT_J_MOL_K
from server.physics.species import SPECIES, Species, species

__all__ = [
    "SPECIES",
    "Floats",
    "GasState",
    "Mixture",
    "Species",
    "equivalent_free_path_m",
    "gas_state",
    "heat_capacity_ratio",
    "knudsen_number",
    "mean_free_path_m",
    "mean_speed_m_s",
    "molar_flow_mol_s",
    "molar_mass_kg_mol",
    "most_probable_speed_m_s",
    "species",
    "throughput_from_mass_rate_pa_m3_s",
    "throughput_pa_m3_s",
    "viscosity_pa_s",
]

Floats = NDArray[np.float64]
_REFERENCE_K = 300.0


@dataclass(frozen=True)
class Mixture:
    """Several species with their mole fractions, treated as one gas where it flows as one."""

    parts: tuple[tuple[Species, float], ...]

    def __post_init__(self) -> None:
        fractions = [fraction for _, fraction in self.parts]
        if (
            not fractions
            or min(fractions) < 0
            or not math.isclose(sum(fractions), 1.0, abs_tol=1e-6)
        ):
            raise OutOfRange("The mole fractions of a mixture must be positive and add up to 1.")

    @classmethod
    def of_amounts(cls, amounts: Mapping[Species, float]) -> Mixture:
        """Return the mixture of these amounts.

        Parameters
        ----------
        amounts : mapping of species to amount
            Any measure proportional to moles: mol/s, or throughputs at one temperature. [-]

        Returns
        -------
        Mixture
            The mole fractions.
        """
        total = sum(amounts.values())
        if not total > 0:
            raise OutOfRange("A gas mixture needs at least one gas with an amount above zero.")
        return cls(tuple((gas, amount / total) for gas, amount in amounts.items()))


@dataclass(frozen=True)
class GasState:
    """What flow equations need of a gas at one temperature; of several gases at once as arrays."""

    temperature_k: float | Floats
    molar_mass_kg_mol: float | Floats
    viscosity_pa_s: float | Floats
    heat_capacity_ratio: float | Floats
    mean_speed_m_s: float | Floats
    most_probable_speed_m_s: float | Floats

    @property
    def gas_factor_m2_s2(self) -> float | Floats:
        """R T/M, the pressure per density of the gas."""
        return GAS_CONSTANT_J_MOL_K * self.temperature_k / self.molar_mass_kg_mol

    @classmethod
    def together(cls, states: Sequence[GasState]) -> GasState:
        """Return several gases as one record of arrays, a place for each."""
        return cls(*np.array([tuple(vars(state).values()) for state in states]).T)

    def at(self, index: NDArray[np.intp]) -> GasState:
        """Return the gases at some places, rising; a single gas is the same everywhere."""
        if np.size(self.molar_mass_kg_mol) in {1, index.size}:
            return self
        return GasState(*(values[index] for values in vars(self).values()))

    def rarefaction(self, radius_m: ArrayLike, pressure_pa: ArrayLike) -> Floats:
        """Return δ = a p/(μ v₀) (SHARIPOV-1998): small is molecular, large is viscous.

        Parameters
        ----------
        radius_m : array
            Radius a of the tube or opening. [m]
        pressure_pa : array
            Pressure. [Pa]
        """
        product: Floats = np.multiply(radius_m, pressure_pa, dtype=np.float64)
        return product / (self.viscosity_pa_s * self.most_probable_speed_m_s)


@lru_cache(maxsize=256)
def gas_state(gas: Species | Mixture, temperature_k: float) -> GasState:
    """Gather the constants of a gas at one temperature.

    Parameters
    ----------
    gas : Species or Mixture
        The gas. [-]
    temperature_k : float
        Gas temperature. [K]

    Returns
    -------
    GasState
        The constants.

    Raises
    ------
    OutOfRange
        If the viscosity is not known at this temperature.
    """
    mass = molar_mass_kg_mol(gas)
    return GasState(
        temperature_k=float(temperature_k),
        molar_mass_kg_mol=mass,
        viscosity_pa_s=float(viscosity_pa_s(gas, temperature_k)),
        heat_capacity_ratio=heat_capacity_ratio(gas),
        mean_speed_m_s=float(mean_speed_m_s(temperature_k, mass)),
        most_probable_speed_m_s=float(most_probable_speed_m_s(temperature_k, mass)),
    )


def molar_mass_kg_mol(gas: Species | Mixture) -> float:
    """Return the molar mass, the mole-fraction mean for a mixture.

    Parameters
    ----------
    gas : Species or Mixture
        The gas. [-]

    Returns
    -------
    float
        Molar mass. [kg/mol]
    """
    if isinstance(gas, Species):
        return gas.molar_mass_kg_mol
    return sum(part.molar_mass_kg_mol * fraction for part, fraction in gas.parts)


def heat_capacity_ratio(gas: Species | Mixture) -> float:
    """Return cp/cv at 20 °C; in a mixture the molar heat capacities add.

    Parameters
    ----------
    gas : Species or Mixture
        The gas. [-]

    Returns
    -------
    float
        Ratio of heat capacities. [-]
    """
    if isinstance(gas, Species):
        return gas.heat_capacity_ratio
    # cv/R = 1/(γ − 1) of each part.
    molar = sum(fraction / (part.heat_capacity_ratio - 1) for part, fraction in gas.parts)
    return 1 + 1 / molar


def viscosity_pa_s(gas: Species | Mixture, temperature_k: ArrayLike) -> Floats:
    """Return the viscosity at low density; mixtures by Wilke's rule.

    Parameters
    ----------
    gas : Species or Mixture
        The gas; source of the fit in the record, rule of mixing WILKE-1950. [-]
    temperature_k : array
        Gas temperature. [K]

    Returns
    -------
    array
        Viscosity, shape of ``temperature_k``. [Pa s]

    Raises
    ------
    OutOfRange
        If a temperature lies outside the range of the fit.
    """
    temperature = np.asarray(temperature_k, dtype=np.float64)
    if isinstance(gas, Species):
        return _pure_viscosity(gas, temperature)
    return _wilke(gas, temperature)


def _pure_viscosity(gas: Species, temperature_k: Floats) -> Floats:
    low, high = gas.viscosity_range_k
    if not bool(np.all((temperature_k >= low) & (temperature_k <= high))):
        raise OutOfRange(
            f"The viscosity of {gas.name} is known from {low:g} K to {high:g} K only; "
            "choose a gas temperature in that range."
        )
    shape = np.log(temperature_k / _REFERENCE_K)
    value: Floats = np.exp(np.polynomial.polynomial.polyval(shape, np.array(gas.ln_viscosity)))
    return value


def _wilke(mixture: Mixture, temperature_k: Floats) -> Floats:
    masses = [part.molar_mass_kg_mol for part, _ in mixture.parts]
    fractions = [fraction for _, fraction in mixture.parts]
    pure = [_pure_viscosity(part, temperature_k) for part, _ in mixture.parts]
    total = np.zeros_like(temperature_k)
    for i, mass_i in enumerate(masses):
        weight = np.zeros_like(temperature_k)
        for j, mass_j in enumerate(masses):
            bracket = 1 + np.sqrt(pure[i] / pure[j]) * (mass_j / mass_i) ** 0.25
            weight = weight + fractions[j] * bracket**2 / math.sqrt(8 * (1 + mass_i / mass_j))
        total = total + fractions[i] * pure[i] / weight
    return total


def mean_speed_m_s(temperature_k: ArrayLike, molar_mass_kg_mol: ArrayLike) -> Floats:
    """Return the mean thermal speed v̄ = √(8RT/πM) (BIRD-2002, CODATA).

    Parameters
    ----------
    temperature_k : array
        Gas temperature. [K]
    molar_mass_kg_mol : array
        Molar mass. [kg/mol]

    Returns
    -------
    array
        Mean speed. [m/s]
    """
    ratio = np.divide(temperature_k, molar_mass_kg_mol, dtype=np.float64)
    value: Floats = np.sqrt(8 * GAS_CONSTANT_J_MOL_K / math.pi * ratio)
    return value


def most_probable_speed_m_s(temperature_k: ArrayLike, molar_mass_kg_mol: ArrayLike) -> Floats:
    """Return the most probable speed v₀ = √(2RT/M) (BIRD-2002, CODATA).

    Parameters
    ----------
    temperature_k : array
        Gas temperature. [K]
    molar_mass_kg_mol : array
        Molar mass. [kg/mol]

    Returns
    -------
    array
        Most probable speed. [m/s]
    """
    ratio = np.divide(temperature_k, molar_mass_kg_mol, dtype=np.float64)
    value: Floats = np.sqrt(2 * GAS_CONSTANT_J_MOL_K * ratio)
    return value


def equivalent_free_path_m(state: GasState, pressure_pa: ArrayLike) -> Floats:
    """Return the equivalent free path μ v₀/p (SHARIPOV-1998).

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    pressure_pa : array
        Pressure, above zero. [Pa]

    Returns
    -------
    array
        Length that scales rarefaction: δ = radius ÷ this length. [m]
    """
    pressure = np.asarray(pressure_pa, dtype=np.float64)
    return state.viscosity_pa_s * state.most_probable_speed_m_s / pressure


def mean_free_path_m(state: GasState, pressure_pa: ArrayLike) -> Floats:
    """Return the mean free path λ = (μ/p) √(πRT/2M) (SHARIPOV-1998).

    Tables that assume hard spheres with μ = (5π/32) ρ v̄ λ print values 1.9 % larger.

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    pressure_pa : array
        Pressure, above zero. [Pa]

    Returns
    -------
    array
        Mean free path. [m]
    """
    return equivalent_free_path_m(state, pressure_pa) * (math.sqrt(math.pi) / 2)


def knudsen_number(state: GasState, bore_m: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Return the Knudsen number λ/D.

    Parameters
    ----------
    state : GasState
        Gas at its temperature. [-]
    bore_m : array
        Inner diameter D. [m]
    pressure_pa : array
        Pressure, above zero. [Pa]

    Returns
    -------
    array
        Knudsen number. [-]
    """
    return mean_free_path_m(state, pressure_pa) / np.asarray(bore_m, dtype=np.float64)


def throughput_pa_m3_s(molar_flow_mol_s: ArrayLike, temperature_k: ArrayLike) -> Floats:
    """Return the throughput p·V per time of a molar flow at a gas temperature.

    Parameters
    ----------
    molar_flow_mol_s : array
        Molar flow. [mol/s]
    temperature_k : array
        Temperature at which the throughput is stated. [K]

    Returns
    -------
    array
        Throughput. [Pa m3/s]
    """
    product: Floats = np.multiply(molar_flow_mol_s, temperature_k, dtype=np.float64)
    return GAS_CONSTANT_J_MOL_K * product


def molar_flow_mol_s(throughput_pa_m3_s: ArrayLike, temperature_k: ArrayLike) -> Floats:
    """Return the molar flow of a throughput stated at a gas temperature.

    Parameters
    ----------
    throughput_pa_m3_s : array
        Throughput. [Pa m3/s]
    temperature_k : array
        Temperature at which the throughput is stated. [K]

    Returns
    -------
    array
        Molar flow. [mol/s]
    """
    ratio: Floats = np.divide(throughput_pa_m3_s, temperature_k, dtype=np.float64)
    return ratio / GAS_CONSTANT_J_MOL_K


def throughput_from_mass_rate_pa_m3_s(
    mass_rate_kg_s: ArrayLike, molar_mass_kg_mol: ArrayLike, temperature_k: ArrayLike
) -> Floats:
    """Return the throughput of a mass rate, by moles.

    Parameters
    ----------
    mass_rate_kg_s : array
        Mass rate. [kg/s]
    molar_mass_kg_mol : array
        Molar mass. [kg/mol]
    temperature_k : array
        Temperature at which the throughput is stated. [K]

    Returns
    -------
    array
        Throughput. [Pa m3/s]
    """
    moles: Floats = np.divide(mass_rate_kg_s, molar_mass_kg_mol, dtype=np.float64)
    return throughput_pa_m3_s(moles, temperature_k)
