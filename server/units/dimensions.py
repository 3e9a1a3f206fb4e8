"""The kinds of quantity that a field can want, and how each is shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import inf


class Dimension(StrEnum):
    """What kind of quantity a field wants; the SI unit of its values in brackets."""

    PRESSURE = "pressure"  # [Pa]
    VOLUME = "volume"  # [m3]
    LENGTH = "length"  # [m]
    AREA = "area"  # [m2]
    TIME = "time"  # [s]
    TEMPERATURE = "temperature"  # [K]
    SPEED = "speed"  # volume flow [m3/s]
    THROUGHPUT = "throughput"  # [Pa m3/s]
    GAS_FLOW = "gas_flow"  # [mol/s]
    MASS_RATE = "mass_rate"  # [kg/s]
    MASS = "mass"  # [kg]
    POWER = "power"  # [W]
    ENERGY = "energy"  # [J]
    VOLTAGE = "voltage"  # [V]
    FREQUENCY = "frequency"  # [Hz]
    RATIO = "ratio"  # [1]


@dataclass(frozen=True)
class Exponents:
    """The powers of the base kinds in a unit.

    Pressure, power and voltage are bases here, not products of mass, length and time: the trade
    keeps a throughput apart from a power, although Pa m3/s and W are the same in SI.
    """

    pressure: int = 0
    length: int = 0
    time: int = 0
    mass: int = 0
    temperature: int = 0
    amount: int = 0
    power: int = 0
    voltage: int = 0

    def times(self, other: Exponents, power: int) -> Exponents:
        """Return the exponents of this unit times another one raised to a power."""
        mine, others = vars(self), vars(other)
        return Exponents(**{base: mine[base] + power * others[base] for base in mine})


@dataclass(frozen=True)
class Kind:
    """How a dimension is named, read and shown.

    Attributes
    ----------
    noun : str
        With its article, for messages.
    exponents : Exponents
        What a unit must come to.
    si : str
        The unit of a bare number.
    examples : tuple of str
        What a message offers.
    shown : tuple of (float, str)
        Units for showing, each with the SI value below which it is taken; the last takes the rest.
    offered : tuple of str
        Every unit offered beside a field.
    """

    noun: str
    exponents: Exponents
    si: str
    examples: tuple[str, ...]
    shown: tuple[tuple[float, str], ...]
    offered: tuple[str, ...]


KINDS: Mapping[Dimension, Kind] = {
    Dimension.PRESSURE: Kind(
        "a pressure",
        Exponents(pressure=1),
        "Pa",
        ("5e-5 mbar", "50 mTorr", "0.7 Pa"),
        ((inf, "mbar"),),
        ("mbar", "Pa", "hPa", "kPa", "bar", "Torr", "mTorr", "micron", "atm", "psi", "inHg"),
    ),
    Dimension.VOLUME: Kind(
        "a volume",
        Exponents(length=3),
        "m³",
        ("120 L", "0.12 m3", "65 cm3", "4 ft3"),
        ((1e-4, "cm³"), (10.0, "L"), (inf, "m³")),
        ("L", "m³", "cm³", "mL", "ft³", "gal"),
    ),
    Dimension.LENGTH: Kind(
        "a length",
        Exponents(length=1),
        "m",
        ("400 mm", "0.4 m", "2 in"),
        ((1e-3, "µm"), (1.0, "mm"), (inf, "m")),
        ("mm", "cm", "m", "µm", "in", "ft"),
    ),
    Dimension.AREA: Kind(
        "an area",
        Exponents(length=2),
        "m²",
        ("2.6 m2", "200 cm2", "28 ft2"),
        ((1e-2, "cm²"), (inf, "m²")),
        ("m²", "cm²", "mm²", "ft²", "in²"),
    ),
    Dimension.TIME: Kind(
        "a time",
        Exponents(time=1),
        "s",
        ("25 min", "1 h 30 min", "90 s"),
        ((120.0, "s"), (7200.0, "min"), (172800.0, "h"), (inf, "d")),
        ("s", "min", "h", "d", "wk"),
    ),
    Dimension.TEMPERATURE: Kind(
        "a temperature",
        Exponents(temperature=1),
        "K",
        ("22 degC", "295 K", "72 degF"),
        ((inf, "°C"),),
        ("°C", "K", "°F"),
    ),
    Dimension.SPEED: Kind(
        "a pumping speed (volume per time)",
        Exponents(length=3, time=-1),
        "m³/s",
        ("12 m3/h", "65 L/s", "7 cfm"),
        ((inf, "m³/h"),),
        ("m³/h", "L/s", "L/min", "m³/s", "cfm"),
    ),
    Dimension.THROUGHPUT: Kind(
        "a throughput (pressure times volume per time)",
        Exponents(pressure=1, length=3, time=-1),
        "Pa·m³/s",
        ("2e-5 mbar*L/s", "1.25 Torr*L/s", "0.1 Pa*m3/s"),
        ((inf, "mbar·L/s"),),
        ("mbar·L/s", "Pa·m³/s", "Torr·L/s", "atm·cm³/s", "sccm"),
    ),
    Dimension.GAS_FLOW: Kind(
        "a gas flow",
        Exponents(amount=1, time=-1),
        "mol/s",
        ("20 sccm", "0.5 slm", "1e-5 mol/s", "0.3 mbar*L/s"),
        ((10_000 * 7.436e-7, "sccm"), (inf, "slm")),
        ("sccm", "slm", "mol/s", "mbar·L/s", "Torr·L/s", "Pa·m³/s"),
    ),
    Dimension.MASS_RATE: Kind(
        "a mass per time",
        Exponents(mass=1, time=-1),
        "kg/s",
        ("30 g/h", "0.5 kg/h", "2 mg/s"),
        ((10.0 / 3600, "g/h"), (inf, "kg/h")),
        ("g/h", "kg/h", "g/min", "mg/s", "lb/h"),
    ),
    Dimension.MASS: Kind(
        "a mass",
        Exponents(mass=1),
        "kg",
        ("2.5 kg", "300 g", "5 lb"),
        ((1.0, "g"), (inf, "kg")),
        ("kg", "g", "mg", "t", "lb", "oz"),
    ),
    Dimension.POWER: Kind(
        "a power",
        Exponents(power=1),
        "W",
        ("450 W", "1.5 kW"),
        ((10_000.0, "W"), (inf, "kW")),
        ("W", "kW", "hp"),
    ),
    Dimension.ENERGY: Kind(
        "an energy",
        Exponents(power=1, time=1),
        "J",
        ("12 kWh", "3.6 MJ"),
        ((3.6e5, "J"), (inf, "kWh")),
        ("kWh", "Wh", "J", "kJ", "MJ"),
    ),
    Dimension.VOLTAGE: Kind(
        "a voltage",
        Exponents(voltage=1),
        "V",
        ("230 V", "5 kV"),
        ((inf, "V"),),
        ("V", "kV"),
    ),
    Dimension.FREQUENCY: Kind(
        "a frequency",
        Exponents(time=-1),
        "Hz",
        ("50 Hz", "1000 Hz", "1500 rpm"),
        ((inf, "Hz"),),
        ("Hz", "kHz", "rpm"),
    ),
    Dimension.RATIO: Kind(
        "a ratio",
        Exponents(),
        "1",
        ("0.05", "5 %"),
        ((inf, ""),),
        ("%", "ppm"),
    ),
}


def accepted_examples(dimension: Dimension) -> str:
    """Return examples of what a field of a dimension takes, for messages and hints."""
    kind = KINDS[dimension]
    examples = ", ".join(kind.examples)
    return examples if kind.si == "1" else f"{examples}, or a bare number in {kind.si}"


def kind_of(exponents: Exponents) -> Kind | None:
    """Return the kind of quantity that exponents stand for, or None when it is none of ours."""
    return next((kind for kind in KINDS.values() if kind.exponents == exponents), None)
