"""Gas that must be pumped: surfaces, leaks, permeation, process gas and wet goods."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange, UnknownName
from server.physics.arrays import FloatArray, IntArray, floats
from server.physics.constants import ATMOSPHERE_PA, GAS_CONSTANT_J_MOL_K, TORR_PA
from server.physics.outgassing import HOUR_S, LAW_START_S, surface_decay


def _no_terms() -> FloatArray:
    return np.zeros(0)


@dataclass(frozen=True)
class GasLoad:
    """Q(t) = Q_const + Σ_j A_j·(t/1 h)^−α_j of many candidates.

    ``constant_pa_m3_s`` is a scalar or has shape (n,); ``amplitude_pa_m3_s``, the load at one
    hour, has shape (k,) or (n, k); ``alpha`` has shape (k,). Before ``LAW_START_S`` the sum is
    held at its value there, as in ``server.physics.outgassing``.
    """

    constant_pa_m3_s: ArrayLike = 0.0
    amplitude_pa_m3_s: ArrayLike = field(default_factory=_no_terms)
    alpha: ArrayLike = field(default_factory=_no_terms)

    def __post_init__(self) -> None:
        constant = floats(self.constant_pa_m3_s)
        amplitude = floats(self.amplitude_pa_m3_s)
        alpha = floats(self.alpha)
        if alpha.ndim != 1 or amplitude.shape[-1:] != alpha.shape or amplitude.ndim > 2:
            raise OutOfRange("Each decaying load needs one amplitude and one exponent.")
        if np.any(constant < 0.0) or np.any(amplitude < 0.0) or np.any(alpha < 0.0):
            raise OutOfRange("A gas load and its exponent cannot be negative.")
        if not all(np.all(np.isfinite(part)) for part in (constant, amplitude, alpha)):
            raise OutOfRange("A gas load must be a finite number.")

    def rows(self, chosen: IntArray) -> GasLoad:
        """Return the loads of some of the candidates, in the order asked for."""
        constant, amplitude = floats(self.constant_pa_m3_s), floats(self.amplitude_pa_m3_s)
        return GasLoad(
            constant[chosen] if constant.ndim else constant,
            amplitude[chosen] if amplitude.ndim == 2 else amplitude,
            self.alpha,
        )


def with_constant(load: GasLoad, extra_pa_m3_s: ArrayLike) -> GasLoad:
    """Return a load with a constant part added.

    Parameters
    ----------
    load : GasLoad
        Of n candidates. [-]
    extra_pa_m3_s : array, scalar or shape (n,)
        What is added, ≥ 0. [Pa m3/s]
    """
    constant = floats(load.constant_pa_m3_s) + floats(extra_pa_m3_s)
    return GasLoad(constant, load.amplitude_pa_m3_s, load.alpha)


def load_at_pa_m3_s(load: GasLoad, time_s: ArrayLike) -> FloatArray:
    """Return the whole load at a time.

    Parameters
    ----------
    load : GasLoad
        Constant and decaying parts. [-]
    time_s : array, shape (n,) or scalar
        Time since pumping began, ≥ 0. [s]
    """
    time = floats(time_s)
    decay = surface_decay(time[..., np.newaxis], load.alpha)
    return floats(
        floats(load.constant_pa_m3_s) + np.sum(floats(load.amplitude_pa_m3_s) * decay, axis=-1)
    )


def gas_given_off_pa_m3(load: GasLoad, start_s: ArrayLike, end_s: ArrayLike) -> FloatArray:
    """Return ∫ Q dt between two times, in closed form.

    Parameters
    ----------
    load : GasLoad
        Constant and decaying parts. [-]
    start_s : array, shape (n,) or scalar
        Beginning of the interval, time since pumping began. [s]
    end_s : array, shape (n,) or scalar
        End of the interval, ≥ its beginning. [s]
    """
    start = floats(start_s)
    end = floats(end_s)
    if np.any(end < start) or np.any(start < 0.0):
        raise OutOfRange("An interval must end after it starts, and start at zero or later.")
    alpha = floats(load.alpha)
    decayed = _decay_integral_s(end, alpha) - _decay_integral_s(start, alpha)
    return floats(
        floats(load.constant_pa_m3_s) * (end - start)
        + np.sum(floats(load.amplitude_pa_m3_s) * decayed, axis=-1)
    )


def _decay_integral_s(time_s: FloatArray, alpha: FloatArray) -> FloatArray:
    """∫₀ᵗ of the held power law, shape (..., k)."""
    held = np.minimum(time_s, LAW_START_S)[..., np.newaxis]
    log_ratio = np.log(np.maximum(time_s, LAW_START_S) / LAW_START_S)[..., np.newaxis]
    # ∫ (t/h)^−α dt = t₀ (t₀/h)^−α·expm1((1−α)·ln(t/t₀))/(1−α); the last factor → ln(t/t₀) at α = 1
    exponent = (1.0 - alpha) * log_ratio
    factor = np.where(
        np.abs(exponent) > 1e-12,
        np.expm1(exponent) / np.where(exponent == 0.0, 1.0, exponent),
        1.0,
    )
    start_value = (LAW_START_S / HOUR_S) ** -alpha
    return floats(start_value * (held + LAW_START_S * log_ratio * factor))


_BANDS = ((90.0, 0.98), (20.0, 0.73), (3.0, 0.39), (1.0, 0.244))


def air_in_leakage_kg_s(volume_m3: ArrayLike, pressure_pa: ArrayLike) -> FloatArray:
    """Return the usual allowance for air leaking into process plant, W = k·V^(2/3).

    A planning figure for plant whose leak was never measured, not a prediction [LUDWIG-2007]; k in
    kg/h for m³ is 0.98 above 90 torr, 0.39 at 3–20 torr, 0.12 below 1 torr; the bands between
    (0.73 at 20–90 torr, 0.244 at 1–3 torr) are from memory.

    Parameters
    ----------
    volume_m3 : array
        Volume under vacuum, > 0. [m3]
    pressure_pa : array
        Working pressure, up to atmospheric. [Pa]
    """
    volume = floats(volume_m3)
    pressure = floats(pressure_pa)
    if np.any(volume <= 0.0) or np.any(pressure < 0.0) or np.any(pressure > ATMOSPHERE_PA):
        raise OutOfRange("The leakage allowance is for volumes under vacuum, 0 to 101 325 Pa.")
    torr = pressure / TORR_PA
    # a pressure on the border of two bands takes the lower band, 3–20 torr including 20
    chosen = floats(np.select([torr > low for low, _ in _BANDS], [k for _, k in _BANDS], 0.12))
    return floats(chosen * volume ** (2.0 / 3.0) / HOUR_S)


# Permeation constants at 23 °C [m²/s]: gas per time through unit area and unit thickness at unit
# pressure difference. PEACOCK-1980 gives ranges in 1e-8 cm³(STP)·cm/(cm²·s·bar); these are the
# middle of them, from memory (medium confidence, factor 2); 1 unit = 1.10e-12 m²/s at 23 °C.
_UNIT_M2_S = 1e-8 * (ATMOSPHERE_PA * 1e-6) * (296.15 / 273.15) * 1e-2 / (1e-4 * 1e5)
PERMEATION_M2_S: Mapping[tuple[str, str], float] = MappingProxyType(
    {
        ("fkm", "helium"): 12.0 * _UNIT_M2_S,
        ("fkm", "nitrogen"): 0.2 * _UNIT_M2_S,
        ("fkm", "oxygen"): 1.05 * _UNIT_M2_S,
        ("fkm", "air"): 0.38 * _UNIT_M2_S,  # 0.79 N2 + 0.21 O2
        ("fkm", "water"): 40.0 * _UNIT_M2_S,
        ("nbr", "helium"): 5.6 * _UNIT_M2_S,
        ("nbr", "nitrogen"): 0.6 * _UNIT_M2_S,
        ("nbr", "oxygen"): 2.0 * _UNIT_M2_S,
        ("nbr", "air"): 0.9 * _UNIT_M2_S,
        ("nbr", "water"): 760.0 * _UNIT_M2_S,
    }
)


def permeation_pa_m3_s(
    seal: str,
    species: str,
    exposed_area_m2: ArrayLike,
    path_m: ArrayLike,
    pressure_difference_pa: ArrayLike,
) -> FloatArray:
    """Return the gas that comes through an elastomer seal, Q = K·A·Δp/d, in the steady state.

    Parameters
    ----------
    seal : str
        Seal material, ``fkm`` or ``nbr``. [-]
    species : str
        ``air``, ``nitrogen``, ``oxygen``, ``helium`` or ``water``. [-]
    exposed_area_m2 : array
        Area of the seal towards the outer gas. [m2]
    path_m : array
        Way through the seal, > 0. [m]
    pressure_difference_pa : array
        Partial-pressure difference of the species across the seal. [Pa]
    """
    constant = PERMEATION_M2_S.get((seal, species))
    if constant is None:
        known = [f"{name} with {gas}" for name, gas in PERMEATION_M2_S]
        raise UnknownName("seal permeation", f"{seal} with {species}", known)
    path = floats(path_m)
    if np.any(path <= 0.0):
        raise OutOfRange("The way through a seal must be above zero.")
    difference = floats(pressure_difference_pa)
    return floats(constant * floats(exposed_area_m2) * difference / path)


def wet_goods_throughput_pa_m3_s(
    supply_pa_m3_s: ArrayLike,
    saturation_pa: ArrayLike,
    speed_m3_s: ArrayLike,
    evaporation_m3_s: ArrayLike = np.inf,
) -> FloatArray:
    """Return the vapour that wet goods deliver: the smaller of supply and equilibrium.

    While liquid is left, the pressure over it cannot exceed saturation, so a pump of speed S
    cannot draw more than S·p_sat; heat and diffusion may supply less. A wet surface that
    evaporates C·(p_sat − p) (Hertz–Knudsen) stands in series with the pump: S·C/(S + C).

    Parameters
    ----------
    supply_pa_m3_s : array
        Vapour that heat and diffusion can supply. [Pa m3/s]
    saturation_pa : array
        Saturation pressure at the temperature of the goods. [Pa]
    speed_m3_s : array
        Speed for the vapour at the goods. [m3/s]
    evaporation_m3_s : array
        C of the wet surface, > 0; inf where it is large. [m3/s]
    """
    speed, evaporation = floats(speed_m3_s), floats(evaporation_m3_s)
    reached = speed / (1.0 + speed / evaporation)
    return np.minimum(floats(supply_pa_m3_s), floats(saturation_pa) * reached)


def drying_time_s(
    mass_kg: ArrayLike, throughput_pa_m3_s: ArrayLike, molar_mass_kg_mol: ArrayLike,
    temperature_k: ArrayLike,
) -> FloatArray:  # fmt: skip
    """Return how long a liquid lasts at a steady vapour throughput, m·R·T/(M·Q); inf when Q = 0.

    Parameters
    ----------
    mass_kg : array
        Liquid to remove. [kg]
    throughput_pa_m3_s : array
        Vapour throughput, ≥ 0. [Pa m3/s]
    molar_mass_kg_mol : array
        Molar mass of the vapour. [kg/mol]
    temperature_k : array
        Gas temperature the throughput is stated at. [K]
    """
    gas = floats(mass_kg) * GAS_CONSTANT_J_MOL_K * floats(temperature_k) / floats(molar_mass_kg_mol)
    flow = floats(throughput_pa_m3_s)
    return floats(np.where(flow > 0.0, gas / np.where(flow > 0.0, flow, 1.0), np.inf))
