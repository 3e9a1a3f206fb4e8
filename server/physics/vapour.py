"""Saturation pressures, cold traps and condensers, vapour of pump fluids.

Liquids follow ln(p/p_c) = (T_c/T)·Σ a_i·τ^b_i, τ = 1 − T/T_c (Wagner's form), with coefficients
fitted here to a reference library or compilation named in each row; the fit stays within 0.31 %
of it over the whole range (2-propanol, whose compilations differ by 3–8 %: 2.6 %). Below the
triple point the solid follows the Clausius–Clapeyron line from the triple point with the enthalpy
of sublimation, ΔH_vap (slope of the liquid curve) plus ΔH_fus; water ice and solid carbon dioxide
have published equations of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from server.errors import OutOfRange, UnknownName
from server.physics.arrays import FloatArray, floats
from server.physics.constants import GAS_CONSTANT_J_MOL_K

_EXPONENTS = (1.0, 1.5, 2.0, 3.0, 6.0)
_COOLPROP = "COOLPROP-2014"
_PERRY = "PERRY-2008"
_VDI = "VDI-2010"


@dataclass(frozen=True)
class SaturationModel:
    """Saturation pressure of one substance over liquid and solid; validity is data.

    ``low_k`` and ``high_k`` bound the whole model, ``triple_k`` parts solid from liquid.
    """

    substance: str
    critical_k: float
    critical_pa: float
    coefficients: tuple[float, ...]
    exponents: tuple[float, ...]
    triple_k: float
    triple_pa: float
    sublimation_j_mol: float
    low_k: float
    high_k: float
    source: str
    solid: Callable[[FloatArray], FloatArray] | None = None


def _ice_pa(temperature_k: FloatArray) -> FloatArray:
    """Water ice, IAPWS R14-08(2011) equation 6 [IAPWS-R14], 50–273.16 K."""
    theta = temperature_k / 273.16
    exponent = (
        -0.212144006e2 * theta**0.333333333e-2
        + 0.273203819e2 * theta**0.120666667e1
        - 0.610598130e1 * theta**0.170333333e1
    ) / theta
    return floats(611.657 * np.exp(exponent))


_DRY_ICE_JOIN_K = 170.0


def _dry_ice_pa(temperature_k: FloatArray) -> FloatArray:
    """Dry ice: [SPAN-1996] above 170 K; below, [FRAY-2009] raised by 0.4 % to meet it."""
    join = floats(_DRY_ICE_JOIN_K)
    scale = _dry_ice_high_pa(join) / _dry_ice_low_pa(join)
    low = scale * _dry_ice_low_pa(np.minimum(temperature_k, _DRY_ICE_JOIN_K))
    high = _dry_ice_high_pa(np.maximum(temperature_k, _DRY_ICE_JOIN_K))
    return np.where(temperature_k < _DRY_ICE_JOIN_K, low, high)


def _dry_ice_high_pa(temperature_k: FloatArray) -> FloatArray:
    """Span & Wagner 1996, sublimation equation (coefficients from memory)."""
    ratio = temperature_k / 216.592
    x = np.maximum(1.0 - ratio, 0.0)
    exponent = (-14.740846 * x + 2.4327015 * x**1.9 - 5.3061778 * x**2.9) / ratio
    return floats(517950.0 * np.exp(exponent))


def _dry_ice_low_pa(temperature_k: FloatArray) -> FloatArray:
    """Fray & Schmitt 2009, polynomial in 1/T (coefficients from memory), 40–194.7 K."""
    inverse = 1.0 / temperature_k
    powers = (14.76, -2571.0, -7.781e4, 4.325e6, -1.207e8, 1.350e9)
    return floats(1e5 * np.exp(np.polynomial.polynomial.polyval(inverse, powers)))


_LOWEST_K = 60.0
"""Colder than liquid nitrogen boils, colder than any trap here: no solid is followed below."""

# substance, T_c [K], p_c [Pa], T_t [K], p_t [Pa], ΔH_sub [J/mol], highest T [K], source, a_i.
# ΔH_fus from the compilation in `chemicals`; T_t for the last six is the triple or melting point.
_Fitted = tuple[str, float, float, float, float, float, float, str, tuple[float, ...]]
_FITTED: tuple[_Fitted, ...] = (
    ("ethanol", 514.709, 6267915.0, 159.1, 7.353e-4, 52930.0, 488.0, _COOLPROP,
     (-8.83699, 2.75005, -4.95631, -0.25465, -0.84724)),
    ("methanol", 513.380, 8215853.0, 175.61, 0.186405, 45320.0, 487.0, _COOLPROP,
     (-8.80366, 2.09348, -1.96113, -1.643, -0.35754)),
    ("acetone", 508.100, 4692417.0, 178.5, 2.325378, 43490.0, 482.0, _COOLPROP,
     (-7.52253, 1.15014, 0.69348, -3.66898, -1.49717)),
    ("toluene", 591.749, 4126347.0, 178.0, 0.0394635, 51890.0, 500.0, _COOLPROP,
     (-7.37358, 1.4379, 0.32832, -3.41758, -1.98401)),
    ("n_hexane", 507.820, 3044115.0, 177.83, 1.187895, 51680.0, 482.0, _COOLPROP,
     (-7.42632, 1.07192, 0.69116, -3.87984, -1.73315)),
    ("tetrahydrofuran", 540.200, 5304435.0, 164.76, 0.1511157, 47880.0, 500.0, _COOLPROP,
     (-7.54507, 2.52187, -0.62574, -3.03288, -1.73826)),
    ("ammonia", 405.560, 11363391.0, 195.495, 6053.115, 31160.0, 385.0, _COOLPROP,
     (-7.1895, 1.11711, 0.21637, -2.55387, -1.50643)),
    ("carbon_dioxide", 304.128, 7377298.0, 216.592, 517950.0, 25980.0, 288.0, _COOLPROP,
     (-7.05095, 1.82141, -1.24186, -1.54561, -6.66756)),
    ("isopropanol", 508.300, 4764000.0, 184.682, 0.0173352, 61070.0, 482.0,
     "PERRY-2008 below 285 K, POLING-2001 to 372 K, VDI-2010 above",
     (-7.72085, -2.17074, 2.03301, -6.9875, -0.93971)),
    ("acetic_acid", 590.700, 5780000.0, 289.69, 1267.734, 53870.0, 500.0, _PERRY,
     (-10.00975, 6.44911, -4.1971, -2.17262, 0.02585)),
    ("dimethyl_sulfoxide", 707.000, 4600000.0, 291.63, 50.08165, 66690.0, 500.0, _PERRY,
     (-6.39544, -0.65757, -0.90294, -1.56903, -0.7425)),
    ("ethyl_acetate", 523.200, 3830000.0, 182.562, 0.4451268, 54010.0, 497.0, _VDI,
     (-7.85135, 2.04706, -0.82782, -3.66228, -2.28084)),
    ("acetonitrile", 545.550, 4830000.0, 229.308, 196.13267, 41790.0, 500.0, _VDI,
     (-9.57407, 8.33775, -6.90822, -1.13489, 4.27719)),
    ("dichloromethane", 510.050, 6080000.0, 178.1, 7.793333, 40130.0, 484.0, _VDI,
     (-7.57, 3.32532, -1.33091, -3.15107, -1.63557)),
)  # fmt: skip


def _models() -> dict[str, SaturationModel]:
    water = SaturationModel(
        "water", 647.096, 22.064e6,
        (-7.85951783, 1.84408259, -11.7866497, 22.6807411, -15.9618719, 1.80122502),
        (1.0, 1.5, 3.0, 3.5, 4.0, 7.5), 273.16, 611.657, 51059.0, 50.0, 640.0,
        "WAGNER-2002; ice IAPWS-R14", _ice_pa,
    )  # fmt: skip
    models = {"water": water}
    for name, critical_k, critical_pa, triple_k, triple_pa, heat, high_k, source, a in _FITTED:
        models[name] = SaturationModel(
            name, critical_k, critical_pa, a, _EXPONENTS, triple_k, triple_pa, heat, _LOWEST_K,
            high_k, source, _dry_ice_pa if name == "carbon_dioxide" else None,
        )  # fmt: skip
    return models


SATURATION: Mapping[str, SaturationModel] = MappingProxyType(_models())


def saturation_model(substance: str) -> SaturationModel:
    """Return the record of one substance.

    Parameters
    ----------
    substance : str
        Key of the substance. [-]

    Raises
    ------
    UnknownName
        The substance has no saturation curve here.
    """
    model = SATURATION.get(substance)
    if model is None:
        raise UnknownName("condensable substance", substance, tuple(SATURATION))
    return model


def saturation_pressure_pa(substance: str, temperature_k: ArrayLike) -> FloatArray:
    """Return the pressure of the vapour in equilibrium with the liquid or solid.

    Parameters
    ----------
    substance : str
        Key of the substance. [-]
    temperature_k : array
        Temperature within the model's range (``SATURATION[substance].low_k`` to ``high_k``). [K]

    Raises
    ------
    UnknownName
        The substance has no saturation curve here.
    OutOfRange
        A temperature outside the model's range; nothing is extrapolated.
    """
    model = saturation_model(substance)
    temperature = floats(temperature_k)
    inside = (temperature >= model.low_k) & (temperature <= model.high_k)
    if not np.all(inside):
        raise OutOfRange(
            f"The saturation pressure of {substance.replace('_', ' ')} is known from "
            f"{model.low_k:g} K to {model.high_k:g} K "
            f"({model.low_k - 273.15:.0f} °C to {model.high_k - 273.15:.0f} °C)."
        )
    liquid = _liquid_pa(model, np.maximum(temperature, model.triple_k))
    solid = _solid_pa(model, np.minimum(temperature, model.triple_k))
    return np.where(temperature < model.triple_k, solid, liquid)


def _liquid_pa(model: SaturationModel, temperature_k: FloatArray) -> FloatArray:
    tau = 1.0 - temperature_k / model.critical_k
    total = np.zeros_like(temperature_k)
    for a, b in zip(model.coefficients, model.exponents, strict=True):
        total = total + a * tau**b
    return floats(model.critical_pa * np.exp(total * model.critical_k / temperature_k))


def _solid_pa(model: SaturationModel, temperature_k: FloatArray) -> FloatArray:
    if model.solid is not None:
        return model.solid(temperature_k)
    slope_k = model.sublimation_j_mol / GAS_CONSTANT_J_MOL_K
    return floats(model.triple_pa * np.exp(-slope_k * (1.0 / temperature_k - 1.0 / model.triple_k)))


def time_to_defrost_s(capacity_kg: ArrayLike, caught_kg_s: ArrayLike) -> FloatArray:
    """Return how long a trap or condenser takes vapour until it must be defrosted; inf at rate 0.

    Parameters
    ----------
    capacity_kg : array
        Mass it holds. [kg]
    caught_kg_s : array
        Mass it catches per time, ≥ 0. [kg/s]
    """
    caught = floats(caught_kg_s)
    safe = np.where(caught > 0.0, caught, 1.0)
    return floats(np.where(caught > 0.0, floats(capacity_kg) / safe, np.inf))


def evaporation_kg_m2_s(
    molar_mass_kg_mol: ArrayLike, pressure_difference_pa: ArrayLike, temperature_k: ArrayLike
) -> FloatArray:
    """Return the most that a free surface evaporates, Δp·√(M/2πRT) [DUSHMAN-1962, chapter 1].

    Hertz–Knudsen with every molecule that meets the surface taken up (coefficient 1): an upper
    limit. The pressure difference is that of saturation and the vapour over the surface.

    Parameters
    ----------
    molar_mass_kg_mol : array
        Molar mass of the vapour, > 0. [kg/mol]
    pressure_difference_pa : array
        Saturation pressure minus the vapour's partial pressure. [Pa]
    temperature_k : array
        Temperature of the surface, > 0. [K]
    """
    thermal = 2.0 * np.pi * GAS_CONSTANT_J_MOL_K * floats(temperature_k)
    return floats(floats(pressure_difference_pa) * np.sqrt(floats(molar_mass_kg_mol) / thermal))


_SLOPE_STEP = 1e-4


def heat_of_evaporation_j_mol(substance: str, temperature_k: ArrayLike) -> FloatArray:
    """Return the heat that evaporation or sublimation takes, −R·d(ln p_sat)/d(1/T) [POLING-2001].

    Clausius–Clapeyron with the vapour as an ideal gas and the liquid's volume neglected: good
    below about an atmosphere, a few per cent high above. Over the solid below the triple point.

    Parameters
    ----------
    substance : str
        Key of the substance. [-]
    temperature_k : array
        Temperature within the saturation model's range. [K]

    Raises
    ------
    UnknownName
        The substance has no saturation curve here.
    OutOfRange
        A temperature outside the model's range.
    """
    model = saturation_model(substance)
    temperature = floats(temperature_k)
    # a step down, but neither out of the model nor across the triple point
    below = temperature * (1.0 - _SLOPE_STEP)
    crosses = (temperature >= model.triple_k) & (below < model.triple_k)
    down = (below >= model.low_k) & ~crosses
    other = np.where(down, below, temperature * (1.0 + _SLOPE_STEP))
    here = np.log(saturation_pressure_pa(substance, temperature))
    there = np.log(saturation_pressure_pa(substance, other))
    return floats(-GAS_CONSTANT_J_MOL_K * (there - here) / (1.0 / other - 1.0 / temperature))


def fluid_vapour_pressure_pa(
    constant_a: ArrayLike, constant_b_k: ArrayLike, temperature_k: ArrayLike
) -> FloatArray:
    """Return the vapour pressure of a pump fluid, log10(p/Pa) = A − B/T.

    Parameters
    ----------
    constant_a : array
        A of the fluid, for pascal. [-]
    constant_b_k : array
        B of the fluid. [K]
    temperature_k : array
        Temperature of the surface that holds the fluid, > 0. [K]
    """
    exponent = floats(constant_a) - floats(constant_b_k) / floats(temperature_k)
    return floats(np.power(10.0, exponent, dtype=np.float64))
