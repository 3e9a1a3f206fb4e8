"""The contract's words that the catalogue shares with the requirements."""

from __future__ import annotations

HAZARDS = frozenset(
    {"oxygen_rich", "corrosive", "flammable", "toxic", "particulates", "pyrophoric"}
)
CLEANLINESS = frozenset({"tolerant", "low_oil", "oil_free"})
SOLVENTS = frozenset(
    {
        "ethanol",
        "isopropanol",
        "methanol",
        "acetone",
        "toluene",
        "n_hexane",
        "ethyl_acetate",
        "acetonitrile",
        "dichloromethane",
        "tetrahydrofuran",
        "acetic_acid",
        "dimethyl_sulfoxide",
    }
)
