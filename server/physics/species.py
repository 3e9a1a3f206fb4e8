"""The gases and vapours that can be asked for, with what flow needs to know of each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from server.errors import UnknownSpecies


@dataclass(frozen=True)
class Species:
    """A gas or vapour at low density.

    The dilute viscosity is exp(Σ cₖ xᵏ) Pa s with x = ln(T/300 K), fitted to the named source over
    ``viscosity_range_k``; the residual of the fit is below 0.8 %.
    """

    key: str
    name: str
    formula: str
    molar_mass_kg_mol: float
    heat_capacity_ratio: float
    ln_viscosity: tuple[float, ...]
    viscosity_source: str
    viscosity_range_k: tuple[float, float] = (200.0, 600.0)


_COOLPROP = "COOLPROP-2014"
_JOINED = "COOLPROP-2014; below about 260 K the slope of PERRY-2008"
_PERRY = "PERRY-2008"
_VDI = "VDI-2010"

# Molar masses: IUPAC standard atomic weights. Heat-capacity ratios: ideal gas at 20 °C, from
# COOLPROP-2014, else from ideal-gas heat capacities tabulated in the library chemicals.
_ROWS = (
    Species("air", "air", "N₂ + O₂ + Ar", 0.0289655, 1.4001,
            (-10.8965, 0.7809, -0.07857, 0.008775, 0.00331), _COOLPROP),
    Species("nitrogen", "nitrogen", "N₂", 0.0280134, 1.3996,
            (-10.93199, 0.7742, -0.0774, 0.009346, 0.00331), _COOLPROP),
    Species("oxygen", "oxygen", "O₂", 0.0319988, 1.3952,
            (-10.78873, 0.8029, -0.08181, 0.006957, 0.00331), _COOLPROP),
    Species("argon", "argon", "Ar", 0.039948, 1.6667,
            (-10.69208, 0.8346, -0.08505, 0.004451, 0.00331), _COOLPROP),
    Species("helium", "helium", "He", 0.004002602, 1.6667,
            (-10.82347, 0.6844, 0.01413, -0.002464, -0.000196), _COOLPROP),
    Species("hydrogen", "hydrogen", "H₂", 0.00201588, 1.4059,
            (-11.62521, 0.6921, -0.0004089, 0.008172, -0.00277), _COOLPROP),
    Species("water", "water", "H₂O", 0.01801528, 1.3293,
            (-11.53564, 1.036, 0.09016, 0.3772, -0.4468), _JOINED),
    Species("carbon_dioxide", "carbon dioxide", "CO₂", 0.0440095, 1.2908,
            (-11.10785, 0.9552, -0.05352, -0.06804, 0.02545), _COOLPROP),
    Species("carbon_monoxide", "carbon monoxide", "CO", 0.0280101, 1.3993,
            (-10.93839, 0.7737, -0.09108, 0.0157, 9.53e-05), _PERRY),
    Species("methane", "methane", "CH₄", 0.01604246, 1.3055,
            (-11.39582, 0.8456, -0.08865, 0.02395, -0.005792), _COOLPROP),
    Species("krypton", "krypton", "Kr", 0.083798, 1.6667,
            (-10.57419, 0.8786, -0.07982, -0.0111, 0.0002084), _VDI),
    Species("xenon", "xenon", "Xe", 0.131293, 1.6667,
            (-10.66626, 0.9568, -0.1056, 0.006459, -0.00307), _VDI),
    Species("sulfur_hexafluoride", "sulfur hexafluoride", "SF₆", 0.14605542, 1.0950,
            (-11.08556, 0.8833, -0.19, 0.5539, -0.5252), _JOINED),
    Species("ammonia", "ammonia", "NH₃", 0.01703052, 1.3069,
            (-11.49239, 1.064, 0.07369, 0.1129, -0.2568), _JOINED),
    Species("ethanol", "ethanol", "C₂H₅OH", 0.04606844, 1.1481,
            (-11.63653, 1.034, -0.0004738, -0.1542, 0.08534), _JOINED),
    Species("isopropanol", "isopropanol", "C₃H₇OH", 0.06009502, 1.1039,
            (-11.7705, 1.109, -0.1184, -0.008986, 0.004598), _PERRY),
    Species("methanol", "methanol", "CH₃OH", 0.03204186, 1.2349,
            (-11.54164, 1.026, -0.08858, 0.3141, -0.2636), _JOINED),
    Species("acetone", "acetone", "C₃H₆O", 0.05807914, 1.1270,
            (-11.79538, 1.048, -0.03326, 0.0095, -0.001565), _PERRY),
    Species("toluene", "toluene", "C₇H₈", 0.09213842, 1.0888,
            (-11.86521, 0.9431, -0.04473, 0.3143, -0.3017), _JOINED),
    Species("n_hexane", "n-hexane", "C₆H₁₄", 0.08617536, 1.0627,
            (-11.9703, 1.005, -0.0906, 0.1519, -0.1297), _JOINED),
    Species("ethyl_acetate", "ethyl acetate", "C₄H₈O₂", 0.08810512, 1.0796,
            (-11.78102, 1.047, -0.1071, -0.01342, 0.003295), _PERRY),
    Species("acetonitrile", "acetonitrile", "C₂H₃N", 0.04105192, 1.1911,
            (-11.84252, 1.0, -0.0507, 0.01301, -0.001687), _PERRY),
    Species("dichloromethane", "dichloromethane", "CH₂Cl₂", 0.08493258, 1.1973,
            (-11.45771, 1.053, -0.1247, 0.001734, 0.004791), _PERRY),
    Species("tetrahydrofuran", "tetrahydrofuran", "C₄H₈O", 0.07210572, 1.1250,
            (-11.70625, 1.128, -0.1246, 0.002118, 0.004747), _PERRY),
    Species("acetic_acid", "acetic acid", "C₂H₄O₂", 0.06005196, 1.1530,
            (-11.66167, 1.037, -0.01191, 0.003785, -0.0007541), _PERRY),
    # The heat-capacity ratio of dimethyl sulfoxide is from memory (ideal gas, about 89 J/mol/K).
    Species("dimethyl_sulfoxide", "dimethyl sulfoxide", "C₂H₆OS", 0.07813344, 1.1030,
            (-11.95233, 1.193, -0.1149, 0.01074, 0.002837), _PERRY),
)  # fmt: skip

SPECIES: Mapping[str, Species] = MappingProxyType({row.key: row for row in _ROWS})


def species(key: str) -> Species:
    """Return the species of that key.

    Parameters
    ----------
    key : str
        Key of the table, such as ``nitrogen``. [-]

    Returns
    -------
    Species
        The record.

    Raises
    ------
    UnknownSpecies
        If the key is not in the table; lists the known ones.
    """
    found = SPECIES.get(key)
    if found is None:
        raise UnknownSpecies(key, tuple(SPECIES))
    return found
