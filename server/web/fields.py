"""The fields of the forms: label, help that teaches the trade, an example, how it is entered.

A path is the dotted path of the JSON request; ``*`` stands for the number of a repeated row.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from server.web.field_kinds import Entry, Field, Rows
from server.web.fields_desk import DESK, DESK_ROWS
from server.web.fields_people import PEOPLE
from server.web.fields_stack import STACK
from server.web.fields_upkeep import UPKEEP

__all__ = ["FIELDS", "ROWS", "Entry", "Field", "Rows", "field_at", "label_at", "pattern"]


FIELDS: Final[Mapping[str, Field]] = {
    "title": Field(
        "Name of the inquiry",
        "How you will find it again; it stands on the quote.",
        "Mirror coater, 180 L",
    ),
    "letter": Field(
        "The customer’s e-mail",
        "Plain text, in English. Numbers with units, gases, flanges and the like are found and "
        "typed into the form with the words they came from; nothing is guessed.",
        entry=Entry.LONG,
    ),
    "application": Field(
        "What the chamber is for",
        "Sets usual values for what you leave empty. Values you typed stay.",
        entry=Entry.CHOICE,
        options="applications",
        blank="Not said",
    ),
    "cleanliness": Field(
        "How much oil vapour the work stands",
        "Oil-sealed and vapour-jet pumps send a trace of their fluid back to the chamber; traps "
        "hold most of it back. No oil means dry pumps all the way to the exhaust.",
        entry=Entry.CHOICE,
        options="cleanliness",
        blank="Not said",
    ),
    "hazards": Field(
        "What makes the gas dangerous",
        "Each one rules out pumps or oils: mineral oil burns in oxygen, for one. What the gases "
        "and solvents of the process bring is added by itself; naming flammable asks for pumps "
        "made for flammable gas.",
        entry=Entry.MANY,
        options="hazards",
    ),
    "chamber.volume": Field(
        "Chamber volume",
        "Everything that is pumped together: vessel, side arms and the pipes up to the valve.",
        "180 L",
        required=True,
    ),
    "target_pressure": Field(
        "Pressure to reach",
        "With the chamber empty and no process gas. Ask for what the work needs: each decade "
        "lower costs more than the last.",
        "2e-5 mbar",
        required=True,
    ),
    "pump_down_time": Field(
        "Time to get there",
        "From air to that pressure. Leave it empty if it does not matter.",
        "25 min",
    ),
    "chamber.temperature": Field(
        "Gas temperature",
        "Of the walls, usually the room. Warm walls give off more gas.",
        "22 °C",
    ),
    "chamber.port": Field(
        "Pump port on the chamber",
        "The flange the pump is joined to. A narrow port throttles any pump behind it. Empty: "
        "the same size as the pump.",
        "ISO-K 160",
        Entry.LIST,
        "flanges",
    ),
    "chamber.leak_rate": Field(
        "Leak rate of the chamber",
        "Air that gets in through seals and welds; measure it by closing the valve and timing the "
        "rise of pressure.",
        "2e-5 mbar*L/s",
    ),
    "chamber.surfaces.*.material": Field(
        "Material",
        "Walls and fixtures; seals and plastics give off far more gas than metal.",
        entry=Entry.CHOICE,
        options="materials",
        blank="Choose",
    ),
    "chamber.surfaces.*.area": Field("Area", "Inner surface seen by the vacuum.", "2.6 m2"),
    "chamber.surfaces.*.condition": Field(
        "Condition",
        "Baking drives out the water that clings to every wall.",
        entry=Entry.CHOICE,
        options="conditions",
        blank="Not said",
    ),
    "process.pressure": Field(
        "Process pressure",
        "Pressure to hold while gas flows or the work gives off vapour. Empty: nothing happens "
        "at pressure but pumping.",
        "5e-3 mbar",
    ),
    "process.gas.*.species": Field(
        "Gas", "Let in on purpose, through a valve.", "argon", Entry.LIST, "species"
    ),
    "process.gas.*.flow": Field(
        "Flow",
        "sccm counts cubic centimetres a minute at 0 °C and 1 atm.",
        "20 sccm",
    ),
    "process.vapour.*.substance": Field(
        "Vapour", "Water or solvent that the work gives off.", "water", Entry.LIST, "species"
    ),
    "process.vapour.*.rate": Field(
        "Rate", "Mass that evaporates per time, while at pressure.", "3 g/h"
    ),
    "process.wet_goods.*.substance": Field(
        "Liquid", "Water or solvent in the goods.", "water", Entry.LIST, "species"
    ),
    "process.wet_goods.*.mass": Field(
        "Mass to remove", "Of one batch: weigh before and after.", "2 kg"
    ),
    "process.wet_goods.*.temperature": Field(
        "Temperature of the goods",
        "Evaporation cools them: state what the heating holds. While wet they hold the pressure "
        "up to the vapour pressure of this temperature. Empty: as the chamber.",
        "40 °C",
    ),
    "process.wet_goods.*.area": Field(
        "Wet surface",
        "Seen by the vacuum. Empty: large enough not to slow evaporation.",
        "0.5 m2",
    ),
    "process.wet_goods.*.drying_time": Field("Dry within", "Empty: the time at pressure.", "6 h"),
    "process.wet_goods.*.rate": Field(
        "Rate at best",
        "What heating and diffusion bring to the surface per time, if known. Empty: as much as "
        "the drying time asks for.",
        "300 g/h",
    ),
    "line.length": Field(
        "Length",
        "Chamber to high-vacuum pump. At low pressure a tube as long as it is wide already costs "
        "much of the pump's speed.",
        "0.4 m",
    ),
    "line.bore": Field(
        "Inner diameter",
        "Empty: as wide as the port. Twice the bore carries eight times the gas in high vacuum.",
        "150 mm",
    ),
    "line.bends": Field("Bends", "Count right-angle bends.", "1"),
    "rough_line.length": Field(
        "Length",
        "Chamber to backing pump, for pumping down from air. A turbomolecular pump is roughed "
        "through, without such a line: say here how far the backing pump stands from the chamber.",
        "1.5 m",
    ),
    "rough_line.bore": Field(
        "Inner diameter", "Empty: as wide as the backing pump's inlet.", "40 mm"
    ),
    "rough_line.bends": Field("Bends", "Count right-angle bends.", "2"),
    "foreline.length": Field(
        "Length", "Outlet of the high-vacuum pump to the backing pump.", "1 m"
    ),
    "foreline.bore": Field(
        "Inner diameter", "Empty: as wide as the high-vacuum pump's outlet.", "40 mm"
    ),
    "foreline.bends": Field("Bends", "Count right-angle bends.", "1"),
    "duty.cycles_per_day": Field(
        "Pump-downs a day", "Each one lets in air, and with it water on the walls.", "6"
    ),
    "duty.time_at_pressure": Field("Time at pressure", "Of one cycle.", "45 min"),
    "duty.days_per_year": Field("Days a year", "Days the system is at work.", "220"),
    "duty.shift": Field(
        "Shift",
        "Hours a day the pumps are on. Warm-up, all cycles and all ventings must fit into it.",
        "9 h",
    ),
    "duty.vent_time": Field(
        "Chamber open for",
        "Venting, unloading and loading. Walls take up water all that time: the shorter, the "
        "faster the next pump-down.",
        "10 min",
    ),
    "duty.venting": Field(
        "Vented with",
        "Dry nitrogen keeps room air, and its water, off the walls; most of all if it keeps "
        "flowing while the door is open.",
        entry=Entry.CHOICE,
        options="venting",
        blank="Not said",
    ),
    "utilities.cooling_water": Field(
        "Cooling water",
        "Large vapour-jet pumps and cryopump compressors need it.",
        entry=Entry.YES_NO,
        blank="Not said",
    ),
    "utilities.three_phase": Field(
        "Three-phase mains",
        "Pumps above about 2 kW usually need it.",
        entry=Entry.YES_NO,
        blank="Not said",
    ),
    "utilities.mains_voltage": Field(
        "Mains voltage", "Between line and neutral at a plain socket.", "230 V"
    ),
    "commercial.horizon_years": Field(
        "Years to count",
        "Energy and consumables over these years are added to the price; the order of the stacks "
        "goes by the sum.",
        "3",
    ),
    "commercial.energy_price_per_kwh": Field(
        "Price of a kWh", "In the currency of the catalogue.", "0.24"
    ),
    "commercial.budget": Field(
        "Budget", "For everything bought at the start. Empty: no limit.", "12000"
    ),
    "commercial.currency": Field("Currency", "That of the catalogue.", "EUR"),
    **STACK,
    **UPKEEP,
    **PEOPLE,
    "limit": Field("Stacks to show", "The best ones, from 1 upwards.", "5"),
    **DESK,
}

ROWS: Final[Mapping[str, Rows]] = {
    "chamber.surfaces": Rows(
        "Surfaces inside",
        "In high vacuum the walls are the main source of gas. Leave empty to have the area "
        "estimated from the volume.",
        "surface",
        ("material", "area", "condition"),
        at_least=2,
    ),
    "pumps": Rows(
        "The pumps",
        "One row for each kind of pump.",
        "pump",
        ("sku", "quantity", "fluid", "last_service", "hours_per_year"),
    ),
    "process.gas": Rows("Process gas", "Gas let in while at pressure.", "gas", ("species", "flow")),
    "process.vapour": Rows(
        "Vapour from the work",
        "Vapour condenses in pumps unless it is trapped or swept out with gas ballast.",
        "vapour",
        ("substance", "rate"),
    ),
    "process.wet_goods": Rows(
        "Wet goods to dry",
        "Unlike a steady vapour, wet goods give off vapour until they are dry, and no faster than "
        "heat reaches them. Leave empty where nothing is dried.",
        "goods",
        ("substance", "mass", "temperature", "area", "drying_time", "rate"),
        at_most=10,
    ),
    **DESK_ROWS,
}


UNTYPED: Final[Mapping[str, str]] = {"chamber.seals": "Seals that air permeates"}
"""What no form asks for, but assumptions tell of."""


def pattern(path: str) -> str:
    """Return a field's path with ``*`` for the numbers of rows.

    Parameters
    ----------
    path : str
        Such as ``chamber.surfaces.0.area``.

    Returns
    -------
    str
        Such as ``chamber.surfaces.*.area``.
    """
    return re.sub(r"\.\d+(?=\.|$)", ".*", path)


def field_at(path: str) -> Field | None:
    """Return the field at a path, or None where no form shows one.

    Parameters
    ----------
    path : str
        Dotted path, with row numbers.

    Returns
    -------
    Field or None
        Its label and help.
    """
    return FIELDS.get(pattern(path))


def label_at(path: str) -> str:
    """Return the label for a path, with the row's name and number for repeated fields.

    Parameters
    ----------
    path : str
        Dotted path, with row numbers.

    Returns
    -------
    str
        Such as ``Area, surface 2``; the path itself where nothing is known of the field.
    """
    field = field_at(path)
    if field is None:
        return ROWS[path].label if path in ROWS else UNTYPED.get(path, path)
    row = re.search(r"^(.*)\.(\d+)\.[a-z_]+$", path)
    if row and row[1] in ROWS:
        return f"{field.label}, {ROWS[row[1]].one} {int(row[2]) + 1}"
    group = GROUP_OF.get(path.partition(".")[0])
    return f"{field.label}, {group}" if group and "." in path else field.label


GROUP_OF: Final[Mapping[str, str]] = {
    "line": "line to the high-vacuum pump",
    "rough_line": "roughing line",
    "foreline": "foreline",
}
