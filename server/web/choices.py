"""The lists that forms offer: applications, materials, gases, flanges, the catalogue's pumps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from server.catalog.flanges import known_flanges
from server.catalog.items import (
    BACKING_KINDS,
    HIGH_VACUUM_KINDS,
    TURBO_KINDS,
    Catalog,
    Fluid,
    FluidService,
    Pump,
    PumpKind,
    Trap,
)
from server.fit.presets import PRESETS
from server.fit.requirements import Cleanliness, Condition, Hazard, Venting
from server.physics.gas import SPECIES
from server.physics.outgassing import MATERIALS
from server.quoting.card import liquid
from server.web.words import sentence, words

Choice = tuple[str, str]
Group = tuple[str, Sequence[Choice]]


def form_choices() -> Mapping[str, Sequence[Choice]]:
    """Return the lists of the requirements form by the names its fields use.

    Returns
    -------
    mapping of str to sequence of (value, text)
        In the order shown.
    """
    return {
        "applications": [(str(key), preset.title) for key, preset in PRESETS.items()],
        "cleanliness": [(str(key), sentence(words(key))) for key in Cleanliness],
        "hazards": [(str(key), sentence(words(key))) for key in Hazard],
        "venting": [(str(key), sentence(words(key))) for key in Venting],
        "conditions": [(str(key), sentence(words(key))) for key in Condition],
        "materials": [(key, sentence(words(key))) for key in MATERIALS],
        "species": [(key, f"{sentence(words(key))} {gas.formula}") for key, gas in SPECIES.items()],
        "flanges": [(str(flange), str(flange)) for flange in known_flanges()],
    }


def pump_choices(catalog: Catalog, kinds: Sequence[PumpKind]) -> list[Group]:
    """Return the catalogue's pumps of some kinds, grouped by kind.

    Parameters
    ----------
    catalog : Catalog
        Where they come from.
    kinds : sequence of PumpKind
        In the order shown.

    Returns
    -------
    list of (group, choices)
        Kinds without a pump are left out.
    """
    pumps = catalog.of_type(Pump)
    groups = [
        (
            sentence(words(kind)),
            [(pump.sku, f"{pump.name} ({pump.sku})") for pump in pumps if pump.kind is kind],
        )
        for kind in kinds
    ]
    return [(name, choices) for name, choices in groups if choices]


def check_choices(catalog: Catalog) -> Mapping[str, Sequence[Group]]:
    """Return the lists of the check form by the names of the parts of a choice.

    Parameters
    ----------
    catalog : Catalog
        Where they come from.

    Returns
    -------
    mapping of str to sequence of groups
        One entry for each field of a stack choice.
    """
    traps = catalog.of_type(Trap)
    return {
        "high_vacuum_pump": pump_choices(catalog, [k for k in PumpKind if k in HIGH_VACUUM_KINDS]),
        "booster": [
            *pump_choices(catalog, [PumpKind.ROOTS_BOOSTER]),
            *(
                (f"{kind}, to rough a sputter-ion pump", pumps)
                for kind, pumps in pump_choices(catalog, [k for k in PumpKind if k in TURBO_KINDS])
            ),
        ],
        "backing_pump": pump_choices(catalog, [k for k in PumpKind if k in BACKING_KINDS]),
        "fluid": [("Fluids for vapour-jet pumps", _grades(catalog, FluidService.VAPOUR))],
        "trap": [
            (
                sentence(words(kind)),
                [(t.sku, f"{t.name} ({t.sku})") for t in traps if t.kind is kind],
            )
            for kind in dict.fromkeys(trap.kind for trap in traps)
        ],
    }


def consumables_choices(catalog: Catalog) -> Mapping[str, Sequence[Group]]:
    """Return the lists of the consumables form: every pump, every fluid and oil.

    Parameters
    ----------
    catalog : Catalog
        Where they come from.

    Returns
    -------
    mapping of str to sequence of groups
        By the names its fields use.
    """
    return {
        "pumps": pump_choices(catalog, list(PumpKind)),
        "fluids": [
            ("Fluids for vapour-jet pumps", _grades(catalog, FluidService.VAPOUR)),
            ("Oils for sealed pumps", _grades(catalog, FluidService.SEALED)),
        ],
    }


def _grades(catalog: Catalog, service: FluidService) -> list[Choice]:
    """Return one SKU for each grade: a fluid has a row for every size of container."""
    fluids = [fluid for fluid in catalog.of_type(Fluid) if fluid.service is service]
    first = {fluid.grade: fluid for fluid in reversed(fluids)}
    return [
        (fluid.sku, f"{liquid(fluid)} ({words(fluid.kind)})") for fluid in reversed(first.values())
    ]
