"""The help page's words, and the limits and cautions of the about page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Entry:
    """A word and what it means."""

    word: str
    meaning: str

    @property
    def anchor(self) -> str:
        """Id to link to."""
        return self.word.lower().replace(" ", "-").replace(",", "")


GLOSSARY: Final[Sequence[Entry]] = (
    Entry(
        "Pump stack",
        "The parts that do the job together: a high-vacuum pump if the pressure asks for one, "
        "perhaps a booster, a backing pump, fluids, traps, lines, valves and gauges.",
    ),
    Entry(
        "Rough, high and ultra-high vacuum",
        "Down to about 1e-3 mbar a single pump that exhausts to air does it: rough vacuum. Below, "
        "to about 1e-7 mbar, a high-vacuum pump works in series with it. Lower still, the walls "
        "must be baked.",
    ),
    Entry(
        "High-vacuum pump",
        "Takes over where a rough pump ends. Vapour-jet pumps carry gas along with a jet of fluid "
        "vapour; turbomolecular pumps hit it with fast blades; cryopumps freeze it; sputter-ion "
        "pumps bury it.",
    ),
    Entry(
        "Backing pump",
        "Exhausts to air and keeps the pressure behind the high-vacuum pump low. Usually it also "
        "pumps the chamber down from air.",
    ),
    Entry("Foreline", "The line between the high-vacuum pump’s outlet and the backing pump."),
    Entry(
        "Tolerable foreline pressure",
        "The highest pressure behind a high-vacuum pump at which it still works. Above it the pump "
        "stops pumping; a vapour-jet pump then throws its fluid into the chamber. Under full gas "
        "load the limit is lower than without.",
    ),
    Entry(
        "Crossover",
        "The moment the chamber is switched from the roughing line to the high-vacuum pump. Too "
        "early overloads the pump; too late lets oil from the backing pump drift into the chamber.",
    ),
    Entry(
        "Speed",
        "Volume of gas taken away per time at the pressure where it is measured: L/s or m³/h. What "
        "reaches the chamber is always less than what the pump can do, because the line between "
        "them throttles.",
    ),
    Entry(
        "Throughput",
        "Amount of gas per time, as pressure times volume per time: mbar·L/s. Along a line it "
        "stays the same while pressure and speed change.",
    ),
    Entry(
        "Conductance",
        "How much gas a pipe lets through for a given difference of pressure. In high vacuum it "
        "goes with the third power of the bore and falls with the length.",
    ),
    Entry(
        "Outgassing",
        "Gas that comes off walls and seals, mostly water. It sets the pressure a chamber reaches "
        "and falls roughly as one over time.",
    ),
    Entry(
        "Margin",
        "What a stack can do, divided by what the work needs, for one limit at a time. Above 1 it "
        "works on paper; each margin has a threshold above 1 at which it passes, because gas loads "
        "are never known exactly.",
    ),
    Entry(
        "Verdict",
        "A stack fits when every margin passes, is marginal when one lies between 1 and its "
        "threshold, and does not fit when one is below 1.",
    ),
    Entry(
        "Remedy",
        "The smallest single change that would make a failing margin pass: a wider line, a larger "
        "backing pump, a longer time.",
    ),
    Entry(
        "Gas ballast",
        "Air let into a backing pump during compression so that vapour leaves with it instead of "
        "condensing in the oil.",
    ),
    Entry(
        "Trap and baffle",
        "Cold or shaded surfaces that catch vapour: oil on its way to the chamber, or vapour of "
        "the work on its way to the pump.",
    ),
    Entry(
        "Backstreaming",
        "Pump fluid or oil that moves against the flow into the chamber. A baffle or trap holds "
        "back most of it; dry pumps have none.",
    ),
    Entry(
        "High-load heater",
        "A variant of a vapour-jet pump with a hotter boiler. It stands a higher inlet pressure, "
        "as in distillation, and needs a fluid that stands the heat.",
    ),
    Entry(
        "P10 to P90",
        "Eight of ten systems like this one would lie in between. Outgassing and leaks of a real "
        "chamber are known to a factor of three at best.",
    ),
    Entry(
        "Standing by",
        "A pump that is on but not pumping: hot, cold or at speed, its valve closed. Over a break "
        "longer than the break-even time, switching off and starting again takes less energy.",
    ),
    Entry("Horizon", "The years over which energy and consumables are counted."),
)

LIMITS: Final[Sequence[str]] = (
    "Gas loads of walls come from tables for the material and its state; published rates of one "
    "material differ by 3 to 10 times. The band of the pump-down curve shows that; measure where "
    "it matters.",
    "Speeds and limits are those of the catalogue for new, clean pumps in order. Wear, tired oil "
    "and clogged filters are not counted.",
    "The gas is at the temperature you give; hot zones in furnaces and cold condensers are not "
    "followed in detail.",
    "Lines are straight tubes with elbows; odd shapes have to be replaced by an equal tube.",
    "Vapour that condenses in lines, reacts or polymerises is not followed.",
    "Demo prices and data are invented for pumps of their class. An offer is binding only once a "
    "person has checked it.",
)

CAUTIONS: Final[Sequence[str]] = (
    "The boiler of a vapour-jet pump is hot enough to burn and to light solvents. Never let air "
    "into it while it is hot, never heat it without cooling and backing.",
    "Guard foreline pressure, boiler temperature and cooling with interlocks.",
    "Gas with more than 25 % oxygen: only fully fluorinated fluids or dry pumps made for it, and a "
    "design by people who know oxygen. Mineral oil can explode.",
    "Flammable or pyrophoric gas: purge, treat the exhaust, keep flames from running back; a task "
    "for specialists.",
    "Toxic gas: lead the exhaust to treatment, and send pumps for service only with a declaration "
    "of what they have pumped.",
    "Cleaning solvents burn and their vapour harms: mind flash points, ventilate, wear gloves, "
    "keep flames away, collect the waste.",
    "Liquid nitrogen displaces air, freezes skin, and bursts what it is trapped in.",
    "Isolate and lock out electrical supply before opening anything.",
    "Glass under vacuum can implode: use screens and eye protection.",
    "Many pumps are too heavy for one person: use lifting gear.",
)
