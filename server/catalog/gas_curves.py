"""Which curve or compression holds for a gas that a pump was not specified for.

Rules by kind of pump (common practice, no source, unless said otherwise):

- a positive-displacement pump moves the same volume of any gas: its air curve;
- a vapour jet pumps all gases about alike (Hablanian 1997, from memory): its nitrogen curve;
- a turbomolecular pump: the curve of the specified gas nearest in molar mass (on a log scale); ln
K₀ grows like √M (Becker 1966; O'Hanlon 2003, from memory): straight line between specified gases;
- a cryopump holds every gas heavier than neon at least as well as nitrogen; hydrogen and helium
only where it is specified for them;
- a sputter-ion pump takes active gases like nitrogen; noble gases only where specified.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from server.catalog.items import CAPTURE_KINDS, TURBO_KINDS, Pump, PumpKind, SpeedCurve
from server.physics.species import SPECIES

_SAME_GAS = {"air": "nitrogen", "nitrogen": "air"}
_NOBLE = frozenset({"helium", "argon", "krypton", "xenon"})
_LIGHT = frozenset({"helium", "hydrogen"})


@dataclass(frozen=True)
class CurveChoice:
    """The curve taken for a gas; ``None`` when the pump does not pump it. ``note`` says why."""

    curve: SpeedCurve | None
    note: str


def curve_for(pump: Pump, gas: str, *, with_ballast: bool = False) -> CurveChoice:
    """Return the speed curve that holds for a gas.

    Parameters
    ----------
    pump : Pump
        A pump with its own curves (not a Roots booster).
    gas : str
        Species key.
    with_ballast : bool
        Take the curve with gas ballast where there is one.
    """
    ballast = [curve for curve in pump.curves if curve.with_ballast]
    curves = {curve.gas: curve for curve in pump.curves if not curve.with_ballast}
    if with_ballast and ballast:
        curves |= {curve.gas: curve for curve in ballast}
    exact = curves.get(gas) or curves.get(_SAME_GAS.get(gas, ""))
    if exact is not None:
        return CurveChoice(exact, f"specified curve for {exact.gas}")
    if pump.kind in CAPTURE_KINDS:
        return _capture_curve(pump, gas, curves)
    if pump.kind in TURBO_KINDS:
        nearest = min(curves.values(), key=lambda curve: _mass_distance(curve.gas, gas))
        return CurveChoice(nearest, f"no curve for {gas}: that of {nearest.gas}, nearest in mass")
    main = curves.get("air") or curves.get("nitrogen") or next(iter(curves.values()))
    return CurveChoice(main, f"no curve for {gas}: that of {main.gas}")


def _capture_curve(pump: Pump, gas: str, curves: Mapping[str, SpeedCurve]) -> CurveChoice:
    unheld = _LIGHT if pump.kind is PumpKind.CRYO else _NOBLE
    main = curves.get("nitrogen") or curves.get("air")
    if gas in unheld or main is None:
        return CurveChoice(None, f"not specified for {gas}: not pumped")
    return CurveChoice(main, f"no curve for {gas}: that of {main.gas}")


def _mass_distance(one: str, other: str) -> float:
    return abs(math.log(SPECIES[one].molar_mass_kg_mol / SPECIES[other].molar_mass_kg_mol))


def compression_for(compression: Mapping[str, float], gas: str) -> float:
    """Return the zero-flow compression of a turbomolecular pump for a gas.

    ln K₀ is interpolated linearly in √M between the specified gases and held beyond the heaviest
    and the lightest, which is on the safe side for heavy gases and as specified for light ones.
    """
    known = compression.get(gas, compression.get(_SAME_GAS.get(gas, "")))
    if known is not None:
        return known
    points = sorted(
        (math.sqrt(SPECIES[name].molar_mass_kg_mol), math.log(k0))
        for name, k0 in compression.items()
    )
    wanted = math.sqrt(SPECIES[gas].molar_mass_kg_mol)
    below = [point for point in points if point[0] <= wanted]
    above = [point for point in points if point[0] > wanted]
    if not below or not above:
        return math.exp((below or above)[-1 if below else 0][1])
    (left, ln_left), (right, ln_right) = below[-1], above[0]
    return math.exp(ln_left + (ln_right - ln_left) * (wanted - left) / (right - left))
